"""The page judges a place as the command does: the same numbers, the same cells, parks and verdict."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from builders import QUIET_COVE, bay, box, corner_spot, findings, parks_frame
from page_reader import script
from playwright.sync_api import Page

from browser.asked import Places, anywhere, near_boundaries, near_lattice, off
from browser.conftest import Watched
from scout.app.find import SearchOptions, find_spots
from scout.errors import ScoutError
from scout.geo.coordinates.parse import read_place
from scout.geo.locator import encode
from scout.io.layers import read_layers
from scout.model import Checked, Findings, ParkReport, Parks
from scout.parks.build import build_parks
from scout.search.check import CheckOptions, check_places

Open = Callable[..., Watched]

ROOT = Path(__file__).parents[2]
VECTORS = {
    path.stem: json.loads(path.read_text(encoding="utf-8"))
    for path in (ROOT / "tests" / "vectors").glob("*.json")
}
UNSURE = "too close to tell"


@pytest.fixture(scope="module")
def island() -> Findings:
    """The demo island, read, made into parks and searched as `scout demo` does."""
    files = [ROOT / "data_demo" / name for name in ("parks.geojson", "forest.gpkg", "corridors.geojson")]
    return find_spots(build_parks(read_layers(files), corridor_m=30.48), SearchOptions())


# The same numbers


def test_script_and_python_meet_the_same_numbers(open_page: Open) -> None:
    got = open_page(bay()).page.evaluate(
        "(v) => {"
        + script("check.js", "wording.js")
        + """
        const seen = (row) => {
          const boundary = makeBoundary(row.outline, findings.outlineUnitsPerDegree);
          return row.seen.map(({ place }) => {
            const { distance } = findNearestEdge(boundary, ...place);
            const clearance = isWithin(boundary, ...place) ? distance : -distance;
            return [clearance, containedP(boundary, ...place, clearance, row.radius, row.sigma)];
          });
        };
        const inUnits = (word) => (row) => {
          setLengthUnits(row.units);
          return word(row);
        };
        const by = {
          ...LENGTH_FORMS,
          height: formatHeight,
          clearance: formatClearance,
          bearing: formatBearing,
          slope: formatSlope,
          minutes: formatDuration,
          share: formatPercent,
        };
        const touching = ({ dx, dy, radius, sigma }) => [
          lineP(dx, radius, sigma),
          cornerP(Math.hypot(dx, dy), radius, sigma),
          threeCellsP(dx, dy, radius, sigma),
        ];
        return {
          lengths: v.geodesy.lengths.map(({ lat }) => Object.values(degreeLengths(lat))),
          series: v.geodesy.series.map(({ lat, dlon, dlat }) => seriesForward(seriesAt(lat), dlon, dlat)),
          lines: v.geodesy.lines.map((line) => inverse(...line.from, ...line.to)),
          sigma: v.confidence.sigma.map(({ error }) => sigmaOf(error)),
          verdicts: v.confidence.words.map(({ p }) => wordFor(p)),
          touching: v.confidence.touching.map(touching),
          boundaries: v.boundaries.boundaries.map(seen),
          words: {
            shares: v.words.shares.map(({ share }) => formatPercent(share)),
            settings: v.words.settings.map(inUnits(({ metres }) => formatStatedLength(metres))),
            heights: v.words.heights.map(inUnits(({ metres }) => formatHeight(metres))),
            clearances: v.words.clearances.map(inUnits(({ metres }) => formatClearance(metres))),
            sentences: v.words.sentences.map(inUnits(({ parts }) => formatSentence(parts))),
            bearings: v.words.bearings.map(({ degrees }) => formatBearing(degrees)),
            slopes: v.words.slopes.map(({ degrees }) => formatSlope(degrees)),
            offPaths: v.words.offPaths.map(({ off, length }) => formatOffPaths(off, length)),
            minutes: v.words.minutes.map(({ minutes }) => formatDuration(minutes)),
            unknown: v.words.unknown.map(({ what, value }) => by[what](Number(value))),
            counts: v.words.counts.map(({ count }) => formatCount(count, "park")),
            verdicts: v.words.verdicts.map(({ word, ifTrue }) => formatVerdict(word, ifTrue)),
          },
          two: v.words.lengths.map(inUnits(({ metres }) => [formatLength(metres), formatFineLength(metres)])),
          places: v.words.places.map(({ lon, lat }) => [
            formatDecimal(lon, lat), formatMinutes(lon, lat), formatGeoLink(lon, lat),
          ]),
        }; }""",
        VECTORS,
    )
    geodesy, budget, words = (VECTORS[name] for name in ("geodesy", "confidence", "words"))
    assert np.allclose(got["lengths"], [row["per"] for row in geodesy["lengths"]], rtol=0, atol=1e-9)
    assert np.allclose(got["series"], [row["at"] for row in geodesy["series"]], rtol=0, atol=1e-9)
    for line, row in zip(got["lines"], geodesy["lines"], strict=True):
        # Bearings of lines a few millimetres long rest on the last bits of their ends.
        assert line["distance"] == pytest.approx(row["distance"], abs=1e-5)
        assert turned(line["bearing"], row["bearing"]) * row["distance"] < 1e-5
    assert got["sigma"] == pytest.approx([row["sigma"] for row in budget["sigma"]], abs=1e-12)
    assert got["verdicts"] == [row["word"] for row in budget["words"]]
    expected = [[row["line"], row["four"], row["three"]] for row in budget["touching"]]
    assert np.allclose(got["touching"], expected, rtol=0, atol=1e-9)
    for seen, row in zip(got["boundaries"], VECTORS["boundaries"]["boundaries"], strict=True):
        expected = [[s["clearance"], s["p"]] for s in row["seen"]]
        assert np.allclose(seen, expected, rtol=0, atol=1e-9), row["shape"]
    for group, texts in got["words"].items():
        assert texts == [row["text"] for row in words[group]], group
    assert set(got["words"]) == set(words) - {"about", "places", "lengths"}
    assert got["two"] == [[row["plain"], row["fine"]] for row in words["lengths"]]
    assert got["places"] == [[row["decimal"], row["minutes"], row["link"]] for row in words["places"]]


def turned(one: float, other: float) -> float:
    """Radians between two bearings."""
    return float(abs(np.radians((one - other + 180) % 360 - 180)))


# The same verdicts


def asked_of_page(page: Page, places: Places) -> list[dict[str, Any]]:
    got: list[dict[str, Any]] = page.evaluate(
        "(asked) => {" + script("check.js") + "return asked.map(([lon, lat]) => judge({ lon, lat })); }",
        places.tolist(),
    )
    return got


def asked_of_command(found: Findings, places: Places) -> list[Checked]:
    """What the command says where it knows the parks that the page holds."""
    known = Parks(found.parks, found.sources, found.report)
    options = CheckOptions(level=found.level, station=found.station, moves=False)
    return list(check_places(known, *places.T, options))


DRIVERS = {
    "none near": "no park is near",
    "outside": "outside every park",
    "shallow": "only ",
    "boundary": "the boundary of ",
    "grids": "reaching ",
    "receiver": "the receiver",
}


def assert_same(page: dict[str, Any], command: Checked) -> None:
    verdict = page["verdict"]
    assert tuple(verdict["locators"]) == command.verdict.locators
    assert {park["id"] for park in verdict["parks"]} == set(command.verdict.parks)
    assert verdict["word"] == command.verdict.word
    assert command.driver.startswith(DRIVERS[page["driver"]["kind"]])
    assert verdict["gridsP"] == pytest.approx(command.verdict.grids_p, abs=1e-9)
    assert verdict["confidence"] == pytest.approx(command.verdict.confidence, abs=2e-4)
    near = {park["id"]: park for park in page["parks"]}
    assert set(near) == {park.park for park in command.parks}
    for park in command.parks:
        mine = near[park.park]
        assert mine["clearance"] == pytest.approx(park.clearance_m, abs=0.005)
        assert mine["edgeM"] == pytest.approx(park.edge_m, abs=0.005)
        # Along a corridor's round end the distance hardly changes, and the nearest point is hardly fixed.
        assert turned(mine["edgeDeg"], park.edge_deg) * park.edge_m < 0.5
        assert (mine["atInholding"], mine["word"]) == (park.at_inholding, park.word)
        assert mine["p"] == pytest.approx(park.p, abs=2e-4)
    for line, expected in zip(page["lines"], command.lines, strict=True):
        assert line["kind"] == expected.kind
        assert line["distance"] == pytest.approx(expected.distance_m, abs=1e-3)
        assert turned(line["bearing"], expected.bearing_deg) * expected.distance_m < 0.01


def test_page_and_command_agree_at_two_thousand_places(open_page: Open, island: Findings) -> None:
    rng = np.random.default_rng(2_000)
    area = tuple(island.parks.total_bounds + np.array([-0.02, -0.02, 0.02, 0.02]))
    places = np.concatenate(
        [
            near_boundaries(island.parks.geometry.to_numpy(), 900, 20.0, rng),
            near_lattice(area, 2, 500, 20.0, rng),
            anywhere(area, 600, rng),
        ]
    )
    opened = open_page(island)
    by_page = asked_of_page(opened.page, places)
    by_command = asked_of_command(island, places)
    assert len(by_page) == 2_000
    for mine, expected in zip(by_page, by_command, strict=True):
        assert_same(mine, expected)
    # The draw holds what can go wrong: every verdict, every number of cells, places in several parks.
    assert min(Counter(c.verdict.word for c in by_command).values()) > 200
    assert set(Counter(len(c.verdict.locators) for c in by_command)) == {1, 2, 3, 4}
    assert {0, 1, 2, 3} <= {len(c.verdict.parks) for c in by_command}
    assert {c.driver.split()[0] for c in by_command} >= {"no", "outside", "only", "the", "reaching"}
    assert opened.messages == []


def test_they_agree_at_a_finer_level_and_with_other_errors(open_page: Open, island: Findings) -> None:
    rng = np.random.default_rng(3)
    station = replace(island.station, radius_m=12.0, fix_error_m=9.0, boundary_error_m=4.0)
    finer = replace(island, level=4, station=station)
    area = tuple(island.parks.total_bounds)
    places = np.concatenate(
        [
            near_boundaries(island.parks.geometry.to_numpy(), 150, 20.0, rng),
            near_lattice(area, 4, 150, 20.0, rng),
        ]
    )
    page = open_page(finer).page
    for mine, expected in zip(asked_of_page(page, places), asked_of_command(finer, places), strict=True):
        assert_same(mine, expected)


def over_the_seam(lat: float, number: int) -> list[Any]:
    """A park whose numbers run past 180, with a hole on a corner, and one that begins at -180."""
    hole = shapely.Point(180.0, lat).buffer(0.0004, quad_segs=5)
    past = shapely.union(box(179.2, lat - 0.3, 181.0, lat + 0.3), box(180.2, lat, 180.7, lat + 0.9)) - hole
    cut = shapely.Polygon([(-180, lat - 0.1), (-179.4, lat - 0.4), (-179.5, lat + 0.2), (-180, lat + 0.05)])
    return [((f"past-{number}", "Past"), past), ((f"cut-{number}", "Cut"), cut)]


def test_they_agree_over_the_antimeridian_and_far_north(open_page: Open) -> None:
    rng, parks, places = np.random.default_rng(5), [], []
    for number, lat in enumerate((-17.0, 66.0, 83.0)):
        here = over_the_seam(lat, number)
        area = (179.0, lat - 0.5, 181.2, lat + 1.0)
        places += [
            near_boundaries([geometry for _, geometry in here], 120, 20.0, rng),
            near_lattice(area, 2, 60, 20.0, rng),
            anywhere(area, 60, rng),
        ]
        parks += here
    found = findings([corner_spot(-180.0, -17.0, ["AA00"] * 4, [parks[0][0]])], parks_frame(*parks))
    asked = np.concatenate(places)
    page = open_page(found).page
    for mine, expected in zip(asked_of_page(page, asked), asked_of_command(found, asked), strict=True):
        assert_same(mine, expected)


# Outlines that are not whole


def rough_park() -> tuple[Findings, Any]:
    """A park of 40,000 vertices, which the page simplifies but for 2 km around its one spot."""
    rng = np.random.default_rng(8)
    angle = np.linspace(0, 2 * np.pi, 40_000, endpoint=False)
    radius = 0.4 * (1 + 0.05 * np.cos(25 * angle) + 3e-4 * rng.standard_normal(len(angle)))
    shell = np.column_stack([-20 + radius * np.cos(angle), 45.4 + radius * np.sin(angle)])
    park = shapely.make_valid(shapely.Polygon(shell))
    spot = corner_spot(-20.0, 45.0, ["HN95", "IN05", "HN94", "IN04"], [QUIET_COVE])
    return findings([spot], parks_frame((QUIET_COVE, park))), park


def test_the_page_does_not_guess_where_its_outline_is_too_coarse(open_page: Open) -> None:
    found, park = rough_park()
    rng = np.random.default_rng(9)
    places = np.concatenate(
        [near_boundaries([park], 250, 60.0, rng), anywhere((-20.5, 44.9, -19.5, 45.9), 150, rng)]
    )
    page = open_page(found).page
    tolerance = page.evaluate("() => JSON.parse(document.getElementById('findings').textContent).tolerance")
    assert tolerance >= 1
    told = {True: 0, False: 0}
    for mine, expected in zip(asked_of_page(page, places), asked_of_command(found, places), strict=True):
        unsure = mine["verdict"]["word"] == UNSURE
        told[not unsure] += 1
        if unsure:
            assert mine["driver"]["kind"] == "outline"
            # Never without need: the command's own boundary lies within what errors and tolerance reach.
            assert min(abs(p.clearance_m) for p in expected.parks) < 33 + 2 * tolerance
            continue
        assert mine["verdict"]["word"] == expected.verdict.word
        assert {p["id"] for p in mine["verdict"]["parks"]} == set(expected.verdict.parks)
        for park_seen, park_expected in zip(mine["parks"], expected.parks, strict=True):
            slack = park_seen["strayM"] + 0.005
            assert park_seen["clearance"] == pytest.approx(park_expected.clearance_m, abs=slack)
    assert told[True] > 100
    assert told[False] > 100


def test_the_page_answers_beside_a_boundary_where_its_outline_is_whole(open_page: Open) -> None:
    found, park = rough_park()
    near = shapely.intersection(shapely.boundary(park), shapely.Point(-20.0, 45.0).buffer(0.015))
    rng = np.random.default_rng(10)
    at = shapely.line_interpolate_point(near, rng.uniform(0, 1, 200), normalized=True)
    places = off(shapely.get_coordinates(at), 20.0, rng)
    page = open_page(found).page
    for mine, expected in zip(asked_of_page(page, places), asked_of_command(found, places), strict=True):
        assert_same(mine, expected)


# Locators and texts


def test_a_locator_is_judged_as_the_command_judges_its_cell(open_page: Open, island: Findings) -> None:
    rng = np.random.default_rng(6)
    middles = anywhere(tuple(island.parks.total_bounds), 40, rng)
    cells = [encode(*at, level) for at in middles.tolist() for level in (2, 3, 4, 5)]
    places = np.array([(p.lon, p.lat) for p in map(read_place, cells)])
    known = Parks(island.parks, island.sources, ParkReport())
    options = CheckOptions(level=island.level, station=island.station, moves=False)
    expected = list(check_places(known, *places.T, options, cells=cells))
    got = open_page(island).page.evaluate(
        "(cells) => {"
        + script("check.js", "read_place.js")
        + "return cells.map((c) => judge(readPlace(c))); }",
        cells,
    )
    shares = []
    for mine, want in zip(got, expected, strict=True):
        assert tuple(mine["verdict"]["locators"]) == want.verdict.locators
        assert {p["id"] for p in mine["verdict"]["parks"]} == set(want.verdict.parks)
        assert mine["verdict"]["word"] == want.verdict.word
        by_id = {p["id"]: p for p in mine["parks"]}
        for park in want.parks:
            assert by_id[park.park]["share"] == pytest.approx(park.cell_share, abs=1e-4)
            shares.append(park.cell_share)
    assert sum(0.01 < share < 0.99 for share in shares) > 20


READ = "(texts) => {" + script("read_place.js") + "return texts.map(readPlace); }"


def test_places_are_read_as_the_shared_texts_say(open_page: Open) -> None:
    rows = VECTORS["places"]
    page = open_page(bay()).page
    for row, got in zip(rows["read"], page.evaluate(READ, [r["text"] for r in rows["read"]]), strict=True):
        assert (got["lat"], got["lon"]) == pytest.approx((row["lat"], row["lon"]), abs=1e-12)
        assert got.get("cell", {}).get("locator") == row.get("cell")
    refused = page.evaluate(READ, [r["text"] for r in rows["refused"]])
    for row, got in zip(rows["refused"], refused, strict=True):
        assert row["words"] in got["refusal"]
        assert "\n" not in got["refusal"]


def test_the_page_reads_no_text_otherwise_than_the_command(open_page: Open) -> None:
    """Texts of places with letters dropped, doubled, swapped and put in, from a seed."""
    rng = np.random.default_rng(4)
    good = [row["text"] for row in VECTORS["places"]["read"]]
    texts = []
    for text in rng.choice(good, 3_000).tolist():
        for _ in range(rng.integers(1, 4)):
            at = int(rng.integers(0, len(text) + 1))
            put = str(rng.choice(list("0123459.,;-+ :NSEWnsew°'\"dmgeoaxR")))
            text = [
                text[:at] + put + text[at:],
                text[:at] + text[at + 1 :],
                text[:at] + put + text[at + 1 :],
            ][int(rng.integers(0, 3))]
        texts.append(text)
    read = 0
    for text, got in zip(texts, open_page(bay()).page.evaluate(READ, texts), strict=True):
        if "refusal" in got:
            continue
        read += 1
        try:
            place = read_place(text)
        except ScoutError as error:
            pytest.fail(f"the page reads what the command refuses: {error}")
        assert (got["lat"], got["lon"]) == pytest.approx((place.lat, place.lon), abs=1e-12), text
        assert got.get("cell", {}).get("locator") == place.cell
    assert 300 < read < 2_700


# What is drawn


def test_a_long_edge_is_drawn_where_it_lies(open_page: Open) -> None:
    """An edge that is straight in degrees is curved on a Mercator map: 142 m over this one, computed here."""
    triangle = (QUIET_COVE, shapely.Polygon([(0, 45), (1, 46), (0, 46)]))
    page = open_page(
        findings([corner_spot(0.0, 46.0, ["JN06"] * 4, [QUIET_COVE])], parks_frame(triangle))
    ).page
    ring = page.evaluate(
        "() => {"
        + script("findings.js", "outlines.js")
        + "return makeDrawnPolygons(findings.parks[0].outline, findings.outlineUnitsPerDegree)[0][0]; }"
    )

    def mercator(lonlat: Any) -> Any:
        lon, lat = np.radians(np.transpose(lonlat))
        return np.column_stack([lon, np.arcsinh(np.tan(lat))]) * 6_371_000 * np.cos(np.radians(45.5))

    target = shapely.Point(mercator([(0.5, 45.5)])[0])
    naive = shapely.LineString(mercator([(0, 45), (1, 46)]))
    assert naive.distance(target) == pytest.approx(142, abs=1)
    assert shapely.LinearRing(mercator(np.array(ring)[:, ::-1])).distance(target) < 0.3
