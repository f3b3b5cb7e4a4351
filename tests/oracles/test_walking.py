"""Walks beside plain geometry, and beside a least-cost path that networkx finds on a finer grid."""

import math

import networkx
import numpy as np
import pytest
import shapely
from plains import Plain

from scout.model import Walking
from scout.walk.barriers import AccessMap
from scout.walk.routes import WalkTargets, bound_walks, find_nearest_starts, find_walks

PATH, OFF = 5.0365 * 1000 / 60, 3.0219 * 1000 / 60  # metres a minute on level ground
NEAR = Walking(reach_m=800.0)


def walk_to(plain, around, *points, reliefs=(), walking=NEAR):
    lon, lat = plain.degrees(*points)
    return [
        w.route
        for w in find_walks(WalkTargets(lon, lat, np.arange(len(points))), around, list(reliefs), walking)
    ]


def box(west, south, east, north):
    return shapely.box(west, south, east, north)


def test_on_a_level_plain_the_time_is_the_distance_in_any_direction():
    plain = Plain()
    around = plain.surroundings(starts=[shapely.Point(0, 0)])
    turns = np.radians(np.arange(0, 360, 7.3))
    points = [(700 * math.cos(t), 700 * math.sin(t)) for t in turns]
    times = np.array([route.out_min for route in walk_to(plain, around, *points)])
    assert np.abs(times / (700 / OFF) - 1).max() < 0.03
    assert abs(times.mean() / (700 / OFF) - 1) < 0.01


@pytest.mark.parametrize("lat", [-70.0, 0.0, 47.0])
def test_far_places_and_other_latitudes_too(lat):
    plain = Plain(lat=lat)
    around = plain.surroundings(starts=[shapely.Point(0, 0)])
    points = [(2500, 900), (-1200, 2300), (-2700, -300)]
    routes = walk_to(plain, around, *points, walking=Walking())
    for point, route in zip(points, routes, strict=True):
        assert route.out_min == pytest.approx(math.hypot(*point) / OFF, rel=0.03)
        assert route.length_m == pytest.approx(math.hypot(*point), rel=0.03)


@pytest.mark.parametrize("turn", range(0, 180, 11))
def test_a_straight_path_has_path_speed_at_any_angle(turn):
    plain = Plain()
    end = (600 * math.cos(math.radians(turn)), 600 * math.sin(math.radians(turn)))
    way = (shapely.LineString([(0, 0), end]), True, False, False)
    (route,) = walk_to(plain, plain.surroundings([way], [shapely.Point(0, 0)]), end)
    assert route.out_min == pytest.approx(600 / PATH, rel=0.02)
    assert route.off_path_m < 15
    assert route.length_m == pytest.approx(600, rel=0.005)


@pytest.mark.parametrize("gap", [-300, -40, 155])
def test_a_wall_with_one_gap_is_passed_at_the_gap(gap):
    plain = Plain()
    wall = shapely.MultiLineString([[(-3000, 203), (gap - 8, 203)], [(gap + 8, 203), (3000, 203)]])
    barriers = [(part, "wall", "") for part in wall.geoms]
    around = plain.surroundings(starts=[shapely.Point(0, 0)], barriers=barriers)
    (route,) = walk_to(plain, around, (20, 400))
    near = [(x, 203) for x in (gap - 8, gap + 8)]
    way = min(math.dist((0, 0), p) + math.dist(p, (20, 400)) for p in near)
    assert route.out_min == pytest.approx(way / OFF, rel=0.03)


def test_a_gate_in_a_wall_without_a_gap_is_the_way_through():
    plain = Plain()
    wall = (shapely.LineString([(-3000, 203), (3000, 203)]), "wall", "")
    start = [shapely.Point(0, 0)]
    (shut,) = walk_to(plain, plain.surroundings(starts=start, barriers=[wall]), (20, 400))
    assert shut.state == "out of reach"
    open_ = plain.surroundings(starts=start, barriers=[wall], openings=[shapely.Point(250, 203)])
    (route,) = walk_to(plain, open_, (20, 400))
    way = math.dist((0, 0), (250, 203)) + math.dist((250, 203), (20, 400))
    assert route.out_min == pytest.approx(way / OFF, rel=0.04)


