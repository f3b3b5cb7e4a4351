"""A page from findings, at two sizes, watched: whatever it asks for or says on the console is kept."""

from __future__ import annotations

import hashlib
import os
import pickle
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page

from scout.model import Findings
from scout.page.document import build_map
from scout.tours.day import Trip

SIZES = {"wide": (1440, 900), "middle": (820, 1180), "tall": (390, 844)}
# The first is the same without a frame of windows about it: half the processor time a page.
CHROMIUM = (
    "chromium-headless-shell",
    *("chromium", "chromium-browser", "google-chrome-stable", "google-chrome"),
)


def chromium_path() -> str | None:
    return next((path for path in map(shutil.which, CHROMIUM) if path), None)


def must_have(path: str | None, what: str, package: str) -> str:
    """The path; without one the test is skipped, but in CI, which must have it, it fails."""
    if path is None and os.environ.get("CI", "").lower() == "true":
        pytest.fail(f"no {what} on this machine, and CI must have one")
    if path is None:
        pytest.skip(f"no {what} on this machine; on Debian: apt install {package}")
    return path


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    path = must_have(chromium_path(), "Chromium", "chromium")
    return {"executable_path": path, "args": ["--no-sandbox"]}


@pytest.fixture(scope="session")
def poppler() -> None:
    must_have(shutil.which("pdftotext"), "pdftotext", "poppler-utils")


both_sizes = pytest.mark.parametrize("size", ["wide", "tall"])
all_sizes = pytest.mark.parametrize("size", list(SIZES))
both_schemes = pytest.mark.parametrize("scheme", ["light", "dark"])


@pytest.fixture
def size() -> str:
    return "wide"


@pytest.fixture
def scheme() -> str:
    return "light"


@pytest.fixture
def browser_context_args(size: str, scheme: str) -> dict[str, Any]:
    width, height = SIZES[size]
    return {
        "viewport": {"width": width, "height": height},
        "offline": True,
        "color_scheme": scheme,
        # Without animation a map has arrived as soon as it was told to go.
        "reduced_motion": "reduce",
        "has_touch": size != "wide",
    }


def reload_remembering(page: Page, change: Callable[[], None], is_kept: Callable[[], None]) -> None:
    """Load the page again and see that a change was kept; if not, make it once more and load again.

    The browser keeps its storage in a process of its own, which has once lost what it was told just before.
    """
    page.reload()
    try:
        is_kept()
    except AssertionError:
        change()
        page.reload()
        is_kept()


def let_it_draw(page: Page) -> None:
    """Wait until what was asked for is drawn: lines on a canvas come with the browser's next frame."""
    page.wait_for_timeout(50)
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


@dataclass
class Watched:
    """An open page and what it did."""

    page: Page
    path: Path
    requests: list[str] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)

    def asked_for(self) -> list[str]:
        """Requests for anything but the file itself; data URIs ask nobody."""
        own = self.path.as_uri()
        return [url for url in self.requests if url.split("#")[0] != own and not url.startswith("data:")]


_built: dict[bytes, str] = {}


def build_once(findings: Findings, trip: Trip | None) -> str:
    """The page of findings; the same ones often come again from one test to the next."""
    try:
        key = hashlib.sha256(pickle.dumps((findings, trip))).digest()
    except (AttributeError, pickle.PicklingError):  # those of a search hold functions
        return build_map(findings, trip=trip)
    if key not in _built:
        if len(_built) >= 32:
            _built.pop(next(iter(_built)))
        _built[key] = build_map(findings, trip=trip)
    return _built[key]


@pytest.fixture
def open_page(context: BrowserContext, tmp_path: Path) -> Callable[..., Watched]:
    def open_(
        findings: Findings,
        address: str = "",
        trip: Trip | None = None,
        window: tuple[int, int] | None = None,
    ) -> Watched:
        path = tmp_path / "map.html"
        path.write_text(build_once(findings, trip), encoding="utf-8")
        watched = Watched(context.new_page(), path)
        if window is not None:
            watched.page.set_viewport_size({"width": window[0], "height": window[1]})
        watched.page.on("request", lambda request: watched.requests.append(request.url))
        watched.page.on("console", lambda message: watched.messages.append(f"{message.type}: {message.text}"))
        watched.page.on("pageerror", lambda error: watched.messages.append(f"error: {error}"))
        watched.page.on("dialog", lambda dialog: (watched.messages.append("dialog"), dialog.dismiss()))
        watched.page.goto(path.as_uri() + address)
        watched.page.wait_for_selector("html.ready", state="attached")
        return watched

    return open_
