"""Heights, slopes, and how fast people walk on them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray

from scout import kernels
from scout.geo.geodesy import compute_degree_lengths
from scout.model import Relief

FASTEST_KMH = 6.0  # Tobler's, on a slope of -0.05
OFF_PATH = 0.6  # of the speed on a path (Tobler 1993)
_BODY_KG = 80.0  # an assumption: a lighter walker is slowed down more
_SHEER = 20.0  # steeper ground takes no longer: times stay finite
_DECAY, _QUICKEST = 3.5, 0.05  # Tobler's: how speed falls off, and how far down the quickest ground slopes


def compute_tobler_kmh(slope: NDArray[np.floating[Any]]) -> NDArray[Any]:
    """Walking speed on a path, km/h.

    W. Tobler 1993, Three presentations on geographical analysis and modeling, NCGIA Technical Report 93-1:
    W = 6 exp(-3.5 |S + 0.05|).

    Parameters
    ----------
    slope : array
        Rise over run in the direction of travel.

    Examples
    --------
    >>> compute_tobler_kmh(np.array([0.0, -0.05])).round(2).tolist()
    [5.04, 6.0]
    """
    speed: NDArray[Any] = FASTEST_KMH * np.exp(-_DECAY * np.minimum(np.abs(slope + _QUICKEST), _SHEER))
    return speed


def compute_hours_both_ways(slope: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Hours a kilometre at `compute_tobler_kmh`, there and back again, of one exponential for the two.

    exp |a| is the larger of exp(a) and 1 / exp(a). Sheer ground is cut off by the slope itself.

    Parameters
    ----------
    slope : array
        Rise over run on the way there; NaN gives NaN.

    Examples
    --------
    >>> [(1 / hours).round(2).tolist() for hours in compute_hours_both_ways(np.array([0.0, 0.05]))]
    [[5.04, 4.23], [5.04, 6.0]]
    """
    up = np.exp(_DECAY * np.clip(slope, -_SHEER, _SHEER))
    down = 1.0 / up
    turned = math.exp(_DECAY * _QUICKEST)
    there, back = (np.maximum(turned * a, b / turned) / FASTEST_KMH for a, b in ((up, down), (down, up)))
    return there, back


def compute_load_factor(load_kg: float) -> float:
    """Speed with a load over speed without, at the same power on the flat.

    Pandolf, Givoni and Goldman 1977, J. Appl. Physiol. 43:577 (from memory), terrain factor 1 (a firm path):
    M = 1.5 W + 2 (W + L) (L / W)^2 + (W + L) (1.5 V^2 + 0.35 V G) watts, with W and L the walker and the load
    in kg, V in m/s and G, the grade, 0. The walker weighs 80 kg here and walks at Tobler's speed on the flat.
    From 72 kg on, all power goes into carrying.

    Examples
    --------
    >>> compute_load_factor(0.0), round(compute_load_factor(15.0), 2)
    (1.0, 0.9)
    """
    speed = float(compute_tobler_kmh(np.array(0.0))) / 3.6
    both = _BODY_KG + load_kg
    moving = 1.5 * _BODY_KG * speed**2 - 2.0 * both * (load_kg / _BODY_KG) ** 2
    return max(float(np.sqrt(max(moving, 0.0) / (1.5 * both))) / speed, 1e-6)


# Heights and slopes at places, from height rasters.
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BASE_M = 20.0  # least distance over which a slope is taken
_EVERY = 25  # points of a grid between those whose pixels are worked out


def interpolate_heights(reliefs: Sequence[Relief], lon: Floats, lat: Floats) -> Floats:
    """Height at each place, metres, between the middles of the cells around it; NaN where none is known.

    Parameters
    ----------
    reliefs : sequence of Relief
        The first one that knows a place is asked.
    lon, lat : arrays, shape (n,)
        Degrees.
    """
    height = np.full(np.shape(lon), np.nan)
    for relief in reliefs:
        unknown = np.isnan(height)
        if unknown.any():
            height[unknown] = read_cells(relief, *locate_pixels(relief, lon[unknown], lat[unknown]))
    return height


