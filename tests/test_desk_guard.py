"""Who may not ask is turned away, and whoever floods the desk is bounded, while it goes on answering."""

from __future__ import annotations

import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from desks import Caller, running

from scout.desk.access import Keys


@pytest.fixture(scope="module")
def caller() -> Iterator[Caller]:
    with running(
        file_bytes=200_000, all_bytes=500_000, files=8, head_s=1.0, body_s=1.0, connections=24
    ) as one:
        yield one


def alive(caller: Caller) -> bool:
    return caller.ask("GET", "/api/ping").status == 200


def test_the_page_is_handed_out_with_a_strict_policy(caller: Caller) -> None:
    answer = caller.ask("GET", "/", X_Desk_Key="")
    assert answer.status == 200
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["cache-control"] == "no-store"
    assert "access-control-allow-origin" not in answer.headers
    assert caller.desk.keys.shown.encode() not in answer.body


def test_no_inline_script_and_no_handler_is_in_the_page(caller: Caller) -> None:
    page = caller.ask("GET", "/").body.decode()
    assert page.count("<script") == page.count("<script src=") + page.count('<script type="module" src=')
    assert "style=" not in page
    assert not [word for word in page.split() if word.startswith("on") and "=" in word]


@pytest.mark.parametrize("key", ["", "wrong", "x" * 43])
@pytest.mark.parametrize(
    ("method", "path"),
    [("GET", "/api/ping"), ("POST", "/api/windows"), ("POST", "/api/stop"), ("POST", "/api/place")],
)
def test_a_wrong_key_opens_nothing(caller: Caller, method: str, path: str, key: str) -> None:
    assert caller.ask(method, path, X_Desk_Key=key).status == 401
    assert alive(caller)


def test_a_wrong_key_is_not_exchanged(caller: Caller) -> None:
    assert caller.ask("POST", "/api/enter", {"key": "wrong"}).status == 401
    assert caller.ask("POST", "/api/enter", {"key": ["list"]}).status == 401
    assert caller.ask("POST", "/api/enter", b'{"key": "\\ud800"}').status == 400
    assert caller.ask("GET", "/made/%C3%A9/x").status == 404


def test_a_ticket_opens_once() -> None:
    keys = Keys()
    ticket = keys.ticket()
    session = keys.exchange(ticket)
    assert session is not None
    assert keys.fits(session)
    assert keys.exchange(ticket) is None
    assert keys.exchange(keys.shown) == session
    assert not keys.fits(ticket)
    assert not keys.fits(keys.shown)


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:80", "127.0.0.1", "127.0.0.1.evil.example:1", ""]
)
def test_another_host_is_refused(caller: Caller, host: str) -> None:
    assert caller.ask("GET", "/", Host=host).status == 421
    assert caller.ask("GET", "/api/ping", Host=host).status == 421


def test_two_hosts_are_refused(caller: Caller) -> None:
    port = caller.desk.port
    head = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nHost: evil.example\r\n\r\n"
    with socket.create_connection(("127.0.0.1", port), 10) as line:
        line.sendall(head.encode())
        assert line.recv(200).split(b" ")[1] in (b"400", b"421")


def test_localhost_is_this_machine_too(caller: Caller) -> None:
    assert caller.ask("GET", "/api/ping", Host=f"localhost:{caller.desk.port}").status == 200


@pytest.mark.parametrize(
    "origin", ["https://evil.example", "null", "http://127.0.0.1:1", "http://127.0.0.1.evil.example"]
)
def test_a_post_of_another_page_is_refused_though_it_has_the_key(caller: Caller, origin: str) -> None:
    assert caller.ask("POST", "/api/windows", {}, Origin=origin).status == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_the_browser_says_comes_from_elsewhere_is_refused(caller: Caller, site: str) -> None:
    assert caller.ask("POST", "/api/windows", {}, Sec_Fetch_Site=site).status == 403
    assert caller.ask("GET", "/", Sec_Fetch_Site=site).status == 403


def test_no_other_origin_is_told_that_it_may_ask(caller: Caller) -> None:
    answer = caller.ask("OPTIONS", "/api/windows", Origin="https://evil.example")
    assert answer.status == 403
    assert not [name for name in answer.headers if name.startswith("access-control")]