def river(plain, bridge, slanted=0.0):
    water = (
        shapely.Polygon([(-3000, 190), (3000, 190 + slanted), (3000, 230 + slanted), (-3000, 230)]),
        "water",
        "Wend",
    )
    ways = [(shapely.LineString([(90, 0), (90, 160)]), True, False, False)]
    ways.append((shapely.LineString([(90, 160), (90, 260)]), True, False, bridge))
    ways.append((shapely.LineString([(90, 260), (90, 420)]), True, False, False))
    return plain.surroundings(ways, [shapely.Point(90, 0)], [water])


def test_water_without_a_bridge_is_out_of_reach_and_a_bridge_opens_it():
    plain = Plain()
    (shut,) = walk_to(plain, river(plain, bridge=False), (90, 420))
    assert shut.state == "out of reach"
    assert "barriers all round" in shut.reason
    assert shut.out_min is None
    (open_,) = walk_to(plain, river(plain, bridge=True), (90, 420))
    assert open_.out_min == pytest.approx(420 / PATH, rel=0.02)


@pytest.mark.parametrize("slanted", [-900.0, -313.0, 77.0, 1500.0])
def test_a_thin_slanted_river_leaks_nowhere(slanted):
    plain = Plain()
    line = (shapely.LineString([(-3000, 200 - slanted), (3000, 200 + slanted)]), "river", "")
    around = plain.surroundings(starts=[shapely.Point(0, 0)], barriers=[line])
    (route,) = walk_to(plain, around, (0, 400))
    assert route.state == "out of reach"


def test_a_place_in_the_water_says_so():
    plain = Plain()
    lake = (box(100, 100, 400, 400), "water", "Long Mere")
    around = plain.surroundings(starts=[shapely.Point(0, 0)], barriers=[lake])
    (route,) = walk_to(plain, around, (250, 250))
    assert (route.state, route.reason) == ("out of reach", "in water: Long Mere")
    assert route.straight_m == pytest.approx(math.hypot(250, 250), rel=0.01)


def test_uphill_is_slower_than_downhill_and_the_way_back_is_the_other():
    plain = Plain()
    around = plain.surroundings(starts=[shapely.Point(0, 0)])
    ramp = plain.relief(lambda x, y: 100 + 0.2 * x)
    up, down = walk_to(plain, around, (600, 0), (-600, 0), reliefs=[ramp])
    assert up.out_min == pytest.approx(600 / OFF * math.exp(3.5 * 0.2), rel=0.03)
    assert down.out_min == pytest.approx(600 / OFF * math.exp(3.5 * (0.15 - 0.05)), rel=0.03)
    assert up.back_min == pytest.approx(down.out_min, rel=0.02)
    assert (up.climb_m, down.climb_m) == (pytest.approx(120, rel=0.02), pytest.approx(0, abs=0.5))


def test_a_bridge_goes_straight_over_the_valley():
    plain = Plain()
    valley = plain.relief(lambda x, y: np.where(np.abs(y - 210) < 25, 40.0, 100.0))
    (route,) = walk_to(plain, river(plain, bridge=True), (90, 420), reliefs=[valley])
    assert route.out_min == pytest.approx(420 / PATH, rel=0.03)
    assert route.climb_m < 1


def ground_of_many_kinds(plain):
    """Hills, a lake, a wall with a gate and a bent path."""
    lake = (shapely.Point(150, 120).buffer(90), "water", "")
    wall = (shapely.LineString([(-300, 40), (-120, 90), (40, 400)]), "wall", "")
    ways = [(shapely.LineString([(-50, 30), (320, 60), (410, 333)]), True, False, False)]
    gate = shapely.LineString([(-120, 90), (40, 400)]).interpolate(70)
    around = plain.surroundings(ways, [shapely.Point(0, 0)], [lake, wall], [gate])
    return around, plain.relief(lambda x, y: 20 * np.sin(x / 70) + 15 * np.cos(y / 55))


def test_where_the_grid_begins_changes_little():
    times = []
    for east, north in np.random.default_rng(5).uniform(-50, 50, (12, 2)):
        plain = Plain(10 + east / 76_000, 47 + north / 111_000)
        around, hills = ground_of_many_kinds(plain)
        times.append([r.out_min for r in walk_to(plain, around, (300, 280), (-150, 250), reliefs=[hills])])
    assert np.abs(times / np.mean(times, axis=0) - 1).max() < 0.02


