"""A GeoPackage (OGC 12-128, version 1.3) built in memory: feature tables and what the standard asks for.

GDAL's writer, through pyogrio, gives one layer only when it writes into memory. The tables are few, so they
are made here; GDAL reads them in the tests.
"""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyproj
import shapely

from scout.errors import InputError
from scout.io.database import check, opened
from scout.io.formats import check_local

_APPLICATION_ID = 0x47504B47  # "GPKG", requirement 2
_VERSION = 10300
_WGS84 = 4326

_TABLES = """
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
  description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
  CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
"""

# The metadata extension, OGC 12-128r18 annex F.8.
_METADATA = """
CREATE TABLE gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL,
  scope TEXT NOT NULL, CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
CREATE TABLE gpkg_metadata (
  id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, md_scope TEXT NOT NULL DEFAULT 'dataset',
  md_standard_uri TEXT NOT NULL, mime_type TEXT NOT NULL DEFAULT 'text/xml',
  metadata TEXT NOT NULL DEFAULT '');
CREATE TABLE gpkg_metadata_reference (
  reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT, row_id_value INTEGER,
  timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  md_file_id INTEGER NOT NULL, md_parent_id INTEGER,
  CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
  CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id));
"""
_DEFINITION = "http://www.geopackage.org/spec130/#extension_metadata"
_LONGEST = 500_000_000  # bytes of metadata that are read


@dataclass(frozen=True, slots=True)
class FeatureTable:
    """One layer: a geometry per row, in WGS 84 longitude and latitude, and columns beside it.

    Names come from the program, never from data.
    """

    name: str
    geometry_type: str  # POINT, MULTILINESTRING, MULTIPOLYGON
    description: str
    columns: Mapping[str, str]  # name to TEXT, INTEGER or REAL
    rows: Sequence[Sequence[Any]]
    geometries: Sequence[Any]


def build_geopackage(
    tables: Sequence[FeatureTable], changed: str, metadata: tuple[str, str] | None = None
) -> bytes:
    """Bytes of a GeoPackage with these layers; the same layers give the same bytes.

    Parameters
    ----------
    tables : sequence of FeatureTable
    changed : str
        Written as the time of the last change, ``2026-03-01T00:00:00.000Z``.
    metadata : tuple of str, optional
        The URI that says what it is, and JSON text; of the whole file.
    """
    with closing(sqlite3.connect(":memory:")) as database:
        database.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
        database.execute(f"PRAGMA user_version = {_VERSION}")
        database.executescript(_TABLES)
        database.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)", _list_systems())
        for table in tables:
            _add_table(database, table, changed)
        if metadata is not None:
            _add_metadata(database, *metadata, changed)
        database.commit()
        return database.serialize()


def _add_metadata(database: sqlite3.Connection, uri: str, text: str, changed: str) -> None:
    database.executescript(_METADATA)
    database.executemany(
        "INSERT INTO gpkg_extensions VALUES (?, NULL, 'gpkg_metadata', ?, 'read-write')",
        [("gpkg_metadata", _DEFINITION), ("gpkg_metadata_reference", _DEFINITION)],
    )
    database.execute("INSERT INTO gpkg_metadata VALUES (1, 'dataset', ?, 'application/json', ?)", (uri, text))
    database.execute(
        "INSERT INTO gpkg_metadata_reference VALUES ('geopackage', NULL, NULL, NULL, ?, 1, NULL)", (changed,)
    )


def read_metadata(path: str, uri: str) -> str | None:
    """The metadata of a URI in a GeoPackage on this disk; None where it has none.

    Raises
    ------
    InputError
        No GeoPackage, one being written, or metadata that no disk of ours wrote.
    """
    file = check_local(path).absolute()
    check(path, file)
    question = "SELECT metadata FROM gpkg_metadata WHERE md_standard_uri = ? AND length(metadata) < ?"
    try:
        with opened(file) as database:
            row = database.execute(question, (uri, _LONGEST)).fetchone()
    except sqlite3.OperationalError:  # there is no such table
        return None
    except (sqlite3.Error, UnicodeError) as error:
        raise InputError(path, f"is a damaged GeoPackage ({error})", "save it again") from error
    return str(row[0]) if row and isinstance(row[0], str) else None


def _list_systems() -> list[tuple[Any, ...]]:
    """The three reference systems that requirement 11 asks for."""
    definition = pyproj.CRS.from_epsg(_WGS84).to_wkt("WKT1_GDAL")
    return [
        ("Undefined Cartesian", -1, "NONE", -1, "undefined", "undefined Cartesian coordinates"),
        ("Undefined geographic", 0, "NONE", 0, "undefined", "undefined geographic coordinates"),
        ("WGS 84 geodetic", _WGS84, "EPSG", _WGS84, definition, "longitude and latitude, degrees, WGS 84"),
    ]


def _add_table(database: sqlite3.Connection, table: FeatureTable, changed: str) -> None:
    # "yield" is no word of SQL, but quoting every name costs nothing.
    columns = "".join(f', "{name}" {kind}' for name, kind in table.columns.items())
    database.execute(
        f'CREATE TABLE "{table.name}" (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, '
        f"geom {table.geometry_type}{columns})"
    )
    box = [float(edge) for edge in shapely.total_bounds(table.geometries)] if table.geometries else [None] * 4
    database.execute(
        "INSERT INTO gpkg_contents VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, ?)",
        (table.name, table.name, table.description, changed, *box, _WGS84),
    )
    database.execute(
        "INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, 0, 0)",
        (table.name, table.geometry_type, _WGS84),
    )
    marks = ", ".join("?" * (len(table.columns) + 1))
    names = ", ".join(["geom", *(f'"{name}"' for name in table.columns)])
    database.executemany(
        f'INSERT INTO "{table.name}" ({names}) VALUES ({marks})',
        ((blob, *row) for blob, row in zip(_encode_geometries(table.geometries), table.rows, strict=True)),
    )


def _encode_geometries(geometries: Sequence[Any]) -> list[bytes]:
    """Geometries as the standard stores them (2.1.3): a header, for all but points a box, then WKB."""
    shapes = np.array([*geometries, None], dtype=object)[:-1]
    kinds = shapely.get_type_id(shapes)
    blobs = []
    for wkb, kind, box in zip(
        shapely.to_wkb(shapes, byte_order=1), kinds, shapely.bounds(shapes).reshape(-1, 4), strict=True
    ):
        if kind == shapely.GeometryType.POINT:
            blobs.append(struct.pack("<2sBBi", b"GP", 0, 0b001, _WGS84) + wkb)
        else:
            west, south, east, north = box
            header = struct.pack("<2sBBi4d", b"GP", 0, 0b011, _WGS84, west, east, south, north)
            blobs.append(header + wkb)
    return blobs
