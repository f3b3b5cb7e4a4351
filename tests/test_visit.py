"""``scout visit`` as a user types it: add, list, show, edit, delete, undo, export."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd
import pytest

from scout.cli import main
from scout.model import ParkVisited
from scout.visits.notebook import Notebook

DEMO = Path(__file__).resolve().parents[1] / "data_demo"
PARKS = (str(DEMO / "parks.geojson"), str(DEMO / "forest.gpkg"))
# The corner of the demo island, inside two parks (data_demo/README.md).
ADD = ("visit", "add", "--place", "-41,-112", "--start", "2026-02-14T18:05", "--end", "2026-02-14T20:10")


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def typed(*words: object) -> tuple[int, str, str]:
        status = main([str(word) for word in words])
        shown = capsys.readouterr()
        return status, shown.out, shown.err

    return typed


def test_a_visit_is_judged_as_check_judges_and_written(run):
    status, out, err = run(*ADD, "--call", "Q1AAA", "--contacts", 87, "--power", 5, "--parks", *PARKS)
    assert (status, err) == (0, "")
    (visit,) = Notebook("visits.gpkg").visits()
    _, text, _ = run("check", "-41,-112", "--parks", *PARKS, "--json")
    (judged,) = json.loads(text)
    assert list(visit.locators) == judged["locators"] == ["DE39", "DE49", "DE38", "DE48"]
    assert [park.park for park in visit.parks] == judged["parks"]
    assert visit.confidence == pytest.approx(judged["confidence"], abs=1e-4)
    near = {park["park"]: park for park in judged["near_parks"]}
    for park in visit.parks:
        assert park.name == near[park.park]["park_name"]
        assert park.clearance_m == pytest.approx(near[park.park]["clearance_m"], abs=0.06)
        assert park.confidence == pytest.approx(near[park.park]["confidence"], abs=1e-4)
    assert (visit.start, visit.end) == (
        datetime(2026, 2, 14, 18, 5, tzinfo=UTC),
        datetime(2026, 2, 14, 20, 10, tzinfo=UTC),
    )
    assert (visit.call, visit.contacts, visit.power_w, visit.error_m) == ("Q1AAA", 87, 5.0, 4.9)
    assert "4 x 2 = 8, level square" in out
    assert "the award sponsor's decision" in out
    assert out.endswith("Wrote visit 1 to visits.gpkg\n")


def test_a_recording_tells_place_error_and_start(run):
    recording = DEMO / "standstill.nmea"
    status, _, err = run("visit", "add", "--arrival", recording, "--sheet", "a.html", "--parks", *PARKS)
    assert (status, err) == (0, "")
    (visit,) = Notebook("visits.gpkg").visits()
    assert visit.start == datetime(2026, 2, 14, 18, 5, tzinfo=UTC)
    assert visit.end is None
    assert 4.9 < visit.error_m < 7
    assert (visit.lon, visit.lat) == pytest.approx((-112.0, -41.0), abs=1e-4)
    assert visit.sheet == "a.html"


def test_parks_can_be_told_by_hand_and_grids_come_from_the_place_alone(run):
    status, out, _ = run(*ADD, "--in-park", "QX-1 = Quiet Cove", "--in-park", "QX-2")
    assert status == 0
    assert "Judged for the grids alone" in out
    (visit,) = Notebook("visits.gpkg").visits()
    assert visit.parks == (ParkVisited("QX-1", "Quiet Cove"), ParkVisited("QX-2"))
    assert visit.locators == ("DE39", "DE49", "DE38", "DE48")
    assert visit.confidence == pytest.approx(0.956, abs=0.001)


def test_a_time_with_another_zone_becomes_utc(run):
    run("visit", "add", "--place", "45,10.5", "--start", "2026-02-15 01:05+03:00")
    (visit,) = Notebook("visits.gpkg").visits()
    assert visit.start == datetime(2026, 2, 14, 22, 5, tzinfo=UTC)


def test_an_edit_changes_what_is_given_and_undo_takes_it_back(run):
    run(*ADD, "--call", "Q1AAA", "--weather", "rain", "--in-park", "QX-1")
    (before,) = Notebook("visits.gpkg").visits()
    status, out, _ = run("visit", "edit", 1, "--weather", "", "--end", "", "--in-park", "QX-9=Nine")
    assert (status, "end not noted" in out) == (0, True)
    after = replace(before, weather="", end=None, parks=(ParkVisited("QX-9", "Nine"),))
    assert Notebook("visits.gpkg").visits() == (after,)
    status, out, _ = run("visit", "undo")
    assert "Took back the edit of visit 1:" in out
    assert Notebook("visits.gpkg").visits() == (before,)


def test_an_edit_of_the_place_judges_anew_and_keeps_the_rest(run):
    run(*ADD, "--call", "Q1AAA", "--in-park", "QX-1")
    run("visit", "edit", 1, "--place", "-41.5,-112.5", "--level", "subsquare")
    (visit,) = Notebook("visits.gpkg").visits()
    assert (visit.lat, visit.lon, visit.level) == (-41.5, -112.5, 3)
    assert all(len(text) == 6 for text in visit.locators)
    assert visit.parks == (ParkVisited("QX-1"),)
    assert (visit.call, visit.start.hour) == ("Q1AAA", 18)


def test_an_edit_with_parks_alone_judges_the_place_it_has(run):
    run(*ADD)
    run("visit", "edit", 1, "--parks", *PARKS)
    (visit,) = Notebook("visits.gpkg").visits()
    assert (len(visit.parks), len(visit.locators)) == (2, 4)
    run("visit", "edit", 1, "--level", "subsquare")
    (finer,) = Notebook("visits.gpkg").visits()
    assert [len(text) for text in finer.locators] == [6, 6, 6, 6]
    assert [(p.park, p.clearance_m) for p in finer.parks] == [(p.park, None) for p in visit.parks]
    run("visit", "edit", 1, "--fix-error", "9", "--parks", *PARKS)
    (unsure,) = Notebook("visits.gpkg").visits()
    assert (unsure.level, unsure.error_m) == (3, 9.0)
    assert unsure.confidence < visit.confidence


def test_deleting_asks_and_undo_brings_back(run, monkeypatch):
    run(*ADD)
    monkeypatch.setattr(
        "click.confirm", lambda text, abort: (_ for _ in ()).throw(__import__("click").Abort())
    )
    assert run("visit", "delete", 1)[0] == 130
    assert len(Notebook("visits.gpkg").visits()) == 1
    assert run("visit", "delete", 1, "--yes")[0] == 0
    assert run("visit", "list")[0] == 1
    assert "Took back the deletion of visit 1:" in run("visit", "undo")[1]
    assert run("visit", "list")[0] == 0


def test_the_notebook_may_be_named_by_option_or_by_the_environment(run, monkeypatch):
    run(*ADD, "--notebook", "other.gpkg")
    assert not Path("visits.gpkg").exists()
    monkeypatch.setenv("SCOUT_NOTEBOOK", "other.gpkg")
    assert "Visit 1, 2026-02-14" in run("visit", "show", 1)[1]


def test_text_from_the_notebook_is_safe_on_a_terminal(run):
    run(*ADD, "--call", "Q\x1b[31m", "--weather", "two\nlines", "--in-park", "\x1b]0;x\x07=\u202ename")
    for words in (("list",), ("show", 1)):
        out = run("visit", *words)[1]
        assert "\x1b" not in out
        assert "\x07" not in out
    assert "two lines" in out


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--start", "yesterday"), "--start yesterday: this is no date and time"),
        (("--start", "2026-02-14"), "--start 2026-02-14: this is no date and time"),
        (("--end", "2026-02-14T18:04"), "--end: the visit would end before it starts"),
        (("--place", "JN58td"), "--place JN58td: a locator is an area"),
        (("--place", "nowhere"), "is not understood"),
        (("--power", "-5"), "--power: -5 is no power"),
        (("--power", "nan"), "--power: nan is no power"),
        (("--contacts", "-1"), "--contacts"),
        (("--in-park", "=Name"), "the park has no id"),
        (("--level", "county"), "there is no such level"),
        (("--parks", "none.geojson"), "none.geojson"),
        (("--arrival", "none.nmea"), "--arrival tells the place as well"),
        (("--notebook", "visits.txt"), "visits.txt: a notebook is a GeoPackage; name it .gpkg"),
    ],
)
def test_bad_input_gives_one_line_and_writes_nothing(run, words, line):
    status, out, err = run(*ADD, *words)
    assert (status, out) == (2, "")
    assert line in err
    assert err.count("\n") == 1
    assert list(Path().iterdir()) == []


def test_a_visit_needs_a_place_and_a_start(run):
    assert "no place is given" in run("visit", "add", "--start", "2026-02-14T18:05")[2]
    assert "its start is not known" in run("visit", "add", "--place", "45,10")[2]


def test_a_boundary_file_is_never_taken_for_a_notebook(run, tmp_path):
    path = tmp_path / "forest.gpkg"
    path.write_bytes((DEMO / "forest.gpkg").read_bytes())
    status, _, err = run(*ADD, "--notebook", path)
    assert status == 2
    assert "a GeoPackage, but not a notebook" in err
    assert path.read_bytes() == (DEMO / "forest.gpkg").read_bytes()


def test_visits_go_out_as_table_and_points(run):
    run(*ADD, "--call", "Q1AAA", "--went-well", "=1+1", "--parks", *PARKS)
    run(
        "visit", "add", "--place", "10,179.99999999", "--start", "2026-03-01T00:00", "--weather", 'a, "b"\n@c'
    )
    status, out, _ = run("visit", "export", "a.csv", "a.geojson", "a.html")
    assert (status, out) == (0, "Wrote a.csv\nWrote a.geojson\nWrote a.html\n")
    with open("a.csv", encoding="utf-8", newline="") as file:
        first, second = csv.DictReader(file)
    assert (first["latitude"], first["longitude"]) == ("-41.00000000", "-112.00000000")
    assert (first["start"], first["end"]) == ("2026-02-14T18:05:00Z", "2026-02-14T20:10:00Z")
    assert first["locators"] == "DE39 DE49 DE38 DE48"
    assert len(first["parks"].split("; ")) == len(first["clearances_m"].split("; ")) == 2
    assert first["went_well"] == "'=1+1"  # no spreadsheet computes it
    assert second["weather"] == 'a, "b"\n@c'
    frame = gpd.read_file("a.geojson")
    assert [(p.x, p.y) for p in frame.geometry] == [(-112.0, -41.0), (179.99999999, 10.0)]
    assert frame["call"].tolist()[0] == "Q1AAA"


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ("a.txt", "no format goes by .txt; use .csv or .geojson or .html"),
        ("visits.gpkg", "this is one of the files to read"),
        ("nowhere/a.csv", "there is no folder nowhere"),
    ],
)
def test_what_cannot_be_exported_gives_one_line(run, path, line):
    run(*ADD)
    before = Path("visits.gpkg").read_bytes()
    status, _, err = run("visit", "export", path)
    assert status == 2
    assert line in err
    assert Path("visits.gpkg").read_bytes() == before