def test_a_wider_window_finds_nothing_faster(monkeypatch):
    plain = Plain()
    around, hills = ground_of_many_kinds(plain)
    points = [(300, 280), (-150, 250), (60, 70), (420, 333), (0, -240)]
    narrow = [r.out_min for r in walk_to(plain, around, *points, reliefs=[hills])]
    monkeypatch.setattr("scout.walk.routes._FIRST_M", 800.0)
    wide = [r.out_min for r in walk_to(plain, around, *points, reliefs=[hills])]
    assert narrow == pytest.approx(wide, rel=0.015, abs=0.1)  # grids begin elsewhere


def test_of_a_group_the_place_with_the_shortest_walk_is_taken():
    plain = Plain()
    around = plain.surroundings(starts=[shapely.Point(0, 0)])
    lon, lat = plain.degrees((500, 0), (200, 40), (-300, 0))
    (one,) = find_walks(WalkTargets(lon, lat, np.zeros(3, dtype=int)), around, [], NEAR)
    assert one.row == 1


def independent_minutes(start, goal, height, barriers, path, cell, longest, half=330):
    """Least minutes by networkx, slopes and barriers by hand; steps go up to ``longest`` cells, squared."""
    reach = range(-4, 5)
    ways = [(p, q) for p in reach for q in reach if math.gcd(p, q) == 1 and p * p + q * q <= longest]
    n = int(2 * half / cell) + 1
    graph = networkx.DiGraph()
    walls = shapely.union_all([b for b, _, _ in barriers]).boundary
    shapely.prepare(walls)
    spots = {(i, j): (-half + i * cell, -half + j * cell) for i in range(n) for j in range(n)}
    path_points = [
        tuple(shapely.get_coordinates(path.interpolate(d))[0]) for d in np.arange(0, path.length, cell)
    ]
    spots |= {("path", k): p for k, p in enumerate(path_points)} | {"start": start, "goal": goal}
    names = list(spots)
    number = {name: k for k, name in enumerate(names)}
    pairs = [
        (number[i, j], number[i + p, j + q])
        for i in range(n)
        for j in range(n)
        for p, q in ways
        if (i + p, j + q) in spots
    ]
    at = np.array(list(spots.values()))
    grid_tree = shapely.STRtree(shapely.points(at))
    for k in range(n * n, len(names)):  # those of the path, the start and the goal
        for other in grid_tree.query(shapely.points(at[k]), "dwithin", 3 * cell).tolist():
            if other != k:
                pairs += [(k, other), (other, k)]
    ends = np.array(pairs)
    ends = ends[~shapely.intersects(walls, shapely.linestrings(at[ends]))]
    level = height(*at.T)

    def add_edges(a, b, share):
        run = np.hypot(*(at[b] - at[a]).T)
        slope = np.where(run > 0, level[b] - level[a], 0.0) / np.where(run > 0, run, 1.0)
        minutes = run / (share * 6000 / 60 * np.exp(-3.5 * np.abs(slope + 0.05)))
        graph.add_weighted_edges_from(zip(a.tolist(), b.tolist(), minutes.tolist(), strict=True), "minutes")

    add_edges(*ends.T, 0.6)
    along = np.arange(number["path", 0], number["path", len(path_points) - 1])
    add_edges(along, along + 1, 1.0)
    add_edges(along + 1, along, 1.0)
    return networkx.dijkstra_path_length(graph, number["start"], number["goal"], weight="minutes")


def random_ground(seed):
    """Hills with slopes of 20 degrees and more, two lakes and a bent path."""
    rng = np.random.default_rng(seed)
    plain = Plain(lon=rng.uniform(-180, 180), lat=rng.uniform(-60, 60))
    waves = rng.uniform(-1, 1, (4, 3)) * (25, 0.02, 0.02)

    def height(x, y):
        return sum(a * np.sin(b * x + c * y) for a, b, c in waves)

    lakes = [
        (shapely.Point(rng.uniform(-120, 120, 2)).buffer(rng.uniform(30, 60)), "water", "") for _ in range(2)
    ]
    path = shapely.LineString([(-260, -200), (-200, 210), (190, 240)])
    start, goal = (-250.0, -230.0), (230.0, 215.0)
    around = plain.surroundings([(path, True, False, False)], [shapely.Point(start)], lakes)
    relief = plain.relief(height, half_m=1000, cell_m=4.0)
    (route,) = walk_to(plain, around, goal, reliefs=[relief])
    return route.out_min, (start, goal, height, lakes, path)


@pytest.mark.parametrize("seed", range(1, 9))
def test_networkx_finds_the_same_time_on_random_ground_in_the_same_sixteen_ways(seed):
    out_min, ground = random_ground(seed)
    # Of sixteen ways half the greatest detour is taken off: 1.0136.
    assert out_min == pytest.approx(independent_minutes(*ground, cell=10.0, longest=5) / 1.0136, rel=0.03)


