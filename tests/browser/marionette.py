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
_LEAST_WIDTH = 500  # no window of Firefox is narrower
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
    "dom.ipc.processHangMonitor": False,  # on a busy machine it ends scripts of a page that is being left
    # The position is asked of nobody: `stand_at` says it.
    "geo.prompt.testing": True,
    "geo.prompt.testing.allow": True,
    "geo.provider.use_geoclue": False,
    "geo.provider.network.url": "data:application/json,{}",
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

    def size(self, width: int, height: int) -> None:
        """Give the inside of the window a size, CSS pixels; below its least width by zooming in."""
        zoom = max(1.0, _LEAST_WIDTH / width)
        self._in_chrome("FullZoom.setZoom(arguments[0])", zoom)
        for _ in range(2):  # the second time with the frame around the inside known
            more = self._in_chrome(
                """const inside = gBrowser.selectedBrowser.getBoundingClientRect();
                   return [outerWidth - inside.width, outerHeight - inside.height]"""
            )
            wanted = [
                round(zoom * side) + round(edge) for side, edge in zip((width, height), more, strict=True)
            ]
            self.ask("WebDriver:SetWindowRect", {"width": wanted[0], "height": wanted[1]})

    def _in_chrome(self, script: str, *arguments: Any) -> Any:
        self.ask("Marionette:SetContext", {"value": "chrome"})
        try:
            return self.run(script, *arguments)
        finally:
            self.ask("Marionette:SetContext", {"value": "content"})

    def run(self, script: str, *arguments: Any) -> Any:
        return self.ask("WebDriver:ExecuteScript", {"script": script, "args": list(arguments)})["value"]

    def send(self, selector: str, text: str) -> None:
        """Type into an element; into a field for files, the path of one."""
        found = self.ask("WebDriver:FindElement", {"using": "css selector", "value": selector})["value"]
        (number,) = found.values()
        self.ask("WebDriver:ElementSendKeys", {"id": number, "text": text})

    def wait(self, script: str) -> None:
        end = time.monotonic() + 20
        while not self.run(script):
            if time.monotonic() > end:
                raise RuntimeError(f"never came true: {script}")
            time.sleep(0.05)

    @contextmanager
    def inside(self, frame: int = 0) -> Iterator[None]:
        """Run what follows in a frame of the page, whatever its origin."""
        self.ask("WebDriver:SwitchToFrame", {"id": frame})
        try:
            yield
        finally:
            self.ask("WebDriver:SwitchToFrame", {"id": None})

    def stand_at(self, lon: float, lat: float, accuracy: float) -> None:
        """Put the device somewhere."""
        place = {"location": {"lat": lat, "lng": lon}, "accuracy": accuracy}
        address = f"data:application/json,{json.dumps(place)}"
        self._in_chrome('Services.prefs.setStringPref("geo.provider.network.url", arguments[0])', address)

    def complaints(self, part: str) -> list[str]:
        """Messages of the browser's console about files whose address holds a text."""
        found: list[str] = self._in_chrome(
            """return Services.console.getMessageArray()
                .filter((m) => m instanceof Ci.nsIScriptError && m.sourceName.includes(arguments[0]))
                .map((m) => m.errorMessage)""",
            part,
        )
        return found


@contextmanager
def firefox(folder: Path) -> Iterator[Firefox]:
    """A headless Firefox with a profile of its own, gone afterwards."""
    path = firefox_path()
    assert path is not None
    profile = folder / "profile"
    profile.mkdir()
    lines = (f"user_pref({json.dumps(key)}, {json.dumps(value)});" for key, value in _PREFERENCES.items())
    (profile / "user.js").write_text("\n".join(lines), encoding="utf-8")
    process = subprocess.Popen(
        [
            path,
            "--headless",
            "--marionette",
            "-remote-allow-system-access",
            "--no-remote",
            "--profile",
            str(profile),
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
