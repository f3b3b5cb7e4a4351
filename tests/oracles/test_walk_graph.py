"""One small window of ground as a graph, edge by edge as it is defined, and networkx over those edges.

A grid of 10 m with steps to sixteen neighbours, ways with points at most 10 m apart, each tied to the corners
of its cell; nothing crosses a wall but at its gate. Heights by scipy between the middles of a raster's cells,
times by Tobler's function (1993), 0.6 of the speed off the ways. The grid's own detour, 1 to 1.0275 for a
straight walk in its sixteen directions, is taken off by half.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import networkx as nx
import numpy as np
import pytest
import shapely
from plains import Plain
from scipy.interpolate import RegularGridInterpolator

from scout.model import Walking
from scout.walk.barriers import AccessMap, WalkWindow
from scout.walk.graph import build_graph
from scout.walk.routes import solve_window

HALF, CELL, GATE_M = 70.0, 10.0, 3.0
STEPS = [(p, q) for p in range(-2, 3) for q in range(-2, 3) if math.gcd(p, q) == 1]
DETOUR = 1.0136  # half of 1 / cos(13.28 deg), the widest gap between two ways being atan(1 / 2)
LANE = [(-58.0, -33.0), (-12.0, -41.0), (3.0, 22.0), (58.3, 31.0)]
ROAD = [(-61.0, 52.0), (-20.0, 57.0)]
BRIDGE = [(58.3, 31.0), (57.2, -24.0)]
WALL = [(-140.0, -14.5), (-3.3, 3.7), (140.0, 8.2)]
LAKE = [(44.0, -11.0), (69.0, -8.0), (66.0, 16.0), (47.0, 13.0)]
HOUSE = [(-38.0, 8.0), (-21.0, 11.0), (-24.0, 27.0), (-36.0, 24.0)]
START = (48.0, 44.0)
PLACES = [(-33.0, -52.0), (-47.0, 33.0), (2.5, -36.0), (64.0, -55.0), (-7.0, 66.0), (-66.0, -63.0)]


def height_of(x, y):
    return 60.0 + 5.0 * np.sin(x / 23.0) + 4.0 * np.cos(y / 17.0) + 0.07 * x


class Ground(NamedTuple):
    """What is on it."""

    relief: bool
    wall: bool
    gate: tuple[float, float] | None
    load_kg: float
    lake: bool = False  # under the bridge, and a house


GROUNDS = {
    "level": Ground(False, False, None, 0.0),
    "hills": Ground(True, False, None, 0.0),
    "a wall": Ground(True, True, None, 12.0),
    "a wall with a gate": Ground(True, True, (31.0, 4.8), 0.0),
    "a lake and a house": Ground(True, False, None, 0.0, True),
}


def heights(relief):
    """By scipy, between the middles of the cells of the raster that was made."""
    step = 1 / relief.to_pixel[0]
    rows, cols = relief.heights_m.shape
    x = (np.arange(cols) + 0.5) * step - relief.to_pixel[2] * step
    y = relief.to_pixel[5] * step - (np.arange(rows) + 0.5) * step
    made = RegularGridInterpolator((y[::-1], x), relief.heights_m[::-1].astype(float))
    return lambda point: float(made((point[1], point[0])))


def tobler(slope):
    return 6.0 * math.exp(-3.5 * abs(slope + 0.05))


def pandolf(load, body=80.0):
    """Speed with a load at the same power on the flat, of that without (Pandolf and others 1977)."""
    free = tobler(0.0) / 3.6
    power = 1.5 * body + 1.5 * body * free**2
    both = body + load
    return math.sqrt((power - 1.5 * body - 2.0 * both * (load / body) ** 2) / (1.5 * both)) / free


def points_along(line):
    """Each stretch between two vertices in equal parts of 10 m at most."""
    made = [line[0]]
    for a, b in pairwise(line):
        parts = math.ceil(math.dist(a, b) / 10.0 - 1e-9)
        made += [tuple(np.add(a, np.subtract(b, a) * k / parts)) for k in range(1, parts + 1)]
    return made


def by_definition(ground, height):
    """Minutes between points by name: ("grid", i, j), ("way", k), ("place", k) and "start"."""
    graph, at = nx.DiGraph(), {}
    half = math.ceil(HALF / CELL)
    for i in range(-half, half + 1):
        for j in range(-half, half + 1):
            at["grid", i, j] = (CELL * i, CELL * j)
    lane, road, bridge = points_along(LANE), points_along(ROAD), points_along(BRIDGE)
    for points in (lane, road, bridge):
        at |= {("way", *np.round(p, 3)): p for p in points if max(map(abs, p)) <= HALF}
    if ground.wall and ground.gate:
        at["gate"] = ground.gate
    at |= {("place", k): p for k, p in enumerate(PLACES)} | {"start": START}
    level = {name: height(p) if ground.relief else 0.0 for name, p in at.items()}
    if ground.relief:  # a bridge goes straight from end to end
        ends = [height(BRIDGE[0]), height(BRIDGE[1])]
        for k, p in enumerate(bridge):
            level["way", *np.round(p, 3)] = ends[0] + (ends[1] - ends[0]) * k / (len(bridge) - 1)
    aloft = {("way", *np.round(p, 3)) for p in bridge[1:-1]}
    wall = shapely.LineString(WALL)

    def is_shut(a, b):
        step = shapely.LineString([at[a], at[b]])
        if ground.lake and any(step.intersects(shapely.Polygon(ring)) for ring in (LAKE, HOUSE)):
            return True
        if not ground.wall or not step.intersects(wall):
            return False
        return ground.gate is None or step.intersection(wall).distance(shapely.Point(ground.gate)) > GATE_M

    per_min = pandolf(ground.load_kg) * 1000 / 60

    def join(a, b, share, detour=1.0, over=False):
        length = max(math.dist(at[a], at[b]), 1e-3)
        if over or not is_shut(a, b):
            speed = per_min * share * tobler((level[b] - level[a]) / length)
            minutes = length / detour / speed
            if minutes < graph.get_edge_data(a, b, {"minutes": math.inf})["minutes"]:
                graph.add_edge(a, b, minutes=minutes)

    graph.add_nodes_from(at)
    for name in [name for name in at if name[0] == "grid"]:
        for p, q in STEPS:
            to = ("grid", name[1] + p, name[2] + q)
            if to in at:
                join(name, to, 0.6, DETOUR)
    for points, over in ((lane, False), (bridge, True)):
        for a, b in pairwise([("way", *np.round(p, 3)) for p in points]):
            join(a, b, 1.0, over=over), join(b, a, 1.0, over=over)
    # The road is driven, not walked: its points are ways without edges between them.
    loose = [n for n in at if n[0] == "way" and n not in aloft] + ["gate"] * ("gate" in at)
    for name in [*loose, "start", *[("place", k) for k in range(len(PLACES))]]:
        i, j = (math.floor(v / CELL) for v in at[name])
        for corner in [("grid", i + p, j + q) for p in (0, 1) for q in (0, 1)]:
            if name[0] != "place":
                join(name, corner, 0.6)
            if name != "start":
                join(corner, name, 0.6)
    for way in loose:
        if math.dist(at["start"], at[way]) <= 15.0:
            join("start", way, 0.6)
        for k in range(len(PLACES)):
            if math.dist(at["place", k], at[way]) <= 15.0:
                join(way, ("place", k), 0.6)
    return graph, at


def made_by_scout(ground, plain, relief):
    ways = [
        (shapely.LineString(LANE), True, False, False),
        (shapely.LineString(ROAD), False, True, False),
        (shapely.LineString(BRIDGE), True, False, True),
    ]
    barriers = [(shapely.LineString(WALL), "wall", "")] if ground.wall else []
    barriers += [(shapely.Polygon(LAKE), "water", "Mere")] if ground.lake else []
    openings = [shapely.Point(ground.gate)] if ground.gate else []
    around = plain.surroundings(ways, [shapely.Point(START)], barriers, openings)
    if ground.lake:
        around = replace(around, buildings=[plain.placed(shapely.Polygon(HOUSE))])
    window = WalkWindow.about(10.0, 47.0, HALF)
    walking = Walking(cell_m=CELL, load_kg=ground.load_kg, reach_m=HALF)
    reliefs = [relief] if ground.relief else []
    return build_graph(AccessMap(around), window, reliefs, walking, np.array(PLACES)), around, reliefs


def list_edges(made):
    """The minutes between points, by number."""
    edges = made.make_matrix().tocoo()
    return dict(
        zip(zip(edges.row.tolist(), edges.col.tolist(), strict=True), edges.data.tolist(), strict=True)
    )


@pytest.fixture(scope="module", params=GROUNDS)
def both(request):
    ground, plain = GROUNDS[request.param], Plain()
    relief = plain.relief(height_of, half_m=200.0, cell_m=20.0)
    graph, at = by_definition(ground, heights(relief))
    made, around, reliefs = made_by_scout(ground, plain, relief)
    return ground, graph, at, made, (plain, around, reliefs)


def number_points(at, made):
    """The points of scout's graph by the names of those that were defined."""
    where = np.array(list(at.values()))
    apart = np.hypot(*(where[:, None] - np.stack([made.x, made.y], axis=1)[None]).transpose(2, 0, 1))
    kinds = np.searchsorted(
        [made.first_way, made.first_place, made.first_start], np.arange(len(made.x)), "right"
    )
    wanted = np.array([{"grid": 0, "place": 2}.get(n[0], 3 if n == "start" else 1) for n in at])
    apart[wanted[:, None] != kinds[None]] = np.inf
    assert apart.min(axis=1).max() < 0.01
    return dict(zip(at, apart.argmin(axis=1).tolist(), strict=True))


