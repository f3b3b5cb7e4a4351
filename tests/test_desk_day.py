"""The desk's jobs of the day and after: what they give is what the commands give."""

from __future__ import annotations

import io
import json
import os
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from desks import Caller, running
from recordings import gga, rmc
from test_desk_work import DEMO, collection, write_bay
from test_stamp import contact

from scout.app.sources import ParkFiles
from scout.cli import command
from scout.desk import files, preview
from scout.desk.files import LayerCache
from scout.parks.indexed import LEAST_RECORDS
from scout.parks.sources import InMemoryParks

VISIT = {"place": "45, -20", "start": "2026-02-14T18:05", "end": "2026-02-14T20:05", "call": "Q1AAA"}


@pytest.fixture(scope="module")
def desk() -> Iterator[Caller]:
    with running(workspaces=40) as one:
        yield one


@pytest.fixture
def tab(desk: Caller, tmp_path: Path) -> Caller:
    one = Caller(desk.desk).enter()
    one.bring(write_bay(tmp_path))
    return one


def run(*words: str) -> str:
    return CliRunner().invoke(command, list(words), standalone_mode=False).output


def test_the_better_place_is_told(tab: Caller) -> None:
    """14 m off a corner the answer that counts for more comes with where it is."""
    told = tab.work("check", place="45.000126, -20", settings={})["done"]["answer"]
    assert told["counts"][0] == [2, "grids"]
    assert told["better"]["counts"][0] == [4, "grids"]
    assert told["better"]["step"] == "14.0 m to the south (180°)"
    assert told["better"]["place"] == "45.000000, -20.000000"
    feet = tab.work("check", place="45.000126, -20", settings={"options": {"units": "imperial"}})["done"]
    assert feet["answer"]["better"]["step"] == "45.9 ft to the south (180°)"


def test_a_file_of_places_is_a_table_and_a_map(tab: Caller, tmp_path: Path) -> None:
    path = tmp_path / "plan.csv"
    path.write_text("name,lat,lon\nA,45,-20\nB,45.5,-20.4\n", encoding="utf-8")
    tab.bring(path, "places")
    told = tab.work("check", file="plan.csv", settings={})["done"]
    assert [(row["title"], row["word"]) for row in told["rows"]] == [("A", "firm"), ("B", "not counted")]
    assert b"Places checked" in tab.made(told["made"])


def test_a_recording_gives_the_sheet_and_the_answer_of_the_command(tab: Caller, tmp_path: Path) -> None:
    lines = []
    for k in range(900):
        clock = f"10{15 + k // 60:02d}{k % 60:02d}"
        lines += [
            gga(clock, "4500.0000,N", "02000.0000,W"),
            rmc(clock, lat="4500.0000,N", lon="02000.0000,W"),
        ]
    path = tmp_path / "still.nmea"
    path.write_text("\r\n".join(lines), encoding="ascii")
    tab.bring(path, "recording")
    told = tab.work("arrive", file="still.nmea", call="Q1AAA", settings={})["done"]
    plain = json.loads(run("arrive", str(path), "--parks", str(tmp_path / "bay.geojson"), "--json"))
    assert told["answer"]["word"] == plain["answer"]["verdict"]
    assert told["answer"]["locators"] == plain["answer"]["locators"]
    sheet = tab.made(told["made"]).decode()
    assert "Q1AAA" in sheet
    assert "still.nmea" in sheet
    # The visit takes its place and its start from the recording.
    visit = {"recording": "still.nmea", "place": "", "call": "Q1AAA"}
    written = tab.work("visit", visit=visit, settings={})["done"]
    assert written["visits"][0]["start"] == "2024-05-01 10:15"


def test_a_log_is_stamped_as_by_the_command(tab: Caller, tmp_path: Path) -> None:
    tab.work("visit", visit=VISIT, settings={})
    log = tmp_path / "day.adi"
    log.write_bytes(b"A log\r\n<EOH>\r\n" + (contact() + contact(time="0930", call="Q3AAA")).encode())
    tab.bring(log, "log")
    told = tab.work("stamp", file="day.adi", visit="1", sig="QPA")["done"]
    assert any("1 during visit 1" in line for line in told["lines"])
    (tmp_path / "visits.gpkg").write_bytes(tab.made(tab.work("notebook")["done"]["made"]))
    words = ["stamp", str(log), "--visit", "1", "--sig", "QPA", "--out", str(tmp_path / "out")]
    run(*words, "--notebook", str(tmp_path / "visits.gpkg"))
    written = sorted(os.listdir(tmp_path / "out"))
    assert sorted(told["made"]) == written
    assert written
    for name in written:
        assert tab.made(name) == (tmp_path / "out" / name).read_bytes()


