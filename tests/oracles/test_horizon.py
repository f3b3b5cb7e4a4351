"""Horizons and lines of sight found again by marching along rays in small steps; no code is shared.

`SOAK=1` marches round a thousand places; the suite round a few.
"""

from __future__ import annotations

import os
from functools import cache

import numpy as np
import pyproj
import pytest
from scipy.ndimage import map_coordinates

from scout.model import Relief
from scout.sight.horizon import LIGHT, RADIO, find_horizons, prepare_ground

SOAK = bool(os.environ.get("SOAK"))
PLACES = int(os.environ.get("SOAK") or 2) if SOAK else 2
AZIMUTHS = 12
AGREE_DEG = 0.05
GEOD = pyproj.Geod(ellps="WGS84")


def terrain(rng: np.random.Generator, high: int, wide: int, rough: float, amplitude: float) -> np.ndarray:
    """Random hills: the steeper the spectrum falls, the smoother."""
    frequency = np.hypot(*np.meshgrid(np.fft.fftfreq(high), np.fft.rfftfreq(wide), indexing="ij"))
    frequency[0, 0] = 1.0
    spectrum = (rng.normal(size=frequency.shape) + 1j * rng.normal(size=frequency.shape)) * frequency**-rough
    spectrum[0, 0] = 0.0
    hills = np.fft.irfft2(spectrum, (high, wide))
    return (600.0 + amplitude * hills / hills.std()).astype(np.float32)


def metric(heights: np.ndarray, cell_m: float, lon: float, lat: float) -> Relief:
    """A raster in metres about a place."""
    crs = pyproj.CRS.from_proj4(f"+proj=tmerc +lat_0={lat} +lon_0={lon} +ellps=WGS84 +units=m")
    left, top = wide_of(heights) * cell_m / 2, heights.shape[0] * cell_m / 2
    return Relief(
        heights, (1 / cell_m, 0, left / cell_m, 0, -1 / cell_m, top / cell_m), crs.to_wkt(), "metric"
    )


def wide_of(heights: np.ndarray) -> int:
    return heights.shape[1]


def degrees(heights: np.ndarray, cell_deg: tuple[float, float], west: float, north: float) -> Relief:
    """A raster in degrees from its north-west corner."""
    x, y = cell_deg
    crs = pyproj.CRS.from_epsg(4326).to_wkt()
    return Relief(heights, (1 / x, 0, -west / x, 0, -1 / y, north / y), crs, "degrees")


@cache
def know_crs(crs: str) -> tuple[pyproj.Transformer, bool]:
    """From longitude and latitude into it, and whether it has these itself."""
    return pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True), pyproj.CRS(crs).is_geographic


