"""Rows of a notebook that are no visits: told, shown, put right, deleted, undone, left out by readers."""

from __future__ import annotations

import json
import sqlite3
import struct
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from boundary_files import geojson
from shapely import box

from scout.cli import main
from scout.desk.worker import Session
from scout.errors import InputError, RecordError
from scout.model import BadVisit, ParkVisited, Visit
from scout.visits.notebook import Notebook
from scout.visits.rows import find_fault

START = datetime(2026, 2, 14, 18, 5, tzinfo=UTC)
VISIT = Visit(
    -112.0, -41.0, START, START.replace(hour=20), locators=("DE39",), parks=(ParkVisited("Q-1"),), contacts=5
)
INFINITE = struct.pack("<2sBBiBIdd", b"GP", 0, 1, 4326, 1, 1, float("inf"), -41.0)

# What another program, or scout before years were checked, may have left: SQL, and what is said of it.
SPOILT = [
    (
        "update visits set started = '226-02-15T18:05:00.000Z'",
        "its start, '226-02-15T18:05:00.000Z', is no time",
    ),
    (
        "update visits set started = '0226-02-15T18:05:00Z'",
        "its start is in the year 226, not from 1980 to 2099",
    ),
    ("update visits set started = '0001-01-01T00:00:00+14:00'", "its start is in the year 1"),
    ("update visits set ended = '9999-12-31T23:59:59-14:00'", "its end is in the year 9999"),
    ("update visits set started = 5", "its start, 5, is no time"),
    ("update visits set started = x'00ff'", "its start, 2 bytes, is no time"),
    ("update visits set started = null", "it has no start"),
    ("update visits set call = x'80ff'", "its call is no text"),
    ("update visits set weather = cast(x'80ff' as text)", "its weather is no text"),
    ("update visits set weather = zeroblob(3000000)", "its weather is no text"),
    ("update visits set weather = hex(zeroblob(3000000))", "its weather has 6,000,000 characters"),
    ("update visits set call = hex(zeroblob(3000000))", "its call has 6,000,000 characters"),
    ("update visits set locators = x'4445'", "its locators, 2 bytes, are none"),
    ("update visits set locators = 'ZZ99'", "its locators have 'ZZ99', which is none"),
    ("update visits set locators = replace(hex(zeroblob(900000)), '00', 'JN44 ')", "are none"),
    ("update visits set level = 77", "its level 77 is none"),
    ("update visits set level = x'02'", "its level b'\\x02' is none"),
    ("update visits set contacts = -1", "its contacts, -1, are no count"),
    ("update visits set contacts = 'many'", "its contacts, 'many', are no count"),
    ("update visits set contacts = 1e300", "are no count"),
    ("update visits set power_w = 'much'", "its power_w, 'much', is no number"),
    ("update visits set power_w = 9e999", "its power_w, inf, is no number"),
    ("update visits set error_m = x'01'", "its error_m, b'\\x01', is no number"),
    ("update visits set geom = null", "it has no position"),
    ("update visits set geom = 5", "it has no position"),
    ("update visits set geom = 'GP'", "it has no position"),
    ("update visits set geom = x'4750'", "it has no position"),
    ("update visits set geom = x'4750000f00000000'", "it has no position"),
    ("update visits set geom = zeroblob(3000000)", "it has no position"),
    (f"update visits set geom = x'{INFINITE.hex()}'", "its position is not on the globe"),
    ("update visit_parks set park = x'ff'", "its park is no text"),
    ("update visit_parks set park = ''", "a park of it has no id"),
    ("update visit_parks set name = x'ff'", "its park is no text"),
    ("update visit_parks set confidence = 'x'", "its park's confidence, 'x', is no number"),
]


