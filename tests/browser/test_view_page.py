"""What an antenna sees, in a browser: the page of `scout view`, and the details of a spot on the map."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import sights
from playwright.sync_api import BrowserContext, Page, expect
from walked import harbour

from browser.conftest import Watched, all_sizes, both_schemes
from browser.test_axe import complaints
from scout.io.places import NamedPlace
from scout.model import Aim, Findings, Horizon
from scout.output.view import View, build_view_page
from scout.sight.horizon import prepare_ground
from scout.sight.outlook import PeakSeen, look_towards
from scout.sight.path import measure_path

HOSTILE = "<img src=x onerror=alert(1)>\u202egnat"
AIMS = (Aim("JO22", None, 5.0, 52.5), Aim("240", 240.0))


def hills(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return (
        200.0
        + 150.0 * np.sin(x / 700.0) * np.cos(y / 900.0)
        + 400.0 * np.exp(-(x**2 + (y - 4000) ** 2) / 8e5)
    )


def seen() -> Horizon:
    return sights.see(sights.ground(hills, 6000.0, 50.0))


def horizon_page() -> str:
    horizon = seen()
    peaks = (PeakSeen(HOSTILE, 0.0, 4000.0, max(horizon.deg)), PeakSeen("Low Nab", 200.0, 900.0, 1.0))
    place = NamedPlace(HOSTILE, 10.0, 45.0, "", None, None)
    aims = tuple(look_towards(horizon, 10.0, 45.0, AIMS))
    return build_view_page(View(place, 5.0, (50.0, 700.0), (HOSTILE,), horizon, aims, peaks))


def path_page() -> str:
    ground = prepare_ground([sights.ground(hills, 6000.0, 50.0)])
    path = measure_path(ground, (10.0, 45.0, 5.0), (10.03, 45.03, 5.0), 145.0)
    one, other = (NamedPlace(name, 10.0, 45.0, "", None, None) for name in ("Here", HOSTILE))
    view = View(one, 5.0, (50.0, 700.0), (), other=other, other_antenna_m=5.0, path=path, obstacle=HOSTILE)
    return build_view_page(view)


@pytest.fixture
def open_text(context: BrowserContext, tmp_path: Path) -> Callable[[str], Watched]:
    def open_(text: str) -> Watched:
        path = tmp_path / "view.html"
        path.write_text(text, encoding="utf-8")
        watched = Watched(context.new_page(), path)
        watched.page.on("request", lambda request: watched.requests.append(request.url))
        watched.page.on("console", lambda message: watched.messages.append(message.text))
        watched.page.on("dialog", lambda dialog: (watched.messages.append("dialog"), dialog.dismiss()))
        watched.page.goto(path.as_uri())
        return watched

    return open_


def overflows(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"))


@both_schemes
@all_sizes
@pytest.mark.parametrize("make", [horizon_page, path_page])
def test_a_page_of_a_view_asks_for_nothing_fits_and_has_nothing_to_object_to(
    open_text: Callable[[str], Watched], make: Callable[[], str]
) -> None:
    watched = open_text(make())
    assert not overflows(watched.page)
    assert complaints(watched.page) == []
    assert watched.asked_for() == []
    assert watched.messages == []
    expect(watched.page.locator("h1")).to_contain_text("onerror")


def harbour_with_a_view() -> Findings:
    found = harbour()
    short = replace(seen(), reach_m=(2500.0,) * 360, needed_m=100_000.0)
    spots = [
        replace(one, horizon=horizon) for one, horizon in zip(found.spots, (seen(), short, None), strict=True)
    ]
    return replace(found, spots=spots, aims=AIMS)


@both_schemes
@all_sizes
def test_the_details_of_a_spot_show_the_horizon(open_page: Callable[..., Watched]) -> None:
    watched = open_page(harbour_with_a_view(), "#spot=1")
    page = watched.page
    expect(page.get_by_role("heading", name="What the antenna sees")).to_be_visible()
    picture = page.get_by_role("img", name=re.compile("Horizon from above, north up. Open from"))
    expect(picture).to_have_count(1)
    assert picture.locator(".horizon-aim").count() == 2
    numbers = page.locator("details", has_text="In numbers")
    numbers.locator("summary").click()
    expect(numbers.locator("tbody tr")).to_have_count(12)
    assert not overflows(page)
    assert complaints(page) == []
    assert watched.messages == []


def test_what_is_unknown_is_drawn_apart_and_a_spot_without_heights_has_no_picture(
    open_page: Callable[..., Watched],
) -> None:
    page = open_page(harbour_with_a_view(), "#spot=2").page
    picture = page.locator(".horizon svg")
    expect(picture.locator(".horizon-hidden")).to_have_count(1)
    assert picture.locator(".horizon-doubt").count() > 0
    assert picture.locator(".horizon-open").count() == 0
    numbers = page.locator("details", has_text="In numbers")
    assert "open" not in numbers.locator("tbody").inner_text().lower().split()
    page.goto(page.url.replace("#spot=2", "#spot=3"))
    expect(page.locator("#details-title")).to_contain_text("Spot 3")
    expect(page.locator(".horizon")).to_have_count(0)
