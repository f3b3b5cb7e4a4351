"""Lattice lines scanned through all outlines at once; the intervals cut at the corners.

Where lattice lines run inside parks: a scan of all outlines at once, never a cell polygon.

Each edge of an outline crosses the lattice lines between its ends; sorted along the line, crossings pair up
into the intervals inside. Counting an end on a line as above it gives the inside just above the line,
counting it as below gives the inside just below; strictly inside is where both hold, which settles
outlines that touch a line or run along one.

Cell edges inside parks: intervals cut at the corners, swept for the set of parks on each part.

An edge of the lattice is the part of a line between two neighbouring corners. Keyed by line and cell, both
wrapped round the globe, edges know no antimeridian: parks cut there and parks that run past it agree.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.errors import InputError, SettingName
from scout.geo.boundaries import Floats, Ints, Outlines
from scout.geo.locator import LEVELS, SNAP_DEG, count_columns, get_column_number, get_row_number
from scout.quantities import MeasuredText
from scout.table import IN_LISTS, SHARED, Offsets, Table, expand_ranges

Axis = Literal["meridian", "parallel"]
_MOST = 20_000_000  # crossings and pairs to look at, held at once; about 2 GB
_PLACES = 2_000_000  # corners or stretches to be judged, at about 750 bytes each: under 2 GB
_LAYERS, _LAYERS_EACH = 1_500_000, 4  # parks of all stretches together: at all, for each before they are cut
_NUMBER = {"meridian": get_column_number, "parallel": get_row_number}
_SHIFT, _ZERO = 24, np.int64(1) << 22  # line numbers, unwrapped, stay within -2^22 and 2^23


@dataclass(frozen=True, slots=True)
class Intervals(Table):
    """Intervals along lattice lines strictly inside parks, one row each, by park, line and place."""

    park: Ints
    line: Ints  # unwrapped line number
    start: Floats  # in cells of the other axis, unwrapped
    end: Floats


class SweptIntervals(NamedTuple):
    """Intervals of a sweep, each with the rows that hold along all of it (row lists end to end)."""

    key: Ints
    start: Floats
    end: Floats
    first: Ints  # where the interval's rows begin in ``rows``; one more entry at the end
    rows: Ints


def find_inside_intervals(outlines: Outlines, axis: Axis, level: int) -> Intervals:
    """Intervals of the meridians or parallels of a level that run strictly inside each park."""
    number = _NUMBER[axis]
    first, count, run_park = outlines.runs
    west, south, east, north = outlines.boxes
    low, high = (west, east) if axis == "meridian" else (south, north)
    low, high = number(low, level), number(high, level)
    run = np.flatnonzero((np.floor(low) != np.floor(high)) | (low == np.floor(low)))
    rows, start = expand_ranges(first[run], count[run])
    park = run_park[run][rows]
    across = outlines.lon if axis == "meridian" else outlines.lat
    v0, v1 = number(across[start], level), number(across[start + 1], level)
    above = _find_crossings(outlines, axis, level, start, park, v0, v1, np.floor)
    touching = np.unique(park[(v0 == np.floor(v0)) | (v1 == np.floor(v1))])
    if len(touching) == 0:
        return above
    mine = np.isin(park, touching)
    below = _find_crossings(outlines, axis, level, start[mine], park[mine], v0[mine], v1[mine], np.ceil)
    return _intersect_intervals(above, below, np.isin(above.park, touching))


def _find_crossings(
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
    edge, line = expand_ranges(lowest, np.abs(n1 - n0))
    t = (line - v0[edge]) / (v1[edge] - v0[edge])
    along = outlines.lat if axis == "meridian" else outlines.lon
    a, b = along[start[edge]], along[start[edge] + 1]
    number = _NUMBER["parallel" if axis == "meridian" else "meridian"]
    place = number(a + t * (b - a), level)
    key = _pack_keys(park[edge], line)
    order = np.lexsort((place, key))
    key, place = key[order], place[order]
    return Intervals(*_unpack_keys(key[::2]), place[::2], place[1::2])


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
            MeasuredText(
                "narrow the search with ",
                SettingName("home"),
                " and ",
                SettingName("within"),
                " or ",
                SettingName("area"),
                ", or take a coarser level",
            ),
        )


def _refuse_layers(counts: Ints, parts: int) -> None:
    """Stop where parks lie over each other with ends all over: n of them make n * n / 2 rows of stretches.

    Raises
    ------
    InputError
        Saying how to have fewer of them.
    """
    count = int(counts.sum())
    if count > max(_LAYERS, _LAYERS_EACH * len(counts)):
        each = f"{parts:,} stretches of lattice lines lie in {count / parts:,.0f} parks each"
        raise InputError(
            "overlaps",
            f"{each}: the same ground may be there many times",
            MeasuredText("join records with ", SettingName("id-column"), ", or leave some of them out"),
        )


def _pack_keys(park: Ints, line: Ints) -> Ints:
    return (park << _SHIFT) + line + _ZERO


def _unpack_keys(key: Ints) -> tuple[Ints, Ints]:
    park = key >> _SHIFT
    return park, key - (park << _SHIFT) - _ZERO


def _intersect_intervals(above: Intervals, below: Intervals, touched: NDArray[np.bool_]) -> Intervals:
    """``above`` where it is not touched, else what lies in both."""
    ends = Intervals.concat([above.take(touched), below])
    both = sweep_intervals(_pack_keys(ends.park, ends.line), ends.start, ends.end, 0.0)
    twice = np.diff(both.first) == 2
    found = Intervals(*_unpack_keys(both.key[twice]), both.start[twice], both.end[twice])
    return Intervals.concat([above.take(~touched), found])


def sweep_intervals(key: Ints, start: Floats, end: Floats, tiny: float = SNAP_DEG) -> SweptIntervals:
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
    _refuse_layers(number[n:] - number[:n], int(new.sum()))
    rows, part = expand_ranges(number[:n], number[n:] - number[:n])
    by_part = np.argsort(part, kind="stable")
    rows, part = rows[by_part], part[by_part]
    heads = np.flatnonzero(np.diff(part, prepend=-1))
    keys, places = keys[new], places[new]
    used = part[heads]
    return SweptIntervals(keys[used], places[used], places[used + 1], np.append(heads, len(rows)), rows)


Bools = NDArray[np.bool_]


class CellWindow(NamedTuple):
    """Part of the lattice to search, in cells: columns ``west`` to ``east`` (unwrapped), rows likewise."""

    west: int
    south: int
    east: int
    north: int

    def goes_round(self, columns: int) -> bool:
        """Whether it has all columns of the globe: then it ends nowhere, to the east or west."""
        return self.east - self.west >= columns


@dataclass(frozen=True, slots=True)
class ParkSets(Table):
    """A set of parks per row, lists end to end."""

    first: Offsets
    park: Annotated[Ints, IN_LISTS]


@dataclass(frozen=True, slots=True)
class EdgePieces(Table):
    """Parts of cell edges along which one set of parks holds."""

    axis: Annotated[Axis, SHARED]
    line: Ints  # canonical number of the line
    cell: Ints  # canonical number of the cell along it
    start: Floats  # 0 to 1 along the edge
    end: Floats
    sets: ParkSets


@dataclass(frozen=True, slots=True)
class FoundCorners(Table):
    """Lattice corners strictly inside at least one park."""

    i: Ints
    j: Ints
    sets: ParkSets


def mark_sets(sets: ParkSets) -> NDArray[np.uint64]:
    """Return a number for each set, equal for equal sets: the sum of a fixed random word per park."""
    words = np.random.default_rng(20).integers(1, 2**63, int(sets.park.max(initial=0)) + 1, dtype=np.uint64)
    none = np.empty(0, dtype=np.uint64)
    return np.add.reduceat(words[sets.park], sets.first[:-1]) if len(sets.park) else none


def cut_pieces(
    intervals: Intervals, axis: Axis, level: int, wide: Bools, window: CellWindow | None = None
) -> EdgePieces:
    """Cut the intervals at the corners and sweep those of the same cell edge.

    ``wide`` marks the parks that go all the way round the globe and are drawn past one turn.
    """
    n = count_columns(level)
    found = _keep_within(intervals, axis, level, wide, window)
    park, line, start, end = found.park, found.line, found.start, found.end
    low = np.floor(start).astype(np.int64)
    count = np.ceil(end).astype(np.int64) - low
    refuse_flood(count, level, judged=True)
    row, cell = expand_ranges(low, count)
    if axis == "parallel" and np.any(wide):
        once = ~wide[park[row]] | (cell >= 0)
        row, cell = row[once], cell[once]
    a, b = np.maximum(start[row] - cell, 0.0), np.minimum(end[row] - cell, 1.0)
    line, cell = (line[row] % n, cell) if axis == "meridian" else (line[row], cell % n)
    swept = sweep_intervals(line * n + cell, a, b, SNAP_DEG * n / 360)
    park = park[row][swept.rows]
    of = np.repeat(np.arange(len(swept.key)), np.diff(swept.first))
    park = park[np.lexsort((park, of))]
    return EdgePieces(
        axis, swept.key // n, swept.key % n, swept.start, swept.end, ParkSets(swept.first, park)
    )


def find_corners_inside(
    parallels: Intervals, level: int, wide: Bools, window: CellWindow | None = None
) -> FoundCorners:
    """Corners strictly inside the intervals of the parallels, with the parks that hold each."""
    n = count_columns(level)
    found = _keep_within(parallels, "parallel", level, wide, window)
    park, line, start, end = found.park, found.line, found.start, found.end
    low = np.floor(start).astype(np.int64) + 1
    count = np.maximum(np.ceil(end).astype(np.int64) - low, 0)
    refuse_flood(count, level, judged=True)
    row, i = expand_ranges(low, count)
    key = line[row] * n + i % n
    order = np.lexsort((park[row], key))
    key, park = key[order], park[row][order]
    heads = np.flatnonzero(np.diff(key, prepend=-1))
    return FoundCorners(key[heads] % n, key[heads] // n, ParkSets(np.append(heads, len(key)), park))


def _keep_within(
    found: Intervals, axis: Axis, level: int, wide: Bools, window: CellWindow | None
) -> Intervals:
    """The intervals on one turn of the globe, and within the window where there is one."""
    n = count_columns(level)
    if np.any(wide):
        # Drawn from -200 to 200: one column more than a turn keeps the corner at 180 inside.
        turn = CellWindow(-1, 0, n, n) if axis == "parallel" else CellWindow(0, 0, n - 1, n)
        round_ = _clip_intervals(found.take(wide[found.park]), axis, turn)
        found = Intervals.concat([found.take(~wide[found.park]), round_])
    if window is None:
        return found
    if window.goes_round(n):
        return _clip_intervals(found, axis, window._replace(west=-2 * n, east=3 * n))
    turns = [window._replace(west=window.west + t, east=window.east + t) for t in (-n, 0, n)]
    return Intervals.concat([_clip_intervals(found, axis, turn) for turn in turns])


def _clip_intervals(found: Intervals, axis: Axis, window: CellWindow) -> Intervals:
    west, south, east, north = window
    lines, ends = ((south, north), (west, east)) if axis == "parallel" else ((west, east), (south, north))
    start, end = np.maximum(found.start, ends[0]), np.minimum(found.end, ends[1])
    keep = (found.line >= lines[0]) & (found.line <= lines[1]) & (start < end)
    return replace(found, start=start, end=end).take(keep)
