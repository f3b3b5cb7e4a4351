"""The walk to each place: the least time from any parking, trailhead or roadside, over the ground there is.

Windows grow only as far as they must. A walk that leaves a window of radius r round its place takes longer
than r at Tobler's greatest speed; what is found faster needs no larger window.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.access.graph import MOST_CELLS
from scout.access.nearest import Nearest, nearest_starts
from scout.access.pace import FASTEST_KMH, load_factor
from scout.access.relief import heights_at
from scout.access.solve import Solved, over_limit, solved
from scout.access.tiles import tiles
from scout.access.window import Map, Window
from scout.cores import on_cores
from scout.geodesy import inverse
from scout.surroundings import Relief, Route, RouteState, Surroundings, Walking

__all__ = ["Targets", "Walked", "coarsest_m", "farthest_m", "walks"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_FIRST_M = 250.0  # least radius of a window
_WIDER = 2**0.5  # from one radius to the next
_TILE = 0.7  # side of a tile, whose places share a window, in radii
_AT_ONCE = 2  # windows: each may take 200 MB
_FARTHEST_M = 12_000.0  # of a start; its window has cells of 36 m, see DEVELOPERS.md
_NO_HEIGHT = "the heights do not cover it"
_WINDING = 2.2  # so much longer than the way of a crow at full speed are short walks, at a guess


class Targets(NamedTuple):
    """Places to walk to, a row per possible station centre."""

    lon: Floats  # degrees
    lat: Floats
    group: Ints  # rows of one spot share a number 0 .. n - 1, sorted; the one with the least time is taken


class Walked(NamedTuple):
    """The walk to one spot."""

    row: int  # of the targets: the one taken, or the first of its group when none can be walked to
    route: Route
    further: bool = False  # no start within reach leads there, one further away may


def farthest_m(walking: Walking) -> float:
    """How far away a start may be from which a place is reached within the longest walk."""
    return min(_FARTHEST_M, walking.limit_min * FASTEST_KMH * load_factor(walking.load_kg) * 1000 / 60)


def coarsest_m(walking: Walking) -> float:
    """Side of the cells of the widest window."""
    return max(walking.cell_m, _half_m(walking.reach_m) * 2 / MOST_CELLS)


def walks(
    targets: Targets,
    surroundings: Surroundings,
    reliefs: Sequence[Relief],
    walking: Walking,
    progress: Callable[[str], None] = lambda _: None,
    first_m: float = _FIRST_M,
) -> list[Walked]:
    """Walks to places.

    Parameters
    ----------
    targets : Targets
    surroundings : Surroundings
    reliefs : sequence of Relief
        None at all: the ground is taken as level.
    walking : Walking
    progress : callable
        Told in a few words what is being done.
    first_m : float
        Least radius of a window; more where nothing nearer is to be found.

    Returns
    -------
    list of Walked
        One per group, in their order.
    """
    groups = int(targets.group[-1]) + 1 if len(targets.group) else 0
    first = np.searchsorted(targets.group, np.arange(groups))
    world = Map(surroundings)
    if not world.has_starts:
        why = "the access data holds no parking and no road"
        if len(surroundings.busy_roads):
            why += " but busy ones, along which no place to leave a car is mapped"
        elif not surroundings.sources and not len(surroundings.ways):
            why = "no roads and no parking are given"
        none = Route("unknown", why)
        return [Walked(int(row), none, True) for row in first]
    task = _Task(targets, world, reliefs, walking, groups)
    task.solve(progress, first_m)
    return [task.walked(group, int(first[group])) for group in range(groups)]


class _Task:
    """The walks found so far."""

    def __init__(
        self, targets: Targets, world: Map, reliefs: Sequence[Relief], walking: Walking, groups: int
    ) -> None:
        self.targets, self.world, self.reliefs, self.walking = targets, world, reliefs, walking
        self.nearest = nearest_starts(targets.lon, targets.lat, world, walking.reach_m)
        self.m_per_min = FASTEST_KMH * load_factor(walking.load_kg) * 1000 / 60
        self.best_min = np.full(groups, np.inf)  # per group
        self.best: list[Walked | None] = [None] * groups
        self.why = _why_not(targets, self.nearest, world, reliefs, walking)  # per row

    def walked(self, group: int, first: int) -> Walked:
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
                straight_m=inverse(*start, *here)[0],
            )
        mine = range(first, int(np.searchsorted(self.targets.group, group, side="right")))
        return Walked(first, route, any(_may_be_further(self.why[row]) for row in mine))

    def solve(self, progress: Callable[[str], None], first_m: float) -> None:
        """Walk to every place that may be the best of its group, those nearest to a start first."""
        reach_m = self.walking.reach_m
        left = np.array([not why for why in self.why], dtype=bool)
        wanted = _WINDING * self.nearest.distance_m  # radius of the window that will do
        radius = min(first_m, reach_m)
        while left.any():
            last = radius >= reach_m
            rows = np.flatnonzero(left & ((wanted <= radius) | last))
            todo, done = self._tiles(rows, _TILE * radius), 0
            while todo:
                some, todo = todo[:_AT_ONCE], todo[_AT_ONCE:]
                done += sum(len(own) for _, own in some)
                for own, taken in self._walk(some, _half_m(radius), last):
                    least = np.minimum(taken, self.best_min[self.targets.group[own]])
                    wanted[own] = self.m_per_min * least
                progress(f"walks within {radius:,.0f} m: {done:,} of {len(rows):,} places")
            left[rows] = ~last & (wanted[rows] > radius) & self._may_win(rows)
            wanted[~np.isfinite(wanted)] = 0.0  # the next window may tell
            wider = _WIDER * radius
            radius = (
                wider if 1.2 * wider < reach_m else reach_m
            )  # no window that is hardly wider than another

    def _tiles(self, rows: Ints, side_m: float) -> list[tuple[tuple[float, float], Ints]]:
        """Middles of tiles and the rows in them, the nearest to a start first."""
        found = [(at, rows[own]) for at, own in tiles(self.targets.lon[rows], self.targets.lat[rows], side_m)]
        return sorted(found, key=lambda tile: float(self.nearest.distance_m[tile[1]].min()))

    def _may_win(self, rows: Ints) -> Bools:
        """Whether a place could be reached sooner than the best of its group so far."""
        least = self.nearest.distance_m[rows] / self.m_per_min
        may: Bools = least < self.best_min[self.targets.group[rows]]
        return may

    def _walk(
        self, some: list[tuple[tuple[float, float], Ints]], half_m: float, last: bool
    ) -> list[tuple[Ints, Floats]]:
        """Rows in some tiles and the minutes to them, infinite where there is no walk; the best are kept."""
        worth = [(at, own[self._may_win(own)]) for at, own in some]

        def solve(tile: tuple[tuple[float, float], Ints]) -> Solved:
            at, own = tile
            places = (self.targets.lon[own], self.targets.lat[own], self.targets.group[own])
            window = Window.about(*at, half_m)
            return solved(window, places, self.best_min, self.world, self.reliefs, self.walking, last)

        worth = [tile for tile in worth if len(tile[1])]
        answers = on_cores(solve, worth)
        for (_, own), answer in zip(worth, answers, strict=True):
            for k, route in answer.routes.items():
                group = int(self.targets.group[own[k]])
                if route.out_min is not None and route.out_min < self.best_min[group]:
                    self.best_min[group] = route.out_min
                    self.best[group] = Walked(int(own[k]), route)
            for k, why in answer.why.items():
                self.why[own[k]] = why
        return [(own, answer.minutes) for (_, own), answer in zip(worth, answers, strict=True)]


def _half_m(radius_m: float) -> float:
    """Half the side of a window that holds all within a radius of the places of its tile."""
    return (1 + _TILE / 2) * radius_m + 25.0


def _may_be_further(why: str) -> bool:
    """Whether a start further away may help, where no walk was found."""
    return why != _NO_HEIGHT and not why.startswith("in ")


def _why_not(
    targets: Targets, nearest: Nearest, world: Map, reliefs: Sequence[Relief], walking: Walking
) -> list[str]:
    """Per place why there is no walk to it, or nothing when there may be one."""
    why = [""] * len(targets.lon)
    m_per_min = FASTEST_KMH * load_factor(walking.load_kg) * 1000 / 60
    for row in np.flatnonzero(nearest.distance_m > walking.limit_min * m_per_min):
        why[row] = over_limit(walking)
    for row in np.flatnonzero(nearest.distance_m > walking.reach_m):
        why[row] = f"no parking or road within {walking.reach_m / 1000:g} km"
    missed = np.flatnonzero(nearest.distance_m > walking.reach_m)
    for place, text in _busy(targets, missed, world, walking):
        why[place] += f"; {text}"
    for row in np.flatnonzero(world.in_building(targets.lon, targets.lat)):
        why[row] = "in a building"
    if reliefs:
        for row in np.flatnonzero(np.isnan(heights_at(reliefs, targets.lon, targets.lat))):
            why[row] = _NO_HEIGHT
    for centre, rows in tiles(targets.lon, targets.lat, walking.reach_m):
        window = Window.about(*centre, walking.reach_m)
        barriers = world.barriers(window)
        places = shapely.points(*window.frame.forward(targets.lon[rows], targets.lat[rows]))
        area, place = shapely.STRtree(places).query(barriers.areas, predicate="contains")
        for row, barrier in zip(rows[place].tolist(), barriers.area_row[area].tolist(), strict=True):
            why[row] = f"in {world.barrier(barrier)}"
    return why


def _busy(targets: Targets, missed: Ints, world: Map, walking: Walking) -> Iterator[tuple[int, str]]:
    """Places without a start within reach that have a busy road there, and what is to be said of it."""
    for centre, rows in tiles(targets.lon[missed], targets.lat[missed], walking.reach_m):
        window = Window.about(*centre, 1.8 * walking.reach_m)
        roads, names = world.busy(window)
        places = shapely.points(*window.frame.forward(targets.lon[missed[rows]], targets.lat[missed[rows]]))
        (place, road), metres = shapely.STRtree(roads).query_nearest(
            places, max_distance=walking.reach_m, return_distance=True, all_matches=False
        )
        for k, name, m in zip(rows[place].tolist(), (names[r] for r in road.tolist()), metres, strict=True):
            called = f" ({name})" if name else ""
            yield (
                int(missed[k]),
                f"the busy road {m:.0f} m away{called} has no mapped place to leave a car",
            )
