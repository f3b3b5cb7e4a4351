"""Make the data of the demo: the invented island Brindlesay, the same files every time.

Run ``python data_demo/make_demo.py [FOLDER]``; without a folder the files go beside this script. The heights
need rasterio, which the ``test`` extra brings.
"""

import json
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from island import access, barriers, ground, parks, standstill
from island.frame import CORNER_LAT, CORNER_LON, M_PER_DEG_LAT, M_PER_DEG_LON, Record, to_degrees
from pyproj import Transformer
from rasterio.transform import from_origin
from shapely.geometry import mapping

UTM = "EPSG:32712"  # WGS 84 / UTM zone 12 south, where the island lies
MADE_ON = "2026-01-01T00:00:00Z"  # written into the GeoPackage instead of the clock
CELL_M = 50
STEP_M = 0.25  # heights are rounded to this
SEA_M, SEA_CELL_M, SEA_NO_DATA = 105_000, 100, -32768  # finer than the strip of sea that the heights have


def feature(record: Record) -> dict[str, object]:
    """One GeoJSON feature (RFC 7946): outer rings counterclockwise, seven decimals."""
    shape = to_degrees(record.shape)
    if shape.is_valid:  # the crossed survey has no inside to be on the left
        shape = shapely.orient_polygons(shape)
    return {"type": "Feature", "properties": record.tags, "geometry": mapping(shape)}


def write_geojson(path: Path, records: list[Record]) -> None:
    """A feature a line, so that a change shows as a change."""
    lines = [json.dumps(feature(record), ensure_ascii=False) for record in records]
    head = f'{{"type": "FeatureCollection", "name": {json.dumps(path.stem)}, "features": ['
    path.write_text("\n".join([head, ",\n".join(lines), "]}", ""]), encoding="utf-8", newline="\n")


def write_geopackage(path: Path, records: list[Record]) -> None:
    """Records in metres of ``UTM``, to the millimetre."""
    degrees = gpd.GeoDataFrame(
        [r.tags for r in records], geometry=[to_degrees(r.shape) for r in records], crs="EPSG:4326"
    )
    metres = degrees.to_crs(UTM)
    metres.geometry = shapely.transform(metres.geometry.values, lambda xy: np.round(xy, 3))
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": MADE_ON})
    try:
        metres.to_file(path, layer=path.stem, driver="GPKG")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def write_heights(path: Path) -> None:
    """Heights in metres above the sea on a grid of ``UTM``, float32, a margin of sea round the island."""
    lon, lat = np.array(shapely.get_coordinates(to_degrees(ground.land()))).T
    east, north = Transformer.from_crs("EPSG:4326", UTM, always_xy=True).transform(lon, lat)
    left, bottom, right, top = (
        CELL_M * round(v / CELL_M)
        for v in (east.min() - 500, north.min() - 500, east.max() + 500, north.max() + 500)
    )
    columns, rows = (right - left) // CELL_M, (top - bottom) // CELL_M
    x, y = np.meshgrid(left + CELL_M * (np.arange(columns) + 0.5), top - CELL_M * (np.arange(rows) + 0.5))
    lon, lat = Transformer.from_crs(UTM, "EPSG:4326", always_xy=True).transform(x.ravel(), y.ravel())
    metres = ground.heights((lon - CORNER_LON) * M_PER_DEG_LON, (lat - CORNER_LAT) * M_PER_DEG_LAT)
    metres = np.round(metres / STEP_M) * STEP_M
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "count": 1,
        "width": columns,
        "height": rows,
        "crs": UTM,
    }
    packed = {
        "compress": "deflate",
        "predictor": 3,
        "zlevel": 9,
        "tiled": True,
        "blockxsize": 256,
        "blockysize": 256,
    }
    place = {"transform": from_origin(left, top, CELL_M, CELL_M), "nodata": ground.NO_DATA}
    with rasterio.open(path, "w", **profile, **packed, **place) as raster:
        raster.write(metres.reshape(rows, columns).astype("float32"), 1)
        raster.set_band_description(1, "height above sea level, metres")


def write_sea(path: Path) -> None:
    """The open sea for ``SEA_M`` around: 0 m on a grid of ``UTM``, no data on land; for horizons."""
    land = shapely.transform(
        to_degrees(ground.land()),
        lambda xy: np.column_stack(Transformer.from_crs("EPSG:4326", UTM, always_xy=True).transform(*xy.T)),
    )
    west, south, east, north = land.bounds
    left, right = (SEA_CELL_M * round(v / SEA_CELL_M) for v in (west - SEA_M, east + SEA_M))
    bottom, top = (SEA_CELL_M * round(v / SEA_CELL_M) for v in (south - SEA_M, north + SEA_M))
    columns, rows = (right - left) // SEA_CELL_M, (top - bottom) // SEA_CELL_M
    x = left + SEA_CELL_M * (np.arange(columns) + 0.5)
    y = top - SEA_CELL_M * (np.arange(rows) + 0.5)
    metres = np.zeros((rows, columns), dtype="int16")
    window = np.ix_(np.flatnonzero((y > south) & (y < north)), np.flatnonzero((x > west) & (x < east)))
    ashore = shapely.contains_xy(land, *np.meshgrid(x[window[1].ravel()], y[window[0].ravel()]))
    metres[window] = np.where(ashore, SEA_NO_DATA, 0)
    profile = {"driver": "GTiff", "dtype": "int16", "count": 1, "width": columns, "height": rows, "crs": UTM}
    packed = {"compress": "deflate", "zlevel": 9, "tiled": True, "blockxsize": 512, "blockysize": 512}
    place = {"transform": from_origin(left, top, SEA_CELL_M, SEA_CELL_M), "nodata": SEA_NO_DATA}
    with rasterio.open(path, "w", **profile, **packed, **place) as raster:
        raster.write(metres, 1)
        raster.set_band_description(1, "height above sea level, metres")


def make(folder: Path) -> None:
    """Write every file of the demo into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    write_geojson(folder / "parks.geojson", parks.register())
    write_geopackage(folder / "forest.gpkg", parks.forest())
    write_geojson(folder / "corridors.geojson", parks.corridors())
    write_geojson(folder / "access.geojson", [*access.ways(), *access.places()])
    write_geojson(folder / "barriers.geojson", barriers.barriers())
    write_geojson(folder / "hazards.geojson", barriers.hazards())
    write_heights(folder / "heights.tif")
    write_sea(folder / "sea.tif")
    (folder / "standstill.nmea").write_text(standstill.log(), encoding="ascii", newline="")


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