def read(reliefs: list[Relief], lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    """Heights between the middles of cells, of the first raster that knows a place, half a cell beyond."""
    height = np.full(len(lon), np.nan)
    for relief in reliefs:
        transformer, round_the_globe = know_crs(relief.crs)
        x, y = transformer.transform(lon, lat)
        a, b, c, d, e, f = relief.to_pixel
        rows, cols = relief.heights_m.shape
        if round_the_globe:
            middle = (cols / 2 - c) / a
            x = middle + (np.asarray(x) - middle + 180.0) % 360.0 - 180.0
        col, row = a * x + b * y + c - 0.5, d * x + e * y + f - 0.5
        known = (col >= -0.5) & (col <= cols - 0.5) & (row >= -0.5) & (row <= rows - 0.5) & np.isnan(height)
        at = np.clip(row[known], 0, rows - 1), np.clip(col[known], 0, cols - 1)
        height[known] = map_coordinates(relief.heights_m.astype(float), at, order=1, mode="nearest")
    return height


def march(
    reliefs: list[Relief], lon: float, lat: float, azimuth: float, antenna_m: float, bent: float, far_m: float
) -> tuple[float, float]:
    """Highest angle along a ray and the distance of it: steps of a 1250th, finer ones about the highest."""
    far = 0.05 * 1.0008 ** np.arange(int(np.log(far_m / 0.05) / np.log(1.0008)))
    angle = sight(reliefs, lon, lat, azimuth, antenna_m, bent, far)
    best = np.argsort(np.nan_to_num(angle, nan=-90.0))[-8:]
    fine = (far[best][:, None] * np.linspace(1 / 1.0008, 1.0008, 400)).ravel()
    at = np.concatenate([far, fine])
    angle = np.concatenate([angle, sight(reliefs, lon, lat, azimuth, antenna_m, bent, fine)])
    top = int(np.nanargmax(angle))
    return float(angle[top]), float(at[top])


def sight(
    reliefs: list[Relief],
    lon: float,
    lat: float,
    azimuth: float,
    antenna_m: float,
    bent: float,
    at: np.ndarray,
) -> np.ndarray:
    """Angles to the ground at distances along a ray, on a sphere that fits the ellipsoid along it."""
    x, y, _ = GEOD.fwd(np.full(len(at), lon), np.full(len(at), lat), np.full(len(at), azimuth), at)
    here = read(reliefs, np.array([lon]), np.array([lat]))[0]
    height = read(reliefs, x, y)
    phi = np.radians(lat)
    w2 = 1 - 0.00669437999014 * np.sin(phi) ** 2
    prime, meridian = 6378137.0 / np.sqrt(w2), 6378137.0 * (1 - 0.00669437999014) / w2**1.5
    across = np.radians(azimuth)
    radius = 1 / (np.cos(across) ** 2 / meridian + np.sin(across) ** 2 / prime) / (1 - bent)
    turn = at / radius
    up = (radius + height) * np.cos(turn) - (radius + here + antenna_m)
    found: np.ndarray = np.degrees(np.arctan2(up, (radius + height) * np.sin(turn)))
    return found


def grounds(rng: np.random.Generator) -> dict[str, tuple[list[Relief], tuple[float, float, float, float]]]:
    """Rasters, and the box (west, south, east, north) of the places to look from."""
    smooth, sharp = terrain(rng, 500, 500, 2.0, 250.0), terrain(rng, 400, 400, 0.6, 12.0)
    inner = terrain(rng, 300, 300, 1.5, 80.0)
    tile = terrain(rng, 400, 800, 1.8, 300.0)
    return {
        "metres": ([metric(smooth, 30.0, 9.0, 46.0)], (8.95, 45.97, 9.05, 46.03)),
        "sharp": ([metric(sharp, 30.0, 9.0, -46.0)], (8.98, -46.02, 9.02, -45.98)),
        "degrees": ([degrees(smooth, (1 / 1200, 1 / 1200), 9.0, 46.0)], (9.1, 45.7, 9.3, 45.9)),
        "latitude 80": ([degrees(smooth, (1 / 600, 1 / 1200), 20.0, 80.4)], (20.2, 80.1, 20.6, 80.3)),
        "fine near, coarse far": (
            [metric(inner, 10.0, 9.0, 46.0), metric(smooth, 90.0, 9.1, 46.05)],
            (8.99, 45.99, 9.01, 46.01),
        ),
        "over the antimeridian in one": (
            [degrees(smooth, (1 / 1200, 1 / 1200), 179.8, -16.0)],
            (179.95, -16.3, 180.05, -16.1),
        ),
        "in two beside the antimeridian": (
            [
                degrees(tile[:, :400], (1 / 1200, 1 / 1200), 180.0 - 400 / 1200, -16.0),
                degrees(tile[:, 400:], (1 / 1200, 1 / 1200), -180.0, -16.0),
            ],
            (179.95, -16.25, 180.05, -16.1),
        ),
        "from 0 to 360": ([degrees(smooth, (1 / 1200, 1 / 1200), 200.0, 46.0)], (-159.9, 45.7, -159.7, 45.9)),
    }


NAMES = list(grounds(np.random.default_rng(0)))


@pytest.mark.parametrize("name", NAMES)
def test_marching_along_rays_finds_the_same_horizon(name: str) -> None:
    rng = np.random.default_rng([20261127, NAMES.index(name)])
    reliefs, (west, south, east, north) = grounds(rng)[name]
    lon, lat = rng.uniform(west, east, PLACES), rng.uniform(south, north, PLACES)
    antenna_m = float(rng.choice([0.5, 5.0, 12.0]))
    bent = float(rng.choice([RADIO, LIGHT]))
    found = find_horizons(lon, lat, prepare_ground(reliefs), antenna_m, bent)
    worst = 0.0
    for k, one in enumerate(found):
        assert one is not None
        for azimuth in rng.choice(360, AZIMUTHS, replace=False).tolist():
            angle, at_m = march(reliefs, lon[k], lat[k], azimuth, antenna_m, bent, one.needed_m)
            worst = max(worst, abs(one.deg[azimuth] - angle))
            assert one.deg[azimuth] == pytest.approx(angle, abs=AGREE_DEG), (
                k,
                azimuth,
                at_m,
                one.at_m[azimuth],
            )
    if SOAK:
        print(f"{name}: {PLACES} places, worst {worst:.4f} deg")
