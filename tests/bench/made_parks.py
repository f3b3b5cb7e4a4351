"""Made parks for the benchmarks: smooth rings of 100 vertices scattered over a continent, from a seed."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

SIZE_DEG = 0.0162  # middle radius, 1.8 km: 6,000 of 100,000 reach over a square line
CROWDED_DEG = 0.02  # 9,000 do, and a third of all parks overlap another


def made_parks(
    count: int,
    vertices: int = 100,
    seed: int = 1,
    size_deg: float = SIZE_DEG,
    stretch: float = 1.0,
    first: int = 0,
) -> gpd.GeoDataFrame:
    """Parks with ids and names between 120 and 70 W, 25 and 50 N, or ``stretch`` times that far apart."""
    rng = np.random.default_rng(seed)
    lon, lat = rng.uniform(-25, 25, count) * stretch - 95, rng.uniform(-12.5, 12.5, count) * stretch + 37.5
    turn = np.linspace(0, 2 * np.pi, vertices, endpoint=False)
    radius = np.ones((count, vertices))
    for wave in range(2, 12):
        phase = rng.uniform(0, 2 * np.pi, (count, 1))
        radius += 0.25 / wave * rng.normal(size=(count, 1)) * np.cos(wave * turn + phase)
    radius = size_deg * np.clip(radius, 0.3, None) * rng.lognormal(0, 0.4, (count, 1))
    x = lon[:, None] + radius * np.cos(turn) / np.cos(np.radians(lat))[:, None]
    y = lat[:, None] + radius * np.sin(turn)
    ring = np.stack([x, y], axis=-1)
    shapes = shapely.polygons(np.concatenate([ring, ring[:, :1]], axis=1))
    ids = [f"made-{first + k}" for k in range(count)]
    return gpd.GeoDataFrame({"id": ids, "name": ids}, geometry=shapes, crs=4326)
