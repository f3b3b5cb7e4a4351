"""Walks to many places: windows that grow as far as they must, least times, the way drawn.

The walk to each place: the least time from any parking, trailhead or roadside, over the ground there is.

Windows grow only as far as they must. All outside a window is taken for one more start, right at its border:
a place that a true start reaches first needs no larger window.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array

from scout.geo.geodesy import compute_degree_lengths, measure_geodesic, wrap_lon
from scout.kernels import LIBRARY, find_least_times
from scout.model import Relief, Route, RouteState, StartKind, Surroundings, Walking
from scout.quantities import Length, MeasuredText
from scout.table import Table
from scout.threads import map_on_threads
from scout.walk.barriers import AccessMap, WalkWindow
from scout.walk.graph import DETOUR, MOST_CELLS, Graph, build_graph
from scout.walk.terrain import FASTEST_KMH, OFF_PATH, compute_load_factor, interpolate_heights

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Indices = NDArray[np.int32]


def iterate_tiles(lon: Floats, lat: Floats, side_m: float) -> Iterator[tuple[tuple[float, float], Ints]]:
    """Middle of each tile, longitude and latitude, and the rows of the places in it.

    Parameters
    ----------
    lon, lat : arrays, shape (n,)
        Degrees.
    side_m : float
        No tile is wider or higher.
    """
    per_lat = 110_500.0  # the least there is
    row = np.floor(lat * per_lat / side_m)
    south, north = row * side_m / per_lat, (row + 1) * side_m / per_lat
    nearest = np.clip(np.where(south > 0, south, np.where(north < 0, -north, 0.0)), 0.0, 89.9)
    wide = side_m / compute_degree_lengths(nearest)[0]
    col = np.floor(wrap_lon(lon) / wide)
    keys, tile = np.unique(np.stack([row, col], axis=1), axis=0, return_inverse=True)
    order = np.argsort(tile.reshape(-1), kind="stable")
    ends = np.cumsum(np.bincount(tile.reshape(-1), minlength=len(keys)))
    for rows in np.split(order, ends[:-1]) if len(order) else ():
        first = rows[0]
        middle = ((col[first] + 0.5) * wide[first], (south[first] + north[first]) / 2)
        yield (float(middle[0]), float(middle[1])), rows


# How far places are from where a car may be left, as the crow flies.
class NearestStarts(NamedTuple):
    """The nearest start of each place, and how far the nearest way is; infinitely far where none is near."""

    distance_m: Floats
    way_m: Floats
    lon: Floats
    lat: Floats
    kind: list[StartKind]
    name: list[str]


def find_nearest_starts(lon: Floats, lat: Floats, world: AccessMap, reach_m: float) -> NearestStarts:
    """Nearest parking, trailhead or road of places, and the nearest way, sought to at least ``reach_m``."""
    n = len(lon)
    distance, way_m, at = np.full(n, np.inf), np.full(n, np.inf), np.full((n, 2), np.nan)
    kind: list[StartKind] = [""] * n
    name = [""] * n
    for centre, rows in iterate_tiles(lon, lat, reach_m):
        window = WalkWindow.about(*centre, 1.8 * reach_m)
        starts, (roads, road_row) = world.starts(window), world.roads(window)
        shapes = np.concatenate([shapely.points(starts.x, starts.y), roads])
        if not len(shapes):
            continue
        places = shapely.points(*window.frame.forward(lon[rows], lat[rows]))
        ways = world.ways(window)
        (place, _), metres = shapely.STRtree(np.concatenate([ways.ground, ways.crossing])).query_nearest(
            places, return_distance=True, all_matches=False
        )
        way_m[rows[place]] = metres
        (place, found), metres = shapely.STRtree(shapes).query_nearest(
            places, return_distance=True, all_matches=False
        )
        foot = shapely.get_point(shapely.shortest_line(places[place], shapes[found]), 1)
        distance[rows[place]] = metres
        at[rows[place]] = np.stack(window.frame.inverse(shapely.get_x(foot), shapely.get_y(foot)), axis=1)
        n_points = len(starts.row)
        for row, start in zip(rows[place].tolist(), found.tolist(), strict=True):
            named = world.start(int(starts.row[start])) if start < n_points else None
            kind[row], name[row] = named or world.road(int(road_row[start - n_points]))
    return NearestStarts(distance, way_m, at[:, 0], at[:, 1], kind, name)


_NEARLY = 0.999  # of what is measured: frames of neighbouring windows differ a little


def bound_walks(nearest: NearestStarts, walking: Walking) -> Floats:
    """Minutes that no walk to places is sooner than: off every path as far as the nearest is, then on one.

    Returns
    -------
    array, shape (n,)
        Infinite where no start is near.
    """
    off_m = np.minimum(nearest.way_m, nearest.distance_m)
    least = np.full(len(off_m), np.inf)
    near = np.isfinite(nearest.distance_m)
    on_m = nearest.distance_m[near] - off_m[near]
    # Steps of the grid count as a little shorter than they are.
    least[near] = _NEARLY * (on_m + off_m[near] / (OFF_PATH * DETOUR)) / compute_fastest_m_per_min(walking)
    return least


def compute_fastest_m_per_min(walking: Walking) -> float:
    """How far the quickest ground on a path leads in a minute, metres."""
    return FASTEST_KMH * compute_load_factor(walking.load_kg) * 1000 / 60


# One walk, read back from the points it passes.
Bools = NDArray[np.bool_]

_LOOSE_M = 1.0  # the drawn line may leave the walked one by this much
_PROFILE_STEPS = 60
_NEXT_TO_M = 150.0


def trace_route(graph: Graph, nodes: Ints, straight_m: float, world: AccessMap) -> Route:
    """The route over some points of a graph, from the start to the spot.

    The way back is the same one: its time differs where it slopes.
    """
    length, rise, path, detour = graph.edges(nodes)
    out, back = (graph.weights.minutes(length, up, path) / detour for up in (rise, -rise))
    metres = length / detour
    known = not graph.weights.level
    line, on_path = _draw_route(graph, nodes, path)
    kind, name = _describe_start(graph, int(nodes[0]), world)
    return Route(
        "walked",
        out_min=float(out.sum()),
        back_min=float(back.sum()),
        length_m=float(metres.sum()),
        climb_m=float(np.maximum(rise, 0.0).sum()) if known else None,
        off_path_m=float(metres[~path].sum()),
        start=line[0],
        start_kind=kind,
        start_name=name,
        straight_m=straight_m,
        line=line,
        on_path=on_path,
        profile=_sample_profile(metres, graph.height_m[nodes]) if known else (),
    )


def _describe_start(graph: Graph, node: int, world: AccessMap) -> tuple[StartKind, str]:
    """Kind and name of the start; a roadside goes by the parking next to it, or else by the road's name."""
    if node >= graph.first_start:
        return world.start(int(graph.starts.row[node - graph.first_start]))
    # What is next to it may lie outside the window of the walk.
    lon, lat = graph.window.frame.inverse(graph.x[node], graph.y[node])
    starts = world.starts(WalkWindow.about(float(lon), float(lat), _NEXT_TO_M))
    away = np.hypot(starts.x, starts.y)
    if len(away) and away.min() <= _NEXT_TO_M:
        name = world.start(int(starts.row[away.argmin()]))[1]
        if name:
            return "roadside", f"by {name}"
    return world.road(int(graph.network.drive_row[node - graph.first_way]))


