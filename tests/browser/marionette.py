"""Firefox by its own remote protocol (Marionette, Firefox source docs): a length, a colon, a JSON array."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

FIREFOX = ("firefox-esr", "firefox")
_START_S = 60
_PREFERENCES = {
    "marionette.port": 0,  # any free one; the profile says which
    "app.update.disabledForTesting": True,
    "browser.shell.checkDefaultBrowser": False,
    "browser.startup.page": 0,
    "datareporting.policy.dataSubmissionEnabled": False,
    "network.proxy.type": 1,  # a proxy nobody serves: nothing leaves
    "network.proxy.http": "127.0.0.1",
    "network.proxy.http_port": 9,
    "network.proxy.ssl": "127.0.0.1",
    "network.proxy.ssl_port": 9,
    "toolkit.telemetry.reportingpolicy.firstRun": False,
}


def firefox_path() -> str | None:
    return next((path for path in map(shutil.which, FIREFOX) if path), None)


class Firefox:
    """One headless Firefox and its session."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=_START_S)
        self._buffer = b""
        self._count = 0
        self._receive()
        self.ask("WebDriver:NewSession", {"capabilities": {"alwaysMatch": {"pageLoadStrategy": "normal"}}})

    def close(self) -> None:
        self._socket.close()

    def ask(self, command: str, parameters: dict[str, Any] | None = None) -> Any:
        self._count += 1
        message = json.dumps([0, self._count, command, parameters or {}]).encode()
        self._socket.sendall(str(len(message)).encode() + b":" + message)
        _, _, error, result = self._receive()
        if error:
            raise RuntimeError(f"{command}: {error['message']}")
        return result

    def _receive(self) -> Any:
        while b":" not in self._buffer:
            self._buffer += self._more()
        size, _, self._buffer = self._buffer.partition(b":")
        while len(self._buffer) < int(size):
            self._buffer += self._more()
        message, self._buffer = self._buffer[: int(size)], self._buffer[int(size) :]
        return json.loads(message)

    def _more(self) -> bytes:
        data = self._socket.recv(65536)
        if not data:
            raise RuntimeError("Firefox closed the connection")
        return data

    def open(self, address: str) -> None:
        self.ask("WebDriver:Navigate", {"url": address})
        self.wait('return document.documentElement.classList.contains("ready")')

    def run(self, script: str, *arguments: Any) -> Any:
        return self.ask("WebDriver:ExecuteScript", {"script": script, "args": list(arguments)})["value"]

    def wait(self, script: str) -> None:
        end = time.monotonic() + 20
        while not self.run(script):
            if time.monotonic() > end:
                raise RuntimeError(f"never came true: {script}")
            time.sleep(0.05)

    def complaints(self, part: str) -> list[str]:
        """Messages of the browser's console about files whose address holds a text."""
        self.ask("Marionette:SetContext", {"value": "chrome"})
        found: list[str] = self.run(
            """return Services.console.getMessageArray()
                .filter((m) => m instanceof Ci.nsIScriptError && m.sourceName.includes(arguments[0]))
                .map((m) => m.errorMessage)""",
            part,
        )
        self.ask("Marionette:SetContext", {"value": "content"})
        return found


@contextmanager
def firefox(folder: Path, width: int = 1280, height: int = 860) -> Iterator[Firefox]:
    """A headless Firefox with a profile of its own, gone afterwards."""
    path = firefox_path()
    assert path is not None
    profile = folder / "profile"
    profile.mkdir()
    lines = (f"user_pref({json.dumps(key)}, {json.dumps(value)});" for key, value in _PREFERENCES.items())
    (profile / "user.js").write_text("\n".join(lines), encoding="utf-8")
    size = ("--width", str(width), "--height", str(height))
    process = subprocess.Popen(
        [
            path,
            "--headless",
            "--marionette",
            "-remote-allow-system-access",
            "--no-remote",
            "--profile",
            str(profile),
            *size,
        ],
        env={"PATH": "/usr/bin:/bin", "HOME": str(folder)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    browser = None
    try:
        browser = Firefox(_port_of(profile))
        yield browser
    finally:
        if browser is not None:
            browser.close()
        process.terminate()
        process.wait(timeout=20)


def _port_of(profile: Path) -> int:
    end = time.monotonic() + _START_S
    told = profile / "MarionetteActivePort"
    while time.monotonic() < end:
        if told.exists() and told.read_text().strip():
            return int(told.read_text())
        time.sleep(0.1)
    raise RuntimeError("Firefox did not start")