def test_a_visit_is_changed_and_the_change_is_taken_back(tab: Caller) -> None:
    before = tab.work("visit", visit=VISIT, settings={})["done"]["visits"]
    fields = tab.work("entry", number=1)["done"]["fields"]
    assert (fields["place"], fields["start"], fields["call"]) == (
        "45.000000, -20.000000",
        "2026-02-14T18:05:00",
        "Q1AAA",
    )
    changed = {**fields, "contacts": "87", "end": "", "call": ""}
    after = tab.work("edit", number=1, visit=changed, settings={})["done"]["visits"]
    assert (after[0]["contacts"], after[0]["ended"], after[0]["call"]) == (87, False, "")
    assert (after[0]["grids"], after[0]["parks"]) == (before[0]["grids"], before[0]["parks"])
    assert tab.work("undo")["done"]["visits"] == before
    # At another place it is judged anew.
    moved = tab.work("edit", number=1, visit={**fields, "place": "45.05, -19.95"}, settings={})["done"]
    assert moved["visits"][0]["parks"] == ["Tern Marsh"]
    assert len(moved["visits"][0]["grids"]) == 1


def test_a_notebook_is_kept_where_it_is_asked_for(desk: Caller, tab: Caller, tmp_path: Path) -> None:
    with running() as own:
        path = tmp_path / "mine.gpkg"
        told = own.work("keep", path=str(path))
        assert told["window"]["onDisk"] == str(path)
        own.work("visit", visit=VISIT, settings={})
        assert path.read_bytes().startswith(b"SQLite format 3")
        # It is the notebook of the windows that come as well.
        other = Caller(own.desk).enter()
        assert len(other.work("visits")["done"]["visits"]) == 1
        assert path.is_file()
    tab.work("visit", visit=VISIT, settings={})
    assert "give another name" in tab.work("keep", path=str(path))["error"]["text"]
    taken = tab.work("keep", path=str(tmp_path / "other.gpkg"))["done"]
    assert len(taken["visits"]) == 1  # what was written before goes along
    desk.desk.workspaces.notebook = ""  # type: ignore[union-attr]


