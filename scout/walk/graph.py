"""A window as a graph: ways as they run, steps of the grid, nothing across barriers."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array

from scout.model import Relief, Walking
from scout.table import expand_ranges
from scout.walk.barriers import AccessMap, BarrierIndex, WalkWindow, WindowStarts, WindowWays
from scout.walk.terrain import (
    OFF_PATH,
    compute_load_factor,
    compute_tobler_kmh,
    interpolate_grid,
    interpolate_heights,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_STEP_M = 10.0
_SAME_M = 0.01  # vertices nearer than this are one: there ways meet


class Network(NamedTuple):
    """Points along ways and the edges between them."""

    x: Floats
    y: Floats
    drive_row: Ints  # per point: row of the ways where a car may stop, else -1
    aloft: Bools  # per point: on a bridge or in a tunnel, no way off
    along: Floats  # per point: share of the way from one end of the bridge to the other; NaN on the ground
    ends: Ints  # per point, two columns: the points at the ends of the bridge; -1 on the ground
    a: Ints  # edges, each once
    b: Ints
    crossing: Bools  # per edge: over or under whatever is there
    landing: Bools  # per edge: on the ground, from the end of a crossing


def build_network(ways: WindowWays) -> Network:
    """The points and edges of ways."""
    lines = np.concatenate([ways.ground, ways.crossing])
    points, line = shapely.get_coordinates(shapely.segmentize(lines, _STEP_M), return_index=True)
    over = line >= len(ways.ground)
    first, node = _join_points(points)
    n = len(first)
    on_ground, drive_row = np.zeros(n, dtype=bool), np.full(n, -1)
    on_ground[node[~over]] = True
    heads = np.flatnonzero(np.diff(line, prepend=-1))
    tails = np.append(heads[1:], len(line))[: len(heads)] - 1
    on_ground[node[heads]] = on_ground[node[tails]] = True
    stop = np.append(ways.drive_row, np.full(len(ways.crossing), -1))[line]
    drive_row[node[stop >= 0]] = stop[stop >= 0]
    walk = np.append(ways.walk, np.ones(len(ways.crossing), dtype=bool))[line]
    start = np.flatnonzero((np.diff(line, append=-1) == 0) & walk)
    a, b, crossing = _drop_repeats(node[start], node[start + 1], over[start], n)
    at_end = np.zeros(n, dtype=bool)
    at_end[a[crossing]] = at_end[b[crossing]] = True
    landing = ~crossing & (at_end[a] | at_end[b])
    along, ends = _span_bridges(points, line, node, heads, tails, ~on_ground)
    return Network(
        points[first, 0], points[first, 1], drive_row, ~on_ground, along, ends, a, b, crossing, landing
    )


def _join_points(points: Floats) -> tuple[Ints, Ints]:
    """First row of each point that is one, and the number of the point for each row."""
    east, north = np.rint(points / _SAME_M).astype(np.int64).T
    _, first, node = np.unique((east << 32) + north, return_index=True, return_inverse=True)
    return first, node.reshape(-1)


def _drop_repeats(a: Ints, b: Ints, crossing: Bools, n: int) -> tuple[Ints, Ints, Bools]:
    """Edges without repeats and without those from a point to itself; a crossing wins."""
    low, high = np.minimum(a, b), np.maximum(a, b)
    key, edge = np.unique(low * n + high, return_inverse=True)
    over = np.zeros(len(key), dtype=bool)
    over[edge.reshape(-1)[crossing]] = True
    real = key // max(n, 1) != key % max(n, 1)
    return key[real] // max(n, 1), key[real] % max(n, 1), over[real]


def _span_bridges(
    points: Floats, line: Ints, node: Ints, heads: Ints, tails: Ints, aloft: Bools
) -> tuple[Floats, Ints]:
    """For the points aloft, how far along they are and where the ends are."""
    along, ends = np.full(len(aloft), np.nan), np.full((len(aloft), 2), -1)
    if not len(points):
        return along, ends
    run = np.cumsum(np.hypot(*np.diff(points, axis=0, prepend=points[:1]).T))
    of_line = np.cumsum(np.diff(line, prepend=-1) > 0) - 1
    whole = np.maximum(run[tails] - run[heads], 1e-9)
    row = np.flatnonzero(aloft[node])
    along[node[row]] = (run[row] - run[heads][of_line[row]]) / whole[of_line[row]]
    ends[node[row], 0], ends[node[row], 1] = node[heads][of_line[row]], node[tails][of_line[row]]
    return along, ends


# Steps over open ground: a grid, sixteen ways from each point, timed by the slope in their direction.
Minutes = NDArray[np.float32]

# Sixteen ways overstate a straight walk by 0 to 2.75 % (1 / cos 13.28 deg): taken off by half.
DETOUR = 1.0136
# Right and up, in the order of the numbers of the points they lead to; the opposites come first.
_WAYS = ((1, 0), (-2, 1), (-1, 1), (0, 1), (1, 1), (2, 1), (-1, 2), (1, 2))
_AT_ONCE = 100_000  # pieces of barriers
_SLACK, _FLAT = 1e-6, 1e-9  # cells
_NEVER = np.float32(np.inf)


def build_steps(axis: Floats, height_m: Floats, m_per_min: float, walls: BarrierIndex, n: int) -> csr_array:
    """Minutes from point to point of a square grid.

    Parameters
    ----------
    axis : array, shape (side,)
        x, and likewise y, of the points; point ``row * side + col`` lies at ``(axis[col], axis[row])``.
    height_m : array, shape (side, side)
        Where it is NaN no step leads.
    m_per_min : float
        Metres a minute for each km/h of Tobler's function.
    walls : Walls
    n : int
        Size of the matrix; points of the grid come first.
    """
    side, cell_m = len(axis), float(axis[1] - axis[0])
    height = height_m.astype(np.float32)
    last = len(_WAYS) - 1
    minutes: Minutes = np.full((side, side, 2 * len(_WAYS)), _NEVER, dtype=np.float32)
    for k, (right, up) in enumerate(_WAYS):
        here, there = _pair_points(side, right, up)
        length = np.float32(np.hypot(right, up) * cell_m)
        slope = (height[there] - height[here]) / length
        unit = np.float32(length / DETOUR / m_per_min)
        minutes[(*here, last + 1 + k)] = unit / compute_tobler_kmh(slope)
        minutes[(*there, last - k)] = unit / compute_tobler_kmh(-slope)
    if walls.any:
        _close_steps(minutes, axis, walls)
    return _build_matrix(minutes, n)


def _pair_points(side: int, right: int, up: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Points from which a step stays on the grid, and the points it leads to."""
    west, east = slice(max(-right, 0), side - max(right, 0)), slice(max(right, 0), side - max(-right, 0))
    return (slice(0, side - up), west), (slice(up, side), east)


