"""Whether what a file keeps of its records, bounds or places, is believed, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scout.quantities import format_count

# Bounds may be kept as short numbers: of degrees, and of metres up to 2^25.
SHORT, SHORT_M = 2e-5, 2.0


class UnreliableIndex(Exception):
    """Raised where a file's spatial index contradicts its records; the text is the reason."""

    @property
    def warning(self) -> str:
        """The line of the report."""
        return f"its spatial index is not used: {self}; the file is read whole"


def check_bounds(
    records: NDArray[np.int64], bounds: NDArray[np.float64], own: NDArray[np.float64], slack: float = SHORT
) -> None:
    """Compare the bounds in an index of some records, shape (n, 4), with their own; perhaps a little wide.

    Raises
    ------
    UnreliableIndex
        A record has ground outside, or there are none of it in the index.
    """
    low, high = own[:, :2] < bounds[:, :2] - slack, own[:, 2:] > bounds[:, 2:] + slack
    off = (low | high).any(axis=1) | (np.isnan(bounds).any(axis=1) & ~np.isnan(own[:, 0]))
    if off.any():
        raise UnreliableIndex(format_elsewhere(int(records[np.argmax(off)])))


def format_left_out(left_out: int, records: int) -> str:
    """Give the reason where an index does not have all records."""
    return f"it leaves out {left_out:,} of {format_count(records, 'record')}"


def format_elsewhere(record: int) -> str:
    """Give the reason where an index has other bounds than a record."""
    return f"record {record} does not lie where it says"


def format_compared(compared: int, records: int) -> str:
    """Say how far an index that is used was checked; empty where nothing is left to say."""
    if compared >= records:
        return ""
    return (
        f"where its {records:,} records lie is taken from what the file says of them, compared with "
        f"{compared:,} outlines; of the others, one that lies elsewhere would not be found"
    )


# The index of a Shapefile's records (.shx): GDAL goes by it, and what it leaves out is lost without a word.
# ESRI Shapefile Technical Description (1998): headers of 100 bytes, lengths in words of two bytes.
_HEADER, _ENTRY, _SHAPES = 100, 8, {0, 1, 3, 5, 8, 11, 13, 15, 18, 21, 23, 25, 28, 31}


def find_shape_doubt(
    index: bytes, table: bytes, size: int, read_shapes: Callable[[], AbstractContextManager[Any]]
) -> str:
    """Compare the index of a Shapefile with its records; return what is wrong, empty if nothing is.

    Parameters
    ----------
    index : bytes
        All of the .shx file.
    table : bytes
        The first bytes of the .dbf file; empty where there is none.
    size : int
        Bytes of the .shp file.
    read_shapes : callable
        Opens the .shp file; called only where the index does not cover it without a gap.
    """
    if len(index) < _HEADER:
        return ""  # GDAL tells what is damaged
    count = (2 * int.from_bytes(index[24:28], "big") - _HEADER) // _ENTRY
    entries = np.frombuffer(index, ">i4", offset=_HEADER, count=2 * ((len(index) - _HEADER) // _ENTRY))
    if not 0 <= count <= len(entries) // 2:
        return ""
    rows = int.from_bytes(table[4:8], "little")
    if len(table) >= 8 and rows != count:
        return f"its .dbf has {rows:,} records and its .shx {count:,}"
    places, lengths = 2 * entries[: 2 * count].astype(np.int64).reshape(-1, 2).T
    order = np.argsort(places, kind="stable")
    begin, end = places[order], (places + lengths)[order] + _ENTRY
    if begin.tolist()[:1] == [_HEADER] and end[-1] == size and (begin[1:] == end[:-1]).all():
        return ""
    there = begin >= _HEADER
    if (np.diff(begin[there]) == 0).any():
        return "its .shx has two records at one place"
    with read_shapes() as shapes:
        return _find_left_out(np.frombuffer(shapes, np.uint8), begin[there], end[there])


def _find_left_out(data: NDArray[np.uint8], begin: NDArray[np.int64], end: NDArray[np.int64]) -> str:
    """Look for records where no entry points to; what an edit has left there has the number of another."""
    heads = begin[begin + _ENTRY <= len(data)]
    numbers = set(data[heads[:, None] + np.arange(4)].reshape(-1, 4).copy().view(">i4").ravel().tolist())
    reached = np.maximum.accumulate(np.concatenate([[_HEADER], end]))
    for first, last in zip(reached.tolist(), [*begin.tolist(), len(data)], strict=True):
        while first + _ENTRY + 4 <= min(last, len(data)):
            number, words = data[first : first + _ENTRY].copy().view(">i4").tolist()
            (kind,) = data[first + _ENTRY : first + _ENTRY + 4].copy().view("<i4").tolist()
            if words < 2 or kind not in _SHAPES:
                break
            if number not in numbers:
                return f"its .shx leaves out record {number:,} of the .shp"
            first += _ENTRY + 2 * words
    return ""
