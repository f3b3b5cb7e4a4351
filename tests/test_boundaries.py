"""Outlines as arrays and what is measured on them, by the compiled loops and by numpy, against brute force.

Close by, metres are those of `oracles.metric`: radii of curvature of the ellipsoid, shapely for the side;
further off they are geodesics of geographiclib (R).
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from oracles import metric
from oracles.arrangement import segments
from shapely import affinity

from scout.geo import boundaries
from scout.geo.boundaries import Boundaries, Outlines, find_sides, polygonal_parts, side_of

PLACES = [(10.0, 0.0), (-70.5, 47.3), (179.9995, -71.2), (25.0, 63.0)]


pytestmark = pytest.mark.usefixtures("loops")


def as_array(shapes) -> np.ndarray:
    made = np.empty(len(shapes), dtype=object)
    made[:] = shapes
    return made


def draw_parks(seed: int, count: int = 24) -> list:
    """Stars of 5 to 60 vertices, 20 to 400 m wide, some with a hole, some in two parts, some past 180."""
    rng, made = np.random.default_rng(seed), []
    for k in range(count):
        n = int(rng.choice([5, 17, 33, 60]))
        turn = np.sort(rng.uniform(0, 2 * np.pi, n))
        away = rng.uniform(0.3, 1.0, n) * rng.uniform(20, 400)
        star = shapely.Polygon(np.stack([away * np.cos(turn), away * np.sin(turn)], axis=1)).buffer(0)
        star = max(shapely.get_parts(star), key=shapely.area)
        if k % 3 == 1:
            star = star - shapely.box(-4, -3, 5, 6)
        if k % 3 == 2:
            star = shapely.MultiPolygon(
                [max(shapely.get_parts(star), key=shapely.area), shapely.box(500, -30, 560, 40)]
            )
        lon, lat = PLACES[k % len(PLACES)]
        east, north = metric.degree_lengths(lat)
        made.append(affinity.affine_transform(star, [1 / east, 0, 0, 1 / north, lon, lat]))
    return made


def draw_pairs(parks, seed: int, each: int = 8) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Parks in any order, with places in and around them; longitudes by either name."""
    rng = np.random.default_rng(seed)
    park = rng.permutation(np.repeat(np.arange(len(parks)), each))
    west, south, east, north = shapely.bounds(as_array(parks))[park].T
    lon = west + (east - west) * rng.uniform(-0.3, 1.3, len(park))
    lat = south + (north - south) * rng.uniform(-0.3, 1.3, len(park))
    return park, (lon + 180.0) % 360.0 - 180.0, lat


def test_clearances_are_those_of_the_nearest_edge_and_their_feet_lie_on_it():
    parks = draw_parks(1)
    park, lon, lat = draw_pairs(parks, 2)
    lines = Boundaries(as_array(parks))
    clear = lines.clearance(park, lon, lat)
    away, foot_lon, foot_lat = lines.nearest(park, lon, lat)
    expected = [
        float(metric.clearances_close_by(parks[p], x, y, np.zeros(1), np.zeros(1))[0])
        for p, x, y in zip(park, lon, lat, strict=True)
    ]
    assert clear == pytest.approx(expected, abs=0.02)
    assert away == pytest.approx(np.abs(expected), abs=0.02)
    assert np.array_equal(lines.contains(park, lon, lat), np.array(expected) > 0)
    for k, p in enumerate(park):
        assert metric.distance_m(lon[k], lat[k], foot_lon[k], foot_lat[k]) == pytest.approx(away[k], abs=1e-3)
        assert shapely.distance(shapely.Point(foot_lon[k], foot_lat[k]), parks[p].boundary) < 1e-9


def test_pairs_that_are_looked_at_some_at_a_time_get_the_same_answers(monkeypatch):
    parks = draw_parks(3)
    park, lon, lat = draw_pairs(parks, 4, 3)
    lines, reach = Boundaries(as_array(parks)), np.linspace(10.0, 120.0, len(park))
    low, high = np.stack([lon, lat], axis=1) - 3e-4, np.stack([lon, lat], axis=1) + 3e-4

    def look():
        return (
            lines.clearance(park, lon, lat),
            *lines.nearest(park, lon, lat),
            *lines.edges_within(park, lon, lat, reach),
            *lines.edges_in_box(park, low, high),
        )

    whole = look()
    for name in ("_BATCH", "_COMPILED_BATCH"):
        monkeypatch.setattr(boundaries, name, 7)
    assert all(np.array_equal(one, other) for one, other in zip(whole, look(), strict=True))
    none = np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0)
    assert [len(part) for part in lines.nearest(*none)] == [0, 0, 0]
    assert [part.shape for part in lines.edges_within(*none, np.zeros(0))] == [(0,), (0, 2), (0, 2)]
    assert [len(part) for part in lines.edges_in_box(none[0], low[:0], high[:0])] == [0, 0]


