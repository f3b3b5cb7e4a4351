"""What the desk gives is what the command line gives; it can be cancelled; tabs and notebooks stay apart."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import threading
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from desks import ROOT, Caller, running

from scout.cli import command
from scout.desk import processes
from scout.quantities import format_probability

DEMO = ROOT / "data_demo"


@pytest.fixture(scope="module")
def desk() -> Iterator[Caller]:
    with running(workspaces=40) as one:
        yield one


@pytest.fixture
def tab(desk: Caller) -> Caller:
    """A window of its own."""
    return Caller(desk.desk).enter()


def collection(*boxes: tuple[str, str, tuple[float, float, float, float]]) -> dict[str, Any]:
    """Boundaries as GeoJSON, each an id, a name and west, south, east, north."""
    features = []
    for park, name, (west, south, east, north) in boxes:
        ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
        features.append(
            {
                "type": "Feature",
                "properties": {"code": park, "title": name, "other": "x"},
                "geometry": {"type": "Polygon", "coordinates": [ring]},
            }
        )
    return {"type": "FeatureCollection", "features": features}


@pytest.fixture
def bay(tmp_path: Path) -> Path:
    return write_bay(tmp_path)


@pytest.fixture(scope="module")
def bay_tab(desk: Caller, tmp_path_factory: pytest.TempPathFactory) -> Caller:
    """A window with the bay, for all that write no visit and bring no file: each is a process to start."""
    one = Caller(desk.desk).enter()
    one.bring(write_bay(tmp_path_factory.mktemp("bay")))
    return one


def write_bay(folder: Path) -> Path:
    path = folder / "bay.geojson"
    shapes = (
        ("QX-1", "Quiet Cove", (-20.02, 44.98, 20.02 - 40, 45.02)),
        ("QX-2", "Tern Marsh", (-20.01, 44.9, -19.9, 45.1)),
    )
    path.write_text(json.dumps(collection(*shapes)), encoding="utf-8")
    return path


def on_the_command_line(folder: Path, outing: bytes, monkeypatch: pytest.MonkeyPatch) -> bytes:
    """What ``scout find`` saves in a folder with that outing file."""
    monkeypatch.chdir(folder)
    Path("outing.toml").write_bytes(outing)
    words = ["find", "--outing", "outing.toml", "--save", "spots.geojson"]
    assert CliRunner().invoke(command, words, standalone_mode=False).return_value == 0
    return Path("spots.geojson").read_bytes()


def test_the_spots_of_a_made_file_equal_the_command_lines_byte_for_byte(
    bay_tab: Caller, bay: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = {
        "options": {
            "home": "45, -20",
            "within": 30,
            "level": "subsquare",
            "station-radius": 8,
            "min-grids": 2,
        }
    }
    found = bay_tab.work("search", settings=settings)["done"]
    assert found["count"] > 10
    assert found["walked"]
    outing = bay_tab.made(bay_tab.work("outing", settings=settings)["done"]["made"])
    bay_tab.work("save", suffix=".geojson")
    assert bay_tab.made("spots.geojson") == on_the_command_line(bay.parent, outing, monkeypatch)


def test_the_spots_of_the_demo_equal_the_command_lines_with_their_walks(
    tab: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    loaded = tab.work("demo")["done"]
    found = tab.work("search", settings=loaded)["done"]
    assert found["walked"]
    tab.work("save", suffix=".geojson")
    outing = tab.made(tab.work("outing", settings=loaded)["done"]["made"])
    for path in DEMO.iterdir():
        if path.is_file() and path.suffix not in (".py", ".md", ".toml"):
            shutil.copy(path, tmp_path)
    spots = tab.made("spots.geojson")
    assert spots == on_the_command_line(tmp_path, outing, monkeypatch)
    assert sum("walk_min" in one["properties"] for one in json.loads(spots)["features"]) > 40


def test_the_map_is_the_shared_page(bay_tab: Caller, bay: Path) -> None:
    found = bay_tab.work("search", settings={"options": {"title": "A <b>bay</b>"}})["done"]
    page = bay_tab.made(found["made"]).decode()
    assert "A &lt;b&gt;bay&lt;/b&gt;" in page
    assert "scout find --outing outing.toml" in page
    answer = bay_tab.ask("GET", f"/made/{bay_tab.door}/{found['made']}?save")
    assert answer.headers["content-disposition"].startswith("attachment")
    assert "frame-ancestors 'self'" in answer.headers["content-security-policy"]


def test_what_was_understood_is_told_file_by_file(tab: Caller, bay: Path, tmp_path: Path) -> None:
    tab.bring(bay)
    (tmp_path / "broken.geojson").write_text("{", encoding="utf-8")
    tab.bring(tmp_path / "broken.geojson")
    tab.bring(DEMO / "forest.gpkg")
    tab.bring(DEMO / "barriers.geojson", "barriers")
    tab.bring(DEMO / "heights.tif", "heights")
    told = tab.work("preview", settings={})["done"]
    files = told["files"]
    (layer,) = files["bay.geojson"]["layers"]
    assert (layer["records"], layer["id"], layer["name"], layer["accuracy_m"]) == (2, "code", "title", 0.0)
    assert "GeoJSON" in files["broken.geojson"]["error"]
    assert "broken.geojson" not in files["broken.geojson"]["error"]  # it stands beside the file
    assert files["forest.gpkg"]["layers"][0]["crs"].startswith("EPSG:32712")
    assert files["barriers.geojson"]["holds"]["barriers"] > 5
    assert files["heights.tif"]["holds"]["heights"] > 1000
    assert {"code", "title", "other", "park_name"} <= set(told["columns"])
    assert told["parks"]["count"] == 6
    assert len(told["picture"]["parks"]) == 6
    west, south, _, north = told["picture"]["bounds"]
    assert (west, south, north) == (pytest.approx(-112.1, abs=0.2), pytest.approx(-41, abs=0.2), 45.1)


def test_a_column_is_chosen_and_a_wrong_one_is_told(bay_tab: Caller, bay: Path) -> None:
    told = bay_tab.work("preview", settings={"options": {"id-column": "title"}})["done"]
    assert told["files"]["bay.geojson"]["layers"][0]["id"] == "title"
    told = bay_tab.work("preview", settings={"options": {"name-column": "nonsense"}})["done"]
    assert "nonsense" in told["error"]["text"]


def test_a_system_is_named_for_files_without_one(tab: Caller) -> None:
    for path in sorted((ROOT / "tests" / "cases" / "no_crs").glob("parks.*")):
        tab.bring(path)
    told = tab.work("preview", settings={})["done"]
    assert "coordinate system" in told["files"]["parks.shp"]["error"]
    assert list(told["files"]) == ["parks.shp"]  # its parts are no files of their own
    told = tab.work("preview", settings={"options": {"crs": "EPSG:4326"}})["done"]
    assert told["files"]["parks.shp"]["error"] == ""
    tab.ask("DELETE", tab.here("/file?name=parks.shp"))
    assert tab.ask("GET", tab.here()).json["sizes"] == {}


def test_files_of_a_loaded_outing_file_take_their_places(tab: Caller) -> None:
    loaded = tab.work("load", text=(DEMO / "outing.toml").read_text(encoding="utf-8"))
    assert len(loaded["window"]["missing"]) == 8
    for name in ("corridors.geojson", "heights.tif", "parks.geojson"):
        role = "heights" if name.endswith("tif") else "parks"
        told = tab.bring(DEMO / name, role).json
    assert told["roles"] == {"parks": ["parks.geojson", "corridors.geojson"], "heights": ["heights.tif"]}
    assert len(told["missing"]) == 5


@pytest.mark.parametrize("job", ["card", "pack", "save"])
def test_nothing_is_made_before_a_search(tab: Caller, bay: Path, job: str) -> None:
    tab.bring(bay)
    answer = tab.work(job, spot=1, spots="1", suffix=".gpx")
    assert "search first" in answer["error"]["text"]


def test_a_card_and_a_pack_and_every_format(bay_tab: Caller) -> None:
    bay_tab.work("search", settings={})
    said = {"call": "Q1AAA", "date": "2026-06-21", "zone": "-01:00", "spot": "1", "spots": "1"}
    assert b"Q1AAA" in bay_tab.made(bay_tab.work("card", settings={}, **said)["done"]["made"])
    pack = bay_tab.made(bay_tab.work("pack", settings={}, **said)["done"]["made"])
    assert "card-0001.html" in zipfile.ZipFile(io.BytesIO(pack)).namelist()
    for suffix in (".gpx", ".kml", ".kmz", ".csv", ".geojson", ".gpkg"):
        assert bay_tab.made(bay_tab.work("save", suffix=suffix)["done"]["made"])
    assert "format" in bay_tab.work("save", suffix=".exe")["error"]["text"]
    assert "error" in bay_tab.work("save", suffix="/../../evil.gpx")
    assert "no day" in bay_tab.work("card", settings={}, **said | {"date": "someday"})["error"]["text"]
    assert "not in the list" in bay_tab.work("card", settings={}, spot="9999")["error"]["text"]


def test_a_number_means_the_list_that_the_page_shows(bay_tab: Caller) -> None:
    lists = [
        bay_tab.work("search", settings={"options": {"level": level}})["done"]
        for level in ("field", "square")
    ]
    for found in lists:
        (name,) = bay_tab.work("card", settings={}, spot=1, list=found["made"])["done"].values()
        card = bay_tab.made(name).decode()
        bay_tab.work("save", suffix=".csv", list=found["made"])
        table = bay_tab.made("spots.csv").decode()
        others = {one for other in lists if other is not found for one in other["spots"][0]["locators"]}
        for locator in found["spots"][0]["locators"]:
            assert f">{locator}<" in card
            assert locator in table
        assert not [locator for locator in others if f">{locator}<" in card]
    for _ in range(2):
        bay_tab.work("search", settings={})
    gone = bay_tab.work("card", settings={}, spot=1, list=lists[0]["made"])
    assert "search again" in gone["error"]["text"]


def test_a_list_outlives_the_process_that_found_it(tab: Caller, bay: Path) -> None:
    """Which a cancel may have to end: what is made of a spot afterwards is the same."""
    tab.bring(bay)
    settings = {"options": {"home": "45.01, -20", "level": "subsquare"}}
    found = tab.work("search", settings=settings)["done"]["made"]
    given = {"spot": 1, "spots": "1-3", "call": "Q1AAA", "suffix": ".geojson", "list": found}

    def make_all() -> list[bytes]:
        jobs = ("card", "pack", "save", "site")
        return [tab.made(tab.work(job, settings=settings, **given)["done"]["made"]) for job in jobs]

    before = make_all()
    workspace = tab.desk.workspaces.get(tab.id)  # type: ignore[union-attr]
    assert workspace is not None
    assert workspace.worker is not None
    workspace.worker.process.kill()
    tab.work("visits")  # told that it has ended, or done by the next one
    assert make_all() == before
    del given["list"]  # the last one
    assert make_all() == before
    other = {"card": "../../brought/bay.geojson", "save": "map-00000000-1.html"}
    for job, name in other.items():
        assert "search again" in tab.work(job, settings=settings, **given, list=name)["error"]["text"]
    # The next process keeps no more of them than one that went on would have.
    for _ in range(3):
        tab.work("search", settings=settings)
    assert "search again" in tab.work("card", settings=settings, **given, list=found)["error"]["text"]
    assert len([name for name in os.listdir(workspace.made) if name.startswith("map-")]) == 3


def test_a_saved_list_is_opened_as_by_the_command(tab: Caller, bay: Path, tmp_path: Path) -> None:
    saved, card = tmp_path / "spots.gpkg", tmp_path / "card.html"
    words = ["--level", "subsquare", "--title", "A bay", "--save", str(saved)]
    CliRunner().invoke(command, ["find", "--parks", str(bay), *words], standalone_mode=False)
    tab.bring(saved, "list")  # and no boundaries
    found = tab.work("list", settings={})["done"]
    assert found["spots"][0]["names"] == ["Quiet Cove", "Tern Marsh"]
    assert found["count"] == len(found["spots"]) > 10
    page = tab.made(found["made"]).decode()
    assert "A bay" in page
    assert "Tern Marsh" in page
    made = tab.made(tab.work("card", settings={}, spot=2, list=found["made"])["done"]["made"]).decode()
    CliRunner().invoke(
        command, ["card", "2", "--result", str(saved), "--out", str(card)], standalone_mode=False
    )
    text = card.read_text("utf-8")
    assert made.replace("scout desk, from spots.gpkg", "") == re.sub(r"scout card 2 --result \S+", "", text)
    tab.bring(bay.parent / "spots.gpkg", "list", "bay.gpkg")
    assert "done" in tab.work("list", settings={"options": {"units": "imperial"}})
    tab.bring(DEMO / "forest.gpkg", "list")
    assert "carries no result" in tab.work("list", settings={})["error"]["text"]
    assert ".gpkg" in tab.bring(bay, "list").json["error"]["text"]


def test_a_place_is_checked_as_the_command_does(
    bay_tab: Caller, bay: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = bay_tab.work("check", place="45, -20", settings={})["done"]
    found = told["answer"]
    result = CliRunner().invoke(command, ["check", "45, -20", "--parks", str(bay), "--json"])
    (plain,) = json.loads(result.output)
    same = ("lon", "lat", "locators", "understood")
    assert [found[key] for key in same] == [plain[key] for key in same]
    assert found["word"] == plain["verdict"]
    assert found["confidence"] == format_probability(plain["confidence"])
    assert [count for count, _ in found["counts"]] == [plain["n_grids"], plain["n_parks"], plain["yield"]]
    assert [park["id"] for park in found["parks"]] == [park["park"] for park in plain["near_parks"]]
    assert any("permission" in line for line in told["closing"])
    assert "error" in bay_tab.work("check", place="somewhere", settings={})


def test_places_are_understood_while_they_are_typed(tab: Caller) -> None:
    assert tab.ask("POST", "/api/place", {"text": "41.5 S 111 30 W"}).json["lat"] == -41.5
    answer = tab.ask("POST", "/api/place", {"text": "95, 0"})
    assert (answer.status, "latitude" in answer.json["error"]["text"]) == (200, True)


def test_visits_are_written_counted_and_taken_away(tab: Caller, bay: Path, tmp_path: Path) -> None:
    tab.bring(bay)
    visit = {"place": "45, -20", "start": "2026-02-14T18:05", "call": "Q1AAA", "contacts": "12", "end": ""}
    written = tab.work("visit", visit=visit, settings={})["done"]
    assert written["visits"][0]["parks"] == ["Tern Marsh"] or len(written["visits"][0]["parks"]) == 2
    assert any("award sponsor" in line for line in written["lines"])
    settings = {"options": {"home": "45, -20", "within": 50}}
    told = tab.work("tally", settings=settings)["done"]
    assert told["all"][0] == len(written["visits"][0]["grids"])
    assert told["missing"]["parks"] == 2
    assert b"Q1AAA" in tab.made(tab.work("journal", suffix=".html", settings={})["done"]["made"])
    book = tab.made(tab.work("notebook")["done"]["made"])
    # Taken to another window, it holds the same.
    (tmp_path / "mine.gpkg").write_bytes(book)
    other = Caller(tab.desk).enter()
    assert other.bring(tmp_path / "mine.gpkg", "notebook").status == 200
    assert other.work("visits")["done"]["visits"] == written["visits"]
    assert other.work("delete", number=1)["done"]["visits"] == []
    assert other.work("undo")["done"]["visits"] == written["visits"]


def test_a_search_ranks_first_what_is_missing(tab: Caller, bay: Path) -> None:
    tab.bring(bay)
    tab.work("visit", visit={"place": "45, -20", "start": "2026-02-14T18:05"}, settings={})
    tab.work("search", settings={"options": {"notebook": True}})
    tab.work("save", suffix=".geojson")
    assert "new_yield" in json.loads(tab.made("spots.geojson"))["features"][0]["properties"]


def test_a_visit_that_cannot_be_is_one_line_and_writes_nothing(tab: Caller, bay: Path) -> None:
    tab.bring(bay)
    for visit in (
        {"place": "45, -20"},
        {"place": "IN55", "start": "2026-01-01T00:00"},
        {"start": "2026-01-01T00:00"},
    ):
        assert "\n" not in tab.work("visit", visit=visit, settings={})["error"]["text"]
    sly = {
        "place": "45, -20",
        "start": "2026-01-01T00:00",
        "notebook": str(bay.parent / "elsewhere.gpkg"),
        "arrival": "/etc/passwd",
    }
    assert "error" not in tab.work("visit", visit=sly, settings={})
    assert not (bay.parent / "elsewhere.gpkg").exists()
    assert len(tab.work("visits")["done"]["visits"]) == 1


def test_a_notebook_on_disk_stays_there(tmp_path: Path) -> None:
    book = tmp_path / "mine.gpkg"
    with running(notebook=str(book)) as one:
        one.work("visit", visit={"place": "45, -20", "start": "2026-02-14T18:05"}, settings={})
        assert "error" in one.bring(DEMO / "forest.gpkg", "notebook").json
    with running(notebook=str(book)) as one:
        assert len(one.work("visits")["done"]["visits"]) == 1


def test_two_windows_do_not_mix(tab: Caller, bay: Path) -> None:
    other = Caller(tab.desk).enter()
    tab.bring(bay)
    other.bring(DEMO / "forest.gpkg", name="bay.gpkg")
    tab.work("search", settings={})
    other.work("search", settings={})
    tab.work("save", suffix=".geojson")
    other.work("save", suffix=".geojson")
    assert b"QX-1" in tab.made("spots.geojson")
    assert b"QX-1" not in other.made("spots.geojson")
    assert other.ask("GET", f"/made/{other.door}/bay.geojson").status == 404
    assert "is not here" in other.ask("DELETE", other.here("/file?name=bay.geojson")).json["error"]["text"]


def waited(what: Callable[[], bool]) -> bool:
    deadline = time.monotonic() + 60
    while not what() and time.monotonic() < deadline:
        time.sleep(0.05)
    return what()


@pytest.mark.parametrize("stop_s", [60.0, 0.0], ids=["by asking", "by force"])
def test_a_search_is_cancelled_and_the_next_job_is_done(stop_s: float) -> None:
    with running(stop_s=stop_s) as one:
        loaded = one.work("demo")["done"]
        answers: list[Any] = []

        def search() -> None:
            answers.append(one.work("search", settings=loaded))

        threads = [threading.Thread(target=search) for _ in range(2)]
        for thread in threads:
            thread.start()
        assert waited(lambda: one.ask("GET", one.here("/progress")).json["part"] is not None)
        assert one.ask("GET", one.here("/progress?seen")).json["part"] is None
        one.ask("POST", one.here("/stop"))
        for thread in threads:
            thread.join(60)
        assert [answer.get("stopped") for answer in answers] == [True, True]  # the one that waited as well
        assert one.work("check", place="-41, -112", settings=loaded)["done"]["answer"]["word"] == "firm"


def test_a_visit_that_waits_for_a_cancelled_search_is_written() -> None:
    with running() as one:
        loaded = one.work("demo")["done"]
        answers: dict[str, Any] = {}
        visit = {"place": "-41, -112", "start": "2026-02-14T18:05"}

        def ask(job: str, **given: Any) -> threading.Thread:
            thread = threading.Thread(
                target=lambda: answers.update({job: one.work(job, settings=loaded, **given)})
            )
            thread.start()
            return thread

        search = ask("search")
        assert waited(lambda: one.ask("GET", one.here("/progress")).json["part"] is not None)
        write = ask("visit", visit=visit)
        one.ask("POST", one.here("/stop"), {"all": True})
        search.join(60)
        write.join(60)
        assert answers["search"]["stopped"]
        assert len(answers["visit"]["done"]["visits"]) == 1


@pytest.mark.parametrize("copied", [True, False], ids=["copied", "started afresh"])
def test_the_worker_may_die_and_another_takes_over(
    bay: Path, monkeypatch: pytest.MonkeyPatch, copied: bool
) -> None:
    if not copied:  # as where the system cannot copy processes
        monkeypatch.setattr(processes, "_can_copy", lambda: False)
    with running() as one:
        one.bring(bay)
        workspaces = one.desk.workspaces
        assert workspaces is not None
        workspace = workspaces.get(one.id)
        one.work("preview", settings={})
        assert workspace is not None
        assert workspace.worker is not None
        workspace.worker.process.kill()
        # At once: told that it has ended, or done by the next one.
        assert {"done", "error"} & set(one.work("preview", settings={}))
        assert "done" in one.work("search", settings={})


def test_a_fault_of_ours_is_told_and_the_desk_goes_on(bay_tab: Caller) -> None:
    told = bay_tab.work("visit", settings={})["error"]["text"]  # no visit at all, which the page never asks
    assert "fault of scout" in told
    assert "Error" not in told
    assert "no such job" in bay_tab.work("nonsense")["error"]["text"]
    assert bay_tab.ask("POST", bay_tab.here("/do"), {"job": "open", "given": {"folder": "/"}}).status == 400
    assert "done" in bay_tab.work("search", settings={})
