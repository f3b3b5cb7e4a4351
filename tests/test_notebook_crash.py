"""The notebook through kills, two writers at once, a full disk and a read-only one, in real processes.

A kill shows what survives a process; that the disk really has it after a power cut rests on SQLite's
flushing (``synchronous = EXTRA``), which no test here can show.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

# Forks a writer again and again; each acknowledges what it has added on a pipe until it is killed.
KILLS = """
import json, os, random, signal, sqlite3, sys, time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from scout.visits.notebook import Notebook
from scout.model import ParkVisited, Visit

folder, kills, seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
draw = random.Random(seed)
visit = Visit(-112.0, -41.0, datetime(2026, 2, 14, tzinfo=UTC), locators=("DE39",),
              parks=tuple(ParkVisited(f"Q-{k}") for k in range(20)), weather="w" * 3000)


def write(path, pipe):
    book = Notebook(path)
    while True:
        os.write(pipe, b"%d\\n" % book.add(visit))


told = {"kills": 0, "acknowledged": 0, "journals": 0, "lost": [], "half": 0, "broken": []}
for k in range(kills):
    path = folder / f"visits-{k // 20}.gpkg"
    came, goes = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(came)
        write(path, goes)
    os.close(goes)
    # Every second one is killed after its first word, the others whenever it happens.
    first = os.read(came, 64) if k % 2 else b""
    time.sleep(draw.uniform(0.0, 0.03))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(came, "rb") as pipe:
        acknowledged = {int(line) for line in (first + pipe.read()).split()}
    told["kills"] += 1
    told["acknowledged"] += len(acknowledged)
    told["journals"] += Path(f"{path}-journal").exists()
    if not path.exists() or path.stat().st_size == 0 and not acknowledged:
        continue
    try:
        found = Notebook(path).visits()
    except Exception as error:
        # killed while it made the file: nothing was acknowledged, and the next writer makes it
        if acknowledged or path.stat().st_size:
            told["broken"].append(str(error))
        continue
    told["lost"] += sorted(acknowledged - {v.number for v in found})
    told["half"] += sum(len(v.parks) != 20 or v.weather != visit.weather for v in found)
    with closing(sqlite3.connect(path)) as base:
        if base.execute("PRAGMA integrity_check").fetchall() != [("ok",)]:
            told["broken"].append("integrity")
print(json.dumps(told))
"""


def test_two_hundred_kills_lose_nothing_that_was_acknowledged(tmp_path):
    # Each writer waits for no one; the moments differ from run to run, which is the point.
    run = subprocess.run(
        [sys.executable, "-c", KILLS, str(tmp_path), "200", "11"], capture_output=True, text=True, check=True
    )
    told = json.loads(run.stdout)
    assert told["kills"] == 200
    assert (told["lost"], told["half"], told["broken"]) == ([], 0, [])
    # The kills did fall into writes: many were acknowledged, some left a journal to roll back.
    assert told["acknowledged"] >= 100
    assert told["journals"] > 5


WRITER = """
import sys
from datetime import UTC, datetime
from scout.visits.notebook import Notebook
from scout.model import Visit
book, name = Notebook(sys.argv[1]), sys.argv[2]
for k in range(int(sys.argv[3])):
    book.add(Visit(float(k), 1.0, datetime(2026, 2, 14, tzinfo=UTC), call=name, contacts=k))
"""


def test_two_writers_at_once_lose_nothing_not_even_while_the_file_is_made(tmp_path):
    from scout.visits.notebook import Notebook

    for turn in range(3):
        path = tmp_path / f"visits-{turn}.gpkg"
        pair = [
            subprocess.Popen([sys.executable, "-c", WRITER, str(path), name, "25"]) for name in ("Q1A", "Q1B")
        ]
        assert [process.wait(timeout=60) for process in pair] == [0, 0]
        visits = Notebook(path).visits()
        assert [sorted(v.contacts for v in visits if v.call == n) for n in ("Q1A", "Q1B")] == [
            list(range(25))
        ] * 2
        assert len({v.number for v in visits}) == 50


SMALL_DISK = """
set -e
mount -t tmpfs -o size=400k none "$1"
cd "$1"
"$2" -c "
import sys
from pathlib import Path
from datetime import UTC, datetime
from scout.cli import main
from scout.visits.notebook import Notebook
from scout.model import Visit
import subprocess, json
visit = Visit(1.0, 1.0, datetime(2026, 2, 14, 18, tzinfo=UTC), datetime(2026, 2, 14, 20, tzinfo=UTC),
              locators=('JJ00',), weather='w' * 9000)
Path('log.adi').write_bytes(b'<CALL:5>Q2AAA<QSO_DATE:8>20260214<TIME_ON:4>1830<EOR>')
Path('out').mkdir()
book, added, told = Notebook('visits.gpkg'), [], {}
try:
    while len(added) < 1000:
        added.append(book.add(visit))
except Exception as error:
    told['full'] = [type(error).__name__, str(error)]
told['kept'] = [v.number for v in book.visits()] == added and len(added) > 3
filler = Path('filler')
with filler.open('wb', buffering=0) as file:
    try:
        while True:
            file.write(b'x' * 512)
    except OSError:
        pass
told['stamp'] = main(['stamp', 'log.adi', '--visit', '1', '--out', 'out'])
told['out'] = [p.name for p in Path('out').iterdir()]
filler.unlink()
subprocess.run(['mount', '-o', 'remount,ro', '.'], check=True)
told['number'] = len(book.visits()) == len(added)
try:
    book.add(visit)
except Exception as error:
    told['read_only'] = [type(error).__name__, str(error)]
told['stamp_read_only'] = main(['stamp', 'log.adi', '--visit', '1', '--out', 'out'])
print(json.dumps(told))
"
"""


def test_a_full_or_read_only_disk_gives_one_line_and_leaves_files_whole(tmp_path):
    if shutil.which("unshare") is None or subprocess.run(["unshare", "-Urm", "true"], check=False).returncode:
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail("no small disk can be mounted here, and CI must have one")
        pytest.skip("no small disk can be mounted here: unshare -Urm is not allowed")
    room = Path(tmp_path / "disk")
    room.mkdir()
    run = subprocess.run(
        ["unshare", "-Urm", "sh", "-c", SMALL_DISK, "sh", str(room), sys.executable],
        capture_output=True,
        text=True,
        check=True,
    )
    told = json.loads(run.stdout.splitlines()[-1])
    assert told["full"] == [
        "OutputError",
        "visits.gpkg: cannot be written: the disk is full; make room; what it held is whole",
    ]
    assert told["kept"]
    assert (told["stamp"], told["out"]) == (2, [])
    assert told["number"]
    assert told["read_only"][0] == "OutputError"
    assert "read-only" in told["read_only"][1]
    assert told["stamp_read_only"] == 2
    lines = [line for line in run.stderr.splitlines() if line]
    assert len(lines) == 2
    assert "No space left on device" in lines[0]
    assert "Read-only file system" in lines[1]
