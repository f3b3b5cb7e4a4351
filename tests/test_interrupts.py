"""Ended, interrupted, killed, out of room: in real processes, at the moment that hurts most.

A command halts in mid-write and says so; the test then does to it what the world does. Where its start does
not matter, its process is forked from one that has the imports done.
"""

from __future__ import annotations

import os
import resource
import shutil
import signal
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
import shapely
from boundary_files import geojson
from forked import Forked, Forks

from scout.model import ParkVisited, Visit
from scout.visits.notebook import Notebook

OLD = b"what was there before\n"

# Runs a command that halts once it has flushed its n-th file; a word on stdout says so.
HALTING = """
import os, sys, time
from scout.cli import main

left, flush = int(sys.argv[1]), os.fsync

def halting(handle):
    global left
    flush(handle)
    left -= 1
    if left == 0:
        os.write(1, b"halted\\n")
        time.sleep(60)

os.fsync = halting
sys.exit(main(sys.argv[2:]))
"""
RUNNING = "import sys; from scout.cli import main; sys.exit(main())"
# The command, and at which of its flushes it halts: the last, with all written and nothing in its place.
COMMANDS = {
    "find": (["find", "parks.geojson", "--map", "a.html", "--save", "b.csv", "--save", "c.gpkg"], 3),
    "card": (["card", "1", "--parks", "parks.geojson", "--out", "a.html"], 1),
    "pack": (["pack", "1", "--parks", "parks.geojson", "--out", "a.zip"], 1),
    "export": (["visit", "export", "a.csv", "b.html", "--notebook", "visits.gpkg"], 2),
    "stamp": (
        ["stamp", "log.adi", "--visit", "1", "--sig", "Q", "--out", "out", "--notebook", "visits.gpkg"],
        2,
    ),
    "check": (["check", "45,10", "--parks", "parks.geojson", "--map", "a.html"], 1),
}


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder with parks, a notebook, a log and what earlier runs wrote."""
    geojson(tmp_path / "parks.geojson", [shapely.box(9.9, 44.9, 10.1, 45.1)])
    parks = (ParkVisited("Q-1"), ParkVisited("Q-2"))
    start, end = datetime(2026, 2, 14, 18, tzinfo=UTC), datetime(2026, 2, 14, 20, tzinfo=UTC)
    Notebook(tmp_path / "visits.gpkg").add(Visit(10.0, 45.0, start, end, locators=("JN45",), parks=parks))
    (tmp_path / "log.adi").write_bytes(b"<CALL:5>Q2AAA<QSO_DATE:8>20260214<TIME_ON:4>1830<EOR>")
    (tmp_path / "out").mkdir()
    for name in ("a.html", "a.csv", "a.zip", "b.csv", "b.html", "c.gpkg"):
        (tmp_path / name).write_bytes(OLD)
    return tmp_path


def held(folder: Path) -> dict[str, bytes]:
    """What every file below holds."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def halted(forks: Forks, folder: Path, words: list[str], flushes: int) -> Forked:
    """The command in a process of its own, standing still in mid-write."""
    process = forks.start(HALTING, [str(flushes), *words], folder)
    assert b"halted\n" in iter(process.stdout.readline, b""), process.communicate()
    return process


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize(
    ("sent", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)]
)
def test_what_is_ended_in_mid_write_leaves_all_as_it_was(
    name: str, sent: signal.Signals, status: int, place: Path, forks: Forks
) -> None:
    before = held(place)
    process = halted(forks, place, *COMMANDS[name])
    assert len(held(place)) > len(before), "it did stand in mid-write"
    process.send_signal(sent)
    _, err = process.communicate(timeout=20)
    assert process.returncode == status
    assert held(place) == before
    assert err.decode().split("\n") == (["", "scout: stopped", ""] if sent == signal.SIGINT else [""])


@pytest.mark.parametrize("name", COMMANDS)
def test_what_is_killed_in_mid_write_leaves_earlier_files_whole(name: str, place: Path, forks: Forks) -> None:
    before = held(place)
    process = halted(forks, place, *COMMANDS[name])
    process.kill()
    process.communicate(timeout=20)
    assert process.returncode == -signal.SIGKILL
    after = held(place)
    assert {path: after.get(path) for path in before} == before
    again = forks.run(RUNNING, COMMANDS[name][0], place)
    assert again.returncode in (0, 1), again.stderr
    assert held(place) != after


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_a_search_is_ended_at_once(sent: signal.Signals, place: Path, forks: Forks) -> None:
    code = (
        "import os, sys, time\nfrom scout.cli import main\nimport scout.search.corners as corners\n"
        "def searching(*_):\n    os.write(1, b'halted\\n')\n    time.sleep(60)\n"
        "import scout.search.run as scanning\nscanning.judge_corners = searching\n"
        "sys.exit(main(sys.argv[1:]))"
    )
    before = held(place)
    process = forks.start(code, COMMANDS["find"][0], place)
    assert process.stdout.readline() == b"halted\n", process.communicate()
    process.send_signal(sent)
    _, err = process.communicate(timeout=20)
    # Outside a write nothing needs tidying: the system ends the process itself, a shell says 143.
    assert process.returncode == (130 if sent == signal.SIGINT else -signal.SIGTERM)
    assert b"Traceback" not in err
    assert held(place) == before