def _draw_route(
    graph: Graph, nodes: Ints, path: Bools
) -> tuple[tuple[tuple[float, float], ...], tuple[bool, ...]]:
    """The line in degrees without the points it does not need, and which segments are on a path."""
    points = np.column_stack([graph.x[nodes], graph.y[nodes]])
    kept, flags = [points[:1]], []
    breaks = np.flatnonzero(np.diff(path.astype(np.int8))) + 1
    for run in np.split(np.arange(len(path)), breaks) if len(path) else []:
        part = points[run[0] : run[-1] + 2]
        simple = shapely.get_coordinates(shapely.simplify(shapely.linestrings(part), _LOOSE_M))
        kept.append(simple[1:])
        flags += [bool(path[run[0]])] * (len(simple) - 1)
    lon, lat = graph.window.frame.inverse(*np.concatenate(kept).T)
    line = tuple(zip(np.round(lon, 7).tolist(), np.round(lat, 7).tolist(), strict=True))
    return line, tuple(flags)


def _sample_profile(length: Floats, height: Floats) -> tuple[tuple[float, float], ...]:
    """Heights along the walk, at a few dozen places."""
    run = np.concatenate([[0.0], np.cumsum(length)])
    at = np.linspace(0.0, run[-1], min(_PROFILE_STEPS, len(run)))
    heights = np.interp(at, run, height)
    return tuple(zip(np.round(at, 1).tolist(), np.round(heights, 1).tolist(), strict=True))


