"""What walks are put together from: tiles, nearest starts, shared windows, a route told, and reasons."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from oracles import metric
from plains import Plain

from scout.model import NAME, Walking
from scout.walk import routes
from scout.walk.barriers import AccessMap
from scout.walk.routes import (
    WalkTargets,
    compute_coarsest_m,
    compute_farthest_m,
    find_nearest_starts,
    find_walks,
    iterate_tiles,
)

PATH = 6000 / 60 * math.exp(-3.5 * 0.05)  # metres a minute on level ground (W. Tobler 1993)
LANE = (True, False, False)


@pytest.mark.parametrize("side_m", [800.0, 6000.0, 90_000.0])
def test_a_tile_holds_each_place_once_and_is_no_larger_than_asked_for(side_m):
    """Anywhere but at the poles; metres by geographiclib (R)."""
    rng = np.random.default_rng(4)
    lon = np.concatenate(
        [rng.uniform(-180, 180, 60), 179.99 + rng.uniform(0, 0.02, 30), rng.uniform(9, 9.3, 60)]
    )
    lat = np.concatenate([rng.uniform(-89, 89, 60), rng.uniform(-0.01, 0.01, 30), rng.uniform(46, 46.2, 60)])
    seen = np.zeros(len(lon), dtype=int)
    shared = 0
    for (x, y), rows in iterate_tiles(lon, lat, side_m):
        seen[rows] += 1
        shared += len(rows) > 1
        assert np.all(np.diff(rows) > 0)
        for row in rows:
            assert metric.distance_m(x, lat[row], lon[row], lat[row]) <= 0.5001 * side_m
            assert (
                metric.distance_m(x, y, x, lat[row]) <= 0.506 * side_m
            )  # a degree of latitude is 1 % longer at poles
    assert set(seen.tolist()) == {1}
    assert shared > 3
    assert not list(iterate_tiles(np.empty(0), np.empty(0), side_m))


def test_places_a_little_apart_share_a_tile_where_no_edge_of_one_runs_between_them():
    """Tiles begin at the equator and the prime meridian."""
    east, north = metric.degree_lengths(0.0)
    lon, lat = np.array([10.0, 990.0, 1010.0, -10.0]) / east, np.array([10.0, 990.0, 10.0, -10.0]) / north
    tiles = [rows.tolist() for _, rows in iterate_tiles(lon, lat, 1000.0)]
    assert sorted(tiles) == [[0, 1], [2], [3]]


@pytest.mark.parametrize("lon", [10.0, -63.0])
def test_the_nearest_start_is_the_nearest_of_parking_trailheads_and_roads(lon):
    plain, rng = Plain(lon=lon), np.random.default_rng(8)
    points = rng.uniform(-900, 900, (6, 2))
    starts = [(shapely.Point(p), ("parking", "trailhead")[k % 2], f"S{k}") for k, p in enumerate(points)]
    lines = [shapely.LineString(rng.uniform(-900, 900, (3, 2))) for _ in range(2)]
    ways = [
        (lines[0], True, True, False),
        (lines[1], True, False, False),
        (shapely.LineString([(0, -900), (0, 900)]), True, True, True),
    ]
    around = plain.surroundings(ways, starts)
    around = replace(around, ways=around.ways.assign(**{NAME: ["High Road", "Lane", "Bridge"]}))
    places = rng.uniform(-900, 900, (40, 2))
    found = find_nearest_starts(*plain.degrees(*places), AccessMap(around), 3000.0)
    kinds = set()
    for k, place in enumerate(places):
        away = {(("parking", "trailhead")[j % 2], f"S{j}"): math.dist(place, p) for j, p in enumerate(points)}
        away["roadside", "High Road"] = shapely.Point(place).distance(lines[0])
        nearest = min(away, key=away.get)
        kinds.add(nearest[0])
        assert (found.kind[k], found.name[k]) == nearest
        assert found.distance_m[k] == pytest.approx(away[nearest], abs=0.05)
        at = plain.metres(found.lon[k], found.lat[k])
        assert math.dist(at, place) == pytest.approx(away[nearest], abs=0.05)
        if nearest[0] == "roadside":
            assert lines[0].distance(shapely.Point(at)) < 0.05
    assert kinds == {"parking", "trailhead", "roadside"}


def test_where_no_start_is_near_there_is_none():
    plain = Plain()
    around = plain.surroundings(starts=[shapely.Point(0, 0)])
    lon, lat = plain.degrees((100.0, 0.0), (90_000.0, 0.0))
    found = find_nearest_starts(lon, lat, AccessMap(around), 3000.0)
    assert np.isinf(found.distance_m).tolist() == [False, True]
    assert np.isnan(found.lon).tolist() == np.isnan(found.lat).tolist() == [False, True]
    assert (found.kind, found.name) == (["parking", ""], ["", ""])


def walk_to(plain, around, *points, reliefs=(), walking=None):
    lon, lat = plain.degrees(*points)
    targets = WalkTargets(lon, lat, np.arange(len(points)))
    return [w.route for w in find_walks(targets, around, list(reliefs), walking or Walking(reach_m=600.0))]


def test_a_walk_along_a_lane_is_told_point_by_point():
    """Up a ramp, down again and round a corner: times and climb by hand, the line without needless points."""
    plain = Plain()
    bends = [(0.0, 0.0), (200.0, 0.0), (200.0, 150.0)]
    around = plain.surroundings(
        [(shapely.LineString(bends), *LANE)], [(shapely.Point(0, 0), "trailhead", "Foot")]
    )
    ramp = plain.relief(
        lambda x, y: np.minimum(x, 100.0) * 0.1 - np.maximum(x - 100.0, 0.0) * 0.05, half_m=900.0, cell_m=10.0
    )
    (route,) = walk_to(plain, around, (200, 150), reliefs=[ramp])

    def minutes(metres, slope):
        return metres / (6000 / 60 * math.exp(-3.5 * abs(slope + 0.05)))

    out = minutes(100, 0.1) + minutes(100, -0.05) + minutes(150, 0.0)
    back = minutes(100, -0.1) + minutes(100, 0.05) + minutes(150, 0.0)
    assert (route.out_min, route.back_min) == (pytest.approx(out, rel=0.004), pytest.approx(back, rel=0.006))
    assert route.length_m == pytest.approx(350.0, abs=0.05)
    assert route.climb_m == pytest.approx(10.0, abs=0.3)
    assert route.off_path_m == pytest.approx(0.0, abs=0.01)
    assert (route.state, route.reason, route.start_kind, route.start_name) == (
        "walked",
        "",
        "trailhead",
        "Foot",
    )
    assert route.straight_m == pytest.approx(250.0, abs=0.01)
    xy = np.array([plain.metres(*point) for point in route.line])
    drawn = xy[np.append(True, np.hypot(*np.diff(xy, axis=0).T) > 0.01)]
    assert drawn == pytest.approx(np.array(bends), abs=0.02)
    assert route.start == route.line[0]
    along, height = np.array(route.profile).T
    assert np.all(np.diff(along) >= 0)
    assert (along[0], along[-1]) == (0.0, 350.0)
    assert height == pytest.approx(np.interp(along, [0, 100, 200, 350], [0.0, 10.0, 5.0, 5.0]), abs=0.3)
    assert len(along) <= 60


def test_what_is_walked_off_the_ways_is_told_apart():
    plain = Plain()
    lane = shapely.LineString([(0, 0), (200, 0)])
    around = plain.surroundings([(lane, *LANE)], [shapely.Point(0, 0)])
    (route,) = walk_to(plain, around, (200, 14.9))
    # Off the lane at six tenths of the speed, the best way leaves it where the cosine is that.
    assert route.off_path_m == pytest.approx(14.9 / 0.8, abs=1.5)
    assert route.length_m == pytest.approx(200 - 14.9 * 0.75 + 14.9 / 0.8, abs=3.0)
    assert len(route.on_path) == len(route.line) - 1
    xy = np.array([plain.metres(*point) for point in route.line])
    steps = np.hypot(*np.diff(xy, axis=0).T)
    assert steps[np.array(route.on_path)].sum() == pytest.approx(route.length_m - route.off_path_m, abs=1.0)
    assert not route.on_path[-1]
    assert route.climb_m is None


def test_a_long_walk_has_sixty_heights_evenly_along_it():
    plain = Plain()
    lane = shapely.LineString([(0, 0), (1500, 0)])
    around = plain.surroundings([(lane, *LANE)], [shapely.Point(0, 0)])
    relief = plain.relief(lambda x, y: 0.02 * x, half_m=2500.0, cell_m=50.0)
    (route,) = walk_to(plain, around, (1500, 0), reliefs=[relief], walking=Walking())
    along, height = np.array(route.profile).T
    assert len(along) == 60
    assert along == pytest.approx(np.linspace(0.0, 1500.0, 60), abs=0.11)
    assert height == pytest.approx(0.02 * along, abs=0.11)


@pytest.mark.parametrize(
    ("off", "said"), [(140.0, ("roadside", "by Old Mill")), (160.0, ("roadside", "High Road"))]
)
def test_a_roadside_goes_by_the_parking_next_to_it_or_else_by_the_road(off, said):
    """Next to it is within 150 m; a river keeps the parking itself from being the start."""
    plain = Plain()
    road, river = shapely.LineString([(0, -5), (0, 5)]), shapely.LineString([(-20, -5000), (-20, 5000)])
    around = plain.surroundings(
        [(road, False, True, False)],
        [(shapely.Point(-off, 5), "parking", "Old Mill")],
        [(river, "river", "")],
    )
    around = replace(around, ways=around.ways.assign(**{NAME: ["High Road"]}))
    (route,) = walk_to(plain, around, (200, 0))
    assert (route.start_kind, route.start_name) == said


def measure_window(xy, margin, rows, widest_m):
    """Its ground, and half a square kilometre besides."""
    low = (xy[rows] - margin[rows, None]).min(axis=0)
    high = (xy[rows] + margin[rows, None]).max(axis=0)
    assert np.all(high - low <= widest_m)
    return np.prod(high - low) + 0.5e6


def test_windows_are_shared_so_that_each_place_is_in_one_and_none_is_wider_than_allowed():
    rng = np.random.default_rng(2)
    for spread in (50.0, 800.0, 5000.0):
        xy, margin = rng.uniform(-spread, spread, (40, 2)), rng.uniform(60, 700, 40)
        shared = routes._share_windows(xy, margin, 3000.0)
        assert sorted(np.concatenate(shared).tolist()) == list(range(40))

        together = sum(measure_window(xy, margin, rows, 3000.0) for rows in shared)
        assert together <= sum(measure_window(xy, margin, [row], 3000.0) for row in range(40)) + 1.0
        if spread == 50.0:
            assert len(shared) == 1
        if spread == 5000.0:
            assert len(shared) > 4
    assert routes._share_windows(np.empty((0, 2)), np.empty(0), 3000.0) == []


def test_two_places_share_a_window_exactly_where_that_is_less_ground():
    """Two squares of 200 m, side by side: a window costs half a square kilometre besides its ground."""
    margin = np.full(2, 100.0)
    for apart, windows in ((2000.0, 1), (2800.0, 2)):  # 0.2 * (apart + 0.2) + 0.5 against 2 * 0.54
        xy = np.array([[0.0, 0.0], [apart, 0.0]])
        assert len(routes._share_windows(xy, margin, 1e6)) == windows
    assert len(routes._share_windows(np.array([[0.0, 0.0], [2000.0, 0.0]]), margin, 2100.0)) == 2  # too wide
    assert len(routes._share_windows(np.zeros((5, 2)), np.full(5, 100.0), 1e6)) == 1


def test_the_walk_of_a_group_is_the_least_of_its_places_and_each_group_has_one():
    plain = Plain()
    around = plain.surroundings(starts=[shapely.Point(0, 0), shapely.Point(500, 0)])
    points, group = [(90, 0), (300, 10), (470, 0), (60, 60), (250, 0)], np.array([0, 0, 0, 1, 2])
    lon, lat = plain.degrees(*points)
    done = []
    found = find_walks(
        WalkTargets(lon, lat, group), around, [], Walking(reach_m=600.0), lambda *seen: done.append(seen)
    )
    assert [walk.row for walk in found] == [2, 3, 4]
    off = 0.6 * PATH
    assert [walk.route.out_min for walk in found] == pytest.approx(
        [30 / off, 60 * math.sqrt(2) / off, 250 / off], rel=0.03, abs=0.06
    )
    assert [walk.further for walk in found] == [False] * 3
    assert [count for _, count in done] == [5] * len(done)
    assert [n for n, _ in done] == sorted(n for n, _ in done)
    assert done[-1] == (5, 5)


def reason_of(around, *point, plain=None, reliefs=(), **walking):
    (route,) = walk_to(
        plain or Plain(), around, point, reliefs=reliefs, walking=Walking(**{"reach_m": 600.0, **walking})
    )
    return route.state, str(route.reason)


def test_why_there_is_no_walk_is_said_in_words():
    plain = Plain()
    start, far = [shapely.Point(0, 0)], [shapely.Point(900, 0)]
    assert reason_of(plain.surroundings(), 0, 0) == ("unknown", "no roads and no parking are given")
    lane = [(shapely.LineString([(0, 0), (9, 9)]), *LANE)]
    busy = replace(
        plain.surroundings(lane),
        busy_roads=[plain.placed(shapely.LineString([(-300, 200), (300, 200)]))],
        busy_names=["Great North"],
    )
    assert reason_of(plain.surroundings(lane), 0, 0) == (
        "unknown",
        "the access data holds no parking and no road",
    )
    assert reason_of(busy, 0, 0)[1] == (
        "the access data holds no parking and no road but busy ones, along which no place to leave a car is "
        "mapped"
    )
    assert reason_of(plain.surroundings(starts=far), 0, 0) == (
        "out of reach",
        "no parking or road within 600 m",
    )
    both = replace(busy, starts=plain.surroundings(starts=far).starts)
    assert reason_of(both, 0, 0)[1] == (
        "no parking or road within 600 m; the busy road 200 m away (Great North) has no mapped place to "
        "leave a car"
    )
    nameless = replace(both, busy_names=[""])
    assert reason_of(nameless, 0, 0)[1].endswith(
        "the busy road 200 m away has no mapped place to leave a car"
    )
    assert (
        reason_of(plain.surroundings(starts=start), 500, 0, limit_min=4.0)[1] == "the walk takes over 4 min"
    )
    assert (
        reason_of(plain.surroundings(starts=start), 500, 0, limit_min=5.5)[1] == "the walk takes over 5.5 min"
    )
    house = replace(plain.surroundings(starts=start), buildings=[plain.placed(shapely.box(90, -10, 110, 10))])
    assert reason_of(house, 100, 0) == ("out of reach", "in a building")
    mere = plain.surroundings(starts=start, barriers=[(shapely.box(90, -10, 110, 10), "water", "Long Mere")])
    assert reason_of(mere, 100, 0) == ("out of reach", "in water: Long Mere")
    ring = plain.surroundings(
        starts=start, barriers=[(shapely.Point(100, 0).buffer(30).exterior, "wall", "")]
    )
    assert reason_of(ring, 100, 0) == (
        "out of reach",
        "no way on foot from any parking or road within 600 m: barriers all round",
    )
    hole = plain.relief(lambda x, y: np.where(np.hypot(x - 100, y) < 40, np.nan, 5.0), half_m=900.0)
    assert reason_of(plain.surroundings(starts=start), 100, 0, reliefs=[hole]) == (
        "unknown",
        "the heights do not cover it",
    )


@pytest.mark.parametrize(("where", "further"), [((100, 0), False), ((0, 0), True), ((-200, 0), False)])
def test_a_start_further_away_may_help_unless_the_place_itself_is_shut(where, further):
    """In water at 100 m, behind a wall at 0, nothing in the way at -200."""
    plain = Plain()
    wall = shapely.Point(0, 0).buffer(30).exterior
    around = plain.surroundings(
        starts=[shapely.Point(-300, 0)],
        barriers=[(wall, "wall", ""), (shapely.box(80, -20, 120, 20), "water", "")],
    )
    lon, lat = plain.degrees(where)
    (found,) = find_walks(WalkTargets(lon, lat, np.zeros(1, dtype=int)), around, [], Walking(reach_m=600.0))
    assert found.further == further
    if found.route.state != "walked":
        assert (found.route.start_kind, found.route.start_name) == ("parking", "")
        assert plain.metres(*found.route.start) == pytest.approx((-300, 0), abs=0.05)
        assert found.route.straight_m == pytest.approx(math.dist(where, (-300, 0)), abs=0.05)


def test_the_longest_walk_and_the_widest_window_bound_how_far_and_how_finely_is_looked():
    """Six kilometres an hour at most (Tobler), 12 km at most; 900 cells a side, 36 m each there."""
    assert compute_farthest_m(Walking(limit_min=30.0)) == pytest.approx(3000.0)
    assert compute_farthest_m(Walking(limit_min=30.0, load_kg=20.0)) == pytest.approx(
        3000.0 * 0.8703, rel=1e-3
    )
    assert compute_farthest_m(Walking(limit_min=500.0)) == 12_000.0
    assert compute_coarsest_m(Walking()) == 10.0
    assert compute_coarsest_m(Walking(reach_m=12_000.0)) == pytest.approx(36.0, abs=0.5)
    assert compute_coarsest_m(Walking(reach_m=12_000.0, cell_m=60.0)) == 60.0


def test_starts_too_far_from_a_place_are_passed_over_for_that_place_alone():
    """Two places in one window, each with a parking of its own within reach and the other's beyond."""
    plain = Plain()
    lane = shapely.LineString([(-500, 0), (500, 0)])
    starts = [(shapely.Point(-500, 0), "parking", "west"), (shapely.Point(500, 0), "parking", "east")]
    dead_end = shapely.LineString([(-60, -400), (-60, 400)])
    around = plain.surroundings([(lane, *LANE)], starts, [(dead_end, "wall", "")])
    found = walk_to(plain, around, (-80, 0), (100, 0), walking=Walking(reach_m=450.0))
    assert [route.start_name for route in found] == ["west", "east"]
    assert [route.out_min for route in found] == pytest.approx([420 / PATH, 400 / PATH], rel=0.03)


def test_beside_a_slanted_lake_is_not_in_it():
    plain = Plain()
    lake = shapely.Polygon([(80, -100), (220, 60), (240, 40), (100, -120)])
    around = plain.surroundings(starts=[shapely.Point(0, 0)], barriers=[(lake, "water", "Mere")])
    beside, inside = walk_to(plain, around, (100, 40), (160, -30))
    assert beside.state == "walked"
    assert (inside.state, inside.reason) == ("out of reach", "in water: Mere")
