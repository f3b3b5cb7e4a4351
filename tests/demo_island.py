"""Reading and measuring the demo island for its tests; nothing of scout is used.

Distances are measured with geographiclib's geodesics (Karney 2013) and pyproj frames.
"""

import json
from itertools import groupby
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from geographiclib.geodesic import Geodesic
from pyproj import Transformer
from shapely import Point
from shapely.geometry import LineString, shape
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "data_demo"
LON, LAT = -112.0, -41.0  # the square-level corner
SUB_LON, SUB_LAT = 5 / 60, 2.5 / 60  # a subsquare (IARU Region 1 locator definition)
CORNER, LAKE_CORNER = Point(LON, LAT), Point(LON, LAT + SUB_LAT)
MERIDIAN = LineString([(LON, LAT - 0.2), (LON, LAT + 0.2)])
PARALLEL = LineString([(LON - 0.3, LAT), (LON + 0.3, LAT)])
CELL_M = 50.0  # of the height raster
CORRIDOR_M = 30.48  # 100 ft, common practice of park activity programmes
M_PER_DEG_LAT = 111_052.0  # at 41 S, to 3 m; from the tables' 111034.6 at 40 and 111131.8 at 45
M_PER_DEG_LON = 84_137.0  # at 41 S, to 15 m


def features(name: str, folder: Path = DEMO) -> list[tuple[dict[str, str], BaseGeometry]]:
    collection = json.loads((folder / f"{name}.geojson").read_text(encoding="utf-8"))
    return [(f["properties"], shape(f["geometry"])) for f in collection["features"]]


def park(ref: str) -> BaseGeometry:
    (found,) = [s for tags, s in features("parks") + features("corridors") if tags["id"] == ref]
    return found


def tagged(layer: str, /, **wanted: str) -> list[BaseGeometry]:
    return [s for tags, s in features(layer) if wanted.items() <= tags.items()]


def frame(at: Point) -> tuple[Transformer, Transformer]:
    local = f"+proj=aeqd +lon_0={at.x} +lat_0={at.y} +ellps=WGS84"
    return (
        Transformer.from_crs("EPSG:4326", local, always_xy=True),
        Transformer.from_crs(local, "EPSG:4326", always_xy=True),
    )


def in_metres(geometry: BaseGeometry, at: Point = CORNER) -> BaseGeometry:
    there, _ = frame(at)
    return shapely.transform(geometry, lambda xy: np.column_stack(there.transform(*xy.T)))


def geodesic_m(a: Point, b: Point) -> float:
    return float(Geodesic.WGS84.Inverse(a.y, a.x, b.y, b.x)["s12"])


def distance_m(at: Point, geometry: BaseGeometry) -> float:
    """Geodesic distance from a point to the nearest point of a geometry."""
    _, back = frame(at)
    near = nearest_points(in_metres(geometry, at), Point(0, 0))[0]
    return geodesic_m(at, Point(back.transform(near.x, near.y)))


def heights_at(raster: rasterio.io.DatasetReader, geometry: BaseGeometry) -> np.ndarray:
    """Heights at the vertices of a geometry, between the four cells around; NaN where one has no data."""
    there = Transformer.from_crs("EPSG:4326", raster.crs, always_xy=True)
    lon, lat = shapely.get_coordinates(geometry).T
    east, north = there.transform(lon, lat)
    column, row = (east - raster.bounds.left) / CELL_M - 0.5, (raster.bounds.top - north) / CELL_M - 0.5
    grid = raster.read(1, masked=True).filled(np.nan)
    i, j = np.floor(row).astype(int), np.floor(column).astype(int)
    a, b = row - i, column - j
    upper = grid[i, j] * (1 - b) + grid[i, j + 1] * b
    return upper * (1 - a) + (grid[i + 1, j] * (1 - b) + grid[i + 1, j + 1] * b) * a


def parks_in_metres() -> dict[str, BaseGeometry]:
    """Every park in metres round the corner, repaired, corridors widened, records of one id joined."""
    forest = gpd.read_file(DEMO / "forest.gpkg").to_crs("EPSG:4326")
    records = [(tags["id"] or "no id", s) for tags, s in features("parks")]
    records += list(zip(forest["park_id"], forest.geometry, strict=True))
    parks: dict[str, BaseGeometry] = {}
    for ref, geometry in records:
        parks[ref] = shapely.union(parks.get(ref, Point()), shapely.make_valid(in_metres(geometry)))
    corridors = {tags["id"]: in_metres(s).buffer(CORRIDOR_M) for tags, s in features("corridors")}
    return {**parks, **corridors}


def stretches(line: str, parks: dict[str, BaseGeometry]) -> list[tuple[frozenset[str], float]]:
    """Park sets along a square-level line and their lengths in metres, by trying a point every metre."""
    t = np.arange(-18_000, 18_000, 1.0)
    lon, lat = (LON, LAT + t / M_PER_DEG_LAT) if line == "meridian" else (LON + t / M_PER_DEG_LON, LAT)
    there, _ = frame(CORNER)
    x, y = there.transform(*np.broadcast_arrays(lon, lat))
    inside = {ref: shapely.contains_xy(polygon, x, y) for ref, polygon in parks.items()}
    sets = [frozenset(ref for ref, hit in inside.items() if hit[k]) for k in range(len(t))]
    return [(found, float(len(list(run)))) for found, run in groupby(sets) if found]


def walk_min(raster: rasterio.io.DatasetReader, line: BaseGeometry) -> tuple[float, float]:
    """Length in metres and time in minutes by Tobler 1993, 6 exp(-3.5 |S + 0.05|) km/h, slope every 20 m."""
    there = Transformer.from_crs("EPSG:4326", raster.crs, always_xy=True)
    back = Transformer.from_crs(raster.crs, "EPSG:4326", always_xy=True)
    flat = shapely.transform(line, lambda xy: np.column_stack(there.transform(*xy.T)))
    dense = shapely.segmentize(flat, 20)
    step = np.hypot(*np.diff(shapely.get_coordinates(dense), axis=0).T)
    height = heights_at(raster, shapely.transform(dense, lambda xy: np.column_stack(back.transform(*xy.T))))
    slope = np.diff(height) / step
    speed_m_per_min = 100 * np.exp(-3.5 * np.abs(slope + 0.05))
    return float(step.sum()), float((step / speed_m_per_min).sum())