# The least times to the places of one window, and their walks.
class WindowWalks(NamedTuple):
    """What a window gave. Numbers are those of its places."""

    minutes: (
        Floats  # no walk is sooner; infinite where there is none at all, or none better than what was known
    )
    from_outside: Bools  # a walk from outside the window may be sooner than any within
    routes: dict[int, Route]  # for each group the best, where it is better than what was known
    why: dict[int, str]  # why there is no walk, where that is certain


def explain_over_limit(walking: Walking) -> str:
    """Why a place too far away is out of reach."""
    return f"the walk takes over {walking.limit_min:g} min"


def solve_window(
    window: WalkWindow,
    places: tuple[Floats, Floats, Ints],
    known_min: Floats,
    world: AccessMap,
    reliefs: Sequence[Relief],
    walking: Walking,
    last: bool,
) -> WindowWalks:
    """Walk to the places of a window.

    Parameters
    ----------
    window : WalkWindow
    places : three arrays
        Longitude, latitude and group.
    known_min : array
        Per group the least minutes known.
    world : AccessMap
    reliefs : sequence of Relief
    walking : Walking
    last : bool
        No wider window follows: nobody comes from outside.
    """
    lon, lat, group = places
    graph = build_graph(world, window, reliefs, walking, np.stack(window.frame.forward(lon, lat), axis=1))
    outside = np.empty(0, dtype=np.int64) if last else graph.near_border()
    # What is known to be slower than the best need not be followed.
    limit_min = min(_ENDLESS_MIN, 1.001 * float(known_min[group].max()))
    is_outside = np.zeros(len(graph.x), dtype=bool)
    is_outside[outside], is_outside[graph.sources] = True, False
    all_ = _find_least_times(graph, np.concatenate([graph.sources, outside]), limit_min)
    taken, from_outside = np.full(len(lon), np.inf), np.zeros(len(lon), dtype=bool)
    routes: dict[int, Route] = {}
    why: dict[int, str] = {}
    for one in np.unique(group).tolist():
        mine = np.flatnonzero(group == one)
        nodes, least = graph.first_place + mine, all_
        begin = least.begin[nodes[least.begin[nodes] >= 0]]
        if not _is_near_places(graph, mine, begin[~is_outside[begin]], walking).all():
            # Some of the least times are from starts too far away to be looked at: those of the others, then.
            near = graph.sources[_is_near_places(graph, mine, graph.sources, walking)]
            least = _find_least_times(graph, np.concatenate([near, outside]), limit_min)
        taken[mine] = least.minutes[nodes]
        reached = np.isfinite(taken[mine])
        from_outside[mine] = reached & is_outside[np.maximum(least.begin[nodes], 0)]
        walked = np.where(from_outside[mine], np.inf, taken[mine])
        k = int(mine[walked.argmin()])
        if walked.min() <= walking.limit_min and walked.min() < known_min[one]:
            chain = _follow_chain(graph.first_place + k, least.before)
            first = window.frame.inverse(graph.x[chain[0]], graph.y[chain[0]])
            routes[k] = trace_route(graph, chain, measure_geodesic(*first, lon[k], lat[k])[0], world)
        if limit_min == _ENDLESS_MIN:
            for k in mine[~reached].tolist():
                why[k] = _explain_cut_off(graph, walking)
        for k in mine[np.isfinite(walked) & (walked > walking.limit_min)].tolist():
            why[k] = explain_over_limit(walking)
    return WindowWalks(taken, from_outside, routes, why)


