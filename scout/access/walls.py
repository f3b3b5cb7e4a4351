"""Which edges a barrier stops: barriers are lines, so that nothing depends on where a grid begins."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.access.window import Barriers

__all__ = ["Walls"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Shapes = NDArray[np.object_]

_GATE_M = 3.0  # an opening lets through what passes it this near
_SKIN_M = 0.05  # see `scout.access.window`


class Walls:
    """The barriers of a window, asked which edges they stop.

    Off the ways an edge may not even touch a fence or an outline. Ways may run along an outline and may touch
    a fence's loose end, as roads do where fields end. A place or a start may stand on either.
    """

    def __init__(self, barriers: Barriers) -> None:
        self.fences = _Lines(barriers.lines)
        self._trimmed = _Lines(_trimmed(barriers.lines))
        walls = shapely.get_parts(shapely.boundary(barriers.buildings))
        self.shores = _Lines(np.concatenate([barriers.shores, walls]))
        self._areas = barriers.areas[~shapely.is_empty(barriers.areas)]
        self._closed = np.concatenate([self._areas, barriers.buildings])
        self._openings = shapely.STRtree(barriers.openings)
        self.any = bool(len(self.fences.pieces) or len(self.shores.pieces))

    def at_opening(self, points: Floats) -> Bools:
        """Whether points, shape (n, 2), are so near an opening that a fence may be passed there."""
        found = np.zeros(len(points), dtype=bool)
        if len(points) and len(self._openings):
            found[self._openings.query(shapely.points(points), predicate="dwithin", distance=_GATE_M)[0]] = (
                True
            )
        return found

    def stop_links(self, a: Floats, b: Floats, from_way: Bools) -> Bools:
        """Whether barriers stop short steps to the grid that begin on a way, or else at a place."""
        steps = _edges(_towards(a, b), b)
        fence_steps = np.where(from_way, _edges(a, b), steps)
        # What begins on an outline may lead inside without crossing it.
        return self._stopped_by_fences(fence_steps, self.fences) | self.shores.meet(steps) | self.inside(b)

    def stop_hops(self, a: Floats, b: Floats) -> Bools:
        """Whether barriers stop short steps from a place to a way, both perhaps on an outline."""
        hops = _edges(_towards(a, b), _towards(b, a))
        return self._stopped_by_fences(hops, self.fences) | _meet(hops, self._closed) | self.inside(a)

    def stop_ways(self, a: Floats, b: Floats, landing: Bools) -> Bools:
        """Whether barriers stop edges of ways; areas do not stop those that lead off a bridge.

        Buildings stop none: who drew a way through one knew of a passage.
        """
        edges = _edges(a, b)
        return self._stopped_by_fences(edges, self._trimmed) | (_meet(edges, self._areas) & ~landing)

    def inside(self, points: Floats) -> Bools:
        """Whether points, shape (n, 2), lie in an area or a building."""
        return _meet(shapely.points(points), self._closed, "contains")

    def _stopped_by_fences(self, steps: Shapes, fences: _Lines) -> Bools:
        step, fence = fences.pairs(steps)
        if len(step) and len(self._openings):
            at = shapely.intersection(steps[step], fences.pieces[fence])
            passed = self._openings.query(at, predicate="dwithin", distance=_GATE_M)[0]
            step = np.delete(step, np.unique(passed))
        stopped = np.zeros(len(steps), dtype=bool)
        stopped[step] = True
        return stopped


class _Lines:
    """Lines cut into their single edges: an index then finds the few that matter."""

    def __init__(self, lines: Shapes) -> None:
        points, row = shapely.get_coordinates(lines, return_index=True)
        a = np.flatnonzero(np.diff(row, append=-1) == 0)
        self.start, self.end = points[a], points[a + 1]
        self.pieces = _edges(self.start, self.end)
        self._tree = shapely.STRtree(self.pieces)

    def pairs(self, steps: Shapes) -> Any:
        """Steps and pieces that touch, as an array of two rows."""
        return self._tree.query(steps, predicate="intersects")

    def meet(self, steps: Shapes) -> Bools:
        """Whether steps touch any of the lines."""
        met = np.zeros(len(steps), dtype=bool)
        met[self.pairs(steps)[0]] = True
        return met


def _meet(shapes: Shapes, areas: Shapes, how: str = "intersects") -> Bools:
    """Whether any of the areas meets each shape."""
    met = np.zeros(len(shapes), dtype=bool)
    if len(shapes) and len(areas):
        met[shapely.STRtree(shapes).query(areas, predicate=how)[1]] = True
    return met


def _edges(a: Floats, b: Floats) -> Shapes:
    made: Shapes = shapely.linestrings(np.stack([a, b], axis=1))
    return made


def _towards(a: Floats, b: Floats) -> Floats:
    """Points a skin away from ``a``, on the way to ``b``."""
    length = np.maximum(np.hypot(*(b - a).T), 1e-9)
    moved: Floats = a + (b - a) * np.minimum(_SKIN_M / length, 0.4)[:, None]
    return moved


def _trimmed(lines: Shapes) -> Shapes:
    """Lines whose loose ends are cut off by a skin; ends where two lines meet are not loose."""
    if not len(lines):
        return lines
    points, row = shapely.get_coordinates(lines, return_index=True)
    heads = np.flatnonzero(np.diff(row, prepend=-1))
    tails = np.append(heads[1:], len(row)) - 1
    ends, nexts = np.concatenate([heads, tails]), np.concatenate([heads + 1, tails - 1])
    _, which, count = np.unique(np.rint(points[ends] * 100), axis=0, return_inverse=True, return_counts=True)
    loose = count[which.reshape(-1)] == 1
    moved = points.copy()
    moved[ends[loose]] = _towards(points[ends[loose]], points[nexts[loose]])
    made: Shapes = shapely.linestrings(moved, indices=row)
    return made
