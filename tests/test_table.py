"""Tables of columns: rows taken, joined and replaced, whatever the columns are and in whatever order."""

from __future__ import annotations

import pickle
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from scout.table import IN_LISTS, SHARED, Offsets, Table, make_offsets


@dataclass(frozen=True, slots=True)
class Lists(Table):
    """Lists of one table."""

    member: Annotated[NDArray[Any], IN_LISTS]  # before the offsets: the order says nothing
    first: Offsets
    name: NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Judged(Table):
    """Lists whose offsets another table has as well."""

    weight: Annotated[NDArray[Any], IN_LISTS]
    first: Offsets


@dataclass(frozen=True, slots=True)
class Whole(Table):
    """All kinds of columns."""

    axis: Annotated[str, SHARED]
    lists: Lists
    place: NDArray[Any]  # shape (n, 2)
    judged: Judged
    number: NDArray[Any]


def whole(rows: list[tuple[int, list[int]]]) -> Whole:
    """A table of numbers and lists; the other columns follow from these."""
    first = make_offsets([len(members) for _, members in rows])
    member = np.array([m for _, members in rows for m in members], dtype=np.int64)
    number = np.array([n for n, _ in rows], dtype=np.int64)
    names = np.array([f"row {n}" for n in number.tolist()], dtype=object)
    place = np.stack([number, -number], axis=1)
    return Whole("meridian", Lists(member, first, names), place, Judged(member / 2, first), number)


def rows_of(table: Whole) -> list[tuple[int, list[int]]]:
    """Read a table row by row, and check that its columns agree."""
    first, rows = table.lists.first, []
    assert table.axis == "meridian"
    assert first.tolist() == table.judged.first.tolist()
    for k in range(len(table)):
        n, members = int(table.number[k]), table.lists.member[first[k] : first[k + 1]].tolist()
        assert table.place[k].tolist() == [n, -n]
        assert table.lists.name[k] == f"row {n}"
        assert table.judged.weight[first[k] : first[k + 1]].tolist() == [m / 2 for m in members]
        rows.append((n, members))
    assert len(table.lists) == len(table.judged) == len(table) == len(rows)
    assert len(table.lists.member) == first[-1]
    return rows


ROWS = st.lists(st.tuples(st.integers(0, 99), st.lists(st.integers(0, 9), max_size=3)), max_size=6)


@given(ROWS, st.data())
def test_rows_are_taken_by_number_and_by_mask(rows, data):
    numbers = data.draw(st.lists(st.integers(0, len(rows) - 1), max_size=9) if rows else st.just([]))
    taken = whole(rows).take(np.array(numbers, dtype=np.int64))
    assert rows_of(taken) == [rows[k] for k in numbers]
    mask = np.array([data.draw(st.booleans()) for _ in rows], dtype=bool)
    assert rows_of(whole(rows).take(mask)) == [row for row, keep in zip(rows, mask, strict=True) if keep]


@given(st.lists(ROWS, min_size=1, max_size=4))
def test_tables_are_joined_end_to_end(parts):
    tables = [whole(rows) for rows in parts]
    assert rows_of(Whole.concat(tables)) == [row for rows in parts for row in rows]
    assert rows_of(Whole.drain(tables)) == [row for rows in parts for row in rows]
    assert tables == []


@given(ROWS, st.data())
def test_rows_are_replaced_whether_or_not_their_lists_are_as_long(rows, data):
    numbers = data.draw(st.lists(st.integers(0, len(rows) - 1), unique=True) if rows else st.just([]))
    new = [
        data.draw(st.tuples(st.integers(100, 199), st.lists(st.integers(0, 9), max_size=3))) for _ in numbers
    ]
    alike = [(n + 100, [m + 10 for m in rows[n][1]]) for n in numbers]
    for others in (new, alike):
        expected = list(rows)
        for k, row in zip(numbers, others, strict=True):
            expected[k] = row
        before = whole(rows)
        assert rows_of(before.replace(np.array(numbers, dtype=np.int64), whole(others))) == expected
        assert rows_of(before) == rows


def test_replacing_loses_no_digits():
    @dataclass(frozen=True, slots=True)
    class One(Table):
        x: NDArray[Any]

    made = One(np.array([1, 2])).replace(np.array([1]), One(np.array([2.5])))
    assert made.x.tolist() == [1.0, 2.5]


def test_offsets_that_two_parts_share_are_shared_still():
    table = whole([(1, [2, 3]), (4, []), (5, [6])])
    assert table.lists.first is table.judged.first
    for made in (
        table.take(np.array([2, 0])),
        Whole.concat([table, table]),
        table.replace(np.array([0]), whole([(7, [8])])),
        pickle.loads(pickle.dumps(table)),
    ):
        assert made.lists.first is made.judged.first


def test_a_table_without_a_column_has_no_length():
    @dataclass(frozen=True, slots=True)
    class Bare(Table):
        axis: Annotated[str, SHARED]

    with pytest.raises(TypeError, match="no column"):
        len(Bare("meridian"))
