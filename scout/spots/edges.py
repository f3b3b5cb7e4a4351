"""Cell edges inside parks: intervals cut at the corners, swept for the set of parks on each part.

An edge of the lattice is the part of a line between two neighbouring corners. Keyed by line and cell, both
wrapped round the globe, edges know no antimeridian: parks cut there and parks that run past it agree.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.locator import SNAP_DEG, columns
from scout.outlines import Floats, Ints, ragged
from scout.spots.intervals import Axis, Intervals, refuse_flood, sweep

__all__ = ["Corners", "Pieces", "Sets", "Window", "corners_inside", "make_sets", "pieces_inside"]

Bools = NDArray[np.bool_]


class Window(NamedTuple):
    """Part of the lattice to search, in cells: columns ``west`` to ``east`` (unwrapped), rows likewise."""

    west: int
    south: int
    east: int
    north: int


class Sets(NamedTuple):
    """A set of parks per row, lists end to end; equal sets have equal marks."""

    first: Ints
    park: Ints
    mark: NDArray[np.uint64]

    def rows(self, keep: Ints) -> Sets:
        """The sets of some rows."""
        sizes = np.diff(self.first)[keep]
        _, members = ragged(self.first[keep], sizes)
        return Sets(np.concatenate([[0], np.cumsum(sizes)]), self.park[members], self.mark[keep])


class Pieces(NamedTuple):
    """Parts of cell edges along which one set of parks holds."""

    axis: Axis
    line: Ints  # canonical number of the line
    cell: Ints  # canonical number of the cell along it
    start: Floats  # 0 to 1 along the edge
    end: Floats
    sets: Sets


class Corners(NamedTuple):
    """Lattice corners strictly inside at least one park."""

    i: Ints
    j: Ints
    sets: Sets


def make_sets(first: Ints, park: Ints) -> Sets:
    """Park lists with their marks: sums of a fixed random word per park, alike for alike sets."""
    words = np.random.default_rng(20).integers(1, 2**63, int(park.max(initial=0)) + 1, dtype=np.uint64)
    mark = np.add.reduceat(words[park], first[:-1]) if len(park) else np.empty(0, dtype=np.uint64)
    return Sets(first, park, mark)


def pieces_inside(
    intervals: Intervals, axis: Axis, level: int, wide: Bools, window: Window | None = None
) -> Pieces:
    """Cut the intervals at the corners and sweep those of the same cell edge.

    ``wide`` marks the parks that go all the way round the globe and are drawn past one turn.
    """
    n = columns(level)
    park, line, start, end = _within(intervals, axis, level, wide, window)
    low = np.floor(start).astype(np.int64)
    count = np.ceil(end).astype(np.int64) - low
    refuse_flood(count, level, judged=True)
    row, cell = ragged(low, count)
    if axis == "parallel" and np.any(wide):
        once = ~wide[park[row]] | (cell >= 0)
        row, cell = row[once], cell[once]
    a, b = np.maximum(start[row] - cell, 0.0), np.minimum(end[row] - cell, 1.0)
    line, cell = (line[row] % n, cell) if axis == "meridian" else (line[row], cell % n)
    swept = sweep(line * n + cell, a, b, SNAP_DEG * n / 360)
    park = park[row][swept.rows]
    of = np.repeat(np.arange(len(swept.key)), np.diff(swept.first))
    park = park[np.lexsort((park, of))]
    return Pieces(axis, swept.key // n, swept.key % n, swept.start, swept.end, make_sets(swept.first, park))


def corners_inside(parallels: Intervals, level: int, wide: Bools, window: Window | None = None) -> Corners:
    """Corners strictly inside the intervals of the parallels, with the parks that hold each."""
    n = columns(level)
    park, line, start, end = _within(parallels, "parallel", level, wide, window)
    low = np.floor(start).astype(np.int64) + 1
    count = np.maximum(np.ceil(end).astype(np.int64) - low, 0)
    refuse_flood(count, level, judged=True)
    row, i = ragged(low, count)
    key = line[row] * n + i % n
    order = np.lexsort((park[row], key))
    key, park = key[order], park[row][order]
    heads = np.flatnonzero(np.diff(key, prepend=-1))
    return Corners(key[heads] % n, key[heads] // n, make_sets(np.append(heads, len(key)), park))


def _within(found: Intervals, axis: Axis, level: int, wide: Bools, window: Window | None) -> Intervals:
    """The intervals on one turn of the globe, and within the window where there is one."""
    n = columns(level)
    if np.any(wide):
        # Drawn from -200 to 200: one column more than a turn keeps the corner at 180 inside.
        turn = Window(-1, 0, n, n) if axis == "parallel" else Window(0, 0, n - 1, n)
        round_ = _clipped(found.rows(wide[found.park]), axis, turn)
        found = Intervals.join([found.rows(~wide[found.park]), round_])
    if window is None:
        return found
    turns = [window._replace(west=window.west + t, east=window.east + t) for t in (-n, 0, n)]
    return Intervals.join([_clipped(found, axis, turn) for turn in turns])


def _clipped(found: Intervals, axis: Axis, window: Window) -> Intervals:
    west, south, east, north = window
    lines, ends = ((south, north), (west, east)) if axis == "parallel" else ((west, east), (south, north))
    start, end = np.maximum(found.start, ends[0]), np.minimum(found.end, ends[1])
    keep = (found.line >= lines[0]) & (found.line <= lines[1]) & (start < end)
    return Intervals(found.park[keep], found.line[keep], start[keep], end[keep])