def test_the_points_are_those_of_the_grid_the_ways_the_places_and_the_starts(both):
    _, _, at, made, _ = both
    number = number_points(at, made)
    assert len(set(number.values())) == len(at)
    # More are only what lies outside the window, and those lead nowhere.
    more = np.setdiff1d(np.arange(len(made.x)), list(number.values()))
    assert np.all(np.maximum(np.abs(made.x), np.abs(made.y))[more] > HALF)


def lies_in_closed(point):
    return any(shapely.Polygon(ring).contains(shapely.Point(point)) for ring in (LAKE, HOUSE))


def test_the_edges_are_those_of_the_definition_and_take_as_long(both):
    ground, graph, at, made, _ = both
    number = number_points(at, made)
    closed = {number[name] for name, point in at.items() if ground.lake and lies_in_closed(point)}
    # Nobody comes there, so steps from one such point to another do not matter.
    told = {key: taken for key, taken in list_edges(made).items() if not closed.issuperset(key)}
    expected = {(number[a], number[b]): minutes for a, b, minutes in graph.edges(data="minutes")}
    expected = {key: minutes for key, minutes in expected.items() if not closed.issuperset(key)}
    assert told.keys() == expected.keys()
    assert [told[key] for key in expected] == pytest.approx(list(expected.values()), rel=1e-5)


