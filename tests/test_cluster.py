"""A search spread over workers finds what one machine finds, bit for bit, also when a worker dies."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path

import pytest
from clusters import local_cluster
from test_read_shelf import country, same, whole, written

from scout.app.find import SearchOptions, find_spots
from scout.cli import main
from scout.errors import InputError
from scout.io.layers import read_layers
from scout.parks.build import build_parks
from scout.parks.indexed import ParkReading, open_indexed
from scout.search.run import search_task
from scout.search.workers import open_workers


@pytest.fixture(scope="module")
def isles(tmp_path_factory) -> Path:
    return written(tmp_path_factory.mktemp("isles") / "isles.gpkg", country())


@pytest.fixture(scope="module")
def scheduler():
    with local_cluster() as cluster:
        yield cluster.scheduler_address


@pytest.fixture(scope="module")
def spread(scheduler):
    with open_workers(scheduler) as made:
        yield made


@pytest.mark.parametrize(
    "options", [SearchOptions(level=2), SearchOptions(level=3, min_grids=2)], ids=["overlaps", "lines"]
)
def test_workers_find_the_same(isles, spread, options):
    expected = whole([isles], options)
    shelf = open_indexed([isles], ParkReading(), least=1)
    same(find_spots(shelf, options, spread=spread, most=40), expected)
    same(find_spots(build_parks(read_layers([isles])), options, spread=spread, most=40), expected)


class Slow:
    """The search of a field, where a marker file says when the first has begun."""

    def __init__(self, marker: Path) -> None:
        self.marker = marker

    def __call__(self, task):
        self.marker.touch()
        time.sleep(0.2)
        return search_task(task)


def test_a_worker_killed_in_mid_run_changes_nothing(isles, tmp_path):
    options = SearchOptions(level=2, min_grids=2)
    expected = whole([isles], options)
    killed = []
    with local_cluster() as cluster:
        victim = next(iter(cluster.workers.values())).pid
        slow, given_up = Slow(tmp_path / "begun"), time.monotonic() + 60

        def kill() -> None:
            while not slow.marker.exists():
                if time.monotonic() > given_up:
                    return
                time.sleep(0.01)
            time.sleep(0.3)
            os.kill(victim, signal.SIGKILL)
            killed.append(victim)

        thread = threading.Thread(target=kill)
        thread.start()
        with open_workers(cluster.scheduler_address) as spread:
            tasks = []

            def slowly(work, parts):
                tasks.extend(parts)
                assert work is search_task
                return spread(slow, tasks)

            found = find_spots(open_indexed([isles], ParkReading(), least=1), options, spread=slowly, most=15)
        thread.join()
    assert killed
    assert len(tasks) > 8
    same(found, expected)


def test_what_a_worker_complains_of_is_told(isles, spread):
    shelf = open_indexed([isles], ParkReading(), least=1)
    gone = replace(
        shelf,
        layers=tuple(
            replace(d, layer=replace(d.layer, request=replace(d.layer.request, layer="gone")))
            for d in shelf.layers
        ),
    )
    with pytest.raises(InputError, match=r"isles\.gpkg"):
        find_spots(gone, SearchOptions(level=2), spread=spread, most=40)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--cluster", "tcp://127.0.0.1:9"], "--cluster tcp://127.0.0.1:9: no scheduler answers there"),
        (["--cluster", "nowhere at all"], "--cluster nowhere at all: no scheduler answers there"),
    ],
)
def test_one_line_where_no_workers_are(isles, words, line, capsys, monkeypatch):
    monkeypatch.setattr("scout.search.workers._ANSWER_S", 1)
    assert main(["find", str(isles), *words]) == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 1
    assert line in told[0]


def test_without_dask_the_extra_is_named(isles, capsys, monkeypatch):
    find_spec = __import__("importlib").util.find_spec
    monkeypatch.setattr(
        "scout.search.workers.importlib.util.find_spec",
        lambda name: None if name == "distributed" else find_spec(name),
    )
    assert main(["find", str(isles), "--cluster", "tcp://127.0.0.1:9"]) == 2
    assert "pip install lattice-scout[cluster]" in capsys.readouterr().err


def test_the_command_gives_the_same_bytes(isles, scheduler, tmp_path, monkeypatch):
    monkeypatch.chdir(isles.parent)
    monkeypatch.setattr("sys.argv", ["scout"])  # the command line is part of what is written
    for name, words in (("one", []), ("two", ["--cluster", scheduler])):
        assert (
            main(
                [
                    "find",
                    isles.name,
                    "--level",
                    "subsquare",
                    *words,
                    "--save",
                    str(tmp_path / f"{name}.geojson"),
                ]
            )
            == 0
        )
    assert (tmp_path / "one.geojson").read_bytes() == (tmp_path / "two.geojson").read_bytes()


KINDS = ("silent", "closed", "stranger")


@pytest.fixture(scope="module", autouse=True)
def asking(isles):
    """The command asking each kind of address, all at once: each waits seconds, while others are tested."""
    code = "import sys; from scout.cli import main; sys.exit(main())"
    begun = {}
    with ExitStack() as stack:
        for kind in KINDS:
            listening = stack.enter_context(socket.socket())
            listening.bind(("127.0.0.1", 0))
            listening.listen(50)
            address = f"tcp://127.0.0.1:{listening.getsockname()[1]}"
            if kind == "stranger":
                threading.Thread(target=_answer, args=(listening,), daemon=True).start()
            begun[kind] = address, listening
        begun["closed"][1].close()  # last: no other takes its place
        for kind, (address, _) in begun.items():
            words = [sys.executable, "-c", code, "find", str(isles), "--cluster", address]
            run = stack.enter_context(
                subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
            )
            stack.callback(run.kill)  # before it is waited for
            begun[kind] = address, run
        yield begun


@pytest.mark.parametrize("kind", KINDS)
def test_an_address_where_no_scheduler_answers_is_given_up(asking, kind):
    """Something that listens and says nothing, nothing at all, something that is no scheduler."""
    address, run = asking[kind]
    _, told = run.communicate(timeout=90)  # a client left alone tries for longer than anybody has measured
    remedy = "start one with: dask scheduler, and workers with: dask worker ADDRESS"
    assert told == f"scout: --cluster {address}: no scheduler answers there; {remedy}\n"
    assert run.returncode == 2


def _answer(listening: socket.socket) -> None:
    with suppress(OSError):
        while True:
            with listening.accept()[0] as asking:
                asking.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n" * 40)
