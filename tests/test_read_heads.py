"""What a GeoPackage says of all its records in one answer is what GDAL reads of them in several."""

from __future__ import annotations

import sqlite3
import struct
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from boundary_files import written

from scout.io.heads import Extents, measure_extents
from scout.io.layers import list_requests, read_layers
from scout.io.tables import read_columns
from scout.parks.choice import RecordChoice
from scout.parks.indexed import open_index

COUNT = 60
COLUMNS = {
    "text": [None if k == 3 else f" Q{k} äöü" for k in range(COUNT)],
    "nothing": [None] * COUNT,
    "first missing": [None] + ["x"] * (COUNT - 1),
    "whole": pd.array([None if k == 4 else k for k in range(COUNT)], dtype="Int64"),
    "large": np.arange(COUNT) + 2**40,
    "real": [np.nan if k == 5 else k / 7 for k in range(COUNT)],
    "short": np.arange(COUNT, dtype=np.int16),
    "open": [k % 2 == 0 for k in range(COUNT)],
    "since": np.array(["2020-01-02"] * COUNT, dtype="datetime64[ms]"),
    # Names that SQL could take for its own.
    "select": np.arange(COUNT) + 0.5,
    "c \"d\" 'e'; --": ["quoted"] * COUNT,
    "head": [f"H{k}" for k in range(COUNT)],
}
BY_THEMSELVES = ("short", "open", "since")


def shapes(count: int = COUNT) -> np.ndarray:
    west = np.arange(count) / 10
    return shapely.box(west, 0.0, west + 0.05, 0.07)


def parks(path: Path, **more: object) -> Path:
    return written(path, gpd.GeoDataFrame(COLUMNS | more, geometry=shapes(), crs="EPSG:4326"))


def change(path: Path, *statements: str, values: tuple = ()) -> None:
    with closing(sqlite3.connect(path)) as database:
        for (name,) in database.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            database.execute(f'drop trigger "{name}"')
        for statement in statements:
            database.execute(statement, values)
        database.commit()


def ask(path: Path, *columns: str) -> Extents:
    (request,) = list_requests(path, None, None)
    return measure_extents(request.opening, request.name, pyogrio.read_info(path), 2e-5, columns)


@pytest.mark.parametrize("arrow", [True, False])
@pytest.mark.parametrize("name", COLUMNS)
def test_columns_are_those_that_gdal_reads_from_the_table(name, arrow, tmp_path, monkeypatch):
    path = parks(tmp_path / "parks.gpkg")
    # Numbers of records that do not begin at 1 and are beyond 32 bits.
    change(path, "update parks set fid = fid + 5000000000")
    (request,) = list_requests(path, None, None)
    if not arrow:
        monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    numbers, frame = read_columns(request.opening, request.layer, [name, "text"])
    found = ask(path, *frame.columns)
    assert np.array_equal(found.records, numbers)
    assert np.array_equal(found.bounds, shapely.bounds(shapes()))
    assert not found.misfits
    if name in BY_THEMSELVES:
        assert found.frame is None
    else:
        pd.testing.assert_frame_equal(found.frame, frame)
    (layer,) = read_layers(path)
    index = open_index(request, RecordChoice(keep=(name,)), 1)
    pd.testing.assert_series_equal(index.table.frame[name], layer.frame[name])


def test_all_is_asked_for_in_one_question(tmp_path, monkeypatch):
    path = parks(tmp_path / "parks.gpkg")

    def another(*_):
        raise AssertionError("another pass through the file")

    monkeypatch.setattr("scout.parks.indexed.read_columns", another)
    monkeypatch.setattr("scout.parks.indexed.find_misfits", another)
    index = open_index(list_requests(path, None, None)[0], RecordChoice(keep=("text", "whole")), 1)
    assert len(index.records) == COUNT
    assert index.table.frame["text"][1] == " Q1 äöü"


@pytest.mark.parametrize("arrow", [True, False])
def test_heads_of_every_kind(arrow, tmp_path, monkeypatch):
    """Of either order of bytes, with heights, without bounds, with bounds of no area, no blob, none."""
    path = parks(tmp_path / "parks.gpkg")
    expected = shapely.bounds(shapes())
    with closing(sqlite3.connect(path)) as database:
        blobs = dict(database.execute("select fid, geom from parks"))
    sides = struct.unpack("<4d", blobs[2][8:40])
    wkb = blobs[2][40:]
    swapped = {
        2: b"GP\0" + bytes([0b010]) + struct.pack(">i4d", 4326, *sides) + wkb,
        5: b"GP\0" + bytes([0b101]) + struct.pack("<i6d", 4326, *sides, 0, 9) + wkb,
        8: b"GP\0" + bytes([0b001]) + struct.pack("<i", 4326) + wkb,
        11: b"GP\0" + bytes([0b011]) + struct.pack("<i4d", 4326, *sides[::-1]) + wkb,
        14: b"GP\0" + bytes([0b1111]) + struct.pack("<i4d", 4326, *sides) + wkb,
        17: None,
        20: "GP" + "a" * 60,
        23: b"XP" + blobs[2][2:],
        26: b"",
        29: 7,
        32: b"GP",
    }
    for fid, blob in swapped.items():
        change(path, "update parks set geom = ? where fid = ?", values=(blob, fid))
        expected[fid - 1] = expected[1]
    expected[[19, 22, 25, 28, 31]] = -np.inf, -np.inf, np.inf, np.inf
    expected[13] = -np.inf, -np.inf, np.inf, np.inf  # a kind of bounds that is not known: where is the rest?
    expected[16] = np.nan
    if not arrow:
        monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    found = ask(path, "text")
    assert found.records.tolist() == list(range(1, COUNT + 1))
    assert np.array_equal(found.bounds, expected, equal_nan=True)
    assert found.compared == COUNT


def test_a_table_damaged_in_the_middle_is_not_taken_for_a_whole_one(tmp_path):
    path = parks(tmp_path / "parks.gpkg", long=["Q" * 2000] * COUNT)
    request = list_requests(path, None, None)[0]
    assert open_index(request, least=1) is not None
    with closing(sqlite3.connect(path)) as database:
        size = database.execute("pragma page_size").fetchone()[0]
    data = bytearray(path.read_bytes())
    page = data.index(b"H30") // size  # of the record with that text
    data[page * size : (page + 1) * size] = bytes(size)
    path.write_bytes(data)
    assert open_index(list_requests(path, None, None)[0], least=1) is None


@pytest.mark.parametrize("said", [7, COUNT + 1])
def test_a_wrong_count_beside_the_table_does_not_matter(said, tmp_path):
    path = parks(tmp_path / "parks.gpkg")
    change(path, f"update gpkg_ogr_contents set feature_count = {said}")
    assert len(ask(path).records) == COUNT
