"""What the page draws lies where it is: outlines, overlaps, longitudes, the lattice's shared numbers."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
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
    parks_frame,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from page_reader import Reader, words
from test_page import synthetic
from walked import ground_frame, harbour, hazard_frame, route, surroundings

from scout.geo import locator
from scout.geo.geodesy import measure_geodesic
from scout.page.data import WALK_TOLERANCE_M, make_page_data, make_spot_data
from scout.page.document import build_map
from scout.page.outlines import FULL_DETAIL_KM, draw_parks, simplify_rings
from scout.page.packing import (
    OUTLINE_UNITS_PER_DEG,
    UNITS_PER_DEG,
    PageFrame,
    choose_frame,
    pack_ring,
    pack_rings,
)

quick = settings(deadline=None, derandomize=True, max_examples=60)
NOWHERE = np.empty((0, 2))


# What it draws


LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_"


def unpacked(text: str) -> tuple[np.ndarray, list[bool]]:
    """Vertices of a packed ring and which edges are loose, read by the rule alone."""
    numbers, value, unit = [], 0, 1
    for letter in text:
        bits = LETTERS.index(letter)
        value += bits % 32 * unit
        unit *= 32
        if bits < 32:
            numbers.append(value)
            value, unit = 0, 1
    counts = np.array(numbers).reshape(-1, 2) // [2, 1]
    steps = np.where(counts % 2 == 0, counts // 2, -(counts + 1) // 2)
    return np.cumsum(steps, axis=0), [n % 2 == 1 for n in numbers[::2]]


def shape_of(outline: list[list[str]], units_per_deg: int = OUTLINE_UNITS_PER_DEG) -> Any:
    rings = [[unpacked(text)[0] / units_per_deg for text in polygon] for polygon in outline]
    return shapely.multipolygons([shapely.Polygon(shell, holes) for shell, *holes in rings])


whole_numbers = st.integers(-36_000_000_000, 36_000_000_000)


@given(st.lists(st.tuples(whole_numbers, whole_numbers, st.booleans()), min_size=1, max_size=20))
@quick
def test_a_packed_ring_comes_back_as_it_was(vertices: list[tuple[int, int, bool]]):
    ring, loose = np.array([v[:2] for v in vertices]), np.array([v[2] for v in vertices])
    text = pack_ring(ring, loose)
    assert set(text) <= set(LETTERS)
    back, back_loose = unpacked(text)
    assert back.tolist() == ring.tolist()
    assert back_loose == loose.tolist()


@given(st.lists(st.lists(st.tuples(whole_numbers, whole_numbers, st.booleans()), max_size=5), max_size=5))
@quick
def test_rings_packed_together_are_those_packed_alone(drawn: list[list[tuple[int, int, bool]]]):
    rings = [np.array([v[:2] for v in ring], dtype=np.int64).reshape(-1, 2) for ring in drawn]
    loose = [np.array([v[2] for v in ring], dtype=bool) for ring in drawn]
    together = pack_rings(
        np.concatenate([np.empty((0, 2), dtype=np.int64), *rings]),
        np.array([len(ring) for ring in rings], dtype=np.int64),
        np.concatenate([np.empty(0, dtype=bool), *loose]),
    )
    assert together == [pack_ring(*some) for some in zip(rings, loose, strict=True)]


def test_data_block_holds_the_findings():
    found = bay()
    data = Reader(build_map(found)).data()
    assert [s["rank"] for s in data["spots"]] == [1, 2, 3, 4, 5]
    for drawn, ranked in zip(data["spots"], found.spots, strict=True):
        assert np.divide(drawn["at"], UNITS_PER_DEG) == pytest.approx(
            (ranked.spot.lon, ranked.spot.lat), abs=6e-7
        )
    assert data["spots"][0]["look"] == "firm"
    assert data["spots"][4]["look"] == "near"
    assert data["spots"][1]["stretches"][0][:4] == [-20_000_000, 45_150_000, -20_000_000, 45_250_000]
    for drawn, geometry in zip(data["parks"], found.parks.geometry, strict=True):
        assert shape_of(drawn["outline"]).symmetric_difference(geometry).area < 1e-9
    cove, marsh, _ = found.parks.geometry
    two = shape_of(data["overlaps"]["two"], UNITS_PER_DEG)
    assert two.symmetric_difference(cove.intersection(marsh)).area < 1e-9
    assert data["overlaps"]["more"] == []


def test_way_to_a_missed_park_ends_where_it_begins():
    data, _ = make_page_data(bay())
    missed = data["spots"][4]
    x1, y1, x2, y2 = np.divide([*missed["at"], *missed["near"]["to"]], UNITS_PER_DEG)
    distance_m, bearing_deg = measure_geodesic(x1, y1, x2, y2)
    assert (distance_m, bearing_deg) == pytest.approx((120.0, 225.0), abs=0.2)


def test_home_circle_has_its_radius_on_the_ellipsoid():
    found = bay()
    data, _ = make_page_data(found)
    lon, lat = np.divide(np.reshape(data["home"]["circle"], (-1, 2)).T, UNITS_PER_DEG)
    distance_m, _ = measure_geodesic(*found.home, lon, lat)
    assert distance_m == pytest.approx(np.full(len(lon), 250_000.0), abs=0.3)


def test_home_circle_round_a_pole_is_left_out():
    data, _ = make_page_data(replace(bay(), home=(20.0, -80.0), within_km=1200.0))
    assert data["home"]["circle"] is None


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


def test_outlines_are_whole_while_there_is_room():
    parks = np.array([wavy(n, 45.0, 0.9, 1_700, n) for n in range(6)], dtype=object)
    drawn = draw_parks(parks, NOWHERE, PageFrame(3.0))
    assert drawn.tolerance_m == 0
    for park, polygons in zip(parks, drawn.parks, strict=True):
        ring = polygons[0][0]
        whole = np.rint(shapely.get_coordinates(park.exterior)[:-1] * OUTLINE_UNITS_PER_DEG)
        assert ring.units.tolist() == whole.astype(int).tolist()
        assert not ring.loose.any()


def test_outlines_stray_no_farther_than_the_page_says():
    parks = np.array([wavy(n, 45.0, 0.9, 12_000, n) for n in range(6)], dtype=object)
    drawn = draw_parks(parks, NOWHERE, PageFrame(3.0))
    kept = sum(len(ring.units) for park in drawn.parks for rings in park for ring in rings)
    assert kept <= 16_100 < sum(len(p.exterior.coords) for p in parks)
    assert drawn.tolerance_m >= 1
    for park, polygons in zip(parks, drawn.parks, strict=True):
        line = ground_m(shapely.LinearRing(polygons[0][0].units / OUTLINE_UNITS_PER_DEG), 45.5)
        points = shapely.points(shapely.get_coordinates(ground_m(park.exterior, 45.5)))
        shapely.prepare(line)
        assert shapely.dwithin(line, points, drawn.tolerance_m).all()


def test_an_edge_is_loose_where_vertices_were_left_out_and_nowhere_else():
    parks = np.array([wavy(n, -45.0, 0.9, 12_000, n) for n in range(4)], dtype=object)
    drawn = draw_parks(parks, NOWHERE, PageFrame(2.0))
    for park, polygons in zip(parks, drawn.parks, strict=True):
        vertices = np.rint(shapely.get_coordinates(park.exterior)[:-1] * OUTLINE_UNITS_PER_DEG).astype(int)
        number = {tuple(v): k for k, v in enumerate(vertices.tolist())}
        ring = polygons[0][0]
        at = [number[tuple(v)] for v in ring.units.tolist()]
        ends = [*at[1:], at[0] + len(vertices)]
        assert ring.loose.tolist() == [end - start > 1 for start, end in zip(at, ends, strict=True)]
        assert 0 < ring.loose.sum() < len(at)


def test_outlines_are_whole_near_spots():
    park = wavy(0.0, 45.0, 0.9, 200_000, 1)
    vertices = shapely.get_coordinates(park.exterior)[:-1]
    place = vertices[70_000]
    drawn = draw_parks(np.array([park], dtype=object), place.reshape(1, 2), PageFrame())
    assert drawn.tolerance_m >= 1
    ring = drawn.parks[0][0][0]
    kept = {tuple(v): loose for v, loose in zip(ring.units.tolist(), ring.loose.tolist(), strict=True)}
    away_m, _ = measure_geodesic(*np.broadcast_arrays(*place, *vertices.T))
    near = vertices[away_m <= FULL_DETAIL_KM * 1000]
    assert 1000 < len(near) < 20_000
    whole = [tuple(v) for v in np.rint(near * OUTLINE_UNITS_PER_DEG).astype(int).tolist()]
    assert not any(kept[v] for v in whole), "kept, and the edge from it is the outline's own"


def test_a_long_edge_that_passes_a_spot_stays_whole():
    """Its ends lie 4 km from the spot and 0.3 m off a straight line: anywhere else they would go."""
    x = np.linspace(3.0, 4.0, 11)
    top = np.column_stack([x, 45.5 + 3e-6 * (np.arange(11) % 2)])
    smooth = shapely.Polygon([*top, (4.0, 45.0), (3.0, 45.0)])
    spot = np.array([[3.45, 45.5]])
    drawn = draw_parks(np.array([wavy(0.0, 45.0, 0.9, 60_000, 3), smooth], dtype=object), spot, PageFrame())
    assert drawn.tolerance_m >= 1
    ring = drawn.parks[1][0][0]
    kept = [tuple(v) for v in ring.units.tolist()]
    one, other = (tuple(v) for v in np.rint(top[4:6] * OUTLINE_UNITS_PER_DEG).astype(int).tolist())
    assert kept.index(other) == kept.index(one) + 1
    assert not ring.loose[kept.index(one)]
    assert len(kept) < 11


def test_the_smallest_outline_is_drawn_as_it_is():
    triangle = shapely.Polygon([(0, 45), (0.001, 45), (0, 45.001)])
    (polygon,) = draw_parks(np.array([triangle], dtype=object), NOWHERE, PageFrame()).parks[0]
    assert sorted(map(tuple, polygon[0].units.tolist())) == [
        (0, 4_500_000_000),
        (0, 4_500_100_000),
        (100_000, 4_500_000_000),
    ]


def test_no_park_vanishes_however_coarse_the_outlines():
    large = [wavy(n, 45.0, 0.9, 6_000, n) for n in range(12)]
    small = [wavy(n, 44.0, 1e-5, 40, n) for n in range(12)]
    drawn = draw_parks(np.array([*large, *small], dtype=object), NOWHERE, PageFrame(6.0))
    assert drawn.tolerance_m > 1.2
    assert all(len(ring.units) >= 3 for park in drawn.parks for rings in park for ring in rings)


def test_inholdings_and_parts_are_drawn():
    lake = box(0.4, 45.4, 0.6, 45.6)
    park = shapely.MultiPolygon([box(0, 45, 1, 46).difference(lake), box(2, 45, 2.1, 45.1)])
    drawn = draw_parks(np.array([park], dtype=object), NOWHERE, PageFrame()).parks[0]
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
    drawn = draw_parks(np.array(parks, dtype=object), NOWHERE, PageFrame())

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
    drawn = draw_parks(parks, NOWHERE, PageFrame())
    assert drawn.twice == drawn.thrice == []


# Longitudes


@given(st.lists(st.floats(-180, 180), min_size=1, max_size=8))
@quick
def test_the_frame_never_tears_places_that_lie_together(lons: list[float]):
    spots = [line_spot(lon, 10.0, ["JJ00", "JJ10"], QUIET_COVE) for lon in lons]
    frame = choose_frame(findings(spots, parks_frame((QUIET_COVE, box(0, 0, 1, 1)))))
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
    data, _ = make_page_data(
        findings(spots, parks_frame(past, cut, home), home=(179.9, -17.0), within_km=50.0)
    )
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
    assert locator.make_locator(row["column"], row["row"], row["level"]) == row["locator"]


# Neighbours


def quilt() -> Any:
    """Sixty-four areas between wavy lines: a valid coverage, every other ring turned round."""
    t = np.linspace(0, 2, 3001)
    lines = []
    for c in np.linspace(0.1, 1.9, 9):
        for phase, across in ((c, False), (c + 1, True)):
            wave = sum(h * np.sin(f * t + phase) for h, f in ((0.03, 5), (0.004, 61), (0.0008, 811)))
            lines.append(np.column_stack([c + wave, t] if across else [t, c + wave]))
    net = shapely.union_all(shapely.linestrings(np.array(lines)))
    areas = shapely.get_parts(shapely.polygonize(shapely.get_parts(net)))
    return np.array([shapely.reverse(a) if n % 2 else a for n, a in enumerate(areas)])


def test_neighbours_stay_neighbours_when_their_outlines_are_simplified():
    """shapely's coverage_is_valid (GEOS CoverageValidator): no gap and no overlap along shared edges."""
    areas = quilt()
    assert len(areas) == 64
    assert shapely.coverage_is_valid(areas)
    kept = simplify_rings(shapely.get_exterior_ring(areas), np.array([[1.0, 1.0]]))
    assert kept.tolerance_m > 0
    assert len(kept.xy) < shapely.get_num_coordinates(areas).sum() / 4
    edges = np.searchsorted(kept.ring_of, np.arange(len(areas) + 1))
    simple = np.array([shapely.Polygon(kept.xy[a:b]) for a, b in pairwise(edges)])
    assert shapely.coverage_is_valid(simple)