_ENDLESS_MIN = 1e9  # more than any walk takes


class _LeastTimes(NamedTuple):
    """The least times from some starts, per point of a graph."""

    minutes: Floats
    before: Indices  # the point before, negative for none; of those as quick the one of the least number
    begin: Indices  # the start, negative for none


def _find_least_times(graph: Graph, sources: Ints, limit_min: float) -> _LeastTimes:
    """Least times to the places of a window; what is told of points further away does not hold."""
    places = np.arange(graph.first_place, graph.first_start)
    if LIBRARY is not None:
        grid = graph.list_shifts(), graph.steps
        return _LeastTimes(*find_least_times(grid, graph.links, sources, places, limit_min))
    return _find_all_least_times(graph.make_matrix(), sources, limit_min)


def _find_all_least_times(matrix: csr_array, sources: Ints, limit_min: float) -> _LeastTimes:
    """The same without the compiled loops."""
    from scipy.sparse.csgraph import dijkstra

    n = matrix.shape[0]
    if not len(sources):
        none = np.full(n, -1, dtype=np.int32)
        return _LeastTimes(np.full(n, np.inf), none, none)
    least, before, _ = dijkstra(
        matrix, indices=sources, min_only=True, return_predecessors=True, limit=limit_min
    )
    tail = np.repeat(np.arange(n, dtype=np.int32), np.diff(matrix.indptr))
    is_quickest = (least[tail] + matrix.data == least[matrix.indices]) & (least[tail] < least[matrix.indices])
    head = matrix.indices[is_quickest]
    first = np.full(n, n, dtype=np.int32)
    np.minimum.at(first, head, tail[is_quickest])
    before = np.where(first < n, first, np.maximum(before, -1)).astype(np.int32)
    begin = np.where(before < 0, np.arange(n, dtype=np.int32), before)
    while not np.array_equal(begin, further := begin[begin]):
        begin = further
    return _LeastTimes(least, before, np.where(np.isfinite(least), begin, np.int32(-1)))


def _is_near_places(graph: Graph, places: Ints, points: Ints | Indices, walking: Walking) -> Bools:
    """Whether points are no further from any of the places of a spot than starts are looked at."""
    nodes = graph.first_place + places
    from_x, from_y = graph.x[nodes][:, None] - graph.x[points], graph.y[nodes][:, None] - graph.y[points]
    return np.asarray((np.hypot(from_x, from_y) <= walking.reach_m).any(axis=0))


def _follow_chain(node: int, before: Indices) -> Ints:
    """The points from a start to one reached."""
    chain = [node]
    while before[chain[-1]] >= 0:
        chain.append(int(before[chain[-1]]))
    return np.array(chain[::-1])


def _explain_cut_off(graph: Graph, walking: Walking) -> str:
    """Why no way leads to a place."""
    what = "barriers or missing heights" if graph.gaps else "barriers"
    return MeasuredText(
        "no way on foot from any parking or road within ",
        Length(walking.reach_m, "stated"),
        f": {what} all round",
    )


_FIRST_M = 250.0  # within which windows reach at first round their places
_WIDER = 2.0  # from one reach to the next
_TILE = 0.7  # side of a tile, whose places share the widest window, in radii
_REGION_M = 6_000.0  # side of a region, whose windows share a grid
_EXTRA_KM2 = 0.5  # of ground: what a window costs besides its ground
_AT_ONCE = 2  # windows: each may take 200 MB
_FARTHEST_M = 12_000.0  # of a start; its window has cells of 36 m, see DEVELOPERS.md
_NO_HEIGHT = "the heights do not cover it"
_WINDING, _BESIDE_M = 1.3, 60.0  # a window reaches so much further than the nearest start, at a guess
_AGAIN = 1.6  # and so much further again where that was not far enough


@dataclass(frozen=True, slots=True)
class WalkTargets(Table):
    """Places to walk to, a row per possible station centre."""

    lon: Floats  # degrees
    lat: Floats
    group: Ints  # rows of one spot share a number 0 .. n - 1, sorted; the one with the least time is taken


