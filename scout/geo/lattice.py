"""The lattice of a level: numbers of its meridians and parallels, and its corners, inside bounds.

Line numbers are integers from 180 W and 90 S. Bounds may run past 180 (``east`` up to ``west + 360``): the
numbers then run on, and ``number % columns(level)`` is the line. Parallels stop short of the poles, where
all cells of a row meet and a corner would not be four cells.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scout.geo.locator import (
    count_columns,
    count_rows,
    get_column_number,
    get_edge_lat,
    get_edge_lon,
    get_row_number,
)


def list_meridians(west: float, east: float, level: int) -> NDArray[np.int64]:
    """Numbers of the lattice meridians from ``west`` to ``east`` (degrees, both ends included)."""
    first, last = np.ceil(get_column_number(west, level)), np.floor(get_column_number(east, level))
    return np.arange(int(first), int(last) + 1)


def list_parallels(south: float, north: float, level: int) -> NDArray[np.int64]:
    """Numbers of the lattice parallels from ``south`` to ``north`` (degrees, both ends included)."""
    first, last = np.ceil(get_row_number(south, level)), np.floor(get_row_number(north, level))
    return np.arange(max(int(first), 1), min(int(last), count_rows(level) - 1) + 1)


def list_corners(
    bounds: tuple[float, float, float, float], level: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lattice corners inside ``(west, south, east, north)``.

    Returns
    -------
    lon, lat : arrays, shape (n,)
        Degrees, longitude within [-180, 180), row by row from the south.
    """
    west, south, east, north = bounds
    i, j = np.meshgrid(list_meridians(west, east, level), list_parallels(south, north, level))
    # A full turn names its first meridian twice.
    _, once = np.unique(
        np.stack([j.ravel(), i.ravel() % count_columns(level)], axis=1), axis=0, return_index=True
    )
    once = np.sort(once)
    return get_edge_lon(i.ravel()[once] % count_columns(level), level), get_edge_lat(j.ravel()[once], level)
