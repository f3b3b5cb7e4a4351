"""The text of the page: alone, repeatable, safe; its outlines true; its words right."""

from __future__ import annotations

import hashlib
import json
import re
from base64 import b64encode
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from builders import (
    LONG_SPIT,
    QUIET_COVE,
    TERN_MARSH,
    bay,
    box,
    corner_spot,
    findings,
    line_spot,
    overlap_spot,
    parks_frame,
    source,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from scout import cautions, locator, page
from scout.geodesy import inverse
from scout.model import ParkReport, Station
from scout.page import build, wording
from scout.page.data import escaped_json, page_data
from scout.page.drawn import draw
from scout.page.frame import UNITS_PER_DEG, Frame, frame_of
from scout.page.simplify import FULL_DETAIL_KM

quick = settings(deadline=None, derandomize=True, max_examples=60)
NOWHERE = np.empty((0, 2))


class Reader(HTMLParser):
    """Elements in order, and the text of scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[str, dict[str, str | None], str]] = []
        self.shown: list[str] = []
        self._open: tuple[str, dict[str, str | None]] | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._open = self.elements[-1]

    def handle_endtag(self, tag: str) -> None:
        if self._open and tag == self._open[0]:
            self._open = None

    def handle_data(self, data: str) -> None:
        if self._open:
            self.texts.append((*self._open, data))
        else:
            self.shown.append(data)

    def policy(self) -> str:
        first = self.elements[[tag for tag, _ in self.elements].index("head") + 1]
        assert first[0] == "meta"
        assert first[1]["http-equiv"] == "Content-Security-Policy"
        return first[1]["content"] or ""

    def data(self) -> dict[str, Any]:
        (text,) = [t for tag, attrs, t in self.texts if attrs.get("type") == "application/json"]
        loaded: dict[str, Any] = json.loads(text)
        return loaded


def words(text: str) -> str:
    return " ".join(" ".join(Reader(text).shown).split()).replace(" ,", ",")


# The file


def test_same_findings_give_the_same_bytes():
    assert build(bay()) == build(bay())


def test_nothing_in_the_file_points_outside_but_credit_and_background():
    text = build(bay())
    outside = set(re.findall(r"https?://[^\s\"'<>)\\]+", text))
    # Leaflet's own comments name two bug trackers; a comment asks nobody.
    known = (
        "https://bugzilla.mozilla.org",
        "https://bugs.chromium.org",
        "http://www.w3.org/",
        "https://leafletjs.com",
        "https://tile.openstreetmap.org",
        "https://www.openstreetmap.org",
    )
    assert {url for url in outside if not url.startswith(known)} == set()
    for tag, attrs in Reader(text).elements:
        assert not str(attrs.get("src", "data:")).startswith("http"), tag
        assert tag not in ("iframe", "object", "embed", "base")
        if tag == "link":
            assert attrs["href"] == "data:,"
    assert "sourceMappingURL" not in text
    assert set(re.findall(r"url\(([^)]{0,30})", Reader(text).texts[0][2])) <= {
        "#default#VML",
        "data:image/png;base64,iVBORw0K",
    }


def test_policy_stands_first_and_names_our_script_and_style_only():
    reader = Reader(build(bay()))
    policy = reader.policy()
    assert policy.startswith("default-src 'none';")
    assert "unsafe" not in policy
    run = [(tag, t) for tag, attrs, t in reader.texts if attrs.get("type") != "application/json"]
    assert sorted(tag for tag, _ in run) == ["script", "script", "script", "style"]
    for tag, text in run:
        digest = b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in re.search(rf"{tag}-src ([^;]*)", policy)[1]
    assert re.search(r"img-src ([^;]*)", policy)[1] == "data: https://tile.openstreetmap.org"


def test_no_element_carries_inline_style_or_handler():
    for _, attrs in Reader(build(bay())).elements:
        assert "style" not in attrs
        assert not [name for name in attrs if name.startswith("on")]


def test_folium_keeps_its_own_lists():
    import folium

    build(bay())
    assert folium.Map.default_js
    assert folium.Map.default_css


NAMES = ("<img src=x onerror=alert(1)>", "</script><script>", "${1}`{{7*7}}", "a\u2028b", "\"'&", "ends\\")


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_text_wherever_it_stands(name: str):
    tame, label = build(bay()), ("id " + name, name)
    found = findings(
        [corner_spot(-20.0, 45.0, ["HN95", "IN05", "HN94", "IN04"], [label], notes=(name,))],
        parks_frame((label, box(-20.2, 44.9, -19.9, 45.1))),
        title=name,
        made_by=name,
        sources=(source(path=name, layer=name, crs=name, operation=name, warnings=(name,)),),
        report=ParkReport(1, 1, (name,), (name,), repaired=(name,), refused=(name,), skipped=(name,)),
    )
    text = build(found)
    reader = Reader(text)
    kinds = [tag for tag, _ in reader.elements]
    assert kinds.count("script") == [tag for tag, _ in Reader(tame).elements].count("script")
    assert "img" not in kinds
    written = name.encode("utf-8", "replace").decode()
    assert sum(data.count(written) for data in reader.shown) >= 12
    assert reader.data()["parks"][0]["name"] == written
    text.encode("utf-8")


def test_half_a_surrogate_pair_from_a_command_line_does_not_stop_the_page():
    text = build(replace(bay(), made_by="scout find \udcff.gpkg"))
    assert "scout find ?.gpkg" in text


@given(
    st.recursive(
        st.text() | st.integers() | st.none(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    )
)
@quick
def test_json_of_anything_is_safe_in_a_script_and_unchanged(value: Any):
    text = escaped_json(value)
    assert not set(text) & set("<>&\u2028\u2029")
    assert json.loads(text) == value


def test_json_refuses_what_is_no_number():
    with pytest.raises(ValueError, match="Out of range float"):
        escaped_json([float("nan")])


# What it says


def test_every_spot_is_in_the_list_without_script():
    text = words(build(bay()))
    for said in (
        "HN95 IN05 HN94 IN04",
        "Quiet Cove, Tern Marsh",
        "8 pairs (4 grids × 2 parks), 250 m inside, home 68.2 km",
        "45.000000, -20.000000",
        "the park is 120 m to the south-west (225°)",
    ):
        assert said in text


def test_settings_sources_and_what_was_left_out_are_told():
    found = replace(
        bay(),
        station=Station(7.0, 8.0, 20.0),
        remarks=("The fix error is large.",),
        sources=(source(accuracy_m=None, warnings=("ballpark: 100 m or worse",)),),
        report=ParkReport(
            9, 3, ("ref",), ("",), 4, ("a.gpkg record 2: mended",), tuple(f"record {n}" for n in range(205))
        ),
    )
    text = words(build(found))
    for said in (
        "a disc of 7.0 m radius",
        "8.0 m (95 % radius)",
        "20 m (95 % radius)",
        "within 250 km (155 mi)",
        "scout find parks.gpkg",
        "2026-03-01",
        "stated accuracy unknown",
        "ballpark: 100 m or worse",
        "Found and not listed: 4",
        "farther from home than asked",
        "Mended: 1",
        "Refused: 205",
        "and 5 more.",
        "Skipped: none",
        "The fix error is large.",
        *cautions.ALWAYS,
    ):
        assert said in text, said


@given(st.floats(0, 1))
@quick
def test_percent_never_shows_more_than_there_is(share: float):
    text = wording.percent(share)
    number = float(re.search(r"[\d.]+", text)[0]) / 100
    assert text.startswith("under") or number <= share + 1e-9
    assert share <= number + 0.001 + 1e-9


@given(st.floats(-180, 180), st.floats(-90, 90))
@quick
def test_degrees_and_minutes_name_the_same_place(lon: float, lat: float):
    text = wording.degrees_minutes(lon, lat)
    found = re.findall(r"(\d+)° (\d\d\.\d{4})' ([NSEW])", text)
    (d1, m1, side1), (d2, m2, side2) = found
    assert float(m1) < 60
    assert float(m2) < 60
    back_lat = (int(d1) + float(m1) / 60) * (-1 if side1 == "S" else 1)
    back_lon = (int(d2) + float(m2) / 60) * (-1 if side2 == "W" else 1)
    assert (back_lon, back_lat) == pytest.approx((lon, lat), abs=0.00005 / 60 + 1e-12)


@pytest.mark.parametrize(
    ("degrees", "text"),
    [
        # ADIF 3.1.6's own cases of carry, one digit finer: 44.99999999 is never 60 minutes.
        (44.99999999, "45° 00.0000' N"),
        (-0.00000001, "00° 00.0000' N"),
        (48.14666, "48° 08.7996' N"),
        (-56.21166, "56° 12.6996' S"),
    ],
)
def test_minutes_carry(degrees: float, text: str):
    assert wording.degrees_minutes(0.0, degrees).split(",")[0] == text


def test_geo_link_is_latitude_first():
    # RFC 5870, section 6.1: geo:13.4125,103.8667
    text = build(findings([overlap_spot(103.8667, 13.4125, "OK13", [QUIET_COVE])], parks_frame()))
    assert 'href="geo:13.412500,103.866700"' in text


@pytest.mark.parametrize(
    ("bearing", "text"),
    [
        (0, "north (0°)"),
        (22.4, "north (22°)"),
        (22.6, "north-east (23°)"),
        (359.7, "north (0°)"),
        (270, "west (270°)"),
    ],
)
def test_bearings_in_words(bearing: float, text: str):
    assert wording.bearing(bearing) == text


def test_where_to_stand_says_how_far_from_what():
    corner = ["HN95", "IN05", "HN94", "IN04"]
    on = corner_spot(-20.0, 45.0, corner, [QUIET_COVE])
    moved = replace(on, lon=-19.99997, offset_m=2.4, offset_deg=90.0)
    assert wording.where_to_stand(on) == "Centre the station on the corner itself."
    assert wording.where_to_stand(moved) == "Centre the station 2.4 m to the east (90°) of the corner."
    line = line_spot(-20.0, 45.2, corner[:2], TERN_MARSH)
    assert wording.where_to_stand(line) == "Centre the station on the meridian."
    both = overlap_spot(-19.95, 45.05, "IN05", [QUIET_COVE, TERN_MARSH])
    assert "the parks overlap here" in wording.where_to_stand(both)
    assert "outside every park" in wording.where_to_stand(bay().spots[-1].spot)


def test_moved_centre_shows_the_exact_corner_too():
    spot = corner_spot(
        -19.99997, 45.0, ["HN95"] * 4, [QUIET_COVE], corner=(-20.0, 45.0), offset_m=2.4, offset_deg=90.0
    )
    text = words(build(findings([spot], parks_frame((QUIET_COVE, box(-20.2, 44.9, -19.9, 45.1))))))
    assert "Exact lattice corner 45.000000, -20.000000" in text
    assert "Station centre 45.000000, -19.999970" in text


# What it draws


def rings_of(outline: list[list[list[int]]]) -> list[list[np.ndarray]]:
    """Undo the steps of the data block."""
    return [[np.cumsum(np.reshape(r, (-1, 2)), axis=0) / UNITS_PER_DEG for r in rings] for rings in outline]


def shape_of(outline: list[list[list[int]]]) -> Any:
    return shapely.multipolygons([shapely.Polygon(shell, holes) for shell, *holes in rings_of(outline)])


def test_data_block_holds_the_findings():
    found = bay()
    data = Reader(build(found)).data()
    assert [s["rank"] for s in data["spots"]] == [1, 2, 3, 4, 5]
    for drawn, ranked in zip(data["spots"], found.spots, strict=True):
        assert np.divide(drawn["at"], UNITS_PER_DEG) == pytest.approx(
            (ranked.spot.lon, ranked.spot.lat), abs=6e-7
        )
    assert data["spots"][0]["look"] == "firm"
    assert data["spots"][4]["look"] == "near"
    assert data["spots"][1]["lines"] == [[-20_000_000, 45_150_000, -20_000_000, 45_250_000]]
    for drawn, geometry in zip(data["parks"], found.parks.geometry, strict=True):
        assert shape_of(drawn["outline"]).symmetric_difference(geometry).area < 1e-9
    cove, marsh, _ = found.parks.geometry
    assert shape_of(data["overlaps"]["two"]).symmetric_difference(cove.intersection(marsh)).area < 1e-9
    assert data["overlaps"]["more"] == []


def test_way_to_a_missed_park_ends_where_it_begins():
    data, _ = page_data(bay())
    x1, y1, x2, y2 = np.divide(data["spots"][4]["miss"], UNITS_PER_DEG)
    distance_m, bearing_deg = inverse(x1, y1, x2, y2)
    assert (distance_m, bearing_deg) == pytest.approx((120.0, 225.0), abs=0.2)


def test_home_circle_has_its_radius_on_the_ellipsoid():
    found = bay()
    data, _ = page_data(found)
    lon, lat = np.divide(np.reshape(data["home"]["circle"], (-1, 2)).T, UNITS_PER_DEG)
    distance_m, _ = inverse(*found.home, lon, lat)
    assert distance_m == pytest.approx(np.full(len(lon), 250_000.0), abs=0.3)


def wavy(west: float, south: float, size: float, vertices: int, seed: int) -> Any:
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, vertices, endpoint=False)
    radius = size / 2 * (1 + 0.05 * np.sin(25 * angle) + 0.004 * rng.standard_normal(vertices))
    return shapely.Polygon(
        np.column_stack([west + size / 2 + radius * np.cos(angle), south + size / 2 + radius * np.sin(angle)])
    )


def ground_m(geometry: Any, lat: float) -> Any:
    """A plane of metres good enough to measure a drawn outline by: degrees, scaled at one latitude."""
    return shapely.transform(geometry, lambda xy: xy * [111_320 * np.cos(np.radians(lat)), 111_200])


def test_outlines_stray_no_farther_than_the_page_says():
    parks = np.array([wavy(n, 45.0, 0.9, 12_000, n) for n in range(6)], dtype=object)
    drawn = draw(parks, NOWHERE, Frame(3.0))
    kept = sum(len(ring) for park in drawn.parks for rings in park for ring in rings)
    assert kept <= 60_000 < sum(len(p.exterior.coords) for p in parks)
    for park, polygons in zip(parks, drawn.parks, strict=True):
        line = ground_m(shapely.LinearRing(polygons[0][0] / UNITS_PER_DEG), 45.5)
        points = shapely.points(shapely.get_coordinates(ground_m(park.exterior, 45.5)))
        shapely.prepare(line)
        assert shapely.dwithin(line, points, drawn.tolerance_m * 1.03).all()


def test_outlines_are_whole_near_spots():
    park = wavy(0.0, 45.0, 0.9, 200_000, 1)
    vertices = shapely.get_coordinates(park.exterior)[:-1]
    place = vertices[70_000]
    drawn = draw(np.array([park], dtype=object), place.reshape(1, 2), Frame())
    assert drawn.tolerance_m > 1
    kept = {tuple(v) for v in drawn.parks[0][0][0].tolist()}
    away_m, _ = inverse(*np.broadcast_arrays(*place, *vertices.T))
    near = vertices[away_m <= FULL_DETAIL_KM * 1000]
    assert 1000 < len(near) < 20_000
    assert {tuple(v) for v in np.rint(near * UNITS_PER_DEG).astype(int).tolist()} <= kept


def test_a_long_edge_is_drawn_where_it_lies():
    """An edge that is straight in degrees is curved on a Mercator map: 142 m over this one, computed here."""
    triangle = shapely.Polygon([(0, 45), (1, 46), (0, 46)])
    middle = np.array([[0.5, 45.5]])
    drawn = draw(np.array([triangle], dtype=object), middle, Frame()).parks[0][0][0] / UNITS_PER_DEG

    def mercator(xy: Any) -> Any:
        lon, lat = np.radians(np.transpose(xy))
        return np.column_stack([lon, np.arcsinh(np.tan(lat))]) * 6_371_000 * np.cos(np.radians(45.5))

    target = shapely.Point(mercator(middle)[0])
    naive = shapely.LineString(mercator([(0, 45), (1, 46)]))
    assert naive.distance(target) == pytest.approx(142, abs=1)
    assert shapely.LinearRing(mercator(drawn)).distance(target) < 0.3


def test_the_smallest_outline_is_drawn_as_it_is():
    triangle = shapely.Polygon([(0, 45), (0.001, 45), (0, 45.001)])
    (polygon,) = draw(np.array([triangle], dtype=object), NOWHERE, Frame()).parks[0]
    assert sorted(map(tuple, polygon[0].tolist())) == [(0, 45_000_000), (0, 45_001_000), (1_000, 45_000_000)]


def test_no_park_vanishes_however_coarse_the_outlines():
    large = [wavy(n, 45.0, 0.9, 12_000, n) for n in range(12)]
    small = [wavy(n, 44.0, 1e-5, 40, n) for n in range(12)]
    drawn = draw(np.array([*large, *small], dtype=object), NOWHERE, Frame(6.0))
    assert drawn.tolerance_m > 1.2
    assert all(len(ring) >= 3 for park in drawn.parks for rings in park for ring in rings)


def test_inholdings_and_parts_are_drawn():
    lake = box(0.4, 45.4, 0.6, 45.6)
    park = shapely.MultiPolygon([box(0, 45, 1, 46).difference(lake), box(2, 45, 2.1, 45.1)])
    drawn = draw(np.array([park], dtype=object), NOWHERE, Frame()).parks[0]
    assert [len(rings) for rings in drawn] == [2, 1]


@given(
    st.lists(
        st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(1, 6), st.integers(1, 6)),
        min_size=1,
        max_size=9,
    )
)
@quick
def test_overlap_depth_is_the_number_of_parks_over_a_place(boxes: list[tuple[int, int, int, int]]):
    parks = [box(x / 10, 45 + y / 10, (x + w) / 10, 45 + (y + h) / 10) for x, y, w, h in boxes]
    drawn = draw(np.array(parks, dtype=object), NOWHERE, Frame())

    def covers(polygons: list[list[np.ndarray]], at: Any) -> bool:
        return any(
            shapely.Polygon(shell / UNITS_PER_DEG, [h / UNITS_PER_DEG for h in holes]).contains(at)
            for shell, *holes in polygons
        )

    # The middle of every cell of a grid on whose lines all edges lie, counted by plain comparison.
    for x in range(16):
        for y in range(16):
            depth = sum(bx <= x < bx + w and by <= y < by + h for bx, by, w, h in boxes)
            at = shapely.Point((x + 0.5) / 10, 45 + (y + 0.5) / 10)
            assert covers(drawn.twice, at) == (depth == 2)
            assert covers(drawn.thrice, at) == (depth >= 3)


def test_parks_that_only_touch_do_not_overlap():
    parks = np.array([box(0, 45, 1, 46), box(1, 45, 2, 46)], dtype=object)
    drawn = draw(parks, NOWHERE, Frame())
    assert drawn.twice == drawn.thrice == []


def test_no_parks_and_no_spots_still_make_a_page():
    text = words(build(findings([], parks_frame(), left_out=(), home=None)))
    assert "No spot was found" in text
    assert "Everything that was found is listed." in text


# Longitudes


@given(st.lists(st.floats(-180, 180), min_size=1, max_size=8))
@quick
def test_the_frame_never_tears_places_that_lie_together(lons: list[float]):
    spots = [line_spot(lon, 10.0, ["JJ00", "JJ10"], QUIET_COVE) for lon in lons]
    frame = frame_of(findings(spots, parks_frame((QUIET_COVE, box(0, 0, 1, 1)))))
    shown = np.array([frame.lon(lon) for lon in lons])
    turns = (shown - lons) / 360
    assert np.allclose(turns, np.round(turns), atol=1e-9)
    around = np.sort(np.mod(lons, 360))
    widest = np.diff(around, append=around[0] + 360).max()
    assert np.ptp(shown) <= 360 - widest + 1e-6


def test_parks_past_180_and_cut_parks_land_beside_their_spots():
    past = (QUIET_COVE, box(179.0, -17.5, 181.0, -16.5))
    cut = (TERN_MARSH, box(-179.9, -17.2, -178.0, -16.8))
    home = (LONG_SPIT, box(178.0, -17.2, 179.5, -16.8))
    spots = [corner_spot(-180.0, -17.0, ["RH93", "AH03", "RH92", "AH02"], [QUIET_COVE])]
    data, _ = page_data(findings(spots, parks_frame(past, cut, home), home=(179.9, -17.0), within_km=50.0))
    west = [shape_of(park["outline"]).bounds[0] for park in data["parks"]]
    at = data["spots"][0]["at"][0] / UNITS_PER_DEG
    assert west == pytest.approx([at - 1.0, at + 0.1, at - 2.0])
    circle = np.reshape(data["home"]["circle"], (-1, 2))[:, 0] / UNITS_PER_DEG
    assert np.ptp(circle) == pytest.approx(2 * 50.0 / (111.32 * np.cos(np.radians(17))), rel=0.01)
    assert abs(circle.mean() - (at - 0.1)) < 0.01


# One file of numbers for the codec and for the page's script (the script's half is in browser/)

VECTORS = json.loads((Path(__file__).parent / "vectors" / "locators.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("row", VECTORS["points"], ids=lambda row: row["locator"])
def test_codec_meets_the_shared_points(row: dict[str, Any]):
    assert locator.encode(row["lon"], row["lat"], 4) == row["locator"]


@pytest.mark.parametrize("row", VECTORS["lattice"], ids=lambda row: row["locator"])
def test_codec_meets_the_shared_cells(row: dict[str, Any]):
    assert locator.locator(row["column"], row["row"], row["level"]) == row["locator"]


def test_public_face():
    assert page.__all__ == ["build"]
