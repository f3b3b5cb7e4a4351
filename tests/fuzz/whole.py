"""Sound files of every format that scout reads, small, around the corner of four squares at 45 N 20 W."""

from __future__ import annotations

import gzip
import json
import shutil
import warnings
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from functools import reduce
from operator import xor
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from rasterio.transform import from_origin
from rasters import hgt_bytes

LON, LAT = -20.0, 45.0
NAMES = ["Tern Flats", "Höhe Šedá", "Парк 3"]

__all__ = ["BOUNDARIES", "FORMATS", "LAT", "LON", "NAMES", "SHAPED", "parks", "write_whole"]


def parks() -> gpd.GeoDataFrame:
    """Three parks: one on the corner with an inholding, one that overlaps it, one on a line alone."""
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    star = np.column_stack([np.cos(angle), np.sin(angle)]) * (1 + 0.2 * (np.arange(24) % 2))[:, None]
    hole = star[::-1] * 0.004 + [LON + 0.02, LAT + 0.02]
    shapes = [
        shapely.Polygon(star * 0.05 + [LON, LAT], [hole]),
        shapely.Polygon(star * 0.03 + [LON + 0.04, LAT + 0.03]),
        shapely.MultiPolygon([shapely.Polygon(star * 0.02 + [LON - 1 + d, LAT]) for d in (0, 0.1)]),
    ]
    columns = {"ref": ["Q-1", "Q-2", "Q-3"], "name": NAMES, "hectares": [12.5, 3.0, None]}
    return gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:4326")


def _written(path: Path, frame: gpd.GeoDataFrame, driver: str, **options: Any) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frame.to_file(path, driver=driver, engine="pyogrio", **options)


def _shapefile(path: Path) -> None:
    _written(path, parks().to_crs(3035), "ESRI Shapefile")


def _zipped(path: Path) -> None:
    shape = path.with_suffix(".shp")
    _written(shape, parks(), "ESRI Shapefile")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for part in sorted(path.parent.glob(f"{path.stem}.*")):
            if part != path:
                archive.write(part, f"area/{part.name}")
                part.unlink()


def _kmz(path: Path) -> None:
    inner = path.with_suffix(".kml")
    _written(inner, parks(), "LIBKML")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.write(inner, "doc.kml")
    inner.unlink()


_WAYS: list[tuple[list[tuple[float, float]], dict[str, str]]] = [
    ([(-20.005, 44.99), (-20.001, 45.0), (-20.005, 45.02)], {"highway": "residential", "name": "Quay"}),
    ([(-20.001, 45.0), (-20.0, 45.0), (-19.99, 45.002)], {"highway": "path"}),
    ([(-20.002, 45.001), (-19.998, 45.001)], {"waterway": "river", "name": "Sallow"}),
    ([(-20.004, 45.004), (-19.996, 45.004)], {"power": "line", "operator": 'Q "Light" \\ & co'}),
    (
        [(-19.999, 44.998), (-19.998, 44.998), (-19.998, 44.999), (-19.999, 44.998)],
        {"natural": "water", "name": "Höhe <Pool>"},
    ),
    (
        [(-20.01, 44.99), (-19.99, 44.99), (-19.99, 45.01), (-20.01, 45.01), (-20.01, 44.99)],
        {"leisure": "nature_reserve", "name": "Corner Fen", "ref": "Q-1"},
    ),
]
_NODES = [
    ((-20.001, 45.0), {"amenity": "parking", "name": "Gate field"}),
    ((-19.999, 45.0), {"barrier": "gate"}),
]


def _osm_text() -> str:
    from xml.sax.saxutils import quoteattr

    def tags(found: dict[str, str]) -> str:
        return "".join(f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in found.items())

    number: dict[tuple[float, float], int] = {}
    for point in [p for p, _ in _NODES] + [p for points, _ in _WAYS for p in points]:
        number.setdefault(point, len(number) + 1)
    said = dict(_NODES)
    nodes = [
        f'<node id="{k}" version="1" lat="{y}" lon="{x}">{tags(said.get((x, y), {}))}</node>'
        for (x, y), k in number.items()
    ]
    ways = [
        f'<way id="{k}" version="1">{"".join(f"<nd ref={quoteattr(str(number[p]))}/>" for p in points)}'
        f"{tags(found)}</way>"
        for k, (points, found) in enumerate(_WAYS, start=100)
    ]
    relation = (
        '<relation id="200" version="1"><member type="way" ref="104" role="outer"/>'
        '<tag k="type" v="multipolygon"/><tag k="natural" v="water"/></relation>'
        '<relation id="201" version="1"><member type="way" ref="105" role="outer"/>'
        '<member type="way" ref="104" role="inner"/><tag k="type" v="boundary"/>'
        '<tag k="boundary" v="protected_area"/><tag k="name" v="Holed Fen"/></relation>'
    )
    body = "\n".join([*nodes, *ways, relation])
    return f'<?xml version="1.0" encoding="UTF-8"?>\n<osm version="0.6" generator="hand">\n{body}\n</osm>\n'