class FoundWalk(NamedTuple):
    """The walk to one spot."""

    row: int  # of the targets: the one taken, or the first of its group when none can be walked to
    route: Route
    further: bool = False  # no start within reach leads there, one further away may


def compute_farthest_m(walking: Walking) -> float:
    """How far away a start may be from which a place is reached within the longest walk."""
    return min(_FARTHEST_M, walking.limit_min * compute_fastest_m_per_min(walking))


def compute_coarsest_m(walking: Walking) -> float:
    """Side of the cells of the widest window."""
    return max(walking.cell_m, _half_m(walking.reach_m) * 2 / MOST_CELLS)


def find_walks(
    targets: WalkTargets,
    surroundings: Surroundings,
    reliefs: Sequence[Relief],
    walking: Walking,
    progress: Callable[[int, int], None] = lambda done, of: None,
    first_m: float = _FIRST_M,
) -> list[FoundWalk]:
    """Walks to places.

    Parameters
    ----------
    targets : Targets
    surroundings : Surroundings
    reliefs : sequence of Relief
        None at all: the ground is taken as level.
    walking : Walking
    progress : callable
        Called with the number of places that are done with, which only grows, and of all.
    first_m : float
        Least radius of a window; more where nothing nearer is to be found.

    Returns
    -------
    list of Walked
        One per group, in their order.
    """
    groups = int(targets.group[-1]) + 1 if len(targets.group) else 0
    first = np.searchsorted(targets.group, np.arange(groups))
    world = AccessMap(surroundings)
    if not world.has_starts:
        why = "the access data holds no parking and no road"
        if len(surroundings.busy_roads):
            why += " but busy ones, along which no place to leave a car is mapped"
        elif not surroundings.sources and not len(surroundings.ways):
            why = "no roads and no parking are given"
        none = Route("unknown", why)
        return [FoundWalk(int(row), none, True) for row in first]
    task = _WalkTask(targets, world, reliefs, walking, groups)
    task.solve(progress, first_m)
    return [task.walked(group, int(first[group])) for group in range(groups)]


