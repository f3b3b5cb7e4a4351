"""A desk in a thread of the test, and a plain HTTP client that says exactly what it is told to say."""

from __future__ import annotations

import http.client
import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

pytest.importorskip("starlette", reason="the desk comes with lattice-scout[desk]")
pytest.importorskip("uvicorn", reason="the desk comes with lattice-scout[desk]")

from scout.desk.limits import Limits
from scout.desk.server import DeskServer

ROOT = Path(__file__).resolve().parents[1]


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


class Caller:
    """Somebody on this machine who talks to the desk."""

    def __init__(self, desk: DeskServer) -> None:
        self.desk, self.key, self.id, self.door = desk, "", "", ""

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> Answer:
        """One request; headers with _ for -, and None leaves out the key."""
        line = http.client.HTTPConnection("127.0.0.1", self.desk.port, timeout=300)
        given = {"Host": f"127.0.0.1:{self.desk.port}", "X-Desk-Key": self.key}
        given |= {name.replace("_", "-"): value for name, value in headers.items()}
        content = json.dumps(body).encode() if isinstance(body, dict) else body
        try:
            line.request(
                method, path, content, given, encode_chunked=given.get("Transfer-Encoding") == "chunked"
            )
            found = line.getresponse()
            return Answer(found.status, {k.lower(): v for k, v in found.getheaders()}, found.read())
        finally:
            line.close()

    def enter(self) -> Caller:
        """Exchange the key and open a window."""
        self.key = self.ask("POST", "/api/enter", {"key": self.desk.keys.shown}).json["key"]
        told = self.ask("POST", "/api/windows").json
        self.id, self.door = told["id"], told["door"]
        return self

    def here(self, rest: str = "") -> str:
        return f"/api/windows/{self.id}{rest}"

    def bring(self, path: Path, role: str = "parks", name: str | None = None) -> Answer:
        query = urlencode({"name": path.name if name is None else name, "role": role})
        return self.ask("PUT", self.here(f"/file?{query}"), path.read_bytes())

    def work(self, job: str, **given: Any) -> Any:
        """A job's whole answer."""
        return self.ask("POST", self.here("/do"), {"job": job, "given": given}).json

    def made(self, name: str) -> bytes:
        return self.ask("GET", f"/made/{self.door}/{name}").body


@contextmanager
def running(notebook: str = "", until_left: bool = False, **limits: Any) -> Iterator[Caller]:
    """A desk that serves, its first caller let in."""
    desk = DeskServer(notebook=notebook, until_left=until_left, limits=Limits(**limits))
    up = threading.Event()
    thread = threading.Thread(target=desk.run, args=(up.set,))
    thread.start()
    try:
        assert up.wait(60)
        yield Caller(desk).enter()
    finally:
        desk.stop()
        thread.join(60)
        assert not thread.is_alive()
