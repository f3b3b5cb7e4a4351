"""What stands on and around the map at every size: nothing over anything else, and room for the map."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from typing import Any

import pytest
from playwright.sync_api import Page
from walked import harbour

from browser.conftest import Watched

Open = Callable[..., Watched]
WINDOWS = {
    "desk": (1440, 900),
    "small desk": (1280, 640),
    "old screen": (1024, 768),
    "half zoom": (720, 450),
    "phone": (390, 844),
    "narrow phone": (320, 640),
}
windows = pytest.mark.parametrize("window", list(WINDOWS))
FURNITURE = (
    "#measure-button",
    "#all-button",
    "#live-button",
    "#check-button",
    ".leaflet-control-zoom",
    "#key > summary",
)


def open_at(open_page: Open, window: str, address: str = "", findings: Any = None) -> Watched:
    """The page as it opens in a window of this size."""
    watched = open_page(findings or harbour(), address)
    width, height = WINDOWS[window]
    watched.page.set_viewport_size({"width": width, "height": height})
    watched.page.evaluate("localStorage.clear()")
    watched.page.reload()
    watched.page.wait_for_selector("html.ready", state="attached")
    return watched


def box_of(page: Page, query: str) -> tuple[float, float, float, float]:
    """Left, top, right and bottom in pixels of the window."""
    box = page.locator(query).first.bounding_box()
    assert box is not None, query
    return box["x"], box["y"], box["x"] + box["width"], box["y"] + box["height"]


def shared(a: tuple[float, ...], b: tuple[float, ...]) -> float:
    """The common area of two boxes."""
    return max(0, min(a[2], b[2]) - max(a[0], b[0])) * max(0, min(a[3], b[3]) - max(a[1], b[1]))


@windows
def test_nothing_on_the_map_lies_over_anything_else(open_page: Open, window: str) -> None:
    opened = open_at(open_page, window)
    page = opened.page
    page.locator("#key").evaluate("key => { key.open = false; }")
    boxes = {query: box_of(page, query) for query in FURNITURE}
    ground = box_of(page, ".ground")
    for (one, a), (other, b) in combinations(boxes.items(), 2):
        assert shared(a, b) == 0, (one, other)
    for query, box in boxes.items():
        assert shared(box, ground) == pytest.approx((box[2] - box[0]) * (box[3] - box[1])), query
    for name in ("Measure", "All places: show the whole map", "My position", "Check a place"):
        page.get_by_title(name).click(trial=True)
    assert opened.messages == []
