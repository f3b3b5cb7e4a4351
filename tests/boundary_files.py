"""Small boundary files by hand, also with rings that no library would write."""

from __future__ import annotations

import json
import struct
import warnings
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from scout.model import RECORD, Layer, Source

Ring = Sequence[tuple[float, float]]
SQUARE: Ring = ((0, 0), (4, 0), (4, 4), (0, 4), (0, 0))


def layer(
    geometry: Sequence[Any], *, called: str = "parks", accuracy_m: float | None = 0.0, **columns: Any
) -> Layer:
    """A layer in memory, record numbers from 1."""
    frame = gpd.GeoDataFrame(
        {RECORD: np.arange(1, len(geometry) + 1), **columns},
        geometry=np.array(geometry, dtype=object),
        crs="EPSG:4326",
    )
    return Layer(
        frame, Source(f"{called}.gpkg", called, len(frame), "EPSG:4326 (WGS 84)", "none", accuracy_m)
    )


def geojson(path: Path, geometries: Sequence[Any], **top: Any) -> Path:
    """A GeoJSON file; geometries are mappings, shapes or None, names are N1, N2 ..."""
    features = [
        {
            "type": "Feature",
            "properties": {"name": f"N{number}"},
            "geometry": shape
            if shape is None or isinstance(shape, dict)
            else shapely.geometry.mapping(shape),
        }
        for number, shape in enumerate(geometries, start=1)
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", **top, "features": features}), encoding="utf-8")
    return path


def written(path: Path, frame: gpd.GeoDataFrame, **options: Any) -> Path:
    """A frame written in the format of the suffix."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "'crs' was not provided")
        return _written(path, frame, **options)


def _written(path: Path, frame: gpd.GeoDataFrame, **options: Any) -> Path:
    if path.suffix in (".parquet", ".geoparquet"):
        pytest.importorskip("pyarrow", reason="GeoParquet needs the extra `parquet`")
        frame.to_parquet(path, **options)
    elif path.suffix == ".kmz":
        inner = written(path.with_suffix(".kml"), frame)
        with zipfile.ZipFile(path, "w") as archive:
            archive.write(inner, "doc.kml")
        inner.unlink()
    elif path.suffix in (".zip", ".shz"):
        shape = written(path.with_suffix(".shp"), frame, **options)
        with zipfile.ZipFile(path, "w") as archive:
            for part in sorted(path.parent.glob(f"{path.stem}.*")):
                if part != path:
                    archive.write(part, f"some folder/{part.name}")
                    part.unlink()
        assert not shape.exists()
    else:
        driver = {".kml": "LIBKML", ".geojson": "GeoJSON", ".gdb": "OpenFileGDB"}.get(path.suffix)
        frame.to_file(path, driver=driver, engine="pyogrio", **options)
    return path


def wkb_polygon(*rings: Ring) -> bytes:
    """Well-known binary of a polygon with any rings, sound or not."""
    runs = [struct.pack("<I", len(r)) + b"".join(struct.pack("<dd", *p) for p in r) for r in rings]
    return struct.pack("<BII", 1, 3, len(rings)) + b"".join(runs)


def wkb_many(kind: int, *members: bytes) -> bytes:
    """Well-known binary of a geometry with members: 6 multipolygon, 7 collection, 15 surface, 16 TIN."""
    return struct.pack("<BII", 1, kind, len(members)) + b"".join(members)


# name: (binary, refused by words, repaired by words, area that remains)
BROKEN: dict[str, tuple[bytes, str, str, float]] = {
    "sound": (wkb_polygon(SQUARE), "", "", 16.0),
    "hole of two": (wkb_polygon(SQUARE, ((1, 1), (2, 2))), "hole 1 has fewer", "", 16.0),
    "left open": (wkb_polygon(SQUARE[:-1]), "", "outer ring was not closed", 16.0),
    "shell of two": (wkb_polygon(((0, 0), (1, 1))), "outer ring has fewer", "", 0.0),
    "open triangle": (wkb_polygon(((0, 0), (1, 1), (0, 1))), "", "outer ring was not closed", 0.5),
    "part of two": (
        wkb_many(6, wkb_polygon(SQUARE), wkb_polygon(((9, 9), (10, 10)))),
        "outer ring of part 2 has fewer",
        "",
        16.0,
    ),
}


def _broken_by_gdal(path: Path) -> None:
    shapes = np.array([binary for binary, *_ in BROKEN.values()], dtype=object)
    shape_type = "Polygon" if path.suffix == ".shp" else "Unknown"
    options: dict[str, Any] = {"SPATIAL_INDEX": "NO"} if path.suffix == ".fgb" else {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pyogrio.raw.write(
            path,
            shapes,
            [np.array(list(BROKEN), dtype=object)],
            ["name"],
            geometry_type=shape_type,
            crs="EPSG:4326",
            layer_options=options,
        )


def _broken_kml(path: Path) -> None:
    def run(ring: Ring) -> str:
        points = " ".join(f"{x},{y}" for x, y in ring)
        return f"<LinearRing><coordinates>{points}</coordinates></LinearRing>"

    def polygon(shell: Ring, *holes: Ring) -> str:
        inner = "".join(f"<innerBoundaryIs>{run(hole)}</innerBoundaryIs>" for hole in holes)
        return f"<Polygon><outerBoundaryIs>{run(shell)}</outerBoundaryIs>{inner}</Polygon>"

    shapes = {
        "sound": polygon(SQUARE),
        "hole of two": polygon(SQUARE, ((1, 1), (2, 2))),
        "left open": polygon(SQUARE[:-1]),
        "shell of two": polygon(((0, 0), (1, 1))),
        "open triangle": polygon(((0, 0), (1, 1), (0, 1))),
        "part of two": f"<MultiGeometry>{polygon(SQUARE)}{polygon(((9, 9), (10, 10)))}</MultiGeometry>",
    }
    marks = "".join(f"<Placemark><name>{n}</name>{s}</Placemark>" for n, s in shapes.items())
    root = (
        f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>broken</name>{marks}</Document></kml>'
    )
    path.write_text(f'<?xml version="1.0" encoding="UTF-8"?>\n{root}', encoding="utf-8")


def _broken_parquet(path: Path) -> None:
    pyarrow = pytest.importorskip("pyarrow", reason="GeoParquet needs the extra `parquet`")
    from pyarrow import parquet

    geo = {
        "version": "1.1.0",
        "primary_column": "shape",
        "columns": {"shape": {"encoding": "WKB", "geometry_types": []}},
    }
    table = pyarrow.table({"name": list(BROKEN), "shape": [binary for binary, *_ in BROKEN.values()]})
    parquet.write_table(table.replace_schema_metadata({"geo": json.dumps(geo)}), path)


BROKEN_WRITERS: dict[str, Callable[[Path], None]] = {
    ".geojson": _broken_by_gdal,
    ".gpkg": _broken_by_gdal,
    ".fgb": _broken_by_gdal,
    ".shp": _broken_by_gdal,
    ".kml": _broken_kml,
    ".parquet": _broken_parquet,
}
