"""Made parks for the benchmark, from a seed, scattered over a continent: smooth or ragged.

Files are written some parks at a time, take their names when they are whole, and are kept.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from ragged_parks import ragged_parks

_SIZE_DEG = 0.0162  # middle radius, 1.8 km: 6 of 100 reach over a square line, a third meet another
_CHUNK = 50_000
_MIDDLE = -95.0, 38.0


def made_parks(
    count: int,
    vertices: int = 100,
    seed: int = 1,
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
    radius = _SIZE_DEG * np.clip(radius, 0.3, None) * rng.lognormal(0, 0.4, (count, 1))
    x = lon[:, None] + radius * np.cos(turn) / np.cos(np.radians(lat))[:, None]
    y = lat[:, None] + radius * np.sin(turn)
    ring = np.stack([x, y], axis=-1)
    shapes = shapely.polygons(np.concatenate([ring, ring[:, :1]], axis=1))
    ids = [f"made-{first + k}" for k in range(count)]
    return gpd.GeoDataFrame({"id": ids, "name": ids}, geometry=shapes, crs=4326)


MAKERS = {"smooth": made_parks, "ragged": ragged_parks}


def made_file(count: int, path: Path, kind: str = "smooth") -> Path:
    """The file of ``count`` parks, a GeoPackage or GeoJSON by its suffix, made if it is not there yet."""
    if not path.exists():
        part = path.with_stem(path.stem + "-part")
        part.unlink(missing_ok=True)
        (_geojson if path.suffix == ".geojson" else _geopackage)(_chunks(count, kind), part)
        part.replace(path)
    return path


def home_in(path: Path) -> str:
    """Latitude and longitude of the park nearest to the middle, so that the finest levels find some."""
    lon, lat = _MIDDLE
    _, bounds = pyogrio.read_bounds(path, bbox=(lon - 1, lat - 1, lon + 1, lat + 1))
    x, y = (bounds[:2] + bounds[2:]) / 2
    nearest = np.hypot(x - lon, y - lat).argmin()
    return f"{y[nearest]:.5f},{x[nearest]:.5f}"


def described(path: Path) -> str:
    """How many parks reach over a square line, and how many meet another."""
    shapes = pyogrio.read_dataframe(path).geometry.to_numpy()
    vertices = shapely.get_num_coordinates(shapes).sum()
    valid = shapely.is_valid(shapes)
    wrong, shapes = np.count_nonzero(~valid), shapes[valid]
    bounds = shapely.bounds(shapes)
    over = (np.floor(bounds[:, :2] / (2, 1)) != np.floor(bounds[:, 2:] / (2, 1))).any(axis=1).sum()
    a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    share = len(np.unique(a[a != b])) / len(shapes)
    more = f", {wrong:,} are not valid" if wrong else ""
    return f"{vertices:,} vertices, {over:,} with bounds over a square line, {share:.0%} meet another{more}"


def _chunks(count: int, kind: str) -> Iterator[gpd.GeoDataFrame]:
    """At the same density whatever their number."""
    side = math.sqrt(count / 100_000)
    for seed, first in enumerate(range(0, count, _CHUNK), start=1):
        some = min(_CHUNK, count - first)
        yield MAKERS[kind](some, seed=seed, stretch=side, first=first)


def _geopackage(chunks: Iterator[gpd.GeoDataFrame], path: Path) -> None:
    for k, some in enumerate(chunks):
        pyogrio.write_dataframe(some, path, layer="parks", append=k > 0)


def _geojson(chunks: Iterator[gpd.GeoDataFrame], path: Path) -> None:
    """As most programs write it: seven decimals, one feature a line."""
    with path.open("wb") as file:
        file.write(b'{"type":"FeatureCollection","features":[')
        for k, some in enumerate(chunks):
            text = io.BytesIO()
            pyogrio.write_dataframe(some, text, driver="GeoJSONSeq")
            features = text.getvalue().strip().replace(b"\n", b",\n")
            file.write((b",\n" if k else b"\n") + features)
        file.write(b"\n]}\n")
