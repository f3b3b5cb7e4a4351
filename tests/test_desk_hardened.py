"""The desk under strain: trickling connections, full disks, killed runs, answers too large, late cancels."""

from __future__ import annotations

import asyncio
import errno
import os
import re
import select
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from http.client import HTTPException
from pathlib import Path
from typing import Any

import desks
import pytest
from desks import Caller, running

from scout.desk import processes, workspace
from scout.desk.access import Guard, Keys
from scout.desk.workspace import Worker

HERE = Path(__file__).parent
SCOUT = [sys.executable, "-c", "import sys; from scout.__main__ import main; sys.exit(main(sys.argv[1:]))"]
posix = pytest.mark.skipif(os.name == "nt", reason="signals and locks are POSIX's")


def slowest(caller: Caller, seconds: float) -> float:
    """The longest that an honest request takes meanwhile, in seconds; every one is answered."""
    taken = []
    until = time.monotonic() + seconds
    while time.monotonic() < until or len(taken) < 10:
        for method, path, body in (
            ("GET", "/", None),
            ("POST", "/api/enter", {"key": caller.key}),
            ("PUT", caller.here("/file?name=a.geojson&role=parks"), b" " * 300_000),
            ("POST", "/api/place", {"text": "45, -20"}),
            ("GET", "/api/ping", None),
        ):
            begun = time.monotonic()
            try:
                status = caller.ask(method, path, body).status
            except (
                ConnectionResetError
            ):  # let go before its key was read, among strangers: a browser asks again
                status = caller.ask(method, path, body).status
            assert status == 200
            taken.append(time.monotonic() - begun)
    return max(taken)


def test_among_a_thousand_trickling_connections_the_honest_are_answered() -> None:
    with running(head_s=600.0, body_s=600.0) as caller:  # no time that runs out makes room
        quiet = slowest(caller, 1)
        words = [sys.executable, str(HERE / "trickle.py"), str(caller.desk.port), "1000", "8"]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as load:
            assert load.stdout is not None
            assert load.stdout.readline() == "all opened\n"
            loaded = slowest(caller, 2)
            load.kill()
    # Two seconds; on a machine that stands still by itself for longer, in proportion to that.
    assert loaded < max(2, 20 * quiet)


def test_a_trickling_body_makes_way_before_an_upload_that_has_the_key() -> None:
    with running(connections=8, body_s=60.0, head_s=60.0) as caller:
        port = caller.desk.port
        host = f"Host: 127.0.0.1:{port}\r\n"
        upload = socket.create_connection(("127.0.0.1", port), 30)
        upload.sendall(
            (
                f"PUT {caller.here('/file?name=a.geojson&role=parks')} HTTP/1.1\r\n{host}"
                f"X-Desk-Key: {caller.key}\r\nContent-Length: 4\r\n\r\n{{"
            ).encode()
        )
        time.sleep(0.2)
        others = []
        for _ in range(30):
            others.append(socket.create_connection(("127.0.0.1", port), 30))
            others[-1].sendall(f"POST /api/enter HTTP/1.1\r\n{host}Content-Length: 9\r\n\r\n{{".encode())
        try:
            assert caller.ask("GET", "/api/ping").status == 200
            upload.sendall(b"}  ")
            assert upload.recv(200).split(b" ")[1] == b"200"
        finally:
            for line in (upload, *others):
                line.close()


def is_ended(line: socket.socket) -> bool:
    """Whether the desk has ended a connection that never got an answer."""
    line.settimeout(0.01)
    try:
        return line.recv(1) == b""
    except TimeoutError:
        return False
    except ConnectionError:
        return True


@pytest.mark.parametrize("half", ["head", "body", "both"])
def test_slow_clients_hold_no_places_though_no_time_runs_out(half: str) -> None:
    """Counted, not timed: of those that wait only the latest stay, and every honest request is answered."""
    places, slow = 8, 60
    with running(connections=places, head_s=600.0, body_s=600.0) as caller:
        host = f"Host: 127.0.0.1:{caller.desk.port}\r\n"
        halves = {"head": f"GET / HTTP/1.1\r\n{host}X-Slow: x", "body": f"POST /api/enter HTTP/1.1\r\n{host}"}
        halves["body"] += "Content-Length: 4000\r\n\r\n{"
        lines = []
        try:
            for k in range(slow):
                text = halves[half] if half != "both" else halves[("head", "body")[k % 2]]
                lines.append(socket.create_connection(("127.0.0.1", caller.desk.port), 30))
                lines[-1].sendall(text.encode())
            for _ in range(10):
                assert caller.ask("GET", "/api/ping").status == 200
            open_ = [k for k, line in enumerate(lines) if not is_ended(line)]
            assert 0 < len(open_) <= places
            assert open_[0] >= slow // 2
        finally:
            for line in lines:
                line.close()


