"""One walk, read back from the points it passes."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.access.graph import Graph
from scout.access.window import Map
from scout.surroundings import Route, StartKind

__all__ = ["journey"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_LOOSE_M = 1.0  # the drawn line may leave the walked one by this much
_PROFILE_STEPS = 60
_NEXT_TO_M = 150.0


def journey(graph: Graph, nodes: Ints, straight_m: float, world: Map) -> Route:
    """The route over some points of a graph, from the start to the spot.

    The way back is the same one: its time differs where it slopes.
    """
    length, rise, path, detour = graph.edges(nodes)
    out, back = (graph.weights.minutes(length, up, path) / detour for up in (rise, -rise))
    metres = length / detour
    known = not graph.weights.level
    line, on_path = _drawn(graph, nodes, path)
    kind, name = _start(graph, int(nodes[0]), world)
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
        profile=_profile(metres, graph.height_m[nodes]) if known else (),
    )


def _start(graph: Graph, node: int, world: Map) -> tuple[StartKind, str]:
    """Kind and name of the start; a roadside goes by the parking next to it, or else by the road's name."""
    starts = graph.starts
    if node >= graph.first_start:
        return world.start(int(starts.row[node - graph.first_start]))
    away = np.hypot(starts.x - graph.x[node], starts.y - graph.y[node])
    if len(away) and away.min() <= _NEXT_TO_M:
        name = world.start(int(starts.row[away.argmin()]))[1]
        if name:
            return "roadside", f"by {name}"
    return world.road(int(graph.network.drive_row[node - graph.first_way]))


def _drawn(
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


def _profile(length: Floats, height: Floats) -> tuple[tuple[float, float], ...]:
    """Heights along the walk, at a few dozen places."""
    run = np.concatenate([[0.0], np.cumsum(length)])
    at = np.linspace(0.0, run[-1], min(_PROFILE_STEPS, len(run)))
    heights = np.interp(at, run, height)
    return tuple(zip(np.round(at, 1).tolist(), np.round(heights, 1).tolist(), strict=True))