class _WalkTask:
    """The walks found so far."""

    def __init__(
        self, targets: WalkTargets, world: AccessMap, reliefs: Sequence[Relief], walking: Walking, groups: int
    ) -> None:
        self.targets, self.world, self.reliefs, self.walking = targets, world, reliefs, walking
        self.nearest = find_nearest_starts(targets.lon, targets.lat, world, walking.reach_m)
        self.least_min = bound_walks(self.nearest, walking)  # per row
        self.best_min = np.full(groups, np.inf)  # per group
        self.best: list[FoundWalk | None] = [None] * groups
        self.why = _explain_no_walk(targets, self.nearest, world, reliefs, walking)  # per row

    def walked(self, group: int, first: int) -> FoundWalk:
        """The walk to a group, or why there is none."""
        found = self.best[group]
        if found is not None:
            return found
        state: RouteState = "unknown" if self.why[first] == _NO_HEIGHT else "out of reach"
        near, here = self.nearest, (self.targets.lon[first], self.targets.lat[first])
        route = Route(state, self.why[first])
        if np.isfinite(near.distance_m[first]):
            start = (float(near.lon[first]), float(near.lat[first]))
            route = replace(
                route,
                start=start,
                start_kind=near.kind[first],
                start_name=near.name[first],
                straight_m=measure_geodesic(*start, *here)[0],
            )
        mine = range(first, int(np.searchsorted(self.targets.group, group, side="right")))
        return FoundWalk(first, route, any(_may_be_further(self.why[row]) for row in mine))

    def solve(self, progress: Callable[[int, int], None], first_m: float) -> None:
        """Walk to every place that may be the best of its group, those nearest to a start first."""
        reach_m = self.walking.reach_m
        left = np.array([not why for why in self.why], dtype=bool)
        count = int(np.count_nonzero(left))
        regions = self._find_regions(left)
        # How far the window that will do reaches.
        wanted = np.minimum(_WINDING * self.nearest.distance_m + _BESIDE_M, reach_m)
        radius, widest = min(first_m, reach_m), np.zeros(len(left), dtype=bool)
        while True:
            rows = np.flatnonzero(left)
            left[rows] = self._may_win(rows)
            if not left.any():
                return
            last = bool(widest[left].all())
            rows = np.flatnonzero(left & (last | (~widest & (wanted <= radius))))
            todo = self._choose_windows(regions, rows, wanted, last)
            while todo:
                some, todo = todo[:_AT_ONCE], todo[_AT_ONCE:]
                self._walk(some, last, left)
                progress(count - int(np.count_nonzero(left)), count)
            widest[rows] = wanted[rows] == reach_m
            wanted[rows] = np.minimum(_AGAIN * wanted[rows], reach_m)
            radius = min(_WIDER * radius, reach_m)

    def _find_regions(self, rows: Bools) -> Sequence[tuple[WalkWindow, Ints]]:
        """Frames whose windows have one grid, and the rows in each."""
        side_m = max(_TILE * self.walking.reach_m, _REGION_M)
        some = np.flatnonzero(rows)
        return [
            (WalkWindow.about(*at, side_m), some[own])
            for at, own in iterate_tiles(self.targets.lon[some], self.targets.lat[some], side_m)
        ]

    def _choose_windows(
        self, regions: Sequence[tuple[WalkWindow, Ints]], rows: Ints, wanted: Floats, last: bool
    ) -> list[tuple[WalkWindow, Ints]]:
        """Windows that reach as far round their places as wanted, those nearest to a start first."""
        chosen = []
        widest_m = 2 * _half_m(self.walking.reach_m)
        for region, own in regions:
            mine = own[np.isin(own, rows)]
            xy = np.stack(region.frame.forward(self.targets.lon[mine], self.targets.lat[mine]), axis=1)
            margin = np.full(len(mine), self.walking.reach_m + 25.0) if last else wanted[mine]
            for some in _share_windows(xy, margin, widest_m):
                low = (xy[some] - margin[some, None]).min(axis=0)
                high = (xy[some] + margin[some, None]).max(axis=0)
                if last:
                    middle = (low + high) / 2
                    low, high = middle - widest_m / 2, middle + widest_m / 2
                chosen.append((replace(region, bounds=(*low.tolist(), *high.tolist())), mine[some]))
        return sorted(chosen, key=lambda one: float(self.nearest.distance_m[one[1]].min()))

    def _may_win(self, rows: Ints) -> Bools:
        """Whether a place could be reached sooner than the best of its group so far."""
        may: Bools = self.least_min[rows] < self.best_min[self.targets.group[rows]]
        return may

    def _walk(self, some: list[tuple[WalkWindow, Ints]], last: bool, left: Bools) -> None:
        """Walk to the rows of some windows; keep the best walks and leave only rows that need a wider one."""
        for _, own in some:
            left[own] = self._may_win(own)
        worth = [(window, own[left[own]]) for window, own in some]

        def solve(one: tuple[WalkWindow, Ints]) -> WindowWalks:
            window, own = one
            places = (self.targets.lon[own], self.targets.lat[own], self.targets.group[own])
            return solve_window(window, places, self.best_min, self.world, self.reliefs, self.walking, last)

        worth = [one for one in worth if len(one[1])]
        for (_, own), answer in zip(worth, map_on_threads(solve, worth), strict=True):
            for k, route in answer.routes.items():
                group = int(self.targets.group[own[k]])
                if route.out_min is not None and route.out_min < self.best_min[group]:
                    self.best_min[group] = route.out_min
                    self.best[group] = FoundWalk(int(own[k]), route)
            for k, why in answer.why.items():
                self.why[own[k]] = why
            self.least_min[own] = np.maximum(self.least_min[own], answer.minutes)
            left[own] = answer.from_outside & self._may_win(own)


def _share_windows(xy: Floats, margin: Floats, widest_m: float) -> list[Ints]:
    """Rows of places that share a window, so that little ground is looked at twice and little in vain.

    Parameters
    ----------
    xy : array, shape (n, 2)
        Metres.
    margin : array, shape (n,)
        How far the window must reach around each place.
    widest_m : float
        No window is wider or higher.
    """
    found = _split_rows(xy, margin, widest_m, np.arange(len(xy)))[1] if len(xy) else []
    return found


