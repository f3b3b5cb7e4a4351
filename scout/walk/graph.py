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
from scout.walk.barriers import (
    AccessMap,
    BarrierIndex,
    WalkWindow,
    WindowBarriers,
    WindowStarts,
    WindowWays,
)
from scout.walk.terrain import (
    OFF_PATH,
    compute_hours_both_ways,
    compute_load_factor,
    compute_tobler_kmh,
    interpolate_grid,
    interpolate_heights,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
StepTimes = NDArray[np.float32]

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
    landing: Bools  # per edge, two columns: on the ground, and that end is the end of a crossing
    inside: Bools  # per point: in the window, beyond which there are no edges


def build_network(ways: WindowWays, window: WalkWindow) -> Network:
    """The points and edges of ways in a window."""
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
    inside = window.holds(*points[first].T)
    drive_row[~inside] = -1
    walk = np.append(ways.walk, np.ones(len(ways.crossing), dtype=bool))[line]
    start = np.flatnonzero((np.diff(line, append=-1) == 0) & walk)
    start = start[inside[node[start]] & inside[node[start + 1]]] if len(start) else start
    a, b, crossing = _drop_repeats(node[start], node[start + 1], over[start], n)
    at_end = np.zeros(n, dtype=bool)
    at_end[a[crossing]] = at_end[b[crossing]] = True
    landing = ~crossing[:, None] & np.stack([at_end[a], at_end[b]], axis=1)
    along, ends = _span_bridges(points, line, node, heads, tails, ~on_ground)
    return Network(
        points[first, 0],
        points[first, 1],
        drive_row,
        ~on_ground,
        along,
        ends,
        a,
        b,
        crossing,
        landing,
        inside,
    )


def add_gates(network: Network, barriers: WindowBarriers, window: WalkWindow) -> Network:
    """The network with points where fences may be passed: no grid, however coarse, then misses a gate."""
    gates = barriers.openings[shapely.get_type_id(barriers.openings) == 0]
    x, y, no = shapely.get_x(gates), shapely.get_y(gates), np.zeros(len(gates), dtype=bool)
    added = {"x": x, "y": y, "drive_row": np.full(len(x), -1), "aloft": no, "along": np.full(len(x), np.nan)}
    added |= {"ends": np.full((len(x), 2), -1), "inside": window.holds(x, y)}
    return network._replace(
        **{name: np.concatenate([getattr(network, name), more]) for name, more in added.items()}
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
# Sixteen ways overstate a straight walk by 0 to 2.75 % (1 / cos 13.28 deg): taken off by half.
DETOUR = 1.0136
# Right and up, in the order of the numbers of the points they lead to; the opposites come first.
_WAYS = ((1, 0), (-2, 1), (-1, 1), (0, 1), (1, 1), (2, 1), (-1, 2), (1, 2))
_AT_ONCE = 100_000  # pieces of barriers
_SLACK, _FLAT = 1e-6, 1e-9  # cells
_BAND, _FURTHEST = 32, 2  # rows of a grid timed together; rows that a step leads up


class Lattice(NamedTuple):
    """The points of a grid, whole numbers of cells from the middle of the frame: alike in all its windows."""

    cell_m: float
    col: int  # of the westernmost points
    row: int  # of the southernmost
    wide: int  # points in a row
    high: int

    @classmethod
    def over(cls, window: WalkWindow, cell_m: float) -> Lattice:
        """The grid that just covers a window."""
        low, high = np.split(np.array(window.bounds) / cell_m, 2)
        (col, row), (east, north) = np.floor(low).astype(int), np.ceil(high).astype(int)
        return cls(cell_m, int(col), int(row), int(east - col) + 1, int(north - row) + 1)

    def axes(self) -> tuple[Floats, Floats]:
        """Metres east of the columns and north of the rows."""
        x: Floats = np.arange(self.col, self.col + self.wide, dtype=np.float64)
        y: Floats = np.arange(self.row, self.row + self.high, dtype=np.float64)
        return self.cell_m * x, self.cell_m * y

    def scale(self, points: Floats) -> Floats:
        """Columns and rows, with fractions, of points in metres."""
        scaled: Floats = points / self.cell_m - (self.col, self.row)
        return scaled


def time_steps(lattice: Lattice, height_m: Floats, m_per_min: float, walls: BarrierIndex) -> StepTimes:
    """Minutes from the points of a grid, sixteen ways each, shape (high, wide, 16).

    They are infinite where no step leads.

    Parameters
    ----------
    lattice : Lattice
    height_m : array, shape (high, wide)
        Where it is NaN no step leads.
    m_per_min : float
        Metres a minute for each km/h of Tobler's function.
    walls : BarrierIndex
    """
    height = height_m.astype(np.float32)
    minutes = np.full((*height.shape, 2 * len(_WAYS)), np.inf, dtype=np.float32)
    for first in range(0, len(height), _BAND):  # a few rows at a time stay in the processor's cache
        rows = slice(first, first + _BAND + _FURTHEST)
        _time_band(minutes[rows], height[rows], lattice.cell_m, m_per_min)
    if walls.any:
        _close_steps(minutes, lattice, walls)
    return minutes


def _time_band(minutes: StepTimes, height: NDArray[np.float32], cell_m: float, m_per_min: float) -> None:
    """Fill in the minutes of the steps inside some rows."""
    last = len(_WAYS) - 1
    for k, (right, up) in enumerate(_WAYS):
        here, there = _pair_points(height.shape, right, up)
        length = np.float32(np.hypot(right, up) * cell_m)
        slope = (height[there] - height[here]) / length
        unit = np.float32(length / DETOUR / m_per_min)
        forth, back = compute_hours_both_ways(slope)
        for at, way, hours in ((here, last + 1 + k, forth), (there, last - k, back)):
            taken = hours * unit
            taken[np.isnan(taken)] = np.inf
            minutes[(*at, way)] = taken


def _pair_points(
    shape: tuple[int, ...], right: int, up: int
) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Points from which a step stays on the grid, and the points it leads to."""
    high, wide = shape
    west, east = slice(max(-right, 0), wide - max(right, 0)), slice(max(right, 0), wide - max(-right, 0))
    return (slice(0, high - up), west), (slice(up, high), east)


def _close_steps(minutes: StepTimes, lattice: Lattice, walls: BarrierIndex) -> None:
    """Take out the steps that a barrier stops."""
    n = len(_WAYS)
    for lines, gated in ((walls.fences, walls.gated), (walls.shores, None)):
        for part in np.array_split(np.arange(len(lines.start)), len(lines.start) // _AT_ONCE + 1):
            start, end = lattice.scale(lines.start[part]), lattice.scale(lines.end[part])
            for way, (right, up) in enumerate(_WAYS):
                col, row, piece, at = _find_met_steps(lattice, start, end, right, up)
                if gated is not None:
                    shut = ~gated[part][piece]
                    shut[~shut] = ~walls.at_opening(at[~shut])
                    col, row = col[shut], row[shut]
                minutes[row, col, n + way] = minutes[row + up, col + right, n - 1 - way] = np.inf


def _find_met_steps(
    lattice: Lattice, a: Floats, b: Floats, right: int, up: int
) -> tuple[Ints, Ints, Ints, Floats]:
    """Column and row of the steps of one way that meet pieces of barriers, which pieces, and where.

    The pieces lead from ``a`` to ``b``, in cells; where they are met is in metres.
    Steps of one way follow each other on straight lines, a whole number k = col * up - row * right apart: a
    piece meets the lines between its ends, each at one place, and there one step, or two where they join.
    """
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
    on = (np.minimum(col, col + right) >= 0) & (np.maximum(col, col + right) < lattice.wide)
    on &= (row >= 0) & (row + up < lattice.high)
    at = lattice.cell_m * (np.stack([x, y], axis=1)[twice[on]] + (lattice.col, lattice.row))
    return col[on], row[on], piece[twice[on]], at


@lru_cache
def _unit(right: int, up: int) -> tuple[int, int]:
    """Column and row of a point of the first line: col * up - row * right = 1."""
    near = range(-2, 3)
    return next((col, row) for col in near for row in near if col * up - row * right == 1)


class Links(NamedTuple):
    """Single edges, by the points they begin at."""

    first: NDArray[np.int32]  # where those of each point begin, and the end
    head: NDArray[np.int32]
    minutes: Floats


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
    lattice: Lattice
    x: Floats
    y: Floats
    height_m: Floats  # NaN without heights
    steps: StepTimes  # minutes on the grid, shape (high, wide, 16)
    links: Links  # and on all other edges
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
        return self.first_way + np.flatnonzero(~self.network.aloft & self.network.inside)

    def near_border(self) -> Ints:
        """Points where a way in from outside the window may begin: no edge leads further in."""
        deep_m = max(_FURTHEST * self.lattice.cell_m, _NEAR_WAY_M)
        at = slice(self.first_way, self.first_place)
        edge = self.network.inside & ~self.window.holds(self.x[at], self.y[at], deep_m)
        ring = np.ones((self.lattice.high, self.lattice.wide), dtype=bool)
        ring[_FURTHEST:-_FURTHEST, _FURTHEST:-_FURTHEST] = False
        return np.concatenate([np.flatnonzero(ring), self.first_way + np.flatnonzero(edge)])

    def list_shifts(self) -> NDArray[np.int32]:
        """By how much the number of a point of the grid grows with each of the sixteen steps."""
        shift = np.array([up * self.lattice.wide + right for right, up in _WAYS], dtype=np.int32)
        return np.concatenate([-shift[::-1], shift])

    def make_matrix(self) -> csr_array:
        """All edges as a matrix of minutes, from row to column."""
        points, links = self.first_way, self.links
        by_point = self.steps.reshape(points, 2 * len(_WAYS))
        tail, way = np.nonzero(np.isfinite(by_point))
        tails = np.concatenate([tail, np.repeat(np.arange(len(self.x)), np.diff(links.first))])
        heads = np.concatenate([tail + self.list_shifts()[way], links.head])
        minutes = np.concatenate([by_point[tail, way], links.minutes])
        return csr_array((minutes, (tails, heads)), shape=(len(self.x), len(self.x)))

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
    barriers, starts = world.barriers(window), world.starts(window)
    network = add_gates(build_network(world.ways(window), window), barriers, window)
    walls = BarrierIndex(barriers)
    lattice = Lattice.over(window, max(walking.cell_m, window.measure_side() / MOST_CELLS))
    col_x, row_y = lattice.axes()
    x: Floats = np.concatenate([np.tile(col_x, lattice.high), network.x, places[:, 0], starts.x])
    y: Floats = np.concatenate([np.repeat(row_y, lattice.wide), network.y, places[:, 1], starts.y])
    first_way = lattice.wide * lattice.high
    first_place = first_way + len(network.x)
    first_start = first_place + len(places)
    height: Floats = _find_heights(x, y, lattice, window, reliefs, network)
    weights = Weights(compute_load_factor(walking.load_kg) * 1000 / 60, not reliefs)
    ground = np.zeros(first_way) if weights.level else height[:first_way]
    ground = ground.reshape(lattice.high, lattice.wide)
    steps = time_steps(lattice, ground, weights.path_m_per_min * OFF_PATH, walls)
    shell = Graph(
        window, lattice, x, y, height, steps, _NO_LINKS, weights, first_way, first_place, first_start,
        np.concatenate([first_way + np.flatnonzero(network.drive_row >= 0), np.arange(first_start, len(x))]),
        network, starts, bool(reliefs) and bool(np.isnan(height).any()),
    )  # fmt: skip
    return shell._replace(links=_link_off_grid(shell, walls))


def _find_heights(
    x: Floats,
    y: Floats,
    lattice: Lattice,
    window: WalkWindow,
    reliefs: Sequence[Relief],
    network: Network,
) -> Floats:
    """Heights of the points; a bridge goes straight from end to end, whatever the valley does."""
    if not reliefs:
        return np.full(len(x), np.nan)
    first_way = lattice.wide * lattice.high
    on_grid = interpolate_grid(reliefs, lattice.axes(), lattice.cell_m, window.frame.inverse)
    height = np.concatenate(
        [on_grid.ravel(), interpolate_heights(reliefs, *window.frame.inverse(x[first_way:], y[first_way:]))]
    )
    aloft = np.flatnonzero(network.aloft)
    ends = height[first_way + network.ends[aloft]]
    height[first_way + aloft] = ends[:, 0] + network.along[aloft] * (ends[:, 1] - ends[:, 0])
    return height


_NO_LINKS = Links(np.zeros(1, dtype=np.int32), np.empty(0, dtype=np.int32), np.empty(0))


def _link_off_grid(graph: Graph, walls: BarrierIndex) -> Links:
    """Minutes along ways, and between ways, places, starts and the grid around them."""
    xy = np.stack([graph.x, graph.y], axis=1)
    network = graph.network
    way_a, way_b = graph.first_way + network.a, graph.first_way + network.b
    free = network.crossing.copy()
    ground = np.flatnonzero(~free)
    free[ground] = ~walls.stop_ways(xy[way_a[ground]], xy[way_b[ground]], network.landing[ground])
    (a, b), (c, d) = _link_to_grid(graph), _link_to_ways(graph)
    kept, near = np.ones(len(a), dtype=bool), ~walls.stop_hops(xy[c], xy[d])
    close = np.flatnonzero(np.tile(walls.are_near(xy[a[: len(a) // 4]], 1.5 * graph.lattice.cell_m), 4))
    kept[close] = ~walls.stop_links(xy[a[close]], xy[b[close]], a[close] < graph.first_place)
    a, b = np.concatenate([a[kept], c[near]]), np.concatenate([b[kept], d[near]])
    # Links begin at ways, places and starts; nobody goes on from a place, and nobody comes through a start.
    out, into = (a < graph.first_place) | (a >= graph.first_start), a < graph.first_start
    tail = np.concatenate([way_a[free], way_b[free], a[out], b[into]])
    head = np.concatenate([way_b[free], way_a[free], b[out], a[into]])
    path = np.arange(len(tail)) < 2 * np.count_nonzero(free)
    length = np.maximum(np.hypot(*(xy[head] - xy[tail]).T), 1e-3)
    rise = graph.height_m[head] - graph.height_m[tail]
    known = np.full(len(tail), graph.weights.level) | ~np.isnan(rise)
    order = np.flatnonzero(known)
    order = order[np.lexsort((head[order], tail[order]))]
    count = np.bincount(tail[order], minlength=len(graph.x))
    minutes = graph.weights.minutes(length[order], rise[order], path[order])
    return Links(np.append(0, np.cumsum(count)).astype(np.int32), head[order].astype(np.int32), minutes)


def _link_to_grid(graph: Graph) -> tuple[Ints, Ints]:
    """Short edges from ways, places and starts to each corner in turn of the grid cells around them."""
    wide, high = graph.lattice.wide, graph.lattice.high
    points = np.concatenate([graph.on_ground(), np.arange(graph.first_place, len(graph.x))])
    cells = np.floor(graph.lattice.scale(np.stack([graph.x[points], graph.y[points]], axis=1)))
    col, row = np.clip(cells.astype(np.int64), 0, (wide - 2, high - 2)).T
    corners = [(row + down) * wide + col + right for down in (0, 1) for right in (0, 1)]
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
