"""What the desk says: no option, no path of its own folder, no traceback, no word of Python."""

from __future__ import annotations

import ast
import re
import shutil
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from desks import ROOT, Caller, running
from test_cases import CASES, inputs
from test_desk_work import DEMO, write_bay
from test_stamp import contact

from scout.app.settings import list_settings
from scout.app.visits import VisitRequest, record_visit
from scout.errors import LABELS, InputError, SettingName
from scout.quantities import Length, MeasuredText, format_text

PACKAGE = ROOT / "scout"
PLACEHOLDER = re.compile(r"\u201d (LAT,LON|FIXES|FILE|OUT)\b")  # of an option, behind the name of a field
OPTION = re.compile(r"(?<![\w-])--[a-z][\w-]*")
PYTHON = re.compile(
    r"Traceback|\b(None|True|False|NaN|nan|dict|tuple|kwargs|Python|assume_crs|KeyError|\w+Exception"
    r"|[A-Z]\w+Error)\b|<(class|function|object)|object at 0x|\[Errno|__\w+__|\w+\.py\b"
)
COMMAND = re.compile(
    r"\bscout (find|look|check|compare|prepare|arrive|card|pack|trip|view|visit|tally|stamp|grid)\b"
)
# Where an option is no advice: the command line itself, what the menu is told to start, styles, a mark.
NO_ADVICE = ("cli/", "__main__.py", "desk/command.py", "desk/server.py", "page/site.py")