@pytest.fixture
def book(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    book = Notebook("visits.gpkg")
    book.add(VISIT)
    later = START.replace(day=20)
    book.add(replace(VISIT, start=later, end=later.replace(hour=20), call="Q1BBB"))
    return book


@pytest.fixture
def run(capsys):
    def typed(*words: object) -> tuple[int, str, str]:
        status = main([str(word) for word in words])
        shown = capsys.readouterr()
        return status, shown.out, shown.err

    return typed


def spoil(book: Notebook, sql: str) -> list[tuple]:
    """Change visit 1 as another program would; gives all of both tables."""
    with closing(sqlite3.connect(book.path)) as base:
        base.execute(f"{sql} where {'visit' if 'visit_parks' in sql else 'fid'} = 1")
        base.commit()
    return stored(book)


def stored(book: Notebook) -> list[tuple]:
    with closing(sqlite3.connect(book.path)) as base:
        base.text_factory = bytes
        parks = "select visit, park, name, clearance_m, confidence from visit_parks order by visit"
        return [*base.execute("select * from visits order by fid"), *base.execute(parks)]


@pytest.mark.parametrize(("sql", "why"), SPOILT)
def test_a_bad_row_is_told_and_costs_nobody_the_others(book, run, sql, why, tmp_path):
    rows = spoil(book, sql)
    told: list[BadVisit] = []
    assert [visit.number for visit in book.visits(told.append)] == [2]
    assert [bad.number for bad in told] == [1]
    assert why in told[0].why
    with pytest.raises(RecordError, match="visit 1 cannot be read"):
        book.visits()
    line = "Left out: visit 1 cannot be read: "
    status, out, err = run("visit", "list")
    assert (status, err) == (0, "")
    assert line in out
    assert "Q1BBB" in out
    assert len(out) < 1500
    assert line in run("tally")[1]
    assert line in run("visit", "export", "a.csv", "a.geojson", "a.html")[1]
    assert len(json.loads((tmp_path / "a.geojson").read_text("utf-8"))["features"]) == 1
    geojson(tmp_path / "parks.geojson", [box(-112.1, -41.1, -111.9, -40.9)])
    status, out, err = run("find", "parks.geojson", "--notebook", "visits.gpkg")
    assert (status, err) == (0, "")
    assert "Rows of the notebook that are no visits are left out: 1;" in out
    (tmp_path / "log.adi").write_bytes(b"<CALL:5>Q2AAA<QSO_DATE:8>20260220<TIME_ON:4>1830<EOR>")
    assert run("stamp", "log.adi", "--visit", 2, "--out", "out")[0] == 0
    assert run("stamp", "log.adi", "--visit", 1, "--out", "out")[0] == 2
    status, out, _ = run("visit", "show", 1)
    assert status == 0
    assert "Visit 1 cannot be read: " in out
    assert len(out) < 3000
    assert book.add(VISIT) == 3
    book.delete(3)
    book.undo()
    assert stored(book)[:2] == rows[:2]


@pytest.mark.parametrize(("command", "out"), [("card", "card.html"), ("pack", "spots.zip")])
def test_card_and_pack_tell_of_rows_that_their_numbers_do_without(book, run, command, out, tmp_path):
    geojson(tmp_path / "parks.geojson", [box(-112.1, -41.1, -111.9, -40.9)])
    words = (command, 1, "--parks", "parks.geojson", "--notebook", "visits.gpkg", "--out", out)
    assert "left out" not in run(*words)[1]
    spoil(book, "update visits set started = null")
    status, told, err = run(*words)
    assert (status, err) == (0, "")
    assert "Rows of the notebook that are no visits are left out: 1;" in told


def test_the_journal_says_what_it_does_without(book, run, tmp_path):
    run("visit", "export", "a.html")
    assert "Left out" not in (tmp_path / "a.html").read_text("utf-8")
    for _ in range(12):
        book.add(VISIT)
    with closing(sqlite3.connect(book.path)) as base:
        base.execute("update visits set started = null where fid > 2")
        base.commit()
    run("visit", "export", "a.html")
    line = "Left out: 12 rows of the notebook that cannot be read (3, 4, 5, 6, 7, 8, 9, 10, 11, 12, ...)."
    assert line in (tmp_path / "a.html").read_text("utf-8")


@pytest.mark.parametrize("name", ["x" * 300 + ".gpkg", "x/" * 3000 + "x.gpkg"])
def test_a_name_that_no_disk_takes_is_a_line(run, name):
    for words in (("tally",), ("visit", "list"), ("desk", "--no-browser")):
        status, out, err = run(*words, f"--notebook={name}")
        assert (status, out, err.count("\n")) == (2, "", 1)


@pytest.mark.parametrize(("sql", "why"), SPOILT)
def test_a_bad_row_is_deleted_and_brought_back_as_it_was(book, run, sql, why):
    spoil(book, sql)
    before = stored(book)
    status, out, err = run("visit", "delete", 1, "--yes")
    assert (status, err) == (0, "")
    assert "Deleted visit 1" in out
    assert [visit.number for visit in book.visits()] == [2]
    status, out, err = run("visit", "undo")
    assert (status, err) == (0, "")
    assert "Visit 1 cannot be read: " in out
    if "cast" not in sql:  # bytes that are no UTF-8 come back as a blob of the same bytes
        assert stored(book) == before


def test_a_bad_year_is_put_right_by_an_edit_that_can_be_taken_back(book, run):
    before = spoil(book, "update visits set started = '226-02-15T18:05:00.000Z'")
    status, _, err = run("visit", "edit", 1, "--call", "Q1AAA")
    assert status == 2
    assert (
        "visit 1 cannot be read: its start, '226-02-15T18:05:00.000Z', is no time; see scout visit show 1"
        in err
    )
    assert stored(book) == before
    status, out, err = run("visit", "edit", 1, "--start", "2026-02-15T18:05", "--end", "")
    assert (status, err) == (0, "")
    assert "2026-02-15 18:05:00 UTC, end not noted" in out
    assert book.visit(1) == replace(VISIT, number=1, start=START.replace(day=15), end=None)
    run("visit", "undo")
    assert stored(book) == before


@pytest.mark.parametrize(
    ("option", "said"),
    [
        ("--start=0226-02-15T18:05", "the year 226 is not from 1980 to 2099"),
        ("--start=0001-01-01T00:00+14:00", "the year 1 is not"),
        ("--start=9999-12-31T23:59-14:00", "the year 9999 is not"),
        ("--start=1979-12-31T23:59", "the year 1979 is not"),
        ("--end=2206-02-15T18:05", "the year 2206 is not"),
        ("--contacts=99999999999999999999", "is no number of contacts"),
        (f"--weather={'w' * 100_001}", "its weather has 100,001 characters"),
    ],
)
def test_what_no_visit_holds_is_refused_before_anything_is_written(book, run, option, said):
    before = book.path.read_bytes()
    start = () if option.startswith("--start") else ("--start=2026-02-15T18:05",)
    status, _, err = run("visit", "add", "--place=-41,-112", "--in-park", "P=x", *start, option)
    assert status == 2
    assert err.count("\n") == 1
    assert said in err
    assert run("visit", "edit", 1, option)[0] == 2
    assert book.path.read_bytes() == before
    status, _, _ = run(
        "visit", "add", "--notebook=new.gpkg", "--place=-41,-112", "--in-park", "P=x", *start, option
    )
    assert status == 2
    assert not Notebook("new.gpkg").path.exists()


def test_the_first_and_the_last_year_are_written_with_four_digits_and_come_back(book):
    for year in (1980, 2099):
        number = book.add(replace(VISIT, start=START.replace(year=year), end=None))
        assert book.visit(number).start.year == year


def test_what_does_not_come_back_is_not_kept(book, monkeypatch):
    before = book.path.read_bytes()
    monkeypatch.setattr("scout.visits.notebook.find_fault", lambda _: "")
    with pytest.raises(RecordError, match="visit 3 cannot be read: its start is in the year 226"):
        book.add(replace(VISIT, start=START.replace(year=226)))
    assert book.path.read_bytes() == before


@pytest.mark.parametrize(
    "change",
    [
        *({"lat": 95.0}, {"lon": float("nan")}, {"level": 0}, {"power_w": float("inf")}, {"contacts": 1.5}),
        *({"locators": ("nowhere",)}, {"parks": (ParkVisited(""),)}, {"call": None}),
    ],
)
def test_a_visit_with_a_fault_is_not_added(book, change):
    assert find_fault(replace(VISIT, **change))
    with pytest.raises(InputError, match="nothing is written"):
        book.add(replace(VISIT, **change))


def test_where_every_row_is_bad_the_table_still_has_its_head(book, run, tmp_path):
    with closing(sqlite3.connect(book.path)) as base:
        base.execute("update visits set started = null")
        base.commit()
    assert run("visit", "list")[0] == 1
    status, out, _ = run("visit", "export", "a.csv", "a.geojson", "a.html")
    assert status == 0
    assert out.count("Left out: visit ") == 2
    assert (tmp_path / "a.csv").read_text("utf-8").startswith("visit,latitude,longitude,start,end,")


def test_texts_where_no_text_should_be_do_not_lock_the_undo(book, run):
    with closing(sqlite3.connect(book.path)) as base:
        for kept in ("'{'", "x'ff'", "5", "'[]'", "'{\"row\": {}}'", f"'{'[' * 100_000}'"):
            base.execute("delete from notebook_kept")
            base.execute(f"insert into notebook_kept values (1, 'x', 'edit', {kept})")
            base.commit()
            status, _, err = run("visit", "undo")
            assert (status, err.count("\n")) == (2, 1)


@pytest.mark.parametrize(
    "sql",
    [
        "alter table visits rename to other; create view visits as select * from other",
        "alter table visits add column more text generated always as (hex(zeroblob(9)))",
        "drop table visits; create virtual table visits using fts5(a)",
    ],
)
def test_views_virtual_tables_and_columns_worked_out_make_no_notebook(book, sql):
    with closing(sqlite3.connect(book.path)) as base:
        base.executescript(sql)
    with pytest.raises(InputError, match="a GeoPackage, but not a notebook"):
        book.visits(lambda _: None)


def test_the_desk_lists_tallies_saves_and_deletes_beside_a_bad_row(book, tmp_path):
    spoil(book, "update visits set started = '226-02-15T18:05:00.000Z'")
    (tmp_path / "made").mkdir()
    bench = Session()
    bench.made, bench.notebook = tmp_path / "made", str(book.path)

    def do(job, **given):
        return bench.do({"job": job, "given": given, "roles": {}}, lambda _: None, lambda _: None)

    found = do("visits")
    assert [visit["number"] for visit in found["visits"]] == [2]
    (bad,) = found["left_out"]
    assert bad["number"] == 1
    assert "is no time" in bad["why"]
    assert do("tally", settings={})["left_out"] == 1
    assert do("notebook", settings={}) == {"made": "visits.gpkg"}
    assert (tmp_path / "made" / "visits.gpkg").read_bytes() == book.path.read_bytes()
    for suffix in (".csv", ".html"):
        assert do("journal", suffix=suffix, settings={}) == {"made": f"visits{suffix}", "left_out": 1}
    page = (tmp_path / "made" / "visits.html").read_text("utf-8")
    assert "Left out: 1 row of the notebook that cannot be read (1)." in page
    assert do("delete", number=1)["left_out"] == []