def _osm(path: Path) -> None:
    path.write_text(_osm_text(), encoding="utf-8")


def _pbf(path: Path) -> None:
    import osmium

    text = path.with_suffix(".osm")
    _osm(text)
    writer = osmium.SimpleWriter(str(path))
    for thing in osmium.FileProcessor(str(text)):
        writer.add(thing)
    writer.close()
    text.unlink()


def _ways() -> gpd.GeoDataFrame:
    shapes = [shapely.Polygon(p) if p[0] == p[-1] else shapely.LineString(p) for p, _ in _WAYS]
    keys = sorted({key for _, found in _WAYS for key in found})
    columns = {key: [found.get(key) for _, found in _WAYS] for key in keys}
    return gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:4326")


def _heights(path: Path) -> None:
    east, north = np.meshgrid(np.arange(64), np.arange(64))
    profile = {
        "driver": "GTiff", "dtype": "float32", "count": 1, "width": 64, "height": 64, "crs": "EPSG:4326",
        "transform": from_origin(LON - 0.032, LAT + 0.032, 0.001, 0.001), "nodata": -9999.0,
        "compress": "deflate", "tiled": True, "blockxsize": 16, "blockysize": 16,
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as raster:
        raster.write((50 + 3 * np.sin(east / 9) + north / 5).astype("float32"), 1)


def _clock(second: int) -> str:
    return datetime.fromtimestamp(1_714_558_500 + second, UTC).strftime("%H%M%S")


def _nmea(path: Path) -> None:
    lines = []
    for second in range(0, 900, 5):
        east = 0.0003 * np.sin(second / 50)  # minutes
        place = f"45{abs(east):07.4f},N,020{0.0002 + abs(east):07.4f},W"
        for body in (
            f"GPGGA,{_clock(second)},{place},1,09,0.8,200.0,M,-30.0,M,,",
            f"GPRMC,{_clock(second)},A,{place},0.1,,010524,,,A",
        ):
            lines.append(f"${body}*{reduce(xor, body.encode('ascii'), 0):02X}")
    path.write_text("\r\n".join([*lines, ""]), encoding="ascii", newline="")


def _gpx(path: Path) -> None:
    points = []
    for second in range(0, 900, 5):
        time = datetime.fromtimestamp(1_714_558_500 + second, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        lat, lon = 45 + 4e-6 * np.sin(second / 50), -20 + 4e-6 * np.cos(second / 40)
        points.append(f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><time>{time}</time><hdop>0.9</hdop></trkpt>')
    body = "\n".join(points)
    path.write_text(
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="hand" '
        f'xmlns="http://www.topografix.com/GPX/1/1">\n<trk><trkseg>\n{body}\n</trkseg></trk>\n</gpx>\n',
        encoding="utf-8",
    )


def _waypoints(path: Path) -> None:
    marks = "".join(
        f'<wpt lat="{45 + k / 1000}" lon="{-20 - k / 1000}"><name>Hüt {k}</name></wpt>' for k in range(5)
    )
    path.write_text(
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="hand" '
        f'xmlns="http://www.topografix.com/GPX/1/1">{marks}</gpx>\n',
        encoding="utf-8",
    )


def _points(path: Path) -> None:
    features = [
        {
            "type": "Feature",
            "properties": {"name": f"Hüt {k}"},
            "geometry": {"type": "Point", "coordinates": [-20 - k / 1000, 45 + k / 1000]},
        }
        for k in range(5)
    ]
    whole = {"type": "FeatureCollection", "features": features}
    path.write_text(json.dumps(whole, ensure_ascii=False), encoding="utf-8")


def _table(path: Path) -> None:
    rows = [f"Hüt {k},{45 + k / 1000},{-20 - k / 1000}" for k in range(5)]
    path.write_text("\n".join(["name,latitude,longitude", *rows, ""]), encoding="utf-8")


def _outing(path: Path) -> None:
    path.write_text(
        'title = "Höhe"\nparks = ["good.geojson"]\nhome = "45.1,-20.2"\nwithin = 60\nlevel = "square"\n'
        'station-radius = 8\nshow = ["ref"]\nsave-listed = true\ntop = 5\naccess = ["good-access.geojson"]\n'
        '[[credits]]\ntext = "hand"\nlicence = "CC0"\ndate = 2026-01-01\n'
        '[[tags]]\nfile = "good-access.geojson"\ncolumn = "TYPE"\nvalues = { "Trail" = "highway=path" }\n',
        encoding="utf-8",
    )


def _log(path: Path) -> None:
    def contact(k: int) -> str:
        fields = {"CALL": f"Q{k}AA", "QSO_DATE": "20260214", "TIME_ON": f"18{k:02d}", "COMMENT": f"Gruß {k}"}
        return "".join(f"<{n}:{len(v.encode())}>{v} " for n, v in fields.items()) + "<EOR>\n"

    head = "made by hand\n<ADIF_VER:5>3.1.6\n<EOH>\n"
    path.write_text(head + "".join(contact(k) for k in range(8)), encoding="utf-8")


def _notebook(path: Path) -> None:
    from scout.model import ParkVisited, Visit
    from scout.visits.notebook import Notebook

    book = Notebook(path)
    for hour in (18, 20):
        book.add(
            Visit(
                LON,
                LAT,
                datetime(2026, 2, 14, hour, tzinfo=UTC),
                datetime(2026, 2, 14, hour + 1, tzinfo=UTC),
                locators=("HN95", "IN05"),
                parks=(ParkVisited("Q-1", NAMES[0], 20.0, 0.99),),
                call="Q1AAA",
                weather="Böen",
            )
        )


def _geodatabase(path: Path) -> None:
    shutil.rmtree(path, ignore_errors=True)
    _written(path, parks().to_crs(3035), "OpenFileGDB", layer="parks", geometry_type="MultiPolygon")
    _written(path, parks().iloc[1:].to_crs(3857), "OpenFileGDB", layer="again", geometry_type="MultiPolygon")


def _zipped_geodatabase(path: Path) -> None:
    folder = path.with_name("parks.gdb")
    _geodatabase(folder)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for part in sorted(folder.iterdir()):
            archive.write(part, f"parks.gdb/{part.name}")
    shutil.rmtree(folder)


def _zipped_twice(path: Path) -> None:
    inner = [path.with_name("shp_0.zip"), path.with_name("inner.gdb.zip")]
    _zipped(inner[0])
    _zipped_geodatabase(inner[1])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for one in inner:
            archive.write(one, one.name)
            one.unlink()


def _esri_json(path: Path) -> None:
    frame = parks()
    features = [
        {
            "attributes": {"OBJECTID": k, "ref": row.ref, "name": row.name_},
            "geometry": {
                "rings": [
                    [list(p) for p in ring.coords]
                    for part in shapely.get_parts(row.geometry)
                    for ring in (shapely.orient_polygons(part, exterior_cw=True).exterior, *part.interiors)
                ]
            },
        }
        for k, row in enumerate(frame.rename(columns={"name": "name_"}).itertuples(), start=1)
    ]
    whole = {"geometryType": "esriGeometryPolygon", "spatialReference": {"wkid": 4326}, "features": features}
    path.write_text(json.dumps(whole, ensure_ascii=False), encoding="utf-8")


def _topology(path: Path) -> None:
    frame, arcs, made = parks(), [], []
    for shape, name in zip(frame.geometry, frame["name"], strict=True):
        polygons = []
        for part in shapely.get_parts(shape):
            rings = [[list(p) for p in ring.coords] for ring in (part.exterior, *part.interiors)]
            polygons.append([[len(arcs) + k] for k in range(len(rings))])
            arcs += rings
        made.append({"type": "MultiPolygon", "arcs": polygons, "properties": {"name": name}})
    objects = {"parks": {"type": "GeometryCollection", "geometries": made}}
    whole = {"type": "Topology", "objects": objects, "arcs": arcs}
    path.write_text(json.dumps(whole, ensure_ascii=False), encoding="utf-8")


def _sequence(path: Path) -> None:
    _boundary(".geojson")(path.with_suffix(".geojson"))
    whole = json.loads(path.with_suffix(".geojson").read_text("utf-8"))
    path.with_suffix(".geojson").unlink()
    text = "".join(f"\x1e{json.dumps(one, ensure_ascii=False)}\n" for one in whole["features"])
    path.write_text(text, encoding="utf-8")


_BY_DRIVER = {
    ".geojson": "GeoJSON", ".gpkg": "GPKG", ".fgb": "FlatGeobuf", ".kml": "LIBKML", ".shp": "ESRI Shapefile",
}  # fmt: skip


def _boundary(suffix: str) -> Callable[[Path], None]:
    return lambda path: _written(path, parks(), _BY_DRIVER[suffix])


def _access(suffix: str) -> Callable[[Path], None]:
    return lambda path: _written(path, _ways(), _BY_DRIVER[suffix])


# What is read as what: the name of a format, its suffix and who makes a sound file of it.
FORMATS: dict[str, tuple[str, Callable[[Path], None]]] = {
    "GeoJSON": (".geojson", _boundary(".geojson")),
    "GeoPackage": (".gpkg", _boundary(".gpkg")),
    "Shapefile": (".shp", _shapefile),
    "Shapefile, zipped": (".zip", _zipped),
    "FlatGeobuf": (".fgb", _boundary(".fgb")),
    "GeoParquet": (".parquet", lambda path: parks().to_parquet(path)),
    "KML": (".kml", _boundary(".kml")),
    "KMZ": (".kmz", _kmz),
    "geodatabase": (".gdb", _geodatabase),
    "geodatabase, zipped": (".gdb.zip", _zipped_geodatabase),
    "zips within a zip": (".zip", _zipped_twice),
    "EsriJSON": (".esrijson", _esri_json),
    "TopoJSON": (".topojson", _topology),
    "GML": (".gml", lambda path: _written(path, parks(), "GML")),
    "MapInfo, TAB": (".tab", lambda path: _written(path, parks(), "MapInfo File", ENCODING="UTF-8")),
    "MapInfo, MIF": (".mif", lambda path: _written(path, parks(), "MapInfo File", ENCODING="UTF-8")),
    "GeoJSON, sequence": (".geojsons", _sequence),
    "CSV with WKT": (".csv", lambda path: _written(path, parks(), "CSV", GEOMETRY="AS_WKT")),
    "access, OSM XML": (".osm", _osm),
    "access, OSM PBF": (".osm.pbf", _pbf),
    "access, OSM XML packed": (".osm.gz", lambda path: path.write_bytes(gzip.compress(_osm_text().encode()))),
    "parks, OSM XML": (".osm", _osm),
    "parks, OSM PBF": (".osm.pbf", _pbf),
    "access, GeoJSON": (".geojson", _access(".geojson")),
    "access, GeoPackage": (".gpkg", _access(".gpkg")),
    "heights, GeoTIFF": (".tif", _heights),
    "heights, tile": (".N44W021.hgt", lambda path: path.write_bytes(hgt_bytes())),
    "fixes, NMEA": (".nmea", _nmea),
    "fixes, GPX": (".gpx", _gpx),
    "places, CSV": (".csv", _table),
    "places, GPX": (".gpx", _waypoints),
    "places, GeoJSON": (".geojson", _points),
    "outing, TOML": (".toml", _outing),
    "log, ADI": (".adi", _log),
    "notebook": (".gpkg", _notebook),
}
BOUNDARIES = tuple(FORMATS)[: list(FORMATS).index("CSV with WKT") + 1]
SHAPED = BOUNDARIES[:8]  # those that odd geometries are written in


def write_whole(folder: Path) -> dict[str, Path]:
    """A sound file of every format, and the sound ones that stand beside the damaged one in a command."""
    found = {}
    for number, (name, (suffix, write)) in enumerate(FORMATS.items()):
        found[name] = folder / f"whole{number}{suffix}"
        write(found[name])
    _boundary(".geojson")(folder / "good.geojson")
    _access(".geojson")(folder / "good-access.geojson")
    _notebook(folder / "good-visits.gpkg")
    return found
