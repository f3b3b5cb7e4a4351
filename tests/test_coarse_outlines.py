"""Outlines that look generalised: made curves of known tolerance, surveyed lines, real data of both sorts.

The truth of a made curve is the curve before it was simplified; distances to it come from GEOS.
"""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from page_reader import Reader

from scout.app.find import SearchOptions, cut_to_best, find_spots
from scout.app.outputs import export_findings
from scout.geo.coarseness import measure_generalisation
from scout.geo.geodesy import compute_degree_lengths
from scout.io.layers import read_frame, read_layers
from scout.io.places import NamedPlace
from scout.model import Findings, Parks, Station
from scout.output.card import build_card
from scout.output.report import convert_to_json, format_answer, format_ranking
from scout.output.saved import dump_findings, load_findings
from scout.page.document import build_map
from scout.parks.build import build_parks
from scout.search.check import CheckOptions, check_places, make_findings

SHARED = Path(__file__).resolve().parents[2] / "shared/data"
NATURAL_EARTH = SHARED / "ne_10m_parks_area.geojson"
OSM = SHARED / "osm"
LON, LAT = 10.02, 45.03
PER_LON, PER_LAT = (float(m) for m in compute_degree_lengths(LAT))
USUAL_M = Station().boundary_error_m


def to_degrees(shape: shapely.Geometry) -> shapely.Geometry:
    """Metres about the place."""
    return shapely.transform(shape, lambda xy: xy / [PER_LON, PER_LAT] + [LON, LAT])