def test_edges_within_reach_are_all_that_come_so_near_in_metres_from_the_place():
    parks = draw_parks(5, 12)
    park, lon, lat = draw_pairs(parks, 6, 3)
    reach = np.linspace(15.0, 150.0, len(park))
    pair, start, end = Boundaries(as_array(parks)).edges_within(park, lon, lat, reach)
    for k, p in enumerate(park):
        edges = metric.plane(segments(parks[p]), metric.turned(parks[p], lon[k]), lat[k])
        far = metric.to_edges(edges, np.zeros(1), np.zeros(1))[0][0]
        assert np.abs(far - reach[k]).min() > 0.001  # no edge of the drawn ones is too close to tell
        wanted = edges[far < reach[k]]
        got = np.concatenate([start[pair == k], end[pair == k]], axis=1)
        by_start = np.lexsort(got.round(0).T), np.lexsort(wanted.round(0).T)
        assert got[by_start[0]] == pytest.approx(wanted[by_start[1]], abs=0.05)


def test_edges_in_a_box_are_those_whose_own_box_meets_it():
    parks = draw_parks(7, 12)
    park, lon, lat = draw_pairs(parks, 8, 3)
    lines = Boundaries(as_array(parks))
    at = np.stack([lines.near_side(park, lon), lat], axis=1)
    room = np.random.default_rng(9).uniform(1e-4, 8e-4, (len(park), 2))
    pair, vertex = lines.edges_in_box(park, at - room, at + room)
    assert np.all(np.diff(pair) >= 0)
    for k, p in enumerate(park):
        edges = segments(parks[p])
        boxes = shapely.box(
            *np.minimum(edges[:, :2], edges[:, 2:]).T, *np.maximum(edges[:, :2], edges[:, 2:]).T
        )
        wanted = edges[shapely.intersects(boxes, shapely.box(*(at - room)[k], *(at + room)[k]))]
        mine = vertex[pair == k]
        got = [
            [
                lines.outlines.lon[v],
                lines.outlines.lat[v],
                lines.outlines.lon[v + 1],
                lines.outlines.lat[v + 1],
            ]
            for v in mine
        ]
        assert sorted(got) == sorted(wanted.tolist())


@pytest.mark.parametrize("within", [5.0, 0.3])
def test_beside_a_boundary_the_side_is_known_of_a_place_up_to_a_metre_off(within):
    lon, lat = 10.0, 47.0
    east, north = metric.degree_lengths(lat)
    park = shapely.box(lon, lat - 0.01, lon + 0.01, lat + 0.01)
    lines = Boundaries(as_array([park]))
    x = np.array([0.03, -0.03, 0.0, 5.0, -5.0])
    none = np.zeros(5, dtype=np.int64)
    places = none, lon + x / east, np.full(5, lat)
    known = lines.know_side(*places, lines.clearance(*places), within)
    assert np.hypot(*known[:3, :2].T) == pytest.approx(min(within, 1.0), rel=1e-6)
    there = lon + (x + known[:, 0]) / east, lat + known[:, 1] / north
    assert known[:, 2].tolist() == shapely.contains_xy(park, *there).astype(float).tolist()
    # As far from the edge as may be: straight away from it.
    assert np.abs(x + known[:, 0])[:3] == pytest.approx(min(within, 1.0) + np.abs(x[:3]), rel=1e-6)
    assert known[3:].tolist() == [[0.0, 0.0, 1.0], [0.0, 0.0, 0.0]]


def test_sides_are_told_from_a_place_whose_side_is_known_by_the_edges_between():
    """Random rings about places, with a known place inside or outside: shapely says where each lies (R)."""
    rng = np.random.default_rng(12)
    pair, start, end, known, expected = [], [], [], [], []
    for k in range(60):
        turn = np.sort(rng.uniform(0, 2 * np.pi, 9))
        away = rng.uniform(3, 30, 9)
        ring = np.stack([away * np.cos(turn), away * np.sin(turn)], axis=1) + rng.uniform(-15, 15, 2)
        shape = shapely.Polygon(ring)
        if not shape.is_valid or shape.boundary.distance(shapely.Point(0, 0)) < 0.01:
            continue
        place = rng.uniform(-20, 20, 2) * (k % 5 > 0)
        pair += [len(known)] * 9
        start.append(ring)
        end.append(np.roll(ring, -1, axis=0))
        known.append([*place, float(shapely.contains_xy(shape, *place))])
        expected.append(bool(shapely.contains_xy(shape, 0.0, 0.0)))
    (_, moved_start, moved_end), inside = find_sides(
        (np.array(pair), np.concatenate(start), np.concatenate(end)), np.array(known)
    )
    assert len(expected) > 40
    assert inside.tolist() == expected
    # What comes back is seen from a millionth of the way there.
    way = 1e-6 * np.array(known)[np.array(pair), :2]
    assert moved_start == pytest.approx(np.concatenate(start) - way, abs=1e-12)
    assert moved_end == pytest.approx(np.concatenate(end) - way, abs=1e-12)


