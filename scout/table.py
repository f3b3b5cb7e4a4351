"""Tables of columns: parallel arrays that are taken, joined and replaced by row in one place.

A table is a frozen dataclass whose fields are its columns, in any order. An array has an element (or a row,
where it has more dimensions) per row; a `Table` is a part with the same rows. Lists of unequal length, such
as the parks of each row, lie end to end in fields marked `IN_LISTS`; a field of type `Offsets` says where the
list of each row begins, with one more element at the end. `SHARED` marks what is one for all rows.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from typing import Annotated, Any, Literal, Self, TypeAlias, get_args, get_type_hints

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
_Kind = Literal["rows", "offsets", "in lists", "shared"]

OFFSETS: _Kind = "offsets"
IN_LISTS: _Kind = "in lists"
SHARED: _Kind = "shared"

_FIELDS: dict[type, tuple[tuple[str, _Kind], ...]] = {}

Offsets: TypeAlias = Annotated[Ints, OFFSETS]


def expand_ranges(starts: Ints, counts: Ints) -> tuple[Ints, Ints]:
    """Rows and members of consecutive ranges: row ``r`` repeated for ``starts[r]``, ``starts[r] + 1`` ...

    Examples
    --------
    >>> rows, members = expand_ranges(np.array([5, 9]), np.array([2, 1]))
    >>> rows.tolist(), members.tolist()
    ([0, 0, 1], [5, 6, 9])
    """
    rows = np.repeat(np.arange(len(counts)), counts)
    firsts = np.cumsum(counts) - counts
    return rows, np.arange(len(rows)) - np.repeat(firsts - starts, counts)


def _list_fields(table: Any) -> tuple[tuple[str, _Kind], ...]:
    """The fields of a class of tables, and what each is."""
    if table not in _FIELDS:
        hints = get_type_hints(table, include_extras=True)
        kinds = (OFFSETS, IN_LISTS, SHARED)
        _FIELDS[table] = tuple(
            (field.name, next((mark for mark in get_args(hints[field.name])[1:] if mark in kinds), "rows"))
            for field in fields(table)
        )
    return _FIELDS[table]


class Table:
    """Columns of one length; see the module."""

    __slots__ = ()

    def __len__(self) -> int:
        for name, kind in _list_fields(type(self)):
            if kind in ("rows", OFFSETS):
                return len(getattr(self, name)) - (kind == OFFSETS)
        raise TypeError(f"{type(self).__name__} has no column")

    def take(self, rows: NDArray[Any]) -> Self:
        """Return some rows, by number or by mask; a number may come again."""
        return self._take(np.flatnonzero(rows) if rows.dtype == bool else rows, {})

    def _take(self, rows: Ints, lists: dict[int, tuple[Ints, Ints]]) -> Self:
        """Take rows; ``lists`` has the offsets and members for offsets met before, by their identity."""
        columns, found = [], None
        for name, kind in _list_fields(type(self)):
            if kind == OFFSETS:
                found = _find_members(getattr(self, name), rows, lists)
        for name, kind in _list_fields(type(self)):
            column = getattr(self, name)
            if kind == SHARED:
                columns.append(column)
            elif isinstance(column, Table):
                columns.append(column._take(rows, lists))
            elif kind == "rows":
                columns.append(column[rows])
            else:
                assert found is not None, f"{type(self).__name__} has lists and no offsets"
                columns.append(found[0] if kind == OFFSETS else column[found[1]])
        return type(self)(*columns)

    @classmethod
    def concat(cls, parts: Iterable[Self]) -> Self:
        """Return all rows of several tables, one table after the other."""
        return cls.drain([*parts])

    @classmethod
    def drain(cls, parts: list[Self]) -> Self:
        """Return all rows of several tables, whose list is emptied: each column goes once it is joined.

        Parts and whole would be most of the memory that a large search takes.
        """
        return cls._drain(parts, {})

    @classmethod
    def _drain(cls, parts: list[Self], offsets: dict[tuple[int, ...], tuple[list[Ints], Ints]]) -> Self:
        columns = [(kind, [getattr(part, name) for part in parts]) for name, kind in _list_fields(cls)]
        parts.clear()
        joined: list[Any] = []
        for kind, column in columns:
            if kind == SHARED:
                joined.append(column[0])
            elif isinstance(column[0], Table):
                joined.append(type(column[0])._drain(column, offsets))
            elif kind == OFFSETS:
                # The parts are kept with what is made of them: their identities must not come again.
                key = tuple(map(id, column))
                if key not in offsets:
                    offsets[key] = column, _join_offsets(column)
                joined.append(offsets[key][1])
            else:
                joined.append(np.concatenate(column))
                column.clear()
        return cls(*joined)

    def replace(self, rows: Ints, new: Self) -> Self:
        """Return the table with some rows, none of them named twice, replaced by those of another."""
        if self._fits(rows, new):
            return self._put(rows, new, {})
        order = np.arange(len(self))
        order[rows] = len(order) + np.arange(len(rows))
        return type(self).concat([self, new]).take(order)

    def _fits(self, rows: Ints, new: Self) -> bool:
        """Whether the new rows have lists as long as those they replace."""
        for name, kind in _list_fields(type(self)):
            column, other = getattr(self, name), getattr(new, name)
            if isinstance(column, Table):
                if not column._fits(rows, other):
                    return False
            elif kind == OFFSETS and not np.array_equal(np.diff(column)[rows], np.diff(other)):
                return False
        return True

    def _put(self, rows: Ints, new: Self, lists: dict[int, tuple[Ints, Ints]]) -> Self:
        columns, members = [], rows
        for name, kind in _list_fields(type(self)):
            if kind == OFFSETS:
                members = _find_members(getattr(self, name), rows, lists)[1]
        for name, kind in _list_fields(type(self)):
            column = getattr(self, name)
            if isinstance(column, Table):
                column = column._put(rows, getattr(new, name), lists)
            elif kind in ("rows", IN_LISTS):
                other = getattr(new, name)
                column = column.astype(np.result_type(column, other))
                column[rows if kind == "rows" else members] = other
            columns.append(column)
        return type(self)(*columns)


def _find_members(first: Ints, rows: Ints, lists: dict[int, tuple[Ints, Ints]]) -> tuple[Ints, Ints]:
    """Offsets of the lists of some rows once these are alone, and the members of those lists."""
    if id(first) not in lists:
        sizes = np.diff(first)[rows]
        _, members = expand_ranges(first[rows], sizes)
        lists[id(first)] = make_offsets(sizes), members
    return lists[id(first)]


def _join_offsets(parts: list[Ints]) -> Ints:
    joined = np.zeros(sum(len(part) - 1 for part in parts) + 1, dtype=np.int64)
    at = 0
    for part in parts:
        np.add(part, joined[at], out=joined[at : at + len(part)])
        at += len(part) - 1
    return joined


def make_offsets(sizes: Any) -> Ints:
    """Return where each of some lists begins when they lie end to end, and where the last one ends.

    Examples
    --------
    >>> make_offsets([2, 0, 1]).tolist()
    [0, 2, 2, 3]
    """
    first = np.zeros(len(sizes) + 1, dtype=np.int64)
    np.cumsum(sizes, out=first[1:])
    return first