@pytest.mark.parametrize("seed", [2, 6])
def test_on_steep_ground_sixteen_ways_cost_up_to_a_tenth_more_than_thirty_two_on_a_finer_grid(seed):
    out_min, ground = random_ground(seed)
    assert 0.98 < out_min / independent_minutes(*ground, cell=6.0, longest=18) < 1.12


# --- windows that grow, beside one search over everything ---------------------------------------------------


def walled_ground(seed):
    """Long walls, fast paths and starts at random: the nearest start is often not the soonest."""
    rng = np.random.default_rng(seed)
    middles, turns = rng.uniform(-500, 500, (7, 2)), rng.uniform(0, np.pi, 7)
    reach = rng.uniform(150, 450, 7)[:, None] * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    walls = shapely.linestrings(np.stack([middles - reach, middles + reach], axis=1))
    paths = shapely.linestrings(rng.uniform(-700, 700, (3, 2, 2)))
    starts, goals = rng.uniform(-700, 700, (6, 2)), rng.uniform(-450, 450, (4, 2))
    return walls, paths, starts, goals


def search_everything(walls, paths, starts, goals, cell=10.0, half=1250.0):
    """Least minutes to each goal on level ground: one grid, all steps tried against all walls, by scipy."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import dijkstra

    n = int(2 * half / cell) + 1
    axis = np.linspace(-half, half, n)
    grid = np.stack([np.tile(axis, n), np.repeat(axis, n)], axis=1)
    on_paths = [shapely.get_coordinates(shapely.segmentize(path, cell)) for path in paths]
    points = np.concatenate([grid, *on_paths, starts, goals])
    number = np.arange(n * n).reshape(n, n)
    edges, share = [], []
    for p, q in ((1, 0), (0, 1), (1, 1), (-1, 1), (2, 1), (1, 2), (-1, 2), (-2, 1)):
        west, east = slice(max(-p, 0), n - max(p, 0)), slice(max(p, 0), n - max(-p, 0))
        edges.append(np.stack([number[: n - q, west].ravel(), number[q:, east].ravel()]))
        share.append(np.full(edges[-1].shape[1], OFF * 1.0136))  # half the greatest detour of sixteen ways
    at = n * n
    for path in on_paths:
        edges.append(np.stack([np.arange(at, at + len(path) - 1), np.arange(at + 1, at + len(path))]))
        share.append(np.full(len(path) - 1, PATH))
        at += len(path)
    tree = shapely.STRtree(shapely.points(points[:at]))
    near = tree.query(shapely.points(points[n * n :]), "dwithin", 1.5 * cell)
    edges.append(np.stack([near[0] + n * n, near[1]])[:, near[0] + n * n != near[1]])
    share.append(np.full(edges[-1].shape[1], OFF))
    (a, b), speed = np.concatenate(edges, axis=1), np.concatenate(share)
    length = np.maximum(np.hypot(*(points[a] - points[b]).T), 1e-6)
    open_ = np.ones(len(a), dtype=bool)
    for wall in walls:
        (x1, y1), (x2, y2) = shapely.get_coordinates(wall)
        side = (x2 - x1) * (points[:, 1] - y1) - (y2 - y1) * (points[:, 0] - x1)
        beside = (side > 1e-3).astype(int) - (
            side < -1e-3
        )  # of a step with both ends on one side no part is met
        some = np.flatnonzero(beside[a] * beside[b] <= 0)
        steps = shapely.linestrings(np.stack([points[a[some]], points[b[some]]], axis=1))
        open_[some[shapely.intersects(wall, steps)]] = False
    a, b, minutes = a[open_], b[open_], (length / speed)[open_]
    # Where two edges join the same points, the shorter counts.
    order = np.lexsort((minutes, np.maximum(a, b), np.minimum(a, b)))
    low, high = np.minimum(a, b)[order], np.maximum(a, b)[order]
    first = np.flatnonzero((np.diff(low, prepend=-1) != 0) | (np.diff(high, prepend=-1) != 0))
    graph = coo_array((minutes[order][first], (low[first], high[first])), shape=(len(points),) * 2).tocsr()
    ends = np.arange(at, at + len(starts))
    return dijkstra(graph, directed=False, indices=ends, min_only=True)[at + len(starts) :]


def lay_out(walls, paths, starts):
    """A plain with that ground on it."""
    plain = Plain()
    around = plain.surroundings(
        [(path, True, False, False) for path in paths],
        [shapely.Point(start) for start in starts],
        [(wall, "wall", "") for wall in walls],
    )
    return plain, around


@pytest.mark.parametrize("seed", range(1, 13))
def test_no_start_outside_a_window_that_grew_would_have_been_sooner(seed):
    walls, paths, starts, goals = walled_ground(seed)
    plain, around = lay_out(walls, paths, starts)
    routes = walk_to(plain, around, *goals, walking=Walking(reach_m=1800.0))
    found = np.array([np.inf if route.out_min is None else route.out_min for route in routes])
    assert found == pytest.approx(search_everything(walls, paths, starts, goals), rel=0.04, abs=0.2)


@pytest.mark.parametrize("seed", range(1, 13))
def test_windows_that_grow_tell_the_times_of_the_widest(seed, monkeypatch):
    walls, paths, starts, goals = walled_ground(seed)
    plain, around = lay_out(walls, paths, starts)
    hills = plain.relief(lambda x, y: 20 * np.sin(x / 70) + 15 * np.cos(y / 55))
    walking = Walking(reach_m=1800.0)
    grown = walk_to(plain, around, *goals, reliefs=[hills], walking=walking)
    monkeypatch.setattr("scout.walk.routes._WINDING", 1e6)
    monkeypatch.setattr("scout.walk.routes._FIRST_M", 1e6)
    widest = [walk_to(plain, around, goal, reliefs=[hills], walking=walking)[0] for goal in goals]
    told, whole = ([math.inf if r.out_min is None else r.out_min for r in some] for some in (grown, widest))
    assert told == pytest.approx(whole, rel=1e-9)
    assert [r.start for r in grown] == [r.start for r in widest]


def bounds_of(plain, around, goals, walking):
    nearest = find_nearest_starts(*plain.degrees(*goals), AccessMap(around), walking.reach_m)
    return bound_walks(nearest, walking)


@pytest.mark.parametrize("seed", range(1, 13))
def test_no_walk_is_sooner_than_its_bound_on_ground_that_falls_as_is_quickest(seed):
    """Tobler's function has its peak at a slope of -0.05, here to the east."""
    walls, paths, starts, goals = walled_ground(seed)
    plain, around = lay_out(walls, paths, starts)
    slope, walking = plain.relief(lambda x, y: -0.05 * x), Walking(reach_m=1800.0)
    routes = walk_to(plain, around, *goals, reliefs=[slope], walking=walking)
    found = np.array([np.inf if route.out_min is None else route.out_min for route in routes])
    assert (bounds_of(plain, around, goals, walking) <= found).all()


