"""The least times to the places of one window, and their walks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components, dijkstra

from scout.access.graph import Graph, build
from scout.access.journey import journey
from scout.access.window import Map, Window
from scout.geodesy import inverse
from scout.surroundings import Relief, Route, Walking

__all__ = ["Solved", "over_limit", "solved"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


class Solved(NamedTuple):
    """What a window told. Numbers are those of its places."""

    minutes: Floats  # infinite where there is no walk
    routes: dict[int, Route]  # for each group the best, where it is better than what was known
    why: dict[int, str]  # in the last window, why there is no walk


def over_limit(walking: Walking) -> str:
    """Why a place too far away is out of reach."""
    return f"the walk takes over {walking.limit_min:g} min"


def solved(
    window: Window,
    places: tuple[Floats, Floats, Ints],
    known_min: Floats,
    world: Map,
    reliefs: Sequence[Relief],
    walking: Walking,
    last: bool,
) -> Solved:
    """Walk to the places of a window.

    Parameters
    ----------
    window : Window
    places : three arrays
        Longitude, latitude and group.
    known_min : array
        Per group the least minutes known.
    world : Map
    reliefs : sequence of Relief
    walking : Walking
    last : bool
        No wider window follows.
    """
    lon, lat, group = places
    graph = build(world, window, reliefs, walking, np.stack(window.frame.forward(lon, lat), axis=1))
    # What is known to be slower than the best need not be followed.
    limit_min = min(walking.limit_min, 1.001 * float(known_min[group].max()))
    all_ = _least(graph, graph.sources, limit_min)
    taken = all_.minutes[graph.first_place : graph.first_start].copy()
    routes: dict[int, Route] = {}
    for one in np.unique(group).tolist():
        mine = np.flatnonzero(group == one)
        least, k = all_, int(mine[taken[mine].argmin()])
        if not taken[k] < known_min[one]:
            continue
        if not _near(graph, mine, all_.begin[graph.first_place + k : graph.first_place + k + 1], walking)[0]:
            # The least time is from a start too far away to be looked at: the best of the others, then.
            least = _least(graph, graph.sources[_near(graph, mine, graph.sources, walking)], limit_min)
            taken[mine] = least.minutes[graph.first_place + mine]
            k = int(mine[taken[mine].argmin()])
        if taken[k] < known_min[one]:
            nodes = _chain(graph.first_place + k, least.before)
            first = window.frame.inverse(graph.x[nodes[0]], graph.y[nodes[0]])
            routes[k] = journey(graph, nodes, inverse(*first, lon[k], lat[k])[0], world)
    return Solved(taken, routes, _cut_off(graph, taken, walking) if last else {})


class _Least(NamedTuple):
    """The least times from some starts, per point of a graph."""

    minutes: Floats
    before: Ints  # the point before, negative for none
    begin: Ints  # the start


def _least(graph: Graph, sources: Ints, limit_min: float) -> _Least:
    if not len(sources):
        none = np.full(len(graph.x), -1)
        return _Least(np.full(len(graph.x), np.inf), none, none)
    return _Least(
        *dijkstra(
            graph.minutes,
            indices=sources,
            min_only=True,
            return_predecessors=True,
            limit=limit_min,
        )
    )


def _near(graph: Graph, places: Ints, points: Ints, walking: Walking) -> Bools:
    """Whether points are no further from any of the places of a spot than starts are looked at."""
    nodes = graph.first_place + places
    from_x, from_y = graph.x[nodes][:, None] - graph.x[points], graph.y[nodes][:, None] - graph.y[points]
    return np.asarray((np.hypot(from_x, from_y) <= walking.reach_m).any(axis=0))


def _chain(node: int, before: Ints) -> Ints:
    """The points from a start to one reached."""
    chain = [node]
    while before[chain[-1]] >= 0:
        chain.append(int(before[chain[-1]]))
    return np.array(chain[::-1])


def _cut_off(graph: Graph, taken: Floats, walking: Walking) -> dict[int, str]:
    """Per place that is not reached, why."""
    missed = np.flatnonzero(~np.isfinite(taken)).tolist()
    if not missed:
        return {}
    _, part = connected_components(graph.minutes, directed=False)
    what = "barriers or missing heights" if graph.gaps else "barriers"
    no_way = f"no way on foot from any parking or road within {walking.reach_m / 1000:g} km: {what} all round"
    why = {}
    for k in missed:
        starts = graph.sources[_near(graph, np.array([k]), graph.sources, walking)]
        joined = part[graph.first_place + k] in part[starts]
        why[k] = over_limit(walking) if joined else no_way
    return why
