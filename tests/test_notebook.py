"""The notebook: a GeoPackage that is never overwritten, grows by steps and keeps what was deleted."""

from __future__ import annotations

import sqlite3
import struct
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime

import geopandas as gpd
import pyogrio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.errors import InputError, OutputError, RecordError
from scout.model import ParkVisited, Visit
from scout.visits.notebook import Notebook
from scout.visits.rows import SCHEMA

START = datetime(2026, 2, 14, 18, 5, tzinfo=UTC)
FULL = Visit(
    lon=-112.0,
    lat=-41.0,
    start=START,
    end=datetime(2026, 2, 14, 20, 10, tzinfo=UTC),
    error_m=4.9,
    level=2,
    locators=("DE39", "DE49"),
    parks=(ParkVisited("QX-001", "Quiet <Cove> 'n' \"so\"", 614.2, 0.9991), ParkVisited("森;1", "")),
    confidence=0.95,
    call="Q1AAA",
    operator="A. Wrén",
    antenna="End-fed",
    radio="Home-made",
    power_w=5.0,
    bands="40m 20m",
    contacts=87,
    weather="rain\nand wind",
    conditions="poor",
    went_well="'; DROP TABLE visits; --",
    went_badly="\N{UMBRELLA WITH RAIN DROPS}",
    sheet="sheets/day.html",
)
BARE = Visit(10.0, 45.0, START)


@pytest.fixture
def book(tmp_path):
    return Notebook(tmp_path / "visits.gpkg")


def opened(book: Notebook):
    return closing(sqlite3.connect(book.path))


def test_a_visit_comes_back_as_it_was_written(book):
    assert book.add(FULL) == 1
    assert book.add(BARE) == 2
    assert book.visits() == (replace(FULL, number=1), replace(BARE, number=2))
    assert book.visit(2) == replace(BARE, number=2)


@settings(max_examples=30)
@given(st.text(max_size=40), st.floats(-180, 180), st.floats(-90, 90), st.integers(0, 10**6) | st.none())
def test_any_text_and_place_comes_back(tmp_path_factory, text, lon, lat, contacts):
    book = Notebook(tmp_path_factory.mktemp("book") / "visits.gpkg")
    visit = replace(BARE, lon=lon, lat=lat, weather=text, contacts=contacts)
    book.add(visit)
    (back,) = book.visits()
    assert (back.lon, back.lat, back.contacts) == (lon, lat, contacts)
    assert back.weather == text or "\ufffd" in back.weather


def test_visits_are_listed_by_their_start(book):
    for day in (3, 1, 2):
        book.add(replace(BARE, start=START.replace(day=day)))
    assert [visit.number for visit in book.visits()] == [2, 3, 1]


def test_it_is_a_geopackage_that_gdal_opens(book):
    book.add(FULL)
    book.add(BARE)
    layers = dict(pyogrio.list_layers(book.path))
    assert layers == {"visits": "Point", "visit_parks": None}
    frame = gpd.read_file(book.path, layer="visits")
    assert frame.crs.to_epsg() == 4326
    assert [(p.x, p.y) for p in frame.geometry] == [(-112.0, -41.0), (10.0, 45.0)]
    assert frame["started"][0].isoformat() == "2026-02-14T18:05:00+00:00"
    parks = pyogrio.read_dataframe(book.path, layer="visit_parks")
    assert parks["park"].tolist() == ["QX-001", "森;1"]


def test_it_keeps_to_the_geopackage_standard(book):
    # OGC 12-128 1.3, requirements 2, 6, 7, 13 to 15 (M)
    book.add(FULL)
    with opened(book) as base:
        assert base.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert base.execute("PRAGMA user_version").fetchone() == (10300,)
        assert base.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert base.execute("PRAGMA foreign_key_check").fetchall() == []
        rows = base.execute(
            "SELECT table_name, data_type, min_x, max_y FROM gpkg_contents ORDER BY 1"
        ).fetchall()
    assert rows == [("visit_parks", "attributes", None, None), ("visits", "features", -112.0, -41.0)]