def test_a_walk_begins_at_starts_and_along_roads_for_cars(both):
    _, _, at, made, _ = both
    number = number_points(at, made)
    road = {number["way", *np.round(p, 3)] for p in points_along(ROAD)}
    assert set(made.sources.tolist()) == road | {number["start"]}


def test_what_is_told_of_a_chain_of_points_is_what_lies_between_them(both):
    ground, _, at, made, _ = both
    number = number_points(at, made)
    lane = [number["way", *np.round(p, 3)] for p in points_along(LANE)]
    chain = np.array(
        [number["start"], number["grid", 4, 4], number["grid", 5, 4], *lane[::-1], number["place", 0]]
    )
    length, rise, path, detour = made.edges(chain)
    xy = np.stack([made.x[chain], made.y[chain]], axis=1)
    assert length == pytest.approx(np.hypot(*np.diff(xy, axis=0).T))
    assert path.tolist() == [False, False, False, *[True] * (len(lane) - 1), False]
    assert detour.tolist() == pytest.approx([1.0, DETOUR, *[1.0] * (len(lane) + 1)], rel=1e-4)
    assert (
        np.isnan(rise).all()
        if not ground.relief
        else rise.sum() == pytest.approx(made.height_m[chain[-1]] - made.height_m[chain[0]])
    )
    assert made.gaps is False
    assert made.weights.level is not ground.relief