def test_a_body_without_the_key_has_one_time_for_all_of_it() -> None:
    with running(head_s=0.5, body_s=60.0) as caller:
        line = socket.create_connection(("127.0.0.1", caller.desk.port), 10)
        with line:
            head = f"POST /api/enter HTTP/1.1\r\nHost: 127.0.0.1:{caller.desk.port}\r\n"
            line.sendall(f"{head}Content-Length: 4000\r\n\r\n{{".encode())
            line.settimeout(0.1)
            for _ in range(100):
                try:
                    line.sendall(b"x")
                    if line.recv(1) == b"":
                        break
                except TimeoutError:
                    continue
                except ConnectionError:
                    break
            else:
                pytest.fail("still listened to after many head_s")


@posix
def test_the_port_can_be_used_again_at_once() -> None:
    with running() as caller:
        port = caller.desk.port
        with socket.create_connection(("127.0.0.1", port), 10) as line:
            head = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n"
            line.sendall(head.encode())
            while line.recv(65536):
                pass  # the desk ends it, and on its side it lingers
    desks.DeskServer(port=port)._socket.close()


def status_of(guard: Guard, **headers: str) -> int:
    """The status that a request for the page gets."""
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "http.request", "body": b"", "more_body": False}

    named = [(name.encode(), value.encode()) for name, value in headers.items()]
    scope = {"type": "http", "method": "GET", "path": "/", "headers": named}
    with ThreadPoolExecutor(1) as thread:  # the browser's tests leave a loop of events running in this one
        thread.submit(lambda: asyncio.run(guard(scope, receive, send))).result()
    return int(sent[0]["status"])


async def page(scope: Any, receive: Any, send: Any) -> None:
    await send({"type": "http.response.start", "status": 200, "headers": []})


def test_port_80_stands_in_no_header() -> None:
    guard = Guard(page, Keys(), [80])
    for host in ("127.0.0.1", "localhost", "127.0.0.1:80"):
        assert status_of(guard, host=host, origin=f"http://{host}") == 200
    assert status_of(guard, host="evil.example") == 421
    assert status_of(Guard(page, Keys(), [81]), host="127.0.0.1") == 421


def test_an_address_opens_once_and_the_next_one_is_shown() -> None:
    keys, shown = Keys(), []
    keys.renewed = lambda: shown.append(keys.shown)
    first = keys.shown
    session = keys.exchange(first)
    assert session is not None
    assert keys.exchange(first) is None  # as it stands in the browser's history
    assert shown == [keys.shown]
    assert keys.exchange(shown[0]) == session


def test_an_answer_too_large_is_told_and_its_process_ends(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(workspace, "_LONGEST_LINE", 2000)
    file = tmp_path / "many.geojson"
    features = [
        f'{{"type":"Feature","properties":{{"n":"Wood {k}"}},"geometry":{{"type":"Polygon","coordinates":'
        f"[[[{k},0],[{k}.5,0],[{k}.5,1],[{k},0]]]}}}}"
        for k in range(60)
    ]
    file.write_text(f'{{"type":"FeatureCollection","features":[{",".join(features)}]}}', encoding="utf-8")
    with running() as caller:
        caller.bring(file)
        caller.work("visits")
        assert caller.desk.workspaces is not None
        first = caller.desk.workspaces.get(caller.id).worker  # type: ignore[union-attr]
        assert first is not None
        told = caller.work("preview", settings={})
        assert "larger than" in told["error"]["text"]
        assert "visits" in caller.work("visits")["done"]
        assert first.process.returncode is not None
        assert not first.alive


def test_the_demo_on_a_full_disk_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(source: Path, target: Path) -> None:
        Path(target).write_bytes(b"half")
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with running() as caller:
        with monkeypatch.context() as patch:
            patch.setattr(shutil, "copyfile", full)
            answer = caller.ask("POST", caller.here("/do"), {"job": "demo"})
        assert answer.status == 200
        assert "No space left" in answer.json["error"]["text"]
        assert caller.ask("GET", caller.here()).json["sizes"] == {}
        assert caller.desk.workspaces is not None
        assert [path.name for path in caller.desk.workspaces.folder.rglob("*") if path.is_file()] == []
        assert caller.work("demo")["done"]


def test_a_new_window_on_a_full_disk_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: Any, **__: Any) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with running() as caller, monkeypatch.context() as patch:
        patch.setattr(Path, "mkdir", full)
        answer = caller.ask("POST", "/api/windows")
        assert (answer.status, "No space left" in answer.json["error"]["text"]) == (200, True)