@pytest.mark.parametrize(
    ("lon", "lat"), [(10.0, 45.3), (10.0, 47.4), (12.3, 46.0), (8.0, 46.05), (10.4, 82.6), (9.0, 84.5)]
)
def test_far_off_and_far_north_the_distance_is_a_geodesic(lon, lat):
    park = shapely.box(9.9, 82.0, 11.2, 83.0) if lat > 80 else shapely.box(9.0, 45.9, 11.5, 47.0)
    expected, *_ = metric.nearest(park, lon, lat)
    lines, one = Boundaries(as_array([park])), (np.zeros(1, dtype=np.int64), np.array([lon]), np.array([lat]))
    away, foot_lon, foot_lat = (float(part[0]) for part in lines.nearest(*one))
    assert away == pytest.approx(expected, rel=1e-4, abs=0.1)
    assert metric.distance_m(lon, lat, foot_lon, foot_lat) == pytest.approx(away, abs=1e-3)
    assert (lines.clearance(*one)[0] > 0) == shapely.contains_xy(park, lon, lat)


@pytest.mark.parametrize("drawn", ["by its corners", "with many vertices there"])
def test_a_pole_is_no_boundary_and_lies_in_no_park_of_its_own(drawn):
    """All meridians meet there: an edge along latitude 90 has no length."""
    parks = [shapely.box(0, -90, 90, -89.5), shapely.box(20, 89, 60, 90)]
    if drawn == "with many vertices there":
        along = np.linspace(0.0, 1.0, 50)
        parks = [
            shapely.Polygon([(0, -89.5), *((90 * t, -90) for t in along), (90, -89.5)]),
            shapely.Polygon([(20, 89), *((20 + 40 * t, 90) for t in along), (60, 89)]),
        ]
    lines = Boundaries(as_array(parks))
    park = np.array([0, 0, 0, 1, 1, 1])
    lon = np.array([45.0, 10.0, 80.0, 30.0, 40.0, 59.0])
    lat = np.array([-89.99, -89.9, -89.6, 89.2, 89.99, 89.7])
    # The earth is flat there: to the nearer of two meridians, so many degrees off.
    off = np.sin(np.radians([45.0, 10.0, 10.0, 10.0, 20.0, 1.0]))
    expected = [
        metric.distance_m(0.0, y, 0.0, np.copysign(90.0, y)) * s for y, s in zip(lat, off, strict=True)
    ]
    assert lines.clearance(park, lon, lat) == pytest.approx(expected, rel=1e-3)
    at_pole = lines.clearance(np.array([0, 1]), np.array([45.0, 40.0]), np.array([-90.0, 90.0]))
    assert np.all(at_pole <= 0)


@pytest.mark.parametrize("block", [50_000, 3, 4])
def test_no_edge_is_longer_than_a_kilometre_and_the_ground_stays(block, monkeypatch):
    """However many vertices are looked at together."""
    monkeypatch.setattr(boundaries, "_BLOCK", block)
    shapes = [
        shapely.box(10.0, 60.0, 10.5, 60.2),
        shapely.box(10.0, 50.0, 10.001, 50.001),
        shapely.Polygon(shapely.box(0, 0, 0.1, 0.3).exterior, [shapely.box(0.02, 0.02, 0.05, 0.25).exterior]),
        shapely.MultiPolygon(
            [shapely.box(179.9, -20, 180.05, -19.99), shapely.box(180.1, -20, 180.101, -19.999)]
        ),
    ]
    outlines = Outlines(as_array(shapes))
    short = outlines.with_short_edges()
    assert short.ring_park.tolist() == outlines.ring_park.tolist() == [0, 1, 2, 2, 3, 3]
    assert short.park_first.tolist()[-1] == len(short.lon) == short.ring_size.sum()
    for park, shape in enumerate(shapes):
        rings = []
        for ring in np.flatnonzero(short.ring_park == park):
            at = slice(short.ring_start[ring], short.ring_start[ring] + short.ring_size[ring])
            rings.append(np.stack([short.lon[at], short.lat[at]], axis=1))
            steps = [metric.distance_m(*a, *b) for a, b in zip(rings[-1][:-1], rings[-1][1:], strict=True)]
            assert max(steps) < 1001.0
            assert np.array_equal(rings[-1][0], rings[-1][-1])
            n = short.ring_size[ring] - outlines.ring_size[ring]
            length = sum(
                metric.distance_m(*a, *b) for a, b in zip(rings[-1][:-1], rings[-1][1:], strict=True)
            )
            assert n <= length / 900.0 + 4  # no more pieces than it takes
        lines = shapely.multilinestrings([shapely.linestrings(r) for r in rings])
        assert shapely.hausdorff_distance(lines, shape.boundary, densify=0.05) < 1e-9
    same = Outlines(as_array(shapes[1:2]))
    assert same.with_short_edges() is same