def test_from_outside_a_walk_comes_in_by_the_outermost_points(both):
    """No step leads further in than two points; ways bring nobody further than 15 m past the border."""
    _, _, at, made, _ = both
    number = number_points(at, made)
    half = math.ceil(HALF / CELL)
    deep = HALF - max(2 * CELL, 15.0)
    ring = {k for n, k in number.items() if n[0] == "grid" and max(abs(n[1]), abs(n[2])) > half - 2}
    ways = {k for n, k in number.items() if n[0] in ("way", "gate") or n == "gate"}
    ways = {k for k in ways if max(abs(made.x[k]), abs(made.y[k])) > deep}
    assert set(made.near_border().tolist()) == ring | ways


def test_the_walks_of_a_window_are_those_of_least_time(both):
    ground, graph, at, _, (plain, around, reliefs) = both
    sources = {"start", *(("way", *np.round(p, 3)) for p in points_along(ROAD))}
    expected = nx.multi_source_dijkstra_path_length(graph, sources, weight="minutes")
    walking = Walking(cell_m=CELL, load_kg=ground.load_kg, reach_m=200.0)
    window, n = WalkWindow.about(10.0, 47.0, HALF), len(PLACES)
    places = (*plain.degrees(*PLACES), np.arange(n))
    found = solve_window(window, places, np.full(n, np.inf), AccessMap(around), reliefs, walking, last=True)
    assert not found.from_outside.any()
    for k in range(n):
        minutes = expected.get(("place", k), math.inf)
        assert found.minutes[k] == pytest.approx(minutes, rel=2e-4)
        assert (k in found.routes) == (k not in found.why) == math.isfinite(minutes)
        if k in found.routes:
            route = found.routes[k]
            assert route.out_min == pytest.approx(minutes, rel=2e-4)
            back = nx.single_source_dijkstra_path_length(graph.reverse(), ("place", k), weight="minutes")
            begin = plain.metres(*route.start)
            first = min(sources, key=lambda name: math.dist(at[name], begin))
            assert math.dist(at[first], begin) < 0.02
            assert back[first] == pytest.approx(minutes, rel=2e-4)  # and no other start is nearer
            assert route.straight_m == pytest.approx(math.dist(begin, PLACES[k]), abs=0.05)
            assert route.start_kind == ("parking" if first == "start" else "roadside")


def test_where_a_walk_from_outside_the_window_may_be_sooner_no_route_is_drawn(both):
    """All outside is one more start at its border; what a true start reaches first needs no wider window."""
    ground, graph, at, made, (plain, around, reliefs) = both
    names = {k: name for name, k in number_points(at, made).items()}
    sources = {"start", *(("way", *np.round(p, 3)) for p in points_along(ROAD))}
    outside = {names[k] for k in made.near_border().tolist() if k in names} - sources
    walking = Walking(cell_m=CELL, load_kg=ground.load_kg, reach_m=200.0)
    window, n = WalkWindow.about(10.0, 47.0, HALF), len(PLACES)
    places = (*plain.degrees(*PLACES), np.arange(n))
    found = solve_window(window, places, np.full(n, np.inf), AccessMap(around), reliefs, walking, last=False)
    within = nx.multi_source_dijkstra_path_length(graph, sources, weight="minutes")
    beyond = nx.multi_source_dijkstra_path_length(graph, outside, weight="minutes")
    for k in range(n):
        one, other = (least.get(("place", k), math.inf) for least in (within, beyond))
        assert found.minutes[k] == pytest.approx(min(one, other), rel=2e-4)
        assert found.from_outside[k] == (other < one)
        assert (k in found.routes) == (one < other)
    assert found.from_outside.any()
