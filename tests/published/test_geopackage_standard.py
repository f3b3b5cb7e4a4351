"""A GeoPackage against the requirements of OGC 12-128, checked with sqlite3 (M unless marked).

Numbers in the names of tests are those of the standard's requirements.
"""

from __future__ import annotations

import re
import sqlite3
import struct
from contextlib import closing

import exported
import pytest
import shapely

from scout.output.features import to_gpkg

LAYERS = ["spots", "stretches", "parks", "routes"]


@pytest.fixture(params=[exported.bay, exported.seam, lambda: exported.at([])], ids=["bay", "seam", "empty"])
def data(request):
    return to_gpkg(request.param())


@pytest.fixture
def base(data):
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.deserialize(data)
        yield connection


def test_1_and_2_the_file_says_what_it_is(data, base):
    assert data[:16] == b"SQLite format 3\x00"
    assert base.execute("PRAGMA application_id").fetchone()[0].to_bytes(4, "big") == b"GPKG"
    assert data[68:72] == b"GPKG"
    assert base.execute("PRAGMA user_version").fetchone() == (10300,)


def test_6_and_7_the_file_is_whole(base):
    assert base.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert base.execute("PRAGMA foreign_key_check").fetchall() == []


def test_11_the_reference_systems_that_must_be_there_are(base):
    found = dict(
        base.execute("SELECT srs_id, organization || organization_coordsys_id FROM gpkg_spatial_ref_sys")
    )
    assert found == {4326: "EPSG4326", -1: "NONE-1", 0: "NONE0"}
    (definition,) = base.execute("SELECT definition FROM gpkg_spatial_ref_sys WHERE srs_id = 4326").fetchone()
    assert definition.startswith('GEOGCS["WGS 84"')


def test_13_to_15_contents_name_every_layer_and_the_day(base):
    rows = base.execute("SELECT table_name, data_type, last_change, srs_id FROM gpkg_contents").fetchall()
    assert [row[0] for row in rows] == LAYERS
    assert {row[1] for row in rows} == {"features"}
    assert {row[2] for row in rows} == {"2026-03-01T00:00:00.000Z"}
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", row[2]) for row in rows)
    assert {row[3] for row in rows} == {4326}


def test_21_to_31_each_layer_has_a_key_and_one_geometry_column(base):
    kinds = dict(base.execute("SELECT table_name, geometry_type_name FROM gpkg_geometry_columns"))
    assert kinds == {
        "spots": "POINT",
        "stretches": "MULTILINESTRING",
        "parks": "MULTIPOLYGON",
        "routes": "MULTILINESTRING",
    }
    for layer in LAYERS:
        columns = base.execute(f"PRAGMA table_info({layer})").fetchall()
        assert [c[1] for c in columns if c[5]] == ["fid"]
        assert {c[2] for c in columns} <= {"INTEGER", "TEXT", "REAL", kinds[layer]}


def test_19_geometries_have_the_header_the_standard_gives(base):
    for layer in LAYERS:
        for (blob,) in base.execute(f"SELECT geom FROM {layer}"):
            magic, version, flags, srs = struct.unpack("<2sBBi", blob[:8])
            assert (magic, version, srs) == (b"GP", 0, 4326)
            box = {0b001: 0, 0b011: 32}[flags]
            shape = shapely.from_wkb(blob[8 + box :])
            if box:
                west, east, south, north = struct.unpack("<4d", blob[8:40])
                assert (west, south, east, north) == shape.bounds


def test_contents_give_the_extent_of_each_layer(base):
    for layer in LAYERS:
        box = base.execute(
            "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = ?", (layer,)
        ).fetchone()
        blobs = [blob for (blob,) in base.execute(f"SELECT geom FROM {layer}")]
        shapes = [shapely.from_wkb(blob[8 if blob[3] == 1 else 40 :]) for blob in blobs]
        assert box == (tuple(shapely.total_bounds(shapes)) if shapes else (None,) * 4)