@pytest.mark.parametrize(
    "path",
    [
        "/own/../server.py", "/own/..%2fserver.py", "/own/server.py", "/own/%2e%2e/%2e%2e/pyproject.toml",
        "/own/", "/made/", "/made/x/y", "/api/", "/..%2f..%2fetc/passwd", "//etc/passwd",
    ],
)  # fmt: skip
def test_nothing_is_listed_and_nothing_lies_outside(caller: Caller, path: str) -> None:
    assert caller.ask("GET", path).status in (404, 405)


@pytest.mark.parametrize("name", ["..%2foutgoing", "%2e%2e%2fbrought%2fparks.geojson", "..", ".%2f", "%00"])
def test_made_files_are_those_of_the_folder_only(caller: Caller, name: str) -> None:
    assert caller.ask("GET", f"/made/{caller.door}/{name}").status == 404


@pytest.mark.parametrize(
    "name",
    [
        "../evil.geojson", "..\\evil.geojson", "/etc/evil.geojson", "C:\\evil.kml", "a/b.kml", ".x.geojson",
        "-rf.geojson", "evil.geojson\0", "evil\n.geojson", "con.geojson", "x.exe", "x.vrt", "x", "",
        "a" * 300 + ".kml", "evil.geojson.", "loaded.toml", "outing.toml", "visits.gpkg",
    ],
)  # fmt: skip
def test_names_that_lead_elsewhere_are_refused(caller: Caller, tmp_path: Path, name: str) -> None:
    file = tmp_path / "x"
    file.write_bytes(b"{}")
    answer = caller.bring(file, name=name)
    assert "error" in answer.json
    assert caller.ask("GET", caller.here()).json["sizes"] == {}


def test_a_file_too_large_is_refused_by_what_it_says(caller: Caller) -> None:
    with socket.create_connection(("127.0.0.1", caller.desk.port), 10) as line:
        head = (
            f"PUT {caller.here('/file?name=big.geojson&role=parks')} HTTP/1.1\r\n"
            f"Host: 127.0.0.1:{caller.desk.port}\r\nX-Desk-Key: {caller.key}\r\n"
            "Content-Length: 2147483648\r\n\r\n"
        )
        line.sendall(head.encode() + b"{")
        assert line.recv(200).split(b" ")[1] == b"413"  # before the rest was sent
    assert alive(caller)


def test_whoever_asks_first_is_told_before_sending(caller: Caller) -> None:
    for query, said in (
        ("name=a.kml&size=10", None),
        ("name=a.kml&size=900000", "larger"),
        ("name=a.exe", "kind"),
    ):
        told = caller.ask("POST", caller.here(f"/file?role=parks&{query}")).json
        assert said is None or said in told["error"]["text"]
        assert (said is None) == ("error" not in told)