@pytest.mark.parametrize("name", ["x" * 300 + ".html", "%F0%9F%9A%80" * 100])
def test_an_overlong_name_in_a_link_is_not_there(name: str) -> None:
    with running() as caller:
        answer = caller.ask("GET", f"/made/{caller.door}/{name}")
        assert answer.status == 404
        assert answer.json["error"]["text"]


@posix
def test_folders_of_killed_desks_go_and_those_of_living_ones_stay(tmp_path: Path) -> None:
    environment = {**os.environ, "TMPDIR": str(tmp_path)}
    begun = []
    try:
        for _ in range(2):
            one = subprocess.Popen(
                [*SCOUT, "desk", "--no-browser"], stdout=subprocess.PIPE, text=True, env=environment
            )
            begun.append(one)
            assert one.stdout is not None
            assert "open at" in one.stdout.readline()
            if len(begun) == 1:
                first = set(tmp_path.iterdir())
        (living,) = first
        (killed,) = set(tmp_path.iterdir()) - first
        begun[1].send_signal(signal.SIGKILL)
        begun[1].wait(60)
        assert killed.exists()
        foreign = tmp_path / "scout-desk-of-somebody"
        foreign.mkdir()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(tempfile, "tempdir", str(tmp_path))
            with running():
                assert not killed.exists()
                assert living.exists()
                assert foreign.exists()
    finally:
        for one in begun:
            one.send_signal(signal.SIGTERM)
            one.communicate(timeout=60)


def begin_search(caller: Caller, loaded: Any) -> tuple[threading.Thread, list[Any]]:
    answers: list[Any] = []
    thread = threading.Thread(target=lambda: answers.append(caller.work("search", settings=loaded)))
    thread.start()
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not caller.ask("GET", caller.here("/progress")).json["progress"]:
        time.sleep(0.01)
    return thread, answers


def test_a_window_loaded_again_does_not_wait_for_a_search_that_is_lost() -> None:
    with running() as caller:
        thread, answers = begin_search(caller, caller.work("demo")["done"])
        told = caller.ask("GET", caller.here("?again")).json
        assert "door" in told
        thread.join(60)
        assert answers[0].get("stopped")


def test_a_search_after_a_cancel_is_not_ended_by_it() -> None:
    with running(stop_s=1.5) as caller:
        loaded = caller.work("demo")["done"]
        # Longer than is waited for the first to stop: else it would be over before it could be ended.
        quick = {"options": {**loaded["options"], "level": "field"}}
        caller.work("preview", settings=loaded)
        for _ in range(3):
            thread, first = begin_search(caller, loaded)
            cancel = threading.Thread(target=caller.ask, args=("POST", caller.here("/stop"), {"all": True}))
            cancel.start()
            time.sleep(0.05)
            second = caller.work("search", settings=quick)
            thread.join(60)
            cancel.join(60)
            assert first[0].get("stopped")
            assert "error" not in second
            assert second.get("done") or second.get("stopped")


def test_a_request_to_stop_reaches_what_was_asked_for_before_it_and_nothing_later() -> None:
    """Requests of a page may overtake each other: each says when it was made."""
    with running() as caller:
        loaded = caller.work("demo")["done"]
        # Nothing comes of it and nobody walks there: it takes no time.
        nothing = {"options": {"level": "field", "min-parks": 9}}
        now = time.time() * 1000

        def search(at: float) -> dict[str, Any]:
            given = {"job": "search", "given": {"settings": {**loaded, **nothing}}, "at": at}
            return caller.ask("POST", caller.here("/do"), given).json

        caller.ask("POST", caller.here("/stop"), {"at": now + 1})
        assert search(now).get("stopped")
        assert "done" in search(now + 2)
        # One that comes late does not end what was asked for after it.
        thread, answers = begin_search(caller, {**loaded, "options": {"level": "field"}})
        caller.ask("POST", caller.here("/stop"), {"at": now + 3})
        thread.join(120)
        assert "done" in answers[0]


def test_a_process_that_is_being_ended_takes_no_more_jobs() -> None:
    """Its answer may still be on the way, and the system has not told yet that it is gone."""

    async def end() -> tuple[bool, bool]:
        worker = await Worker.start()
        before = worker.alive
        ending = asyncio.create_task(worker.end())
        await asyncio.sleep(0)
        after = worker.alive
        await ending
        return before, after

    # In a thread of its own: where browser tests ran before, this one has a loop already.
    with ThreadPoolExecutor(1) as pool:
        assert pool.submit(lambda: asyncio.run(end())).result() == (True, False)