def _split_rows(xy: Floats, margin: Floats, widest_m: float, rows: Ints) -> tuple[float, list[Ints]]:
    """The least cost of windows for some rows, and the rows of each."""
    low, high = (xy[rows] - margin[rows, None]).min(axis=0), (xy[rows] + margin[rows, None]).max(axis=0)
    side, spread = high - low, np.ptp(xy[rows], axis=0)
    cost = float(np.prod(side)) + 1e6 * _EXTRA_KM2
    fits = bool((side <= widest_m).all())
    if not spread.any() or (fits and spread.max() < margin[rows].min() / 4):
        return cost, [rows]
    across = int(spread.argmax())
    order = rows[np.argsort(xy[rows, across], kind="stable")]
    cut = int(np.searchsorted(xy[order, across], xy[order, across][[0, -1]].mean(), side="right"))
    parts = [_split_rows(xy, margin, widest_m, part) for part in (order[:cut], order[cut:])]
    split = sum(one for one, _ in parts)
    return (cost, [rows]) if fits and cost <= split else (split, [some for _, more in parts for some in more])


def _half_m(radius_m: float) -> float:
    """Half the side of a window that holds all within a radius of the places of its tile."""
    return (1 + _TILE / 2) * radius_m + 25.0


def _may_be_further(why: str) -> bool:
    """Whether a start further away may help, where no walk was found."""
    return why != _NO_HEIGHT and not why.startswith("in ")


def _explain_no_walk(
    targets: WalkTargets,
    nearest: NearestStarts,
    world: AccessMap,
    reliefs: Sequence[Relief],
    walking: Walking,
) -> list[str]:
    """Per place why there is no walk to it, or nothing when there may be one."""
    why = [""] * len(targets.lon)
    limit_m = walking.limit_min * compute_fastest_m_per_min(walking)
    for row in np.flatnonzero(nearest.distance_m > limit_m):
        why[row] = explain_over_limit(walking)
    for row in np.flatnonzero(nearest.distance_m > walking.reach_m):
        why[row] = MeasuredText("no parking or road within ", Length(walking.reach_m, "stated"))
    missed = np.flatnonzero(nearest.distance_m > walking.reach_m)
    for place, text in _busy(targets, missed, world, walking):
        why[place] = MeasuredText(why[place], "; ", text)
    for row in np.flatnonzero(world.in_building(targets.lon, targets.lat)):
        why[row] = "in a building"
    if reliefs:
        for row in np.flatnonzero(np.isnan(interpolate_heights(reliefs, targets.lon, targets.lat))):
            why[row] = _NO_HEIGHT
    for centre, rows in iterate_tiles(targets.lon, targets.lat, walking.reach_m):
        window = WalkWindow.about(*centre, walking.reach_m)
        barriers = world.barriers(window)
        places = shapely.points(*window.frame.forward(targets.lon[rows], targets.lat[rows]))
        area, place = shapely.STRtree(places).query(barriers.areas, predicate="contains")
        for row, barrier in zip(rows[place].tolist(), barriers.area_row[area].tolist(), strict=True):
            why[row] = f"in {world.barrier(barrier)}"
    return why


def _busy(
    targets: WalkTargets, missed: Ints, world: AccessMap, walking: Walking
) -> Iterator[tuple[int, str]]:
    """Places without a start within reach that have a busy road there, and what is to be said of it."""
    for centre, rows in iterate_tiles(targets.lon[missed], targets.lat[missed], walking.reach_m):
        window = WalkWindow.about(*centre, 1.8 * walking.reach_m)
        roads, names = world.busy(window)
        places = shapely.points(*window.frame.forward(targets.lon[missed[rows]], targets.lat[missed[rows]]))
        (place, road), metres = shapely.STRtree(roads).query_nearest(
            places, max_distance=walking.reach_m, return_distance=True, all_matches=False
        )
        for k, name, m in zip(rows[place].tolist(), (names[r] for r in road.tolist()), metres, strict=True):
            called = f" ({name})" if name else ""
            yield (
                int(missed[k]),
                MeasuredText(
                    "the busy road ", Length(float(m)), f" away{called} has no mapped place to leave a car"
                ),
            )