def test_runs_and_boxes_hold_each_edge_once():
    parks = draw_parks(10, 9)
    outlines = Outlines(as_array(parks))
    first, count, of_park = outlines.runs
    assert count.max() <= 16
    seen = np.concatenate([np.arange(f, f + c) for f, c in zip(first, count, strict=True)])
    ends = outlines.ring_start + outlines.ring_size - 1
    assert sorted(seen.tolist()) == np.setdiff1d(np.arange(len(outlines.lon)), ends).tolist()
    for k, (f, c) in enumerate(zip(first, count, strict=True)):
        lon, lat = outlines.lon[f : f + c + 1], outlines.lat[f : f + c + 1]
        assert [side[k] for side in outlines.boxes] == [lon.min(), lat.min(), lon.max(), lat.max()]
        assert outlines.park_first[of_park[k]] <= f < outlines.park_first[of_park[k] + 1]
    assert np.array_equal(np.stack(outlines.bounds, axis=1), shapely.bounds(as_array(parks)))
    empty = Outlines(as_array([]))
    assert [len(part) for part in (*empty.boxes, *empty.bounds, empty.park_first)] == [0] * 8 + [1]


def test_a_thousand_outlines_and_more_come_in_order():
    """More than are read at once; long edges at the seams of what is looked at together."""
    shapes = [
        shapely.box(k * 0.02, 10, k * 0.02 + (0.011 if k % 7 == 0 else 0.001), 10.001) for k in range(2100)
    ]
    outlines = Outlines(as_array(shapes))
    assert np.array_equal(outlines.lon, shapely.get_coordinates(as_array(shapes))[:, 0])
    assert np.array_equal(outlines.lat, shapely.get_coordinates(as_array(shapes))[:, 1])
    short = outlines.with_short_edges()
    sizes = np.bincount(short.ring_park, weights=short.ring_size)
    assert sizes.tolist() == [7.0 if k % 7 == 0 else 5.0 for k in range(2100)]


@pytest.mark.parametrize(
    ("clearance", "said"),
    [
        (0.05, "inside"),
        (-0.05, "outside"),
        (0.049, "on the boundary"),
        (-0.049, "on the boundary"),
        (0.0, "on the boundary"),
    ],
)
def test_what_rounds_to_no_distance_is_on_the_boundary(clearance, said):
    assert side_of(clearance) == said
    assert (f"{abs(clearance):.1f}" == "0.0") == (said == "on the boundary")


def test_of_what_repairs_leave_only_the_ground_is_kept():
    box, other = shapely.box(0, 0, 1, 1), shapely.box(2, 2, 3, 3)
    line, point, flat = (
        shapely.LineString([(0, 0), (5, 5)]),
        shapely.Point(9, 9),
        shapely.Polygon([(0, 0), (1, 1), (2, 2)]),
    )
    assert polygonal_parts(box) is box
    both = shapely.MultiPolygon([box, other])
    assert polygonal_parts(both) is both
    assert polygonal_parts(shapely.GeometryCollection([line, box, point, flat])).equals(box)
    third = shapely.box(4, 4, 5, 5)
    two = polygonal_parts(shapely.GeometryCollection([line, shapely.GeometryCollection([other, point]), box]))
    three = polygonal_parts(shapely.GeometryCollection([both, shapely.MultiPolygon([third]), flat]))
    assert (two.geom_type, three.geom_type) == ("MultiPolygon", "MultiPolygon")
    assert two.equals(both)
    assert three.equals(shapely.MultiPolygon([box, other, third]))
    for none in (line, point, shapely.GeometryCollection([line, point]), shapely.GeometryCollection()):
        assert polygonal_parts(none).is_empty
        assert polygonal_parts(none).geom_type == "Polygon"
