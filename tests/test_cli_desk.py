"""``scout desk`` itself: its address, its end, its entry in a menu, and what it refuses."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from http.client import HTTPException
from pathlib import Path

import desks  # skips where the desk is not installed
import pytest
from click.testing import CliRunner

from scout.__main__ import main
from scout.cli import command
from scout.desk.server import DeskServer, open_browser

SCOUT = [sys.executable, "-c", "import sys; from scout.__main__ import main; sys.exit(main(sys.argv[1:]))"]


@pytest.mark.skipif(os.name == "nt", reason="signals are POSIX's")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_it_ends_cleanly_by_a_signal_and_leaves_nothing(tmp_path: Path, how: signal.Signals) -> None:
    words = [*SCOUT, "desk", "--no-browser"]
    process = subprocess.Popen(
        words,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(tmp_path)},
    )
    assert process.stdout is not None
    found = re.search(r"at (http://127\.0\.0\.1:(\d+)/#(\S+))$", process.stdout.readline())
    assert found is not None
    assert len(list(tmp_path.iterdir())) == 1
    process.send_signal(how)
    out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, "")
    assert out.endswith("The desk is closed.\n")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name == "nt", reason="signals are POSIX's")
def test_it_ends_without_a_word_while_a_job_and_an_upload_are_under_way(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [*SCOUT, "desk", "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(tmp_path)},
    )
    assert process.stdout is not None
    found = re.search(r":(\d+)/#(\S+)$", process.stdout.readline())
    assert found is not None
    port = int(found[1])
    desk = type("Desk", (), {"port": port, "keys": type("K", (), {"shown": found[2]})})
    caller = desks.Caller(desk).enter()  # type: ignore[arg-type]
    loaded = caller.work("demo")["done"]
    answers: list[str] = []

    def search() -> None:
        try:
            answers.append(str(caller.work("search", settings=loaded)))
        except (OSError, ValueError, HTTPException) as error:  # cut off
            answers.append(str(error))

    thread = threading.Thread(target=search)
    thread.start()
    while not caller.ask("GET", caller.here("/progress")).json["progress"]:
        time.sleep(0.02)
    with socket.create_connection(("127.0.0.1", port), 10) as line:
        head = f"PUT {caller.here('/file?name=a.kml')} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"
        line.sendall(f"{head}X-Desk-Key: {caller.key}\r\nContent-Length: 999\r\n\r\nhalf".encode())
        time.sleep(0.2)
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=60)
    thread.join(60)
    assert (process.returncode, err) == (0, "")
    assert out.endswith("The desk is closed.\n")
    assert len(answers) == 1
    assert list(tmp_path.iterdir()) == []


def test_the_browser_is_handed_an_address_that_works_once(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    monkeypatch.setattr("webbrowser.open", opened.append)
    desk = DeskServer()
    open_browser(desk)
    ticket = opened[0].split("#")[1]
    assert opened == [f"http://127.0.0.1:{desk.port}/#{ticket}"]
    assert ticket != desk.keys.shown
    assert desk.keys.exchange(ticket)
    assert not desk.keys.exchange(ticket)
    desk._socket.close()


def test_a_port_in_use_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        assert main(["desk", "--no-browser", "--port", str(port)]) == 2
    line = capsys.readouterr().err
    assert line.count("\n") == 1
    assert f"--port {port}" in line


def test_a_notebook_that_cannot_be_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "letter.gpkg").write_text("Dear", encoding="utf-8")
    for path in (tmp_path / "nowhere" / "x.gpkg", tmp_path / "letter.gpkg"):
        assert main(["desk", "--no-browser", "--notebook", str(path)]) == 2
        assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.skipif(sys.platform != "linux", reason="where Linux keeps its menu")
def test_the_entry_of_the_menu_opens_the_desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if not Path(sys.executable).with_name("scout").is_file():
        pytest.skip("scout is not installed beside this Python")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert main(["desk", "--menu", "--notebook", str(tmp_path / "visits.gpkg")]) == 0
    (entry,) = (tmp_path / ".local" / "share" / "applications").iterdir()
    values = dict(line.split("=", 1) for line in entry.read_text(encoding="utf-8").splitlines()[1:] if line)
    program, *words = values["Exec"].split()
    assert shutil.which(program) == program
    assert words == ["desk", "--until-left", f"--notebook={tmp_path / 'visits.gpkg'}"]
    assert CliRunner().invoke(command, [*words, "--help"]).exit_code == 0  # the words are understood
    assert Path(values["Icon"]).is_file()
    assert values["Terminal"] == "false"
    if shutil.which("desktop-file-validate"):
        subprocess.run(["desktop-file-validate", str(entry)], check=True)


def test_a_blank_in_a_path_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["desk", "--menu", "--notebook", str(tmp_path / "my visits.gpkg")]) == 2
    assert "blank" in capsys.readouterr().err
