"""The ground of one window as a graph: steps of a grid, the ways as they run, and nothing across barriers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array

from scout.access.network import Network, network_of
from scout.access.pace import OFF_PATH, load_factor, tobler_kmh
from scout.access.relief import heights_at, heights_on
from scout.access.steps import DETOUR, steps
from scout.access.walls import Walls
from scout.access.window import Map, Starts, Window
from scout.surroundings import Relief, Walking

__all__ = ["MOST_CELLS", "Graph", "Weights", "build"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_NEAR_WAY_M = 15.0
MOST_CELLS = 900  # along a side: a wider window gets coarser cells, or memory would know no bound


class Weights(NamedTuple):
    """What edges cost."""

    path_m_per_min: float  # on level ground at Tobler's 1 km/h
    level: bool  # no heights are known: all ground is taken as level

    def minutes(self, length_m: Floats, rise_m: Floats, path: Bools) -> Floats:
        """Minutes along edges in their direction."""
        slope = np.zeros(len(length_m)) if self.level else rise_m / length_m
        speed = self.path_m_per_min * np.where(path, 1.0, OFF_PATH) * tobler_kmh(slope)
        taken: Floats = length_m / speed
        return taken


class Graph(NamedTuple):
    """Points and the minutes between them: the grid's first, then those of ways, places and starts."""

    window: Window
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
    starts: Starts
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


def build(world: Map, window: Window, reliefs: Sequence[Relief], walking: Walking, places: Floats) -> Graph:
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
        network_of(world.ways(window)),
        world.starts(window),
        Walls(world.barriers(window)),
    )
    cell_m = max(walking.cell_m, 2 * window.half_m / MOST_CELLS)
    side = int(np.ceil(2 * window.half_m / cell_m)) + 1
    axis: Floats = cell_m * np.arange(-(side - 1) / 2, side / 2)
    x: Floats = np.concatenate([np.tile(axis, side), network.x, places[:, 0], starts.x])
    y: Floats = np.concatenate([np.repeat(axis, side), network.y, places[:, 1], starts.y])
    first_way = side * side
    first_place = first_way + len(network.x)
    first_start = first_place + len(places)
    height: Floats = _heights(x, y, axis, window, reliefs, network)
    weights = Weights(load_factor(walking.load_kg) * 1000 / 60, not reliefs)
    ground = np.zeros(first_way) if weights.level else height[:first_way]
    grid = steps(axis, ground.reshape(side, side), weights.path_m_per_min * OFF_PATH, walls, len(x))
    shell = Graph(
        window, x, y, height, grid, weights, first_way, first_place, first_start,
        np.concatenate([first_way + np.flatnonzero(network.drive_row >= 0), np.arange(first_start, len(x))]),
        network, starts, bool(reliefs) and bool(np.isnan(height).any()),
    )  # fmt: skip
    return shell._replace(minutes=grid + _off_grid(shell, axis, walls))


def _heights(
    x: Floats, y: Floats, axis: Floats, window: Window, reliefs: Sequence[Relief], network: Network
) -> Floats:
    """Heights of the points; a bridge goes straight from end to end, whatever the valley does."""
    if not reliefs:
        return np.full(len(x), np.nan)
    first_way = len(axis) ** 2
    on_grid = heights_on(reliefs, axis, window.frame.inverse)
    height = np.concatenate(
        [on_grid.ravel(), heights_at(reliefs, *window.frame.inverse(x[first_way:], y[first_way:]))]
    )
    aloft = np.flatnonzero(network.aloft)
    ends = height[first_way + network.ends[aloft]]
    height[first_way + aloft] = ends[:, 0] + network.along[aloft] * (ends[:, 1] - ends[:, 0])
    return height


def _off_grid(graph: Graph, axis: Floats, walls: Walls) -> csr_array:
    """Minutes along ways, and between ways, places, starts and the grid around them."""
    xy = np.stack([graph.x, graph.y], axis=1)
    network, n = graph.network, len(xy)
    way_a, way_b = graph.first_way + network.a, graph.first_way + network.b
    free = network.crossing.copy()
    ground = np.flatnonzero(~free)
    free[ground] = ~walls.stop_ways(xy[way_a[ground]], xy[way_b[ground]], network.landing[ground])
    (a, b), (c, d) = _to_grid(graph, axis), _to_ways(graph)
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


def _to_grid(graph: Graph, axis: Floats) -> tuple[Ints, Ints]:
    """Short edges from ways, places and starts to the corners of the grid cell around each point."""
    side, cell_m = len(axis), axis[1] - axis[0]
    points = np.concatenate([graph.on_ground(), np.arange(graph.first_place, len(graph.x))])
    col, row = (
        np.clip(np.floor((v[points] - axis[0]) / cell_m).astype(np.int64), 0, side - 2)
        for v in (graph.x, graph.y)
    )
    corners = [(row + down) * side + col + right for down in (0, 1) for right in (0, 1)]
    return np.tile(points, 4), np.concatenate(corners)


def _to_ways(graph: Graph) -> tuple[Ints, Ints]:
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