def test_boundaries_are_compared_as_by_the_command(tab: Caller, tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    old = tmp_path / "old" / "bay.geojson"  # of the same name
    old.write_text(json.dumps(collection(("QX-1", "Quiet Cove", (-20.02, 44.98, -19.98, 45.02)))), "utf-8")
    told = tab.bring(old, "old").json
    assert told["roles"]["old"] == ["before/bay.geojson"]
    assert told["roles"]["parks"] == ["bay.geojson"]
    settings: dict[str, Any] = {"options": {"min-grids": 2}}
    found = tab.work("compare", settings=settings)["done"]
    words = ["compare", str(old), str(tmp_path / "bay.geojson"), "--min-grids", "2"]
    output = run(*words, "--save", str(tmp_path / "changes.geojson"))
    assert found["differs"]
    assert found["counts"] in output
    page, points = found["made"]
    ours, theirs = json.loads(tab.made(points)), json.loads((tmp_path / "changes.geojson").read_text("utf-8"))
    assert ours["features"] == theirs["features"]
    assert b"<html" in tab.made(page)
    assert "done" in tab.work("compare", settings=settings, visits=True)


def test_prepared_boundaries_give_the_same_spots(tab: Caller, desk: Caller, tmp_path: Path) -> None:
    made = tab.work("prepare", settings={}, keep=["other"])["done"]["made"]
    (tmp_path / made).write_bytes(tab.made(made))
    other = Caller(desk.desk).enter()
    other.bring(tmp_path / made)
    for one in (tab, other):
        one.work("search", settings={"options": {"level": "subsquare"}})
        one.work("save", suffix=".csv")
    assert tab.made("spots.csv") == other.made("spots.csv")


def test_the_best_spots_alone_are_saved_and_a_site_is_made(tab: Caller) -> None:
    tab.work("search", settings={"options": {"level": "subsquare"}})
    tab.work("save", suffix=".geojson", best="2")
    assert len(json.loads(tab.made("spots.geojson"))["features"]) == 2
    archive = zipfile.ZipFile(io.BytesIO(tab.made(tab.work("site", spots="1-2")["done"]["made"])))
    assert "index.html" in archive.namelist()


def test_what_an_antenna_sees_is_what_the_command_says(desk: Caller, tmp_path: Path) -> None:
    """The page byte for byte, the lines in the same order; no boundaries are needed."""
    tab = Caller(desk.desk).enter()
    heights = [DEMO / "heights.tif", DEMO / "sea.tif"]
    for path in heights:
        tab.bring(path, "heights")
    tab.bring(DEMO / "access.geojson", "access")
    page, files = (
        tmp_path / "view.html",
        ["--heights", *map(str, heights), "--access", str(DEMO / "access.geojson")],
    )
    for given, options, words in (
        (
            {"date": "2026-02-14", "zone": "-07:00"},
            {"towards": ["240"], "antenna-height": 8},
            ["--towards", "240", "--antenna-height", "8", "--date", "2026-02-14", "--zone", "-07:00"],
        ),
        (
            {"to": "41.05 S 112.05 W", "to-height": "12", "mhz": "430"},
            {"units": "imperial"},
            ["--to", "41.05 S 112.05 W", "--to-height", "12", "--mhz", "430", "--units", "imperial"],
        ),
    ):
        told = tab.work("view", place="41.0 S 112.0 W", settings={"options": options}, **given)["done"]
        said = run("view", "41.0 S 112.0 W", *files, *words, "--out", str(page)).splitlines()[:-1]
        assert tab.made(told["made"]) == page.read_bytes()
        assert [told["head"], *told["lines"]] == [
            " ".join(line for line in said if line[0] != " "),
            *(line.strip() for line in said if line[0] == " "),
        ]


def test_a_locator_is_looked_up(tab: Caller) -> None:
    told = tab.work("locate", place="JO22ab")["done"]
    assert told["head"] == "JO22ab  (subsquare)"
    assert ["south-west corner", "52.041667, 4.000000"] in told["rows"]
    assert ["square", "JO22"] in [row[:2] for row in tab.work("locate", place="52.06, 4.04")["done"]["rows"]]


def test_large_files_are_read_by_their_index(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is understood and drawn of them is the same; their outlines stay where they are."""
    monkeypatch.chdir(tmp_path)
    k = np.arange(LEAST_RECORDS + 10)
    west, south = k % 100 / 10, k // 100 / 10
    fens = {"code": [f"QX-{n}" for n in k], "title": [f"Fen {n}" for n in k]}
    shapes = shapely.box(west, south, west + 0.08, south + 0.07)
    gpd.GeoDataFrame(fens, geometry=shapes, crs="EPSG:4326").to_file("fens.gpkg", layer="fens")
    roles = {"parks": ["fens.gpkg"]}
    small = preview.preview_files(LayerCache(), {}, roles, lambda _: None)
    monkeypatch.setattr(files, "_LARGE_BYTES", 1)
    cache = LayerCache()
    large = preview.preview_files(cache, {}, roles, lambda _: None)
    assert not isinstance(cache.source(ParkFiles(("fens.gpkg",)), lambda _: None), InMemoryParks)
    assert large["parks"]["count"] == small["parks"]["count"] == len(k)
    ours, theirs = (found["files"]["fens.gpkg"]["layers"][0] for found in (large, small))
    same = ("records", "crs", "accuracy_m", "id", "name")
    assert [ours[key] for key in same] == [theirs[key] for key in same]
    assert len(large["picture"]["parks"]) == len(small["picture"]["parks"]) > 1000
    assert large["picture"]["more"] == small["picture"]["more"]
    assert {park["name"] for park in large["picture"]["parks"]} <= set(fens["title"])
    assert large["columns"] == small["columns"] == ["code", "title"]
    chosen = {"options": {"id-column": "title", "name-column": "code"}}
    told = preview.preview_files(cache, chosen, roles, lambda _: None)
    assert told["files"]["fens.gpkg"]["layers"][0]["id"] == "title"
    assert large["picture"]["bounds"] == pytest.approx(small["picture"]["bounds"], abs=0.01)