def interpolate_grid(
    reliefs: Sequence[Relief],
    axes: tuple[Floats, Floats],
    cell: float,
    degrees: Callable[[Floats, Floats], Any],
) -> Floats:
    """Heights on a grid, as `interpolate_heights` would give them.

    Pixels are worked out for every 25th point of all multiples of ``cell`` and taken as even between: over
    a few hundred metres they are, to a few millimetres, and always to a small part of a cell.

    Parameters
    ----------
    reliefs : sequence of Relief
    axes : two arrays, shapes (wide,) and (high,)
        x and y, metres or any other measure, ``cell`` apart.
    cell : float
    degrees : callable
        Longitude and latitude for x and y.

    Returns
    -------
    array, shape (high, wide)
        Rows follow y.
    """
    firsts = [round(float(axis[0]) / cell) for axis in axes]
    knots = [
        np.arange(-(first % _EVERY), len(axis) + _EVERY, _EVERY)
        for first, axis in zip(firsts, axes, strict=True)
    ]
    x, y = (cell * (first + knot) for first, knot in zip(firsts, knots, strict=True))
    lon, lat = degrees(np.tile(x, len(y)), np.repeat(y, len(x)))
    lon = lon - 360.0 * np.rint((lon - lon[0]) / 360.0)  # no jump at the antimeridian
    shape = len(axes[1]), len(axes[0])
    height = np.full(shape, np.nan)
    for relief in reliefs:
        unknown = np.isnan(height)
        if not unknown.any():
            break
        at_knots = locate_pixels(relief, lon, lat)
        col, row = (
            _fill_between(knots[0], knots[1], values.reshape(len(y), len(x)), shape)[unknown]
            for values in turn_pixels(relief, *at_knots, near_col=at_knots[0][0])
        )
        height[unknown] = read_cells(relief, *turn_pixels(relief, col, row))
    return height


def _fill_between(across: Ints, up: Ints, values: Floats, shape: tuple[int, int]) -> Floats:
    """Values at all points of a grid from those at the knots, evenly spaced."""
    filled = values
    for axis, knots in ((0, up), (1, across)):
        at = (np.arange(shape[axis]) - knots[0]) / _EVERY
        left = np.floor(at).astype(np.int64)
        share = (at - left) if axis else (at - left)[:, None]
        low, high = np.take(filled, left, axis), np.take(filled, left + 1, axis)
        filled = low + share * (high - low)
    return filled


@lru_cache(maxsize=8)
def _get_transformer(crs: str) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)


@lru_cache(maxsize=8)
def is_in_degrees(crs: str) -> bool:
    """Whether a coordinate system is one of longitudes and latitudes."""
    return bool(pyproj.CRS(crs).is_geographic)