def pieces(total: int) -> Iterator[bytes]:
    for _ in range(total // 10_000):
        yield b" " * 10_000


def test_a_file_too_large_is_refused_while_it_comes(caller: Caller) -> None:
    path = caller.here("/file?name=big.geojson&role=parks")
    try:
        answer = caller.ask("PUT", path, pieces(50_000_000), Transfer_Encoding="chunked")
        assert answer.status == 413
    except (BrokenPipeError, ConnectionResetError):
        pass  # the desk hung up while it was being talked to
    assert alive(caller)
    told = caller.ask("GET", caller.here()).json
    assert told["sizes"] == {}


def test_all_files_together_are_bounded(caller: Caller, tmp_path: Path) -> None:
    file = tmp_path / "x"
    file.write_bytes(b" " * 190_000)
    errors = [caller.bring(file, name=f"{n}.geojson").status for n in range(4)]
    assert errors == [200, 200, 413, 413]
    for n in range(2):
        caller.ask("DELETE", caller.here(f"/file?name={n}.geojson"))
    assert caller.ask("GET", caller.here()).json["sizes"] == {}


def test_nothing_half_brought_stays(caller: Caller) -> None:
    with socket.create_connection(("127.0.0.1", caller.desk.port), 10) as line:
        head = (
            f"PUT {caller.here('/file?name=half.geojson&role=parks')} HTTP/1.1\r\n"
            f"Host: 127.0.0.1:{caller.desk.port}\r\nX-Desk-Key: {caller.key}\r\nContent-Length: 1000\r\n\r\n"
        )
        line.sendall(head.encode() + b"{")
    assert alive(caller)
    assert caller.ask("GET", caller.here()).json["sizes"] == {}


@pytest.mark.parametrize("body", [b"", b"[1]", b"nonsense", b"{" * 5000, b"\xff\xfe"])
def test_what_is_no_question_is_answered_all_the_same(caller: Caller, body: bytes) -> None:
    assert caller.ask("POST", caller.here("/do"), body).status in (200, 400)
    assert alive(caller)


def test_a_question_too_long_is_refused(caller: Caller) -> None:
    assert caller.ask("POST", caller.here("/do"), b" " * 400_000).status == 413


def test_windows_are_bounded(caller: Caller) -> None:
    answers = [caller.ask("POST", "/api/windows").json for _ in range(caller.desk.limits.workspaces + 3)]
    assert "error" in answers[-1]
    assert len([one for one in answers if "id" in one]) == caller.desk.limits.workspaces - 1


def test_a_thousand_requests_at_once_are_answered(caller: Caller) -> None:
    statuses: list[int] = []

    def many() -> None:
        for _ in range(125):
            statuses.append(caller.ask("GET", "/api/ping").status)

    threads = [threading.Thread(target=many) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert statuses == [200] * 1000


def half_open(caller: Caller) -> socket.socket:
    line = socket.create_connection(("127.0.0.1", caller.desk.port), 10)
    line.sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{caller.desk.port}\r\nX-Slow: ".encode())
    return line


def closed(line: socket.socket) -> bool:
    try:
        return line.recv(1) == b""
    except ConnectionResetError:
        return True


def test_half_open_connections_make_way_for_whole_ones(caller: Caller) -> None:
    lines = [half_open(caller) for _ in range(caller.desk.limits.connections * 4)]
    try:
        assert alive(caller)  # while they all wait
        for line in lines:
            line.settimeout(20)
        assert all(closed(line) for line in lines)  # and none waits for ever
    finally:
        for line in lines:
            line.close()
    assert alive(caller)


def test_who_sends_a_letter_at_a_time_is_dropped_as_well(caller: Caller) -> None:
    with half_open(caller) as line:
        line.settimeout(0.2)
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


def test_a_body_that_never_comes_is_not_waited_for(caller: Caller) -> None:
    with socket.create_connection(("127.0.0.1", caller.desk.port), 30) as line:
        head = (
            f"POST /api/place HTTP/1.1\r\nHost: 127.0.0.1:{caller.desk.port}\r\n"
            f"X-Desk-Key: {caller.key}\r\nContent-Length: 10\r\n\r\n"
        )
        line.sendall(head.encode())
        assert line.recv(200).split(b" ")[1] == b"408"
    assert alive(caller)


def test_it_listens_to_this_machine_only(caller: Caller) -> None:
    assert caller.desk._socket.getsockname()[0] == "127.0.0.1"


def test_a_closed_tab_is_forgotten_and_an_open_one_is_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with running(left_s=0.3) as one:
        other = one.ask("POST", "/api/windows").json["id"]
        (folder,) = tmp_path.iterdir()
        assert folder.stat().st_mode & 0o777 == 0o700
        one.ask("POST", one.here("/left"))
        deadline = time.monotonic() + 60
        while (folder / one.id).exists() and time.monotonic() < deadline:
            time.sleep(0.1)
        assert [path.name for path in folder.iterdir()] == [other]
        assert one.ask("GET", one.here()).status == 404
    assert list(tmp_path.iterdir()) == []  # nothing is left when the desk stops


def test_a_desk_without_a_terminal_ends_when_its_last_window_has_gone() -> None:
    with running(until_left=True, left_s=0.2) as one:
        one.ask("POST", one.here("/left"))
        deadline = time.monotonic() + 60
        while one.desk.workspaces is not None and time.monotonic() < deadline:
            time.sleep(0.1)
        assert one.desk.workspaces is None
