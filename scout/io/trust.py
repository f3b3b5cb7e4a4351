"""Whether the bounds that a file keeps of its records are believed, and what is said of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

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
    return f"it leaves out {left_out:,} of {records:,} records"


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
