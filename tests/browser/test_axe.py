"""axe-core (Deque, the rules of WCAG 2.2 AA and best practice) finds nothing to object to."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from typing import Any

import pytest
from builders import bay
from playwright.sync_api import Page
from walked import harbour

from browser.conftest import Watched, all_sizes
from browser.test_live import FEED, make_rest, record

pytest.importorskip("axe_playwright_python", reason="axe-core comes with axe-playwright-python")

Open = Callable[..., Watched]
AXE = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


def complaints(page: Page) -> list[tuple[str, str, str]]:
    """Rule, how grave, and the first element, of every violation."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE + ";0")
    only = "{ resultTypes: ['violations'] }"  # no list of what was in order: it takes as long again
    found: list[dict[str, Any]] = page.evaluate(f"async () => (await axe.run(document, {only})).violations")
    return [(v["id"], v["impact"], v["nodes"][0]["html"][:120]) for v in found]


def complaints_in_each_scheme(page: Page) -> list[tuple[str, str, str]]:
    """The same in light and in dark, in which the page is left."""
    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        found += complaints(page)
    return found


def unfold(page: Page) -> None:
    for box in ("filter-box", "picks-box", "key"):
        page.locator(f"#{box}").evaluate("box => { box.open = true; }")


@all_sizes
def test_nothing_to_object_to_with_the_details_open(open_page: Open) -> None:
    page = open_page(harbour(), "#spot=1").page
    unfold(page)
    assert complaints_in_each_scheme(page) == []


def test_nothing_to_object_to_in_a_check_and_a_measure(open_page: Open) -> None:
    page = open_page(bay(), "#check=45.00003,-20.00002").page
    unfold(page)
    for details in page.locator(".about details").all():
        details.evaluate("box => { box.open = true; }")
    assert complaints_in_each_scheme(page) == []
    page.locator("#measure-button").click()
    page.locator("#measure-middle").click()
    assert complaints_in_each_scheme(page) == []


@all_sizes
def test_nothing_to_object_to_while_the_device_is_followed_and_stands_still(open_page: Open) -> None:
    page = open_page(bay(), "#spot=3").page
    page.evaluate(FEED)
    page.locator("#live-button").click()
    record(page, make_rest(80, -20.0, 45.0)[:1])
    page.locator("#live-stand").click()
    record(page, make_rest(80, -20.0, 45.0)[1:])
    page.locator("#live-basis").evaluate("box => { box.open = true; }")
    page.locator(".live-stand strong").wait_for()
    assert complaints_in_each_scheme(page) == []


def test_nothing_to_object_to_and_nothing_said_at_every_size_in_light_and_dark(open_page: Open) -> None:
    opened = open_page(harbour())
    page = opened.page
    page.evaluate(FEED)
    for width, height in ((1440, 900), (1024, 768), (720, 450), (390, 844)):
        page.set_viewport_size({"width": width, "height": height})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            page.locator("#spots a.row").first.click()
            page.locator("#closer").click()
            page.locator("#live-button").click()
            record(page, make_rest(80, -20.0, 45.0)[:2])
            assert complaints(page) == [], (width, scheme)
            page.locator("#live-stop").click()
            page.evaluate(
                "['beforeprint', 'afterprint'].forEach((kind) => window.dispatchEvent(new Event(kind)))"
            )
            page.locator("#close").click()
            page.locator("#all-button").click()
            for button in ("#check-button", "#measure-button"):
                page.locator(button).click()
            page.locator("#measure-close").click()
    assert opened.messages == []
    assert opened.asked_for() == []


def test_a_fault_would_be_found(open_page: Open) -> None:
    page = open_page(bay()).page
    unfold(page)
    page.evaluate("() => document.getElementById('filters').append(document.createElement('select'))")
    assert ("select-name", "critical") in {complaint[:2] for complaint in complaints(page)}
