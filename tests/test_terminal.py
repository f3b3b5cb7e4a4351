# ruff: noqa: E501 - what is said reads better whole
"""The answer on a terminal: set to its width, verdicts in colour; the same bytes as ever in a pipe."""

import os
import pty
import re
import subprocess
import sys
import termios
import unicodedata
from functools import partial
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "data_demo"
PARKS = [str(DEMO / name) for name in ("parks.geojson", "forest.gpkg")]
FIND = ["find", "--parks", *PARKS, "--home", "41.0457 S 111.8914 W", "--within", "30"]
CHECK = ["check", "40 59.99 S 112 00.01 W", "--parks", *PARKS]
RUNNING = "import sys, scout.__main__; sys.exit(scout.__main__.main(sys.argv[1:]))"
COLOUR = re.compile(r"\x1b\[[0-9;]*m")


@pytest.fixture(scope="module")
def run_on_terminal(forks):
    return partial(run_forked_on_terminal, forks)


@pytest.fixture(scope="module")
def run_in_pipe(forks):
    return partial(run_forked_in_pipe, forks)


def run_forked_on_terminal(forks, words, columns, **variables):
    """What a terminal of some columns gets of a command, lines as they come."""
    main, other = pty.openpty()
    termios.tcsetwinsize(other, (40, columns))
    kept = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR")}
    process = forks.start(RUNNING, words, ROOT, {**kept, "TERM": "xterm-256color", **variables}, other)
    os.close(other)
    parts = []
    while True:
        try:
            part = os.read(main, 65536)
        except OSError:  # Linux tells so that the other end is closed
            break
        if not part:
            break
        parts.append(part)
    os.close(main)
    process.communicate()
    assert process.returncode in (0, 1)
    # Of a line that is written over again, what stands there in the end.
    return [line.split("\r")[-1] for line in b"".join(parts).decode().replace("\r\n", "\n").split("\n")]


def run_forked_in_pipe(forks, words):
    run = forks.run(RUNNING, words, ROOT)
    assert run.returncode in (0, 1)
    return run.stdout.splitlines()


def measure(line):
    plain = COLOUR.sub("", line)
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in plain
    )


def read_words(lines):
    """All words in the order of the page, the heads of columns and whatever names a cell set aside."""
    return sorted(COLOUR.sub("", " ".join(lines)).split())


@pytest.mark.parametrize("columns", [80, 120, 400])
@pytest.mark.parametrize("words", [FIND, CHECK], ids=["find", "check"])
def test_an_answer_fits_the_terminal(words, columns, run_on_terminal):
    """Paths apart, which stay whole."""
    lines = run_on_terminal(words, columns)
    long = [line for line in lines if measure(line) > columns and str(ROOT) not in line]
    assert not long


def test_what_a_table_says_does_not_hang_on_the_width(run_on_terminal, run_in_pipe):
    """Every cell of the best spot is there at any width, a position never broken."""
    piped = run_in_pipe([*FIND, "--top", "3"])
    heads = next(k for k, line in enumerate(piped) if line.startswith("#  "))
    cells = re.split(r" {2,}", piped[heads + 1])
    for columns in (60, 80, 120, 400):
        lines = run_on_terminal([*FIND, "--top", "3"], columns)
        plain = [COLOUR.sub("", line) for line in lines]
        first = next(k for k, line in enumerate(plain) if re.match(r"1 +corner", line))
        after = next(k for k, line in enumerate(plain) if re.match(r"2 +", line))
        text = " ".join(" ".join(plain[first:after]).split())
        for cell in cells:
            assert cell in text
    wide = [COLOUR.sub("", line) for line in run_on_terminal([*FIND, "--top", "3"], 400)]
    assert piped[heads : heads + 4] == wide[1:5]


def test_the_answer_comes_before_the_report_on_the_data(run_on_terminal, run_in_pipe):
    lines = [COLOUR.sub("", line) for line in run_on_terminal(FIND, 120)]
    assert lines[0].startswith("Level square; station radius 5 m")
    best = next(k for k, line in enumerate(lines) if re.match(r"1 +corner", line))
    read = next(k for k, line in enumerate(lines) if "records" in line)
    assert best < read
    piped = run_in_pipe(FIND)
    assert "records" in piped[0], "in a pipe as ever"
    assert not any(COLOUR.search(line) for line in piped)
    sentences = [line for line in lines if line.startswith("Keep antennas")]
    assert sentences, "cautions are never left out"


def test_verdicts_are_in_colour_on_a_terminal_that_has_them(run_on_terminal):
    lines = run_on_terminal(CHECK, 100)
    assert any(re.search(r"\x1b\[32mfirm\x1b\[0m, confidence", line) for line in lines)
    for off in ({"NO_COLOR": "1"}, {"TERM": "dumb"}):
        plain = run_on_terminal(CHECK, 100, **off)
        assert not re.search(r"\x1b\[[0-9;]*3[0-7]m", "\n".join(plain))
        assert read_words(plain) == read_words(lines)


