"""Places sorted into squares that do not depend on which other places there are."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from scout.geodesy import degree_lengths, wrap_lon

__all__ = ["tiles"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def tiles(lon: Floats, lat: Floats, side_m: float) -> Iterator[tuple[tuple[float, float], Ints]]:
    """Middle of each tile, longitude and latitude, and the rows of the places in it.

    Parameters
    ----------
    lon, lat : arrays, shape (n,)
        Degrees.
    side_m : float
        No tile is wider or higher.
    """
    per_lat = 110_500.0  # the least there is
    row = np.floor(lat * per_lat / side_m)
    south, north = row * side_m / per_lat, (row + 1) * side_m / per_lat
    nearest = np.clip(np.where(south > 0, south, np.where(north < 0, -north, 0.0)), 0.0, 89.9)
    wide = side_m / degree_lengths(nearest)[0]
    col = np.floor(wrap_lon(lon) / wide)
    keys, tile = np.unique(np.stack([row, col], axis=1), axis=0, return_inverse=True)
    order = np.argsort(tile.reshape(-1), kind="stable")
    ends = np.cumsum(np.bincount(tile.reshape(-1), minlength=len(keys)))
    for rows in np.split(order, ends[:-1]) if len(order) else ():
        first = rows[0]
        middle = ((col[first] + 0.5) * wide[first], (south[first] + north[first]) / 2)
        yield (float(middle[0]), float(middle[1])), rows