def list_texts(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Texts of a module but for docstrings and what a `SettingName` says on a command line."""
    skipped: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)) and node.body:
            first = node.body[0]
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                skipped.add(id(first.value))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "SettingName":
            skipped.update(id(inner) for inner in ast.walk(node))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in skipped:
            yield node.lineno, node.value


def list_modules() -> Iterator[tuple[str, ast.Module]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        yield path.relative_to(PACKAGE).as_posix(), ast.parse(path.read_text("utf-8"))


def test_no_text_of_the_library_holds_an_option() -> None:
    """An option is named by `SettingName`, which each front words; so none is in a text itself."""
    found = [
        f"{name}:{line}: {text}"
        for name, tree in list_modules()
        if not name.startswith(NO_ADVICE)
        for line, text in list_texts(tree)
        if any(f"{option.group()}:" not in text for option in OPTION.finditer(text))  # a style's variable
    ]
    # The help of an option that the desk has no field for; the command that a map says it was made by.
    plain = ("Save only what --top lists.", ": scout find --outing ")
    assert [one for one in found if not one.endswith(plain)] == []


def test_no_error_of_the_library_speaks_python() -> None:
    found = []
    for name, tree in list_modules():
        for node in ast.walk(tree):
            if not isinstance(node, ast.Raise) or not isinstance(node.exc, ast.Call):
                continue
            raised = getattr(node.exc.func, "id", "")
            if not raised.endswith("Error") or raised in ("TypeError", "ValueError", "RuntimeError"):
                continue
            words = [text for argument in node.exc.args for _, text in list_texts(argument)]
            found += [f"{name}:{node.lineno}: {text}" for text in words if PYTHON.search(text)]
    assert found == []


def test_the_page_and_its_scripts_hold_no_option() -> None:
    for path in (PACKAGE / "desk").iterdir():
        if path.suffix in (".js", ".html"):
            assert OPTION.findall(path.read_text("utf-8").replace("-->", "")) == [], path.name


def test_every_setting_has_a_label_and_the_desk_has_its_field_by_that_name() -> None:
    page = (PACKAGE / "desk" / "desk.html").read_text("utf-8")
    assert [one.key for one in list_settings() if one.key not in LABELS] == []
    for one in list_settings():
        field = re.search(rf'<label[^>]*>(?:(?!</label>).)*?name="{one.key}"[^>]*>([^<]*)', page, re.DOTALL)
        if field is None:
            continue
        text = " ".join(re.sub(r"<[^>]+>", " ", field[0]).split())
        assert text.startswith(LABELS[one.key]), one.key
        assert not OPTION.search(one.help), one.key  # it is shown where the pointer rests on the field


def test_a_text_keeps_the_settings_it_names_wherever_it_is_put() -> None:
    advice = MeasuredText("take ", SettingName("within", 5), " or ", Length(10.0))
    joined = MeasuredText("a file: ", advice, ".")
    assert joined == "a file: take --within 5 or 10 m."
    assert format_text(joined, "imperial", labels=True) == "a file: take \u201cWithin\u201d 5 or 33 ft."
    error = InputError(SettingName("home"), "is missing", joined)
    assert str(error) == "--home: is missing; a file: take --within 5 or 10 m."
    assert error.word(lambda text: format_text(text, labels=True)).startswith("\u201cHome\u201d: is missing")


# Driven with whatever is wrong.
def collect(value: Any) -> Iterator[str]:
    """Every text in an answer."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            if name not in ("door", "made"):
                yield from collect(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from collect(inner)


class Reader:
    """All that a window was told."""

    def __init__(self, tab: Caller) -> None:
        self.tab = tab
        workspaces = tab.desk.workspaces
        assert workspaces is not None
        self.private = str(workspaces.folder)
        self.read = 0

    def hear(self, answer: Any) -> list[str]:
        texts = list(collect(answer))
        for text in texts:
            assert not OPTION.search(text), text
            assert not PLACEHOLDER.search(text), text
            assert not COMMAND.search(text), text
            assert not PYTHON.search(text), text
            assert self.private not in text, text
        self.read += len(texts)
        return texts

    def work(self, job: str, **given: Any) -> list[str]:
        return self.hear(self.tab.work(job, **given))


@pytest.fixture(scope="module")
def desk() -> Iterator[Caller]:
    with running(workspaces=20) as one:
        yield one


@pytest.fixture
def reader(desk: Caller) -> Reader:
    return Reader(Caller(desk.desk).enter())


@pytest.fixture(scope="module")
def bay_reader(desk: Caller, tmp_path_factory: pytest.TempPathFactory) -> Reader:
    found = Reader(Caller(desk.desk).enter())
    found.tab.bring(write_bay(tmp_path_factory.mktemp("bay")))
    return found


@pytest.mark.parametrize(
    "options",
    [
        {"within": "far"},
        {"within": 5},
        {"within": -1, "home": "45, -20"},
        {"home": "nowhere"},
        {"home": ["a"]},
        {"station-radius": 0},
        {"station-radius": "1e999"},
        {"min-grids": 9},
        {"min-grids": 1.5},
        {"level": "acre"},
        {"area": "1,2,3"},
        {"min-confidence": 7},
        {"park": ["no such"]},
        {"park": [3]},
        {"id-column": "nothing"},
        {"where": "x >"},
        {"where": "nothing = 1"},
        {"where": "code = 'never'"},
        {"profile": "mine"},
        {"profile": "pad-us"},
        {"pieces": "all"},
        {"layer": "none such"},
        {"crs": "the usual one"},
        {"corridor": 0},
        {"same-ground": 2},
        {"load": 900},
        {"longest-walk": 0},
        {"title": 7},
        {"units": "cubits"},
        {"nonsense": 1},
        {"strict": "yes"},
    ],
    ids=str,
)
def test_wrong_settings(bay_reader: Reader, options: dict[str, Any]) -> None:
    settings, before = {"options": options}, bay_reader.read
    for job in ("preview", "search", "check", "tally", "prepare", "outing", "visit"):
        visit = {"place": "45, -20", "start": "2026-02-14T18:05"}
        bay_reader.work(job, settings=settings, place="45, -20", visit=visit)
    assert bay_reader.read > before + 10


def test_wrong_visits_logs_recordings_and_places(reader: Reader, tmp_path: Path) -> None:
    reader.tab.bring(write_bay(tmp_path))
    start = "2026-02-14T18:05"
    wrong: list[dict[str, Any]] = [
        {},
        {"place": "45, -20"},
        {"start": start},
        {"place": "JN58td", "start": start},
        {"place": "here", "start": start},
        {"place": "45, -20", "start": "yesterday"},
        {"place": "45, -20", "start": "0001-01-01T00:00"},
        {"place": "45, -20", "start": start, "end": "2026-02-13T18:05"},
        {"place": "45, -20", "start": start, "contacts": "many"},
        {"place": "45, -20", "start": start, "power": "-4"},
        {"place": "45, -20", "start": start, "park": "=Fen"},
        {"place": "45, -20", "start": start, "recording": "gone.gpx"},
    ]
    for visit in wrong:
        assert any(reader.work("visit", visit=visit, settings={}))
    for job in ("undo", "visits", "notebook", "journal", "tally", "compare", "card", "pack", "site", "save"):
        reader.work(job, settings={}, suffix=".html", spot=1, spots="1")
    for number in (0, 7):
        for job in ("delete", "entry", "edit", "stamp"):
            reader.work(job, number=number, visit={}, settings={}, file="gone.adi")
    for path in ("", "visits.gpkg", "/nowhere/visits.gpkg", str(tmp_path / "a.txt"), f"{DEMO}/forest.gpkg"):
        reader.work("keep", path=path)
    for text in ("", "JJ", "95, 0", "somewhere", "JO22ab44tj9"):
        reader.work("locate", place=text)
        reader.work("check", place=text, settings={})
    for name, content in (("a.gpkg", b"Dear"), ("b.gpkg", (DEMO / "forest.gpkg").read_bytes())):
        (tmp_path / name).write_bytes(content)
        reader.hear(reader.tab.bring(tmp_path / name, "notebook").json)
        for job in ("visits", "notebook", "undo", "tally", "journal", "search"):
            reader.work(job, suffix=".html", settings={"options": {"notebook": True}})
    spoilt = tmp_path / "spoilt.gpkg"
    record_visit(str(spoilt), VisitRequest(place="45, -20", start=start), lambda _: None)
    with closing(sqlite3.connect(spoilt)) as base, base:
        base.execute("UPDATE visits SET started = 'soon'")
    reader.hear(reader.tab.bring(spoilt, "notebook").json)
    for job in ("visits", "tally", "entry", "edit", "stamp", "delete", "undo", "search", "journal"):
        visit = {"place": "45, -20"}
        settings = {"options": {"notebook": True}}
        reader.work(job, number=1, visit=visit, file="a.gpkg", suffix=".html", settings=settings)
    fresh = Reader(Caller(reader.tab.desk).enter())
    fresh.tab.bring(write_bay(tmp_path))
    fresh.work("visit", visit={"place": "45, -20", "start": start, "call": "Q1AAA"}, settings={})
    reader, fresh.read = fresh, fresh.read + reader.read
    log = tmp_path / "day.adi"
    log.write_text("no log at all", encoding="utf-8")
    reader.hear(reader.tab.bring(log, "log").json)
    reader.work("stamp", file="day.adi", visit="1")
    (tmp_path / "true.adi").write_text(contact(), encoding="ascii")
    reader.hear(reader.tab.bring(tmp_path / "true.adi", "log").json)
    told = reader.work("stamp", file="true.adi", visit="1")
    assert "visit 1: its end is not noted; add it: \u201cEnd\u201d" in told
    reader.work("edit", number=1, visit={"place": "45, -20", "start": start, "end": "2026-02-14T20:05"})
    for given in ({}, {"sig": "QPA"}, {"grids": "JJ00"}, {"sig": "Q\u00dc"}):
        reader.work("stamp", file="day.adi", visit="1", **given)
    for name, text in (("a.gpx", "<gpx/>"), ("b.nmea", "$GPGGA,nothing"), ("c.txt", "")):
        (tmp_path / name).write_text(text, encoding="utf-8")
        reader.hear(reader.tab.bring(tmp_path / name, "recording").json)
        reader.work("arrive", file=name, settings={})
    for name, text in (("p.csv", "a,b\n1,2\n"), ("q.csv", "lat,lon\n95,3\n"), ("r.geojson", "{}")):
        (tmp_path / name).write_text(text, encoding="utf-8")
        reader.hear(reader.tab.bring(tmp_path / name, "places").json)
        reader.work("check", file=name, settings={})
    reader.work("search", settings={})
    for spots in ("", "0", "99", "1-", "one"):
        for job in ("pack", "site"):
            reader.work(job, spots=spots, settings={})
    for given in ({"date": "today"}, {"date": "9999-01-01"}, {"zone": "Nowhere/Else"}, {"call": "!"}):
        reader.work("card", spot=1, settings={}, **given)
    reader.work("save", suffix=".csv", best="few")
    day: dict[str, Any] = {"home": "45, -20"}
    for options in (
        {},
        {"hours": "noon"} | day,
        {"hours": "08:00-08:30"} | day,
        {"must": [99]} | day,
        {"must": ["first"]} | day,
        {"between": ["1=never"]} | day,
        {"end": "nowhere"} | day,
        {"days": 0} | day,
        {"operating": "long"} | day,
        {"most-places": 1} | day,
    ):
        assert reader.work("trip", date="2026-06-20", settings={"options": options})
    for given in ({}, {"date": "today"}, {"date": "2026-06-20", "zone": "Nowhere/Else"}):
        assert reader.work("trip", settings={"options": day}, **given)
    reader.work("view", place="-41, -112", settings={})
    reader.hear(reader.tab.bring(DEMO / "heights.tif", "heights").json)
    for given in (
        {},
        {"place": ""},
        {"place": "here"},
        {"place": "50, 20"},
        {"to": "there"},
        {"to": "50, 20"},
        {"to": "-41, -112"},
        {"to": "-41.05, -112.05", "to-height": "tall"},
        {"to": "-41.05, -112.05", "to-height": "900"},
        {"to": "-41.05, -112.05", "mhz": "1e999"},
        {"to": "-41.05, -112.05", "mhz": "0"},
        {"date": "today"},
        {"zone": "Nowhere/Else"},
        {"date": "2026-02-14", "zone": "Nowhere/Else"},
        {"settings": {"options": {"antenna-height": -1}}},
        {"settings": {"options": {"towards": ["nowhere"]}}},
    ):
        assert reader.work("view", **{"place": "-41, -112", "settings": {}, **given})
    assert reader.read > 200


def test_wrong_settings_files(reader: Reader) -> None:
    for text in ("= 3", "within = 'far'", "nonsense = 1", "parks = 3", "[[tags]]\nfile = 3", "\0"):
        told = reader.work("load", text=text)
        assert not any("loaded.toml" in one for one in told)


def test_wrong_names(reader: Reader, tmp_path: Path) -> None:
    (tmp_path / "some").write_bytes(b"x")
    for name in ("../x.kml", "con.kml", "a.gdb", "a.exe", "", "x" * 300 + ".kml", "visits.gpkg"):
        told = reader.tab.bring(tmp_path / "some", name=name).json
        assert "error" in told
        reader.hear(told)
    reader.hear(reader.tab.ask("DELETE", reader.tab.here("/file?name=none")).json)


def test_every_odd_file(reader: Reader, tmp_path: Path) -> None:
    """All cases of odd inputs, brought as boundaries, as ground and as older boundaries."""
    for case in CASES:
        names = [name for name in inputs(case) if (case / name).is_file()]
        if not names:
            continue
        for path in case.iterdir():
            if path.name not in ("expect.txt", "files.txt") and path.is_file():
                reader.hear(reader.tab.bring(path).json)
        reader.work("preview", settings={"options": {"corridor": 30}})
        reader.work("search", settings={})
        for path in case.iterdir():
            if path.is_file():
                reader.tab.ask("DELETE", reader.tab.here(f"/file?name={path.name}"))
    reader.tab.bring(write_bay(tmp_path))
    for name in ("forest.gpkg", "heights.tif"):
        shutil.copy(DEMO / name, tmp_path / name)
        reader.hear(reader.tab.bring(tmp_path / name, "access").json)
    reader.hear(reader.tab.bring(DEMO / "forest.gpkg", "old").json)
    reader.work("preview", settings={})
    reader.work("compare", settings={"options": {"home": "45, -20"}})
    assert reader.read > 500