def locate_pixels(relief: Relief, lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
    """Column and row of places in a raster; whole numbers are the middles of cells."""
    x, y = _get_transformer(relief.crs).transform(lon, lat)
    a, b, c, d, e, f = relief.to_pixel
    col, row = a * x + b * y + c - 0.5, d * x + e * y + f - 0.5
    return turn_pixels(relief, col, row)


def turn_pixels(
    relief: Relief, col: Floats, row: Floats, near_col: float | None = None
) -> tuple[Floats, Floats]:
    """The same places by whole turns of the globe, as near to a column as they come.

    A raster past 180, or from 0 to 360, calls a place by another longitude.

    Parameters
    ----------
    relief : Relief
    col, row : arrays, shape (n,)
    near_col : float, optional
        The middle of the raster if not given. Near one of its own, places that lie together stay together.
    """
    a, _, _, d, *_ = relief.to_pixel
    if not a or not is_in_degrees(relief.crs):
        return col, row
    turns = np.rint(((relief.heights_m.shape[1] / 2 if near_col is None else near_col) - col) / (360.0 * a))
    return col + turns * 360.0 * a, row + turns * 360.0 * d


def read_cells(relief: Relief, col: Floats, row: Floats) -> Floats:
    """Heights between the middles of cells, NaN outside and where a cell that counts has none."""
    grid = relief.heights_m
    if kernels.LIBRARY is not None and grid.size:
        return kernels.read_cells(grid, col, row)
    result = np.full(len(col), np.nan)
    high, wide = grid.shape
    # Half a cell outside the outermost middles the raster still knows the height.
    inside = np.flatnonzero((col >= -0.5) & (row >= -0.5) & (col <= wide - 0.5) & (row <= high - 0.5))
    if len(inside) < len(col):
        col, row = col[inside], row[inside]
    col, row = np.clip(col, 0.0, wide - 1.0), np.clip(row, 0.0, high - 1.0)
    left = np.minimum(col.astype(np.int64), max(wide - 2, 0))
    top = np.minimum(row.astype(np.int64), max(high - 2, 0))
    u, v = col - left, row - top
    cells, at = grid.ravel(), top * wide + left
    right, below = min(1, wide - 1), wide * min(1, high - 1)
    corners = ((0, (1 - u) * (1 - v)), (right, u * (1 - v)), (below, (1 - u) * v), (below + right, u * v))
    value = np.zeros(len(inside))
    for step, weight in corners:
        value += weight * cells[at + step]
    unknown = np.flatnonzero(np.isnan(value))
    value[unknown] = 0.0
    for step, weight in corners:
        # A cell without height does no harm to a place that does not need it.
        share = weight[unknown]
        value[unknown] += np.where(share > 1e-9, share * cells[at[unknown] + step], 0.0)
    result[inside] = value
    return result


def compute_slope_deg(reliefs: Sequence[Relief], lon: Floats, lat: Floats) -> Floats:
    """Steepest slope of the ground at each place, over a raster cell or 20 m; NaN where unknown."""
    per_lon, per_lat = compute_degree_lengths(lat)
    half, unknown = np.full(len(lon), _BASE_M / 2), np.ones(len(lon), dtype=bool)
    for relief in reliefs:
        mine = unknown & ~np.isnan(interpolate_heights([relief], lon, lat))
        half[mine] = np.maximum(_BASE_M, measure_cell_m(relief, lon[mine], lat[mine])) / 2
        unknown &= ~mine
    east, west = (interpolate_heights(reliefs, lon + s * half / per_lon, lat) for s in (1, -1))
    north, south = (interpolate_heights(reliefs, lon, lat + s * half / per_lat) for s in (1, -1))
    rise: Floats = np.hypot(east - west, north - south) / (2 * half)
    return np.degrees(np.arctan(rise))


def measure_cell_amid(relief: Relief) -> float:
    """Size of a cell in the middle of a raster, metres on the ground."""
    a, b, c, d, e, f = relief.to_pixel
    high, wide = relief.heights_m.shape
    x, y = np.linalg.solve(np.array([[a, b], [d, e]]), np.array([wide / 2 - c, high / 2 - f])).tolist()
    lon, lat = _get_transformer(relief.crs).transform([x], [y], direction="INVERSE")
    return float(measure_cell_m(relief, np.array(lon), np.array(lat))[0])


def measure_cell_m(relief: Relief, lon: Floats, lat: Floats) -> Floats:
    """Size of a raster cell in metres on the ground, from the pixels that a step north takes."""
    step = 1e-4  # degrees
    (col0, row0), (col1, row1) = (locate_pixels(relief, lon, lat + up) for up in (0.0, step))
    size: Floats = (
        step * compute_degree_lengths(lat)[1] / np.maximum(np.hypot(col1 - col0, row1 - row0), 1e-9)
    )
    return size
