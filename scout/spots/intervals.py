"""Where lattice lines run inside parks: a scan of all outlines at once, never a cell polygon.

Each edge of an outline crosses the lattice lines between its ends; sorted along the line, crossings pair up
into the intervals inside. Counting an end on a line as above it gives the inside just above the line,
counting it as below gives the inside just below; strictly inside is where both hold, which settles
outlines that touch a line or run along one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.errors import InputError
from scout.locator import LEVELS, SNAP_DEG, column_number, row_number
from scout.outlines import Floats, Ints, Outlines, ragged

__all__ = ["Axis", "Elementary", "Intervals", "inside_intervals", "refuse_flood", "sweep"]

Axis = Literal["meridian", "parallel"]
_MOST = 20_000_000  # crossings and pairs to look at, held at once; about 2 GB
_PLACES = 2_000_000  # corners or stretches to be judged, at about 750 bytes each: under 2 GB
_NUMBER = {"meridian": column_number, "parallel": row_number}
_SHIFT, _ZERO = 24, np.int64(1) << 22  # line numbers, unwrapped, stay within -2^22 and 2^23


class Intervals(NamedTuple):
    """Intervals along lattice lines strictly inside parks, one row each, by park, line and place."""

    park: Ints
    line: Ints  # unwrapped line number
    start: Floats  # in cells of the other axis, unwrapped
    end: Floats

    def rows(self, keep: NDArray[Any]) -> Intervals:
        """Some of the intervals, by mask or number."""
        return Intervals(self.park[keep], self.line[keep], self.start[keep], self.end[keep])

    @classmethod
    def join(cls, parts: Sequence[Intervals]) -> Intervals:
        """All rows of several."""
        return cls(
            np.concatenate([p.park for p in parts]),
            np.concatenate([p.line for p in parts]),
            np.concatenate([p.start for p in parts]),
            np.concatenate([p.end for p in parts]),
        )


class Elementary(NamedTuple):
    """Intervals of a sweep, each with the rows that hold along all of it (row lists end to end)."""

    key: Ints
    start: Floats
    end: Floats
    first: Ints  # where the interval's rows begin in ``rows``; one more entry at the end
    rows: Ints


def inside_intervals(outlines: Outlines, axis: Axis, level: int) -> Intervals:
    """Intervals of the meridians or parallels of a level that run strictly inside each park."""
    number = _NUMBER[axis]
    first, count, run_park = outlines.runs
    west, south, east, north = outlines.boxes
    low, high = (west, east) if axis == "meridian" else (south, north)
    low, high = number(low, level), number(high, level)
    run = np.flatnonzero((np.floor(low) != np.floor(high)) | (low == np.floor(low)))
    rows, start = ragged(first[run], count[run])
    park = run_park[run][rows]
    across = outlines.lon if axis == "meridian" else outlines.lat
    v0, v1 = number(across[start], level), number(across[start + 1], level)
    above = _crossings(outlines, axis, level, start, park, v0, v1, np.floor)
    touching = np.unique(park[(v0 == np.floor(v0)) | (v1 == np.floor(v1))])
    if len(touching) == 0:
        return above
    mine = np.isin(park, touching)
    below = _crossings(outlines, axis, level, start[mine], park[mine], v0[mine], v1[mine], np.ceil)
    return _in_both(above, below, np.isin(above.park, touching))


def _crossings(
    outlines: Outlines,
    axis: Axis,
    level: int,
    start: Ints,
    park: Ints,
    v0: Floats,
    v1: Floats,
    side: np.ufunc,
) -> Intervals:
    n0, n1 = side(v0).astype(np.int64), side(v1).astype(np.int64)
    lowest = np.minimum(n0, n1) + (1 if side is np.floor else 0)
    refuse_flood(np.abs(n1 - n0), level)
    edge, line = ragged(lowest, np.abs(n1 - n0))
    t = (line - v0[edge]) / (v1[edge] - v0[edge])
    along = outlines.lat if axis == "meridian" else outlines.lon
    a, b = along[start[edge]], along[start[edge] + 1]
    number = _NUMBER["parallel" if axis == "meridian" else "meridian"]
    place = number(a + t * (b - a), level)
    key = _pack(park[edge], line)
    order = np.lexsort((place, key))
    key, place = key[order], place[order]
    return Intervals(*_unpack(key[::2]), place[::2], place[1::2])


def refuse_flood(counts: Ints, level: int, *, judged: bool = False) -> None:
    """Stop before more is laid out than memory holds.

    Parameters
    ----------
    counts : array of int
        How many each row will be laid out as.
    judged : bool
        Whether each becomes a place to judge, which takes much more.

    Raises
    ------
    InputError
        Naming the level and how to narrow the search.
    """
    count = int(counts.sum())
    if count > (_PLACES if judged else _MOST):
        raise InputError(
            f"level {LEVELS[level - 1]}",
            f"these parks hold about {count / 1e6:,.0f} million cell edges or corners",
            "narrow the search with --home and --within or --area, or take a coarser level",
        )


def _pack(park: Ints, line: Ints) -> Ints:
    return (park << _SHIFT) + line + _ZERO


def _unpack(key: Ints) -> tuple[Ints, Ints]:
    park = key >> _SHIFT
    return park, key - (park << _SHIFT) - _ZERO


def _in_both(above: Intervals, below: Intervals, touched: NDArray[np.bool_]) -> Intervals:
    """``above`` where it is not touched, else what lies in both."""
    ends = Intervals.join([above.rows(touched), below])
    both = sweep(_pack(ends.park, ends.line), ends.start, ends.end, 0.0)
    twice = np.diff(both.first) == 2
    found = Intervals(*_unpack(both.key[twice]), both.start[twice], both.end[twice])
    return Intervals.join([above.rows(~touched), found])


def sweep(key: Ints, start: Floats, end: Floats, tiny: float = SNAP_DEG) -> Elementary:
    """Cut intervals of one key at each other's ends and list which rows hold along each part.

    Parameters
    ----------
    key, start, end : arrays, shape (n,)
        Rows with the same key lie on the same line.
    tiny : float
        Ends this near are one; shorter parts do not count.
    """
    n = len(key)
    keys, places = np.concatenate([key, key]), np.concatenate([start, end])
    order = np.lexsort((places, keys))
    keys, places = keys[order], places[order]
    new = np.ones(2 * n, dtype=bool)
    new[1:] = (np.diff(keys) != 0) | (np.diff(places) > tiny)
    number = np.empty(2 * n, dtype=np.int64)
    number[order] = np.cumsum(new) - 1
    rows, part = ragged(number[:n], number[n:] - number[:n])
    by_part = np.argsort(part, kind="stable")
    rows, part = rows[by_part], part[by_part]
    heads = np.flatnonzero(np.diff(part, prepend=-1))
    keys, places = keys[new], places[new]
    used = part[heads]
    return Elementary(keys[used], places[used], places[used + 1], np.append(heads, len(rows)), rows)