def test_a_verdict_on_a_condition_is_not_green():
    """An outline in doubt: the word is firm, and the colour must not say so."""
    from rich.console import Console

    from scout.cli.lines import _colour

    for words, colour in (
        ("firm", "green"),
        ("firm if the outline is true", "yellow"),
        ("doubtful", "yellow"),
        ("not counted", "red"),
        ("4 x 2 = 8, firm 95.5 %", "green"),
        ("Firm Ground (firm-1)", None),
        ("Ice, firmly frozen", None),
    ):
        styles = {str(span.style) for span in _colour(words).spans}
        assert styles == ({colour} if colour else set()), words
    assert Console(no_color=True).no_color


def test_a_search_in_a_pipe_does_without_the_library_for_terminals():
    code = (
        "import sys, scout.__main__; status = scout.__main__.main(sys.argv[1:]); "
        "print('rich' in sys.modules, status)"
    )
    run = subprocess.run([sys.executable, "-c", code, *FIND], capture_output=True, text=True, cwd=ROOT)
    assert run.stdout.splitlines()[-1] == "False 0", run.stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["fnd"], "there is no command 'fnd'; did you mean find?"),
        (["visti"], "there is no command 'visti'; did you mean visit?"),
        (["visit", "shw", "1"], "there is no command 'shw'; did you mean show?"),
        (["qqqq"], "there is no command 'qqqq'; scout --help lists them"),
        (
            ["find", "--radius", "5"],
            "there is no option --radius; did you mean --station-radius (Radius of the disc with operator, "
            "rig and antenna) or --within (Only spots this near to home)?",
        ),
        (
            ["find", "--boundry-error", "5"],
            "there is no option --boundry-error; did you mean --boundary-error (95 % error of the boundary "
            "data; the error of a datum transformation is added)?",
        ),
        (["find", "--qqqq"], "there is no option --qqqq; scout find --help lists them"),
        (
            ["check", "45,10", "--levle=field"],
            "there is no option --levle; did you mean --level (field, square, subsquare, extended or fifth)?",
        ),
        (["grid", "--all", "DE38"], "there is no option --all; scout grid --help lists them"),
        (["find", "--within", "far"], "--within: 'far' is not a number; give a number over 0"),
        (["find", "--within", "50km"], "--within: '50km' is not a number; give a number over 0"),
        (["find", "--min-grids", "two"], "--min-grids: 'two' is not a whole number; give one from 1 to 4"),
        (["find", "--min-grids", "2.5"], "--min-grids: '2.5' is not a whole number; give one from 1 to 4"),
        (["visit", "show", "first"], "N: 'first' is not a whole number; give a whole number from 1 up"),
        (
            ["visit", "add", "--contacts", "-1"],
            "--contacts: -1 is no number of contacts; give a whole number, a billion at most",
        ),
    ],
)
def test_a_slip_gets_a_sentence_and_what_may_be_meant(words, told, capsys):
    from scout.__main__ import main

    assert main(words) == 2
    assert capsys.readouterr().err == f"scout: {told}\n"


def none_near(lat, lon, edge):
    """What is said of the nearest park, its near edge on the parallel of home (GeographicLib)."""
    from geographiclib.geodesic import Geodesic

    away_km = Geodesic.WGS84.Inverse(lat, lon, lat, edge)["s12"] / 1000
    return f"none of 2 parks is within 10 km of home; the nearest, {{}}, is {away_km:.1f} km away"


SQUARE = "no line of the square grid runs through or within 500 m of the 2 parks searched"
LENIENT = "--level, --near or --min-confidence"


@pytest.mark.parametrize(
    ("bounds", "words", "why", "change"),
    [
        (10.4, ["--home", "45.35,10.22", "--within", "10"], none_near(45.35, 10.22, 10.4).format("N1"), "--within or --home"),
        (10.4, ["--home", "45.35,10.9", "--within", "10"], none_near(45.35, 10.9, 10.55).format("N2"), "--within or --home"),
        (179.8, ["--home", "45.35,-179.9", "--within", "10"], none_near(45.35, -179.9, 179.95).format("N2"), "--within or --home"),
        (-179.9, ["--home", "45.35,179.9", "--within", "10"], none_near(45.35, 179.9, -179.9).format("N1"), "--within or --home"),
        (10.4, ["--area", "0,0,1,1"], "none of 2 parks reaches into the area", "--area"),
        (10.4, [], f"{SQUARE}, and no two of them share ground", LENIENT),
        (10.4, ["--min-grids", "2", "--near", "0"], "no line of the square grid runs through the 2 parks searched",
         "--level, --near, --min-grids or --min-confidence"),
        (10.4, ["--level", "subsquare", "--min-parks", "2"], "", "--min-parks or --min-confidence"),
    ],
)  # fmt: skip
def test_nothing_found_says_why_and_what_to_change(bounds, words, why, change, tmp_path, capsys):
    import shapely
    from boundary_files import geojson

    from scout.__main__ import main

    parks = [shapely.box(bounds + more, 45.3, bounds + more + 0.05, 45.4) for more in (0.0, 0.1)]
    geojson(tmp_path / "two.geojson", parks)
    assert main(["find", "--parks", str(tmp_path / "two.geojson"), *words]) == 1
    said = capsys.readouterr().out
    if why:
        assert f"Nothing found: {why}.\n" in said
    else:
        assert re.search(
            r"Nothing found: \d+ places found, but none is listed, for the reasons below\.\n", said
        )
        assert "Not listed: " in said
    assert f"To find more, give another {change}.\n" in said