def _close_steps(minutes: Minutes, axis: Floats, walls: BarrierIndex) -> None:
    """Take out the steps that a barrier stops."""
    n = len(_WAYS)
    for lines, passable in ((walls.fences, True), (walls.shores, False)):
        for part in np.array_split(np.arange(len(lines.start)), len(lines.start) // _AT_ONCE + 1):
            for way, (right, up) in enumerate(_WAYS):
                col, row, at = _find_met_steps(lines.start[part], lines.end[part], axis, right, up)
                if passable:
                    shut = ~walls.at_opening(at)
                    col, row = col[shut], row[shut]
                minutes[row, col, n + way] = minutes[row + up, col + right, n - 1 - way] = _NEVER


def _find_met_steps(a: Floats, b: Floats, axis: Floats, right: int, up: int) -> tuple[Ints, Ints, Floats]:
    """Column and row of the steps of one way that meet pieces of barriers from ``a`` to ``b``, and where.

    Steps of one way follow each other on straight lines, a whole number k = col * up - row * right apart: a
    piece meets the lines between its ends, each at one place, and there one step, or two where they join.
    """
    side, cell_m = len(axis), axis[1] - axis[0]
    a, b = (a - axis[0]) / cell_m, (b - axis[0]) / cell_m
    from_k, to_k = (p[:, 0] * up - p[:, 1] * right for p in (a, b))
    low = np.ceil(np.minimum(from_k, to_k) - _SLACK).astype(np.int64)
    high = np.floor(np.maximum(from_k, to_k) + _SLACK).astype(np.int64)
    # A piece that runs along the steps is met by others; its ends are met with its neighbours.
    diagonal = np.abs(to_k - from_k) > _FLAT
    piece, k = expand_ranges(low, np.where(diagonal, np.maximum(high - low + 1, 0), 0))
    share = (k - from_k[piece]) / (to_k - from_k)[piece]
    x, y = (a[piece] + share[:, None] * (b - a)[piece]).T
    first_col, first_row = _unit(right, up)
    along = ((x - k * first_col) * right + (y - k * first_row) * up) / (right**2 + up**2)
    # Both where one step ends and the next begins.
    step = np.floor(np.stack([along - _SLACK, along + _SLACK])).astype(np.int64)
    twice = np.concatenate([np.arange(len(k)), np.flatnonzero(step[0] != step[1])])
    step = np.concatenate([step[0], step[1, twice[len(k) :]]])
    col, row = k[twice] * first_col + step * right, k[twice] * first_row + step * up
    on = (np.minimum(col, col + right) >= 0) & (np.maximum(col, col + right) < side)
    on &= (row >= 0) & (row + up < side)
    at = axis[0] + cell_m * np.stack([x, y], axis=1)[twice[on]]
    return col[on], row[on], at


@lru_cache
def _unit(right: int, up: int) -> tuple[int, int]:
    """Column and row of a point of the first line: col * up - row * right = 1."""
    near = range(-2, 3)
    return next((col, row) for col in near for row in near if col * up - row * right == 1)


def _build_matrix(minutes: Minutes, n: int) -> csr_array:
    side = len(minutes)
    flat = minutes.reshape(side * side, -1)
    open_ = np.isfinite(flat)
    first = np.full(n + 1, np.count_nonzero(open_), dtype=np.int32)
    first[0] = 0
    first[1 : side * side + 1] = np.cumsum(open_.sum(axis=1, dtype=np.int32))
    shift = np.array([up * side + right for right, up in _WAYS], dtype=np.int32)
    shift = np.concatenate([-shift[::-1], shift])
    to = np.arange(side * side, dtype=np.int32)[:, None] + shift
    return csr_array((flat[open_], to[open_], first), shape=(n, n))


# The ground of one window as a graph: steps of a grid, the ways as they run, and nothing across barriers.
_NEAR_WAY_M = 15.0
MOST_CELLS = 900  # along a side: a wider window gets coarser cells, or memory would know no bound


class Weights(NamedTuple):
    """What edges cost."""

    path_m_per_min: float  # on level ground at Tobler's 1 km/h
    level: bool  # no heights are known: all ground is taken as level

    def minutes(self, length_m: Floats, rise_m: Floats, path: Bools) -> Floats:
        """Minutes along edges in their direction."""
        slope = np.zeros(len(length_m)) if self.level else rise_m / length_m
        speed = self.path_m_per_min * np.where(path, 1.0, OFF_PATH) * compute_tobler_kmh(slope)
        taken: Floats = length_m / speed
        return taken


class Graph(NamedTuple):
    """Points and the minutes between them: the grid's first, then those of ways, places and starts."""

    window: WalkWindow
    x: Floats
    y: Floats
    height_m: Floats  # NaN without heights
    minutes: csr_array  # from row to column
    weights: Weights
    first_way: int
    first_place: int
    first_start: int
    sources: Ints  # where a walk may begin
    network: Network
    starts: WindowStarts
    gaps: bool  # heights are missing somewhere, where nobody is led

    def edges(self, point: Ints) -> tuple[Floats, Floats, Bools, Floats]:
        """Metres, rise, whether on a way, and the detour in the metres, along a chain of points."""
        a, b = point[:-1], point[1:]
        length = np.maximum(np.hypot(self.x[b] - self.x[a], self.y[b] - self.y[a]), 1e-3)
        detour = np.where((a < self.first_way) & (b < self.first_way), DETOUR, 1.0)
        return length, self.height_m[b] - self.height_m[a], self._on_way(a) & self._on_way(b), detour

    def on_ground(self) -> Ints:
        """Points of ways that may be left there."""
        return self.first_way + np.flatnonzero(~self.network.aloft)

    def _on_way(self, point: Ints) -> Bools:
        on: Bools = (point >= self.first_way) & (point < self.first_place)
        return on


def build_graph(
    world: AccessMap, window: WalkWindow, reliefs: Sequence[Relief], walking: Walking, places: Floats
) -> Graph:
    """The graph of a window.

    Parameters
    ----------
    world : Map
    window : Window
    reliefs : sequence of Relief
        None at all: level ground.
    walking : Walking
    places : array, shape (n, 2)
        x, y in metres of the places to walk to. No walk leads through a place or a start.
    """
    network, starts, walls = (
        build_network(world.ways(window)),
        world.starts(window),
        BarrierIndex(world.barriers(window)),
    )
    cell_m = max(walking.cell_m, 2 * window.half_m / MOST_CELLS)
    side = int(np.ceil(2 * window.half_m / cell_m)) + 1
    axis: Floats = cell_m * np.arange(-(side - 1) / 2, side / 2)
    x: Floats = np.concatenate([np.tile(axis, side), network.x, places[:, 0], starts.x])
    y: Floats = np.concatenate([np.repeat(axis, side), network.y, places[:, 1], starts.y])
    first_way = side * side
    first_place = first_way + len(network.x)
    first_start = first_place + len(places)
    height: Floats = _find_heights(x, y, axis, window, reliefs, network)
    weights = Weights(compute_load_factor(walking.load_kg) * 1000 / 60, not reliefs)
    ground = np.zeros(first_way) if weights.level else height[:first_way]
    grid = build_steps(axis, ground.reshape(side, side), weights.path_m_per_min * OFF_PATH, walls, len(x))
    shell = Graph(
        window, x, y, height, grid, weights, first_way, first_place, first_start,
        np.concatenate([first_way + np.flatnonzero(network.drive_row >= 0), np.arange(first_start, len(x))]),
        network, starts, bool(reliefs) and bool(np.isnan(height).any()),
    )  # fmt: skip
    return shell._replace(minutes=grid + _link_off_grid(shell, axis, walls))


def _find_heights(
    x: Floats, y: Floats, axis: Floats, window: WalkWindow, reliefs: Sequence[Relief], network: Network
) -> Floats:
    """Heights of the points; a bridge goes straight from end to end, whatever the valley does."""
    if not reliefs:
        return np.full(len(x), np.nan)
    first_way = len(axis) ** 2
    on_grid = interpolate_grid(reliefs, axis, window.frame.inverse)
    height = np.concatenate(
        [on_grid.ravel(), interpolate_heights(reliefs, *window.frame.inverse(x[first_way:], y[first_way:]))]
    )
    aloft = np.flatnonzero(network.aloft)
    ends = height[first_way + network.ends[aloft]]
    height[first_way + aloft] = ends[:, 0] + network.along[aloft] * (ends[:, 1] - ends[:, 0])
    return height


def _link_off_grid(graph: Graph, axis: Floats, walls: BarrierIndex) -> csr_array:
    """Minutes along ways, and between ways, places, starts and the grid around them."""
    xy = np.stack([graph.x, graph.y], axis=1)
    network, n = graph.network, len(xy)
    way_a, way_b = graph.first_way + network.a, graph.first_way + network.b
    free = network.crossing.copy()
    ground = np.flatnonzero(~free)
    free[ground] = ~walls.stop_ways(xy[way_a[ground]], xy[way_b[ground]], network.landing[ground])
    (a, b), (c, d) = _link_to_grid(graph, axis), _link_to_ways(graph)
    kept, near = ~walls.stop_links(xy[a], xy[b], a < graph.first_place), ~walls.stop_hops(xy[c], xy[d])
    a, b = np.concatenate([a[kept], c[near]]), np.concatenate([b[kept], d[near]])
    # Links begin at ways, places and starts; nobody goes on from a place, and nobody comes through a start.
    out, into = (a < graph.first_place) | (a >= graph.first_start), a < graph.first_start
    tail = np.concatenate([way_a[free], way_b[free], a[out], b[into]])
    head = np.concatenate([way_b[free], way_a[free], b[out], a[into]])
    path = np.arange(len(tail)) < 2 * np.count_nonzero(free)
    length = np.maximum(np.hypot(*(xy[head] - xy[tail]).T), 1e-3)
    rise = graph.height_m[head] - graph.height_m[tail]
    known = np.full(len(tail), graph.weights.level) | ~np.isnan(rise)
    tail, head = tail[known], head[known]
    minutes = graph.weights.minutes(length[known], rise[known], path[known])
    order = np.lexsort((head, tail))
    first = np.concatenate([[0], np.cumsum(np.bincount(tail, minlength=n))]).astype(np.int32)
    return csr_array((minutes[order].astype(np.float32), head[order].astype(np.int32), first), shape=(n, n))


def _link_to_grid(graph: Graph, axis: Floats) -> tuple[Ints, Ints]:
    """Short edges from ways, places and starts to the corners of the grid cell around each point."""
    side, cell_m = len(axis), axis[1] - axis[0]
    points = np.concatenate([graph.on_ground(), np.arange(graph.first_place, len(graph.x))])
    col, row = (
        np.clip(np.floor((v[points] - axis[0]) / cell_m).astype(np.int64), 0, side - 2)
        for v in (graph.x, graph.y)
    )
    corners = [(row + down) * side + col + right for down in (0, 1) for right in (0, 1)]
    return np.tile(points, 4), np.concatenate(corners)


def _link_to_ways(graph: Graph) -> tuple[Ints, Ints]:
    """Short edges from places and starts to ways, and from places to starts."""
    ways, places = graph.on_ground(), np.arange(graph.first_place, graph.first_start)
    starts = np.arange(graph.first_start, len(graph.x))
    a, b = [], []
    for mine, others in ((np.concatenate([places, starts]), ways), (places, starts)):
        tree = shapely.STRtree(shapely.points(graph.x[others], graph.y[others]))
        near = tree.query(shapely.points(graph.x[mine], graph.y[mine]), "dwithin", _NEAR_WAY_M)
        a.append(mine[near[0]])
        b.append(others[near[1]])
    return np.concatenate(a), np.concatenate(b)