@pytest.mark.skipif(not processes._can_copy(), reason="workers are copies on Linux only")
def test_work_goes_on_when_the_process_that_is_copied_has_ended() -> None:
    with running() as caller:
        assert "done" in caller.work("visits")
        copied = processes._template._process
        assert copied is not None
        copied.send_signal(signal.SIGKILL)
        copied.wait(60)
        for _ in range(2):  # the one that waits is there already, the next is a copy of a new one
            assert "done" in Caller(caller.desk).enter().work("visits")
        assert processes._template._process is not copied


@pytest.mark.skipif(not processes._can_copy(), reason="workers are copies on Linux only")
def test_a_copy_that_is_ended_before_it_is_there_says_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    processes._template.close()  # the next one has yet to import everything

    async def end_early() -> Any:
        early = await Worker.start()
        await early.end()
        later = await Worker.start()
        message = {"job": "locate", "given": {"place": "JO22ab"}, "roles": {}}
        answer = await later.do(message, lambda _: None)
        assert processes._template._process is not None
        while len(list_descendants(processes._template._process.pid)) > 1:
            await asyncio.sleep(0.01)
        await later.end()
        return answer

    with ThreadPoolExecutor(1) as pool:
        assert "done" in pool.submit(lambda: asyncio.run(end_early())).result(120)
    processes._template.close()
    assert capfd.readouterr().err == ""


def call_desk(run: subprocess.Popen[str]) -> Caller:
    """Somebody who knows the address that a desk in a process of its own has told."""
    assert run.stdout is not None
    found = re.search(r":(\d+)/#(\S+)$", run.stdout.readline())
    assert found is not None
    desk = type("Desk", (), {"port": int(found[1]), "keys": type("K", (), {"shown": found[2]})})
    return Caller(desk)  # type: ignore[arg-type]


@pytest.mark.skipif(not processes._can_copy(), reason="workers are copies on Linux only")
def test_no_copy_outlives_a_desk_that_is_killed(tmp_path: Path) -> None:
    run = subprocess.Popen(
        [*SCOUT, "desk", "--no-browser"],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(tmp_path)},
    )
    caller = call_desk(run)
    caller.enter()
    loaded = caller.work("demo")["done"]

    def search() -> None:
        with suppress(OSError, HTTPException):  # cut off
            caller.work("search", settings=loaded)

    thread = threading.Thread(target=search)
    thread.start()
    while not caller.ask("GET", caller.here("/progress")).json["progress"]:
        time.sleep(0.02)
    handles = [os.pidfd_open(pid) for pid in list_descendants(run.pid)]
    assert len(handles) >= 3  # the one that is copied, the one that searches, the one that waits
    run.kill()
    run.communicate(timeout=60)  # at its end nobody holds its terminal any more
    thread.join(60)
    for handle in handles:
        assert select.select([handle], [], [], 60)[0]
        os.close(handle)


def list_descendants(parent: int) -> list[int]:
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            if int(path.read_text().rsplit(")", 1)[1].split()[1]) == parent:
                pid = int(path.parent.name)
                found += [pid, *list_descendants(pid)]
    return found


@posix
def test_nothing_that_a_library_says_comes_to_the_terminal(tmp_path: Path) -> None:
    run = subprocess.Popen(
        [*SCOUT, "desk", "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(tmp_path), "PYTHONWARNINGS": "always"},
    )
    caller = call_desk(run)
    with socket.create_connection(("127.0.0.1", caller.desk.port), 10) as line:
        line.sendall(b"nonsense\r\n\r\n")
        line.recv(200)
    caller.enter()
    broken = tmp_path / "broken.gpkg"
    broken.write_bytes((HERE.parent / "data_demo" / "forest.gpkg").read_bytes()[:9000])
    caller.bring(broken)
    caller.bring(HERE.parent / "data_demo" / "barriers.geojson", "heights", "x.tif")
    caller.work("preview", settings={})
    run.send_signal(signal.SIGTERM)
    out, err = run.communicate(timeout=60)
    assert err == ""
    lines = out.splitlines()
    assert lines[-1] == "The desk is closed."
    assert [line for line in lines if "#" in line] == [
        one for one in lines if one.startswith("The next window opens")
    ]
    assert caller.desk.keys.shown not in out
