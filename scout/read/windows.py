"""Windows of one opened raster: which cells lie around a box of degrees, and their heights in metres."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray

from scout.read.boxes import TURNS
from scout.read.crs import Datum
from scout.read.tables import Box
from scout.surroundings import Relief

Window = tuple[int, int, int, int]  # rows from and to, columns from and to

__all__ = ["Window", "coarser_by", "relief_of", "windows_of"]

_LOWEST_M, _HIGHEST_M = -500.0, 9000.0  # shores of the Dead Sea -430 m, Everest 8,849 m: beyond it no ground
_FINE_M = 10.0  # finer rasters are averaged to nearly this: walks are reckoned on cells of that size
_STRIP, _PIECE = 1024, 2**24  # rows, and cells, read at a time
_COARSEST = 2048  # cells that become one, along rows and columns
_PAD = 2  # cells around a window, for slopes at its edge


def coarser_by(raster: Any, datum: Datum, windows: Sequence[Window], most: int) -> tuple[int, list[str]]:
    """How many cells become one along rows and columns, at most ``most`` in all; a note where that is why."""
    if not windows:
        return 1, []
    cell_m = _cell_m(raster, datum, *windows[0][::2])
    coarser = int(np.clip(_FINE_M / max(cell_m, 1e-6), 1, _COARSEST))
    cells = sum((bottom - top) * (right - left) for top, bottom, left, right in windows) / coarser**2
    if cells <= most:
        return coarser, []
    coarser = int(np.ceil(coarser * np.sqrt(cells / most)))
    return coarser, [
        f"averaged to cells of {coarser * cell_m:.0f} m: finer ones around all places are too many"
    ]


def windows_of(raster: Any, datum: Datum, boxes: Sequence[Box]) -> list[list[Window]]:
    """For each box the windows around it, none where the raster does not reach it."""
    forward = pyproj.Transformer.from_crs("EPSG:4326", datum.crs, always_xy=True)
    turns = TURNS if datum.geographic else (0.0,)  # a projection takes care of turns itself
    tried = [[_window(raster, datum, forward, box, turn) for turn in turns] for box in boxes]
    return [[window for window in windows if window is not None] for windows in tried]


def _window(raster: Any, datum: Datum, forward: Any, box: Box, turn: float) -> Window | None:
    """First and last row and column around a box, None where the raster does not reach it."""
    west, south, east, north = box
    share = np.linspace(0.0, 1.0, 33)
    lon, lat = np.meshgrid(west + share * (east - west), south + share * (north - south))
    x, y = forward.transform(lon.ravel(), lat.ravel())
    unit = datum.quarter_turn / 90 if datum.geographic else 1.0
    x = np.asarray(x)
    if datum.geographic:  # PROJ may have brought longitudes into -180 to 180
        x = x + 360 * unit * np.rint((lon.ravel() * unit - x) / (360 * unit)) + turn * unit
    a, b, c, d, e, f = tuple(~raster.transform)[:6]
    col, row = a * x + b * np.asarray(y) + c, d * x + e * np.asarray(y) + f
    sound = np.isfinite(col) & np.isfinite(row)
    if not sound.any():
        return None
    low = [int(max(np.floor(v[sound].min()) - _PAD, 0)) for v in (row, col)]
    high = [
        int(min(np.ceil(v[sound].max()) + _PAD, size))
        for v, size in ((row, raster.height), (col, raster.width))
    ]
    return (low[0], high[0], low[1], high[1]) if low[0] < high[0] and low[1] < high[1] else None


def relief_of(
    path: str, raster: Any, datum: Datum, window: Window, factor: float, coarser: int
) -> tuple[Relief, int]:
    """One window, and how many of its cells hold no height of any land."""
    top, bottom, left, right = window
    rows, cols = max(1, (bottom - top) // coarser), max(1, (right - left) // coarser)
    heights, off = np.empty((rows, cols), dtype=np.float32), 0
    high, wide = (min(coarser, size) for size in (bottom - top, right - left))
    down = max(1, min(_STRIP, _PIECE // wide) // high)
    across = max(1, _PIECE // (down * high * wide))
    for first in range(0, rows, down):
        last = min(first + down, rows)
        for start in range(0, cols, across):
            end = min(start + across, cols)
            part = (
                top + first * coarser,
                left + start * coarser,
                (last - first) * high,
                (end - start) * wide,
            )
            fine, absurd = _metres(raster, part, factor)
            heights[first:last, start:end] = _averaged(fine.reshape(last - first, high, end - start, wide))
            off += absurd
    a, b, c, d, e, f = tuple(~raster.transform)[:6]
    k = float(coarser)
    to_pixel = (a / k, b / k, (c - left) / k, d / k, e / k, (f - top) / k)
    return Relief(heights, to_pixel, datum.crs.to_wkt(), path), off


def _metres(raster: Any, part: tuple[int, int, int, int], factor: float) -> tuple[NDArray[np.float32], int]:
    """Heights of a part, NaN where unknown; cells that no land can have are counted."""
    from rasterio.windows import Window as Part

    top, left, rows, cols = part
    values = raster.read(1, window=Part(left, top, cols, rows), masked=True)
    heights: NDArray[np.float32] = np.ma.getdata(values).astype(np.float32)
    heights *= np.float32(raster.scales[0] * factor)
    heights += np.float32(raster.offsets[0] * factor)
    heights[np.ma.getmaskarray(values)] = np.nan
    with np.errstate(invalid="ignore"):
        absurd = (heights < _LOWEST_M) | (heights > _HIGHEST_M)
    heights[absurd] = np.nan
    return heights, int(absurd.sum())


def _averaged(blocks: NDArray[np.float32]) -> NDArray[np.float32]:
    """The mean of what is known in each block, NaN where nothing is."""
    known = np.isfinite(blocks)
    count = known.sum(axis=(1, 3))
    with np.errstate(invalid="ignore"):
        mean: NDArray[np.float32] = np.sum(blocks, axis=(1, 3), where=known) / count.astype(np.float32)
    return mean


def _cell_m(raster: Any, datum: Datum, row: int, col: int) -> float:
    """Rough size of a cell in metres."""
    size = float(np.sqrt(abs(raster.transform.determinant)))
    if datum.geographic:
        lat = (
            (raster.transform.d * col + raster.transform.e * row + raster.transform.f)
            * 90
            / datum.quarter_turn
        )
        return size * 90 / datum.quarter_turn * 111_000 * float(np.sqrt(max(np.cos(np.radians(lat)), 0.01)))
    return size * float(datum.crs.axis_info[0].unit_conversion_factor)
