"""Ground of plain shapes round 45 N 10 E, for what is seen from there."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import rasterio
from affine import Affine

from scout.model import Horizon, Relief
from scout.sight.horizon import find_horizons, prepare_ground

CRS = pyproj.CRS.from_proj4("+proj=aeqd +lat_0=45 +lon_0=10 +ellps=WGS84 +units=m")
RADIUS_M = 6_371_000.0


def grid(half_m: float, cell_m: float) -> tuple[np.ndarray, np.ndarray]:
    """East and north of the middles of cells of a square about the middle, one of them in the middle."""
    count = 2 * round(half_m / cell_m) + 1
    axis = cell_m * (np.arange(count) - count // 2)
    return np.meshgrid(axis, -axis)


def relief(heights: np.ndarray, cell_m: float, name: str = "x") -> Relief:
    rows, cols = heights.shape
    to_pixel = (1 / cell_m, 0, cols / 2, 0, -1 / cell_m, rows / 2)
    return Relief(heights.astype(np.float32), to_pixel, CRS.to_wkt(), name)


def ground(shape: Callable[[Any, Any], Any], half_m: float = 6000.0, cell_m: float = 20.0) -> Relief:
    """Heights by east and north in metres."""
    return relief(np.asarray(shape(*grid(half_m, cell_m)), dtype=float), cell_m)


def see(*reliefs: Relief, antenna_m: float = 5.0, east: float = 0.0, north: float = 0.0) -> Horizon:
    lon, lat = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform([east], [north])
    (found,) = find_horizons(np.array(lon), np.array(lat), prepare_ground(reliefs), antenna_m)
    assert found is not None
    return found


def write(path: Path, shape: Relief, **more: Any) -> str:
    """The heights as a GeoTIFF."""
    rows, cols = shape.heights_m.shape
    cell = 1 / shape.to_pixel[0]
    place = Affine(cell, 0.0, -cols * cell / 2, 0.0, -cell, rows * cell / 2)
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "width": cols, "height": rows}
    with rasterio.open(
        path, "w", crs=CRS.to_wkt(), transform=place, nodata=-9999.0, **profile, **more
    ) as raster:
        raster.write(np.where(np.isnan(shape.heights_m), -9999.0, shape.heights_m).astype("float32"), 1)
    return str(path)