@pytest.mark.parametrize("count", [1, 2, 5, 20, 60])
def test_an_interrupt_while_the_program_still_loads_is_no_fault(count: int, place: Path) -> None:
    """It comes with the n-th module after the one that starts the program."""
    code = (
        "import sys, scout.__main__\n"
        "class Interrupting:\n"
        "    def find_spec(self, *_):\n"
        "        global left\n"
        "        left -= 1\n"
        "        if left == 0:\n"
        "            raise KeyboardInterrupt\n"
        "left = int(sys.argv.pop(1))\n"
        "sys.meta_path.insert(0, Interrupting())\n"
        "sys.exit(scout.__main__.main(sys.argv[1:]))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(count), *COMMANDS["find"][0]],
        cwd=place,
        check=False,
        capture_output=True,
        text=True,
    )
    assert (run.returncode, run.stderr) == (130, "scout: stopped\n")


@pytest.mark.parametrize("name", ["click", "numpy", "numpy._core._multiarray_umath", "shapely", "pyogrio"])
def test_an_interrupt_that_leaves_a_library_in_pieces_is_no_fault(name: str, place: Path) -> None:
    """Some make another error of it, as numpy does: that it is loaded twice."""
    code = (
        "import os, signal, sys, scout.__main__\n"
        "class Interrupting:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == wanted:\n"
        "            try:\n"
        "                os.kill(os.getpid(), signal.SIGINT)\n"
        "            except KeyboardInterrupt:\n"
        "                raise ImportError('in pieces') from None\n"
        "wanted = sys.argv.pop(1)\n"
        "sys.meta_path.insert(0, Interrupting())\n"
        "sys.exit(scout.__main__.main(sys.argv[1:]))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, name, *COMMANDS["find"][0]],
        cwd=place,
        check=False,
        capture_output=True,
        text=True,
    )
    assert (run.returncode, run.stderr) == (130, "scout: stopped\n")


def test_nothing_is_imported_before_the_program_can_be_interrupted() -> None:
    code = "import sys; old = set(sys.modules); import scout.__main__; print(*sorted(set(sys.modules) - old))"
    run = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert run.stdout.removeprefix("__future__ ") == "scout scout.__main__\n"


def test_a_visit_ended_before_it_is_acknowledged_is_not_there_and_the_notebook_is_whole(
    place: Path, forks: Forks
) -> None:
    words = ["visit", "add", "--place", "45,10", "--start", "2026-02-15T18:05", "--notebook", "visits.gpkg"]
    code = (
        "import os, sys, time\nfrom scout.cli import main\nimport scout.visits.rows as rows\n"
        "def touching(*_):\n    os.write(1, b'halted\\n')\n    time.sleep(60)\n"
        "rows.touch_tables = touching\nsys.exit(main(sys.argv[1:]))"
    )
    for sent in (signal.SIGINT, signal.SIGTERM, signal.SIGKILL):
        process = forks.start(code, words, place)
        assert process.stdout.readline() == b"halted\n", process.communicate()
        process.send_signal(sent)
        process.communicate(timeout=20)
        assert [visit.number for visit in Notebook(place / "visits.gpkg").visits()] == [1]


@pytest.mark.parametrize("name", ["find", "export"])
def test_a_file_that_does_not_fit_stays_as_it_was_and_loses_no_other(name: str, place: Path) -> None:
    """The table fits under the limit on file sizes, the page after it does not."""
    before = held(place)

    def small() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (6_000, 6_000))

    words = (
        ["find", "parks.geojson", "--map", "a.html", "--save", "b.csv"]
        if name == "find"
        else COMMANDS[name][0]
    )
    run = subprocess.run(
        [sys.executable, "-c", RUNNING, *words],
        cwd=place,
        check=False,
        capture_output=True,
        text=True,
        preexec_fn=small,
    )
    assert run.returncode == 2
    page = "a.html" if name == "find" else "b.html"
    assert run.stderr == f"scout: {page}: cannot be written (File too large); try another folder\n"
    table = "b.csv" if name == "find" else "a.csv"
    assert [path for path, data in held(place).items() if data != before.get(path)] == [table]
    assert held(place)[table].count(b"\r\n") > 1
    assert f"Wrote {table}\n" in run.stdout
    assert f"Wrote {page}" not in run.stdout


def test_logs_of_one_visit_are_stamped_all_or_none(place: Path, forks: Forks) -> None:
    """The visit has two parks and so two logs; where one cannot be written, none is."""
    (place / "out" / "log-Q-2.adi").mkdir()
    before = held(place)
    run = forks.run(RUNNING, COMMANDS["stamp"][0], place)
    assert run.returncode == 2
    assert run.stderr.count("\n") == 1
    assert held(place) == before


SMALL_DISK = """
set -e
mount -t tmpfs -o size=160k none disk
cp b.csv disk/b.csv
cp a.html disk/a.html
set +e
"$1" -c "$2" find parks.geojson --map disk/a.html --save disk/b.csv
echo "status $?" >&2
mount -o remount,ro disk
"$1" -c "$2" find parks.geojson --save disk/b.csv
echo "status $?" >&2
cp -a disk kept
"""


def test_a_full_and_a_read_only_disk_leave_earlier_files_whole(place: Path) -> None:
    if shutil.which("unshare") is None or subprocess.run(["unshare", "-Urm", "true"], check=False).returncode:
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail("no small disk can be mounted here, and CI must have one")
        pytest.skip("no small disk can be mounted here: unshare -Urm is not allowed")
    (place / "disk").mkdir()
    run = subprocess.run(
        ["unshare", "-Urm", "sh", "-c", SMALL_DISK, "sh", sys.executable, RUNNING],
        cwd=place,
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stderr.splitlines() == [
        "scout: disk/a.html: cannot be written (No space left on device); try another folder",
        "status 2",
        "scout: disk/b.csv: cannot be written (Read-only file system); try another folder",
        "status 2",
    ]
    kept = held(place / "kept")
    assert kept["a.html"] == OLD
    assert kept["b.csv"].startswith(b"rank,"), "what fits is saved"
    assert len(kept) == 2