# The ground around


def test_the_ground_around_is_cut_to_what_lies_near():
    found = harbour()
    far = box(-19.0, 45.0, -18.9, 45.1)
    ground = found.surroundings
    barriers = pd.concat([ground.barriers, ground_frame([("water", "Far Lake", far)])], ignore_index=True)
    data, _ = make_page_data(replace(found, surroundings=replace(ground, barriers=barriers)))
    drawn = shape_of(data["around"]["barriers"]["areas"], UNITS_PER_DEG)
    lake = ground.barriers.geometry.iloc[0]
    assert drawn.symmetric_difference(lake).area < 0.02 * lake.area
    assert len(data["around"]["walls"]["lines"]) == 1
    assert shape_of(data["around"]["closed"]["areas"], UNITS_PER_DEG).area == pytest.approx(8e-5, rel=1e-6)
    assert [start[2] for start in data["around"]["starts"]] == ["parking", "trailhead"]
    assert [data["around"][name]["left"] for name in ("barriers", "closed", "power")] == [0, 0, 0]
    assert "has room in this file" not in words(build_map(found))


def test_a_dense_city_has_its_nearest_ground_drawn_and_the_rest_told():
    found = synthetic(100, 100, 1000)
    at = np.array([(r.spot.lon, r.spot.lat) for r in found.spots])
    rng = np.random.default_rng(7)

    def pieces(count: int, make: Any) -> list[tuple[str, str, Any]]:
        places = at[rng.integers(0, len(at), count)] + rng.uniform(-0.015, 0.015, (count, 2))
        return [("wall", "Q" * 500, make(*place)) for place in places]

    def block(x: float, y: float) -> Any:
        """A ring of twelve corners round a yard."""
        return shapely.Point(x, y).buffer(3e-4, quad_segs=3) - shapely.Point(x, y).buffer(1e-4, quad_segs=3)

    def street(x: float, y: float) -> Any:
        return shapely.LineString(np.array([x, y]) + np.cumsum(rng.normal(0, 2e-4, (30, 2)), axis=0))

    # A sea of many islands besides, too much for the page as one piece.
    islands = shapely.union_all(
        [shapely.Point(x, y).buffer(4e-4) for x, y in at[:1] + rng.uniform(-1, 1, (4000, 2))]
    )
    sea = box(-101, 39, -95, 42).difference(islands)
    ground = replace(
        surroundings(),
        barriers=ground_frame([("water", "", sea), *pieces(3000, block), *pieces(3000, street)]),
        hazards=hazard_frame(closed=pieces(6000, block), power=pieces(6000, street)),
        starts=ground_frame(pieces(3000, shapely.Point)),
    )
    full = replace(found, surroundings=ground)
    text = build_map(full)
    assert len(text.encode()) < 750_000  # half of what a page with data of the ground may have
    around = Reader(text).data()["around"]
    told = words(text)
    for name, word in (
        ("walls", "barriers"),
        ("closed", "closed ground"),
        ("power", "overhead power lines"),
    ):
        left = around[name]["left"]
        assert left > 1000
        assert told.count(f"{left:,} of {word}") == 2  # in the key and behind the list
        assert 12_000 < len(json.dumps(around[name], separators=(",", ":"))) < 16_500
    assert around["startsLeft"] + len(around["starts"]) == 3000
    # What is drawn is nearer than what is not, but for pieces that would not fit into what was left.
    drawn = shape_of(around["closed"]["areas"], UNITS_PER_DEG)
    spots = shapely.MultiPoint(at)
    away = np.sort([shapely.distance(spots, shape) for shape in ground.hazards_of("closed").geometry])
    kept = np.sort([shapely.distance(spots, part) for part in shapely.get_parts(drawn)])
    assert kept[: len(kept) * 9 // 10].max() <= away[len(kept)] * 1.5


def test_the_ground_around_follows_the_page_over_the_antimeridian():
    """Access data may come with longitudes on either side of 180."""
    spot = corner_spot(179.9999, 0.0, ["RJ90"], [QUIET_COVE])
    frame = parks_frame((QUIET_COVE, box(179.9, -0.1, 180.1, 0.1)))
    lake = box(-179.999, -0.001, -179.998, 0.001)
    lakes = [("water", "", lake)]
    ground = replace(surroundings(), barriers=ground_frame(lakes), hazards=hazard_frame(closed=lakes))
    data, _ = make_page_data(findings([spot], frame, surroundings=ground))
    drawn = shape_of(data["around"]["barriers"]["areas"], UNITS_PER_DEG)
    assert drawn.bounds == pytest.approx((180.001, -0.001, 180.002, 0.001), abs=1e-6)


def test_a_walk_comes_as_a_packed_line_with_its_edges_off_paths():
    data, _ = make_page_data(harbour())
    walk = data["spots"][0]["walk"]
    line, off = unpacked(walk["line"])
    assert line / UNITS_PER_DEG == pytest.approx(np.array(route().line), abs=6e-7)
    assert off == [False, False, True, False]
    assert unpacked(walk["profile"])[0].tolist() == [[0, 12], [400, 61], [800, 48], [1312, 117]]
    assert data["spots"][2]["walk"]["state"] == "out of reach"


@given(st.integers(2, 60), st.integers(0, 10_000))
@quick
def test_a_simplified_walk_strays_little_and_keeps_every_change_of_kind(size: int, seed: int):
    rng = np.random.default_rng(seed)
    xy = np.cumsum(rng.normal(0, 1e-4, (size, 2)), axis=0) + np.array([-20.0, 45.0])
    on = rng.uniform(size=size - 1) < 0.8
    walk = replace(route(), line=tuple(map(tuple, xy.tolist())), on_path=tuple(on.tolist()))
    ranked = replace(harbour().spots[0], route=walk)
    told = make_spot_data(ranked, {QUIET_COVE[0]: 0, TERN_MARSH[0]: 1}, PageFrame(-20.0))["walk"]
    units, off = unpacked(told["line"])
    scale = np.array([78_850.0, 111_130.0])  # metres per degree at 45 N (Snyder 1987, from memory)
    for kind in (True, False):
        whole = [shapely.LineString(xy[k : k + 2] * scale) for k in np.flatnonzero(on == kind)]
        drawn = [
            shapely.LineString(units[k : k + 2] / UNITS_PER_DEG * scale)
            for k in range(len(units) - 1)
            if off[k] != kind
        ]
        assert bool(whole) == bool(drawn)
        if whole:
            stray_m = shapely.hausdorff_distance(shapely.union_all(whole), shapely.union_all(drawn))
            assert stray_m < WALK_TOLERANCE_M + 0.2


def test_parks_named_without_an_outline_are_numbered_after_the_others():
    data, _ = make_page_data(findings([corner_spot(-20.0, 45.0, ["HN95"], [TERN_MARSH])], parks_frame()))
    assert data["named"] == [list(TERN_MARSH)]
    assert data["spots"][0]["parks"] == [0]