def test_the_bound_is_the_time_itself_down_a_straight_path_and_down_open_ground():
    plain, walking = Plain(), Walking(reach_m=1800.0)
    slope, start = plain.relief(lambda x, y: -0.05 * x), [shapely.Point(0, 0)]
    path = (shapely.LineString([(0, 0), (900, 0)]), True, False, False)
    for ways, speed in (([path], 1.0), ([], 0.6)):
        around = plain.surroundings(ways, start)
        (bound,) = bounds_of(plain, around, [(900.0, 0.0)], walking)
        (route,) = walk_to(plain, around, (900.0, 0.0), reliefs=[slope], walking=walking)
        assert bound <= route.out_min
        assert bound == pytest.approx(900 / (speed * 100), rel=0.016)  # 6 km/h are 100 m a minute
        assert bound == pytest.approx(route.out_min, rel=0.005)


@pytest.mark.parametrize("seed", range(1, 13))
def test_of_several_places_for_one_spot_the_soonest_is_found(seed):
    """Whatever bounds leave out of a window."""
    walls, paths, starts, goals = walled_ground(seed)
    plain, around = lay_out(walls, paths, starts)
    goals = np.concatenate([goals, np.random.default_rng(seed).uniform(-450, 450, (20, 2))])
    lon, lat = plain.degrees(*goals)
    targets = WalkTargets(lon, lat, np.repeat(np.arange(4), 6))
    one_by_one = [route.out_min or math.inf for route in walk_to(plain, around, *goals)]
    spots = find_walks(targets, around, [], NEAR)
    soonest = np.min(np.reshape(one_by_one, (4, 6)), axis=1)
    assert [walk.route.out_min or math.inf for walk in spots] == pytest.approx(soonest.tolist(), rel=1e-9)
