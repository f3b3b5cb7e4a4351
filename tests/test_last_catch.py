"""A fault in scout itself is a line and a status of its own, and what was found is saved all the same."""

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import shapely
from boundary_files import geojson

import scout.app.find
import scout.page.document
from scout.cli import main
from scout.errors import OutputError

ROOT = Path(__file__).resolve().parents[1]
OLD = "what was there before\n"


@pytest.fixture
def place(tmp_path, monkeypatch):
    """A folder with parks, an old map and an old table; the command runs in it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SCOUT_DETAILS", raising=False)
    geojson(tmp_path / "parks.geojson", [shapely.box(9.9, 44.9, 10.1, 45.1)])
    for name in ("a.html", "b.geojson"):
        (tmp_path / name).write_text(OLD)
    return tmp_path


def failing(monkeypatch, home, name, error):
    def fail(*_, **__):
        raise error

    monkeypatch.setattr(home, name, fail)


FIND = ["find", "parks.geojson", "--map", "a.html", "--save", "b.geojson"]


def test_a_crash_is_no_nothing_found(place, capsys, monkeypatch):
    failing(monkeypatch, scout.app.find, "find_spots", IndexError("list index\nout of range"))
    assert main(FIND) == 3
    assert capsys.readouterr().err == (
        "scout: a fault in scout itself (IndexError: list index out of range); "
        "set SCOUT_DETAILS=1, run it again and send the developers what it prints\n"
    )
    assert (place / "b.geojson").read_text() == OLD


def test_details_are_given_on_request(place, capsys, monkeypatch):
    failing(monkeypatch, scout.app.find, "find_spots", IndexError("no \x1b[31m such row"))
    monkeypatch.setenv("SCOUT_DETAILS", "1")
    assert main(FIND) == 3
    err = capsys.readouterr().err
    assert err.startswith("scout: a fault in scout itself (IndexError: ")
    assert "Traceback (most recent call last):" in err
    assert "in fail" in err
    assert "\x1b" not in err


@pytest.mark.parametrize(
    ("error", "status", "said"),
    [
        (
            shapely.errors.GEOSException("no result\ngeometry"),
            3,
            "a fault in scout itself (GEOSException: no",
        ),
        (
            OutputError("a.html", "too much to draw", "narrow the search"),
            2,
            "a.html: too much to draw; narrow",
        ),
        (MemoryError(), 2, "a.html: there is not enough memory to make it; narrow the search"),
    ],
    ids=["fault", "refusal", "memory"],
)
def test_a_map_that_cannot_be_made_loses_no_geojson(place, capsys, monkeypatch, error, status, said):
    failing(monkeypatch, scout.page.document, "build_map", error)
    assert main(FIND) == status
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.startswith("scout: a.html: ")
    assert told.err.count("\n") == 1
    assert (place / "a.html").read_text() == OLD
    assert "FeatureCollection" in (place / "b.geojson").read_text()
    assert "corner" in told.out, "the list is told"
    assert "Wrote b.geojson\n" in told.out
    assert "Wrote a.html" not in told.out


def test_an_interrupt_before_the_command_line_is_read_is_no_fault():
    """The heaviest part of the first moments is the import of click: an interrupt in it."""
    code = (
        "import sys\n"
        "class Interrupting:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'click':\n"
        "            raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Interrupting())\n"
        "from scout.__main__ import main\n"
        "sys.exit(main())"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False, capture_output=True, text=True)
    assert (run.returncode, run.stderr) == (130, "scout: stopped\n")


def test_the_program_starts_where_interrupts_are_caught():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["scripts"] == {"scout": "scout.__main__:main"}
    run = subprocess.run(
        [sys.executable, "-m", "scout", "--version"],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
        capture_output=True,
        text=True,
    )
    assert (run.returncode, run.stdout[:6]) == (0, "scout,")


@pytest.mark.parametrize("command", ["find", "card", "pack"])
@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--home", "45,10", "--within", "0"], "--within: 0 is not a length; give a number over 0"),
        (
            ["--min-grids", "-1"],
            "--min-grids: -1 is no number of grids that meet at a spot; give one from 1 to 4",
        ),
        (
            ["--min-grids", "0"],
            "--min-grids: 0 is no number of grids that meet at a spot; give one from 1 to 4",
        ),
        (
            ["--min-grids", "5"],
            "--min-grids: 5 is no number of grids that meet at a spot; give one from 1 to 4",
        ),
        (["--min-parks", "0"], "--min-parks: 0 is no number of parks that hold a spot; give one from 1 up"),
        (
            ["--park", "parks:1", "--park", "Q-9"],
            "--park Q-9: no park has this id; look into the list without this option",
        ),
    ],
)
def test_what_makes_no_sense_is_refused_by_every_command_that_searches(place, capsys, command, words, line):
    given = {
        "find": ["find", "parks.geojson"],
        "card": ["card", "1", "--parks", "parks.geojson", "--out", "a.html"],
        "pack": ["pack", "1", "--parks", "parks.geojson", "--out", "a.zip"],
    }
    assert main([*given[command], *words]) == 2
    assert capsys.readouterr().err == f"scout: {line}\n"
    assert (place / "a.html").read_text() == OLD


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("within = 0\nhome = '45,10'", "o.toml: within: 0 is not a length"),
        ("min-grids = 5", "o.toml: min-grids: 5 is no number of grids"),
        ("min-parks = 0", "o.toml: min-parks: 0 is no number of parks"),
        ("park = ['parks:1', 'Q-9']", "--park Q-9: no park has this id"),
        ("save-listed = true", "--save-listed: there is nothing to save; add --save OUT"),
    ],
)
def test_an_outing_file_is_held_to_the_same(place, capsys, text, line):
    (place / "o.toml").write_text(f"parks = 'parks.geojson'\n{text}\n")
    assert main(["find", "--outing", "o.toml"]) == 2
    told = capsys.readouterr().err
    assert line in told
    assert told.count("\n") == 1


def test_an_unknown_park_is_met_with_those_of_like_ids(place, capsys):
    assert main(["find", "parks.geojson", "--park", "parks:11"]) == 2
    assert capsys.readouterr().err == "scout: --park parks:11: no park has this id; did you mean parks:1?\n"


def test_to_save_what_is_listed_needs_a_file(place, capsys):
    assert main(["find", "parks.geojson", "--save-listed", "--map", "a.html"]) == 2
    assert capsys.readouterr().err == "scout: --save-listed: there is nothing to save; add --save OUT\n"
    assert (place / "a.html").read_text() == OLD