def test_edits_and_deletions_are_taken_back_one_after_the_other(book):
    book.add(FULL)
    book.add(BARE)
    book.edit(1, call="Q1BBB", parks=())
    book.edit(1, weather="sun")
    book.delete(1)
    assert [visit.number for visit in book.visits()] == [2]
    assert book.undo() == ("delete", replace(FULL, number=1, call="Q1BBB", parks=(), weather="sun"))
    assert book.undo()[0] == "edit"
    assert book.undo() == ("edit", replace(FULL, number=1))
    assert book.visits() == (replace(FULL, number=1), replace(BARE, number=2))
    with pytest.raises(InputError, match="no edit or deletion to take back"):
        book.undo()


def test_a_number_is_never_given_twice(book):
    book.add(BARE)
    book.delete(1)
    assert book.add(BARE) == 2
    book.undo()
    assert [visit.number for visit in book.visits()] == [1, 2]


def test_an_edit_that_fails_changes_nothing(book):
    book.add(FULL)
    before = book.path.read_bytes()
    with pytest.raises(InputError, match="there is no visit 9"):
        book.edit(9, call="Q1BBB")
    with pytest.raises(AttributeError):
        book.edit(1, start="no time")
    assert book.path.read_bytes() == before
    assert book.visits() == (replace(FULL, number=1),)


# Version 1, written by hand: no table for what was deleted, no path of a sheet.
VERSION_1 = """
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY,
  organization TEXT NOT NULL, organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL,
  description TEXT);
INSERT INTO gpkg_spatial_ref_sys VALUES ('none', 0, 'NONE', 0, 'undefined', ''),
  ('none', -1, 'NONE', -1, 'undefined', ''), ('WGS 84', 4326, 'EPSG', 4326, 'GEOGCS["WGS 84"]', '');
CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL,
  identifier TEXT UNIQUE, description TEXT DEFAULT '', last_change DATETIME NOT NULL DEFAULT '2025-01-01',
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER);
CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL,
  geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL);
INSERT INTO gpkg_contents (table_name, data_type, srs_id) VALUES ('visits', 'features', 4326);
INSERT INTO gpkg_geometry_columns VALUES ('visits', 'geom', 'POINT', 4326, 0, 0);
CREATE TABLE visits (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom POINT, started DATETIME,
  ended DATETIME, error_m REAL, level INTEGER, locators TEXT, confidence REAL, call TEXT, operator TEXT,
  antenna TEXT, radio TEXT, power_w REAL, bands TEXT, contacts INTEGER, weather TEXT, conditions TEXT,
  went_well TEXT, went_badly TEXT);
CREATE TABLE visit_parks (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, visit INTEGER NOT NULL
  REFERENCES visits(fid) ON DELETE CASCADE, park TEXT NOT NULL, name TEXT, clearance_m REAL,
  confidence REAL, UNIQUE (visit, park));
CREATE TABLE notebook (version INTEGER NOT NULL);
INSERT INTO notebook VALUES (1);
INSERT INTO visit_parks (visit, park, name, clearance_m, confidence) VALUES (5, 'QX-001', 'Cove', 12.5, 0.9);
PRAGMA application_id = 1196444487;
PRAGMA user_version = 10300;
"""


@pytest.fixture
def old(book):
    point = struct.pack("<2sBBiBIdd", b"GP", 0, 1, 4326, 1, 1, -112.0, -41.0)
    with opened(book) as base:
        base.executescript(VERSION_1)
        base.execute(
            "INSERT INTO visits (fid, geom, started, level, locators, call, contacts) "
            "VALUES (5, ?, ?, 2, ?, ?, 3)",
            (point, "2025-02-14T18:05:00.000Z", "DE39 DE49", "Q1AAA"),
        )
        base.commit()
    return book


def test_a_notebook_of_version_1_is_brought_up_to_date_and_loses_nothing(old):
    visit = Visit(
        -112.0,
        -41.0,
        datetime(2025, 2, 14, 18, 5, tzinfo=UTC),
        locators=("DE39", "DE49"),
        parks=(ParkVisited("QX-001", "Cove", 12.5, 0.9),),
        call="Q1AAA",
        contacts=3,
        number=5,
    )
    assert old.visits() == (visit,)
    with opened(old) as base:
        assert base.execute("SELECT version FROM notebook").fetchall() == [(SCHEMA,)]
    assert old.add(FULL) == 6
    assert old.edit(5, sheet="a.html").sheet == "a.html"
    assert old.undo() == ("edit", visit)