@cache
def draw_coast(seed: int, roughness: float, radius_m: float = 5000.0) -> shapely.Polygon:
    """A closed curve of 6,000 vertices; waves of number k are k to the minus ``roughness`` high."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 6000, endpoint=False)
    k = np.arange(2, 1000)
    high = k**-roughness * rng.normal(size=(2, 2, len(k)))
    waves = np.zeros((2, len(turn) // 2 + 1), dtype=complex)
    waves[:, k] = high[:, 0] - 1j * high[:, 1]
    across, along = np.fft.irfft(waves, len(turn))
    out = radius_m * (1 + 0.12 * across / across.std())
    aside = 0.12 * radius_m * along / along.std()
    x, y = out * np.cos(turn) - aside * np.sin(turn), out * np.sin(turn) + aside * np.cos(turn)
    return shapely.Polygon(np.column_stack([x, y]))


def measure_true_error(true: shapely.Polygon, drawn: shapely.Polygon) -> float:
    """95 of 100 places of the true line lie no further from the drawn one."""
    xy = shapely.get_coordinates(true.exterior)
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T)))
    even = np.linspace(0.0, along[-1], 3000)
    places = shapely.points(*(np.interp(even, along, axis) for axis in xy.T))
    shapely.prepare(drawn.exterior)
    return float(np.quantile(shapely.distance(places, drawn.exterior), 0.95))


def measure(*shapes: shapely.Geometry) -> tuple[list[float], list[float]]:
    spacing, error = measure_generalisation([to_degrees(shape) for shape in shapes])
    return spacing.tolist(), error.tolist()


@pytest.mark.parametrize("tolerance_m", [20, 50, 100, 200])
@pytest.mark.parametrize("roughness", [1.5, 2.0, 2.5])
def test_the_estimate_is_of_the_size_of_the_error(roughness: float, tolerance_m: float) -> None:
    """Coasts simplified (Douglas and Peucker): half to two and a half times the true error, mostly nearer."""
    true = [draw_coast(seed, roughness) for seed in range(8)]
    drawn = [one.simplify(tolerance_m) for one in true]
    _, error = measure(*drawn)
    ratio = np.array(error) / [measure_true_error(*pair) for pair in zip(true, drawn, strict=True)]
    assert ratio.min() > 0.5
    assert ratio.max() < 2.5
    assert 0.75 < np.median(ratio) < 1.8


def test_rivers_are_estimated_like_coasts() -> None:
    """A strip along a winding line, both banks simplified."""
    ratios = []
    for seed in range(8):
        bank = shapely.LineString(shapely.get_coordinates(draw_coast(seed, 1.8).exterior)[:3000])
        true = bank.buffer(150, quad_segs=2)
        true = shapely.Polygon(shapely.Polygon(true.exterior).exterior)
        drawn = true.simplify(60)
        ratios.append(measure(drawn)[1][0] / measure_true_error(true, drawn))
    assert 0.5 < min(ratios) <= max(ratios) < 2.5


def test_a_fine_curve_is_not_coarse() -> None:
    true = [draw_coast(seed, 2.0) for seed in range(8)]
    assert max(measure(*true)[1]) < 1.0
    assert max(measure(*(one.simplify(5) for one in true))[1]) < USUAL_M


@pytest.mark.parametrize("corners", [16, 24, 48])
def test_of_a_circle_the_estimate_is_the_sagitta(corners: int) -> None:
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    circle = shapely.Polygon(4000 * np.column_stack([np.cos(turn), np.sin(turn)]))
    (spacing,), (error,) = measure(circle)
    assert error == pytest.approx(4000 * (1 - np.cos(np.pi / corners)), rel=0.02)
    assert spacing == pytest.approx(8000 * np.sin(np.pi / corners), rel=0.005)


def turned(shape: shapely.Polygon, degrees: float) -> shapely.Polygon:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return shapely.transform(shape, lambda xy: xy @ np.array([[c, s], [-s, c]]))


def draw_staircase(seed: int, crooked_m: float = 0.0) -> shapely.Polygon:
    """Sections of 1,609 m (a mile) taken or left: right angles only, each corner off by a little."""
    rng = np.random.default_rng(seed)
    cells = [(x, y) for x in range(8) for y in range(8) if x + y < 8 or rng.random() < 0.5]
    whole = shapely.union_all([shapely.box(x, y, x + 1, y + 1) for x, y in cells])
    largest = max(shapely.get_parts(whole), key=lambda part: part.area)
    ring = shapely.get_coordinates(shapely.Polygon(largest.exterior).exterior)[:-1] * 1609.344
    return shapely.Polygon(ring + rng.uniform(-crooked_m, crooked_m, ring.shape))


def test_surveyed_lines_are_not_coarse() -> None:
    box = shapely.box(0, 0, 9000, 14_000)
    chained = shapely.segmentize(box, 402.336)  # a vertex every quarter mile
    bounds = shapely.Polygon([(0, 0), (3100, 900), (4200, 4100), (2500, 6800), (-1200, 5200), (-1900, 1700)])
    shapes = [box, chained, bounds, turned(chained, 17), shapely.segmentize(bounds, 100)]
    stairs = [draw_staircase(seed) for seed in range(20)]
    crooked = [draw_staircase(seed, 100.0) for seed in range(20)]
    shapes += [*stairs, *(turned(one, 31) for one in stairs), *crooked]
    assert max(measure(*shapes)[1]) == 0.0


def test_a_coast_is_seen_beside_surveyed_lines_and_each_part_counts() -> None:
    coast = draw_coast(3, 2.0).simplify(100).buffer(0)
    inland = shapely.difference(shapely.box(-20_000, -20_000, 20_000, 0), coast)
    far = shapely.transform(coast, lambda xy: xy + 60_000)
    both = shapely.MultiPolygon([shapely.box(30_000, 0, 40_000, 9000), far])
    _, error = measure(inland, both, far)
    assert error[0] > 30
    assert error[1] == pytest.approx(error[2], rel=0.2)


def test_nothing_and_little_are_measured_without_complaint() -> None:
    spacing, error = measure_generalisation([])
    assert len(spacing) == len(error) == 0
    spacing, error = measure_generalisation([shapely.box(10, 45, 11, 46), shapely.MultiPolygon()])
    assert np.isnan(spacing).all()
    assert not error.any()


# What is done with it.
def find_coast(station: Station | None = None, tolerance_m: float = 100.0) -> tuple[Parks, Findings]:
    coast = draw_coast(3, 2.0, 9000.0).simplify(tolerance_m)
    box = shapely.box(-9000, -9000, 9000, 9000)
    shapes = [to_degrees(coast), to_degrees(box)]
    frame = gpd.GeoDataFrame({"id": ["Q-1", "Q-2"], "name": ["Fen", "Chase"]}, geometry=shapes, crs=4326)
    parks = build_parks([read_frame(frame, "made")])
    return parks, find_spots(parks, SearchOptions(level=3, station=station or Station()))


def words_of(html: str) -> str:
    return " ".join(html.replace("\n", " ").split())


def test_where_the_outline_is_coarse_every_output_says_so() -> None:
    parks, found = find_coast()
    first = next(one for one in found.spots if "Q-1" in one.spot.verdict.parks and one.spot.near is None)
    (coarse,) = first.spot.verdict.coarse
    assert (coarse.park, coarse.park_name, coarse.taken_m) == ("Q-1", "Fen", USUAL_M)
    assert coarse.advised_m >= coarse.error_m > USUAL_M
    assert first.spot.verdict.word == "firm"  # the machine's word stays
    warning = f"a boundary error of {coarse.advised_m:g} m"
    word = "firm if the outline is true"

    lines = list(format_ranking(found, 5))
    assert any(word in line for line in lines)
    (line,) = [line for line in lines if line.startswith("WARNING: The outline of Fen (Q-1)")]
    assert line.endswith(f"or take {warning}.")
    for suffix in (".gpx", ".kml"):
        text = export_findings(found, f"a{suffix}").decode()
        assert f"Verdict: {word}, confidence" in text
        assert warning in text
    (row,) = [
        one["properties"]
        for one in json.loads(export_findings(found, "a.geojson"))["features"]
        if one["properties"]["rank"] == first.rank
    ]
    assert row["verdict"] == "firm"
    assert row["outline_error_m"] == pytest.approx(coarse.error_m, abs=0.06)
    card = words_of(build_card(found, first.rank))
    assert f'<b class="word">{word}</b>' in card
    assert f"All together: <b>{word}</b>" in card
    assert warning in card
    page = build_map(cut_to_best(found, 20))
    data = Reader(page).data()
    (spot,) = [one for one in data["spots"] if one["rank"] == first.rank]
    assert spot["outlines"] == 1
    assert [coarse.advised_m, "stated"] in spot["notes"][0]
    assert [park["id"] for park in data["parks"] if "coarse" in park] == ["Q-1"]
    assert f"{word} " in page  # for readers without script
    about = page[page.index("Boundary error of the data") :]
    about = re.sub(r"<[^>]+>", "", about[: about.index("Author") if "Author" in about else 6000])
    assert warning in about
    again = load_findings(dump_findings(found), "a.gpkg")
    assert again.spots[first.rank - 1].spot.verdict == first.spot.verdict

    place = NamedPlace("here", first.spot.lon, first.spot.lat, "here", None, None)
    (checked,) = check_places(parks, first.spot.lon, first.spot.lat, CheckOptions(level=3))
    told = "\n".join(format_answer(place, checked))
    assert f"{word}, confidence" in told
    assert warning in told
    assert convert_to_json(place, checked)["outline_error_m"] == pytest.approx(coarse.error_m)
    assert convert_to_json(place, checked)["verdict"] == "firm"
    (asked,) = make_findings(parks, ["here"], [checked], CheckOptions(level=3)).spots
    assert warning in asked.spot.notes[0]


def test_with_the_error_that_was_advised_nothing_is_said() -> None:
    _, found = find_coast()
    advised = max(one.advised_m for ranked in found.spots for one in ranked.spot.verdict.coarse)
    _, again = find_coast(Station(boundary_error_m=advised))
    assert not any(ranked.spot.verdict.coarse for ranked in again.spots)
    assert "outline" not in "\n".join(format_ranking(again, 50)).replace("outlines", "")
    _, fine = find_coast(tolerance_m=1.0)
    assert not any(ranked.spot.verdict.coarse for ranked in fine.spots)


def test_what_stays_below_the_error_that_matters_is_not_measured_and_the_rest_is_as_ever() -> None:
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    around = [
        shapely.Polygon(np.stack([np.cos(turn), np.sin(turn)], axis=1) * size) for size in (0.01, 0.1, 1)
    ]
    spacing, error = measure_generalisation(around)
    least = error * [0.9, 1.1, 0.999]
    some, of = measure_generalisation(around, least)
    np.testing.assert_array_equal(of, [error[0], 0.0, error[2]])
    np.testing.assert_array_equal(some, [spacing[0], np.nan, spacing[2]])


def test_only_the_parks_that_are_looked_at_are_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[int] = []

    def watch(geometry: np.ndarray, least_m: np.ndarray) -> object:
        seen.append(len(geometry))
        return measure_generalisation(geometry, least_m)

    monkeypatch.setattr("scout.search.describe.measure_generalisation", watch)
    rng = np.random.default_rng(1)
    corners = rng.uniform(0, 8, (400, 2))
    boxes = shapely.box(corners[:, 0], corners[:, 1], corners[:, 0] + 0.01, corners[:, 1] + 0.01)
    frame = gpd.GeoDataFrame({"id": np.arange(400).astype(str)}, geometry=boxes, crs=4326)
    found = find_spots(build_parks([read_frame(frame, "made")]), SearchOptions(level=3))
    assert not seen
    assert len(found.spots[:3]) == 3
    assert 0 < sum(seen) <= 6


# Real data of both sorts.
@pytest.mark.skipif(not NATURAL_EARTH.exists(), reason="no Natural Earth data here")
def test_nearly_all_of_natural_earth_looks_generalised() -> None:
    """1:10 million. The seven that do not are straight surveyed lines for the most part."""
    parks = build_parks(read_layers(NATURAL_EARTH)).frame
    spacing, error = measure_generalisation(parks.geometry.to_numpy())
    assert (len(parks), int((error > USUAL_M).sum())) == (61, 54)
    assert 2000 < np.nanmedian(spacing) < 6000
    assert 200 < np.median(error) < 1000


@pytest.mark.skipif(not OSM.exists(), reason="no OpenStreetMap data here")
def test_few_of_openstreetmap_look_generalised() -> None:
    osmium = pytest.importorskip("osmium")
    made = osmium.geom.WKBFactory()
    areas: dict[bool, list[bytes]] = {True: [], False: []}  # by whether it is a park, else forest

    class Areas(osmium.SimpleHandler):  # type: ignore[misc, name-defined]
        def area(self, area: object) -> None:
            tags = {tag.k: tag.v for tag in area.tags}  # type: ignore[attr-defined]
            park = tags.get("leisure") in ("park", "nature_reserve")
            park |= tags.get("boundary") in ("national_park", "protected_area")
            if park or tags.get("landuse") == "forest" or tags.get("natural") == "wood":
                areas[park].append(bytes.fromhex(made.create_multipolygon(area)))

    for name in ("Helsinki.osm.pbf", "liechtenstein-2013-08-03.osm.pbf"):
        Areas().apply_file(str(OSM / name))
    looks = {
        park: measure_generalisation(shapely.from_wkb(some)).error_m > USUAL_M for park, some in areas.items()
    }
    assert (len(looks[True]), int(looks[True].sum())) == (19, 1)
    assert looks[False].mean() < 0.25


def test_an_outline_of_less_than_a_millimetre_has_no_curves() -> None:
    speck = shapely.box(10, 45, 10 + 1e-10, 45 + 1e-10)
    spacing, error = measure_generalisation([speck])
    assert np.isnan(spacing).all()
    assert error.tolist() == [0.0]
    mixed = measure_generalisation([speck, shapely.box(10, 45, 11, 46), shapely.Polygon()])
    assert mixed.error_m.tolist() == [0.0, 0.0, 0.0]