def test_a_migration_that_fails_half_way_leaves_the_old_file(old, monkeypatch):
    from scout.visits import rows as schema

    def broken(base):
        base.execute("ALTER TABLE visits ADD COLUMN sheet TEXT")
        base.execute("INSERT INTO nowhere VALUES (1)")

    monkeypatch.setattr(schema, "_STEPS", (schema._create_tables, broken))
    with pytest.raises(OutputError):
        old.visits()
    with opened(old) as base:
        assert base.execute("SELECT version FROM notebook").fetchall() == [(1,)]
        assert "sheet" not in [row[1] for row in base.execute("PRAGMA table_info(visits)")]


def test_a_notebook_of_a_later_version_is_not_touched(book):
    book.add(FULL)
    with opened(book) as base:
        base.execute("UPDATE notebook SET version = 99")
        base.commit()
    before = book.path.read_bytes()
    with pytest.raises(InputError, match="version 99, and 2 is the last known; use a later scout"):
        book.add(BARE)
    assert book.path.read_bytes() == before


def other_geopackage(path):
    gpd.GeoDataFrame({"a": [1]}, geometry=gpd.points_from_xy([0], [0]), crs=4326).to_file(
        path, layer="visits"
    )


def other_database(path):
    with closing(sqlite3.connect(path)) as base:
        base.execute("CREATE TABLE notebook (version INTEGER)")
        base.commit()


def damaged(path):
    Notebook(path).add(FULL)
    data = bytearray(path.read_bytes())
    data[100:4000] = b"\xff" * 3900
    path.write_bytes(data)


@pytest.mark.parametrize(
    ("make", "line"),
    [
        (other_geopackage, "this is a GeoPackage, but not a notebook"),
        (other_database, "this is not a notebook"),
        (lambda path: path.write_bytes(b"no database at all " * 100), "this is no GeoPackage"),
        (damaged, "the file is damaged"),
        (lambda path: path.mkdir(), "this is a folder"),
    ],
)
def test_what_is_no_notebook_is_named_and_never_changed(book, make, line):
    make(book.path)
    before = book.path.read_bytes() if book.path.is_file() else None
    for call in (book.visits, lambda: book.add(BARE), lambda: book.edit(1, call="Q"), book.undo):
        with pytest.raises((InputError, OutputError)) as caught:
            call()
        assert line in str(caught.value)
    assert before is None or book.path.read_bytes() == before


def test_only_an_addition_makes_a_notebook(book):
    for call in (book.visits, lambda: book.visit(1), book.undo, lambda: book.delete(1)):
        with pytest.raises(InputError, match="there is no such notebook"):
            call()
    assert not book.path.exists()
    with pytest.raises(OutputError, match=r"name it \.gpkg"):
        Notebook(book.path.with_suffix(".txt")).add(BARE)
    with pytest.raises(OutputError, match="there is no folder"):
        Notebook(book.path.parent / "nowhere" / "visits.gpkg").add(BARE)


def test_a_row_spoilt_elsewhere_is_named_and_others_can_still_be_added(book):
    book.add(FULL)
    book.add(BARE)
    with opened(book) as base:
        base.execute("UPDATE visits SET started = 'yesterday' WHERE fid = 2")
        base.commit()
    with pytest.raises(RecordError, match="visit 2 cannot be read"):
        book.visits()
    assert book.visit(1) == replace(FULL, number=1)
    with opened(book) as base:
        base.execute("UPDATE visits SET geom = NULL WHERE fid = 2")
        base.commit()
    assert book.add(BARE) == 3


def test_a_point_with_a_box_in_its_header_is_read_as_other_programs_write_it(book):
    book.add(BARE)
    blob = struct.pack("<2sBBi4dBIdd", b"GP", 0, 3, 4326, 7.0, 7.0, 8.0, 8.0, 1, 1, 7.0, 8.0)
    with opened(book) as base:
        base.execute("UPDATE visits SET geom = ?", (blob,))
        base.commit()
    assert (book.visit(1).lon, book.visit(1).lat) == (7.0, 8.0)
