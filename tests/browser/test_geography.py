"""The base geography as it is drawn: sea where there is sea, at every turn of the world, gone close up."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from typing import Any

import pytest
from builders import bay, box, corner_spot, findings, parks_frame
from playwright.sync_api import Page

from browser.conftest import Watched, all_sizes, both_schemes, let_it_draw
from browser.ground import Ground, ground_of, tips
from scout.model import Findings

Open = Callable[..., Watched]
CREDIT = "Base geography: Natural Earth 1:50 million, coarse"


def around(*places: tuple[float, float]) -> Findings:
    """A spot at each of some places."""
    label = ("QX-1", "Long Shore")
    spots = [corner_spot(lon, lat, ["JN44"], [label]) for lon, lat in places]
    lon, lat = places[0]
    return findings(spots, parks_frame((label, box(lon - 0.2, lat - 0.1, lon + 0.2, lat + 0.1))), home=None)


# On the Ligurian coast and inland; either side of the antimeridian in Fiji.
COAST = ((8.2, 44.45), (9.9, 44.9))
FIJI = ((178.0, -17.8), (-179.95, -16.8))


def placed(page: Page, places: tuple[tuple[float, float], ...], turn: float = 0.0) -> Ground:
    at = tips(page)
    (one_lon, one_lat), (other_lon, other_lat) = places
    return ground_of((one_lon, one_lat), at[1], (other_lon + turn, other_lat), at[2])


def drawn_at(page: Page, ground: Ground, lon: float, lat: float) -> list[int]:
    """Red, green, blue and opacity of the base geography alone."""
    x, y = ground.pixel(lon, lat)
    found: list[int] = page.evaluate(
        """([x, y]) => {
            const canvas = document.querySelector(".leaflet-geography-pane canvas");
            if (!canvas) return [0, 0, 0, 0];
            const frame = canvas.getBoundingClientRect();
            const scale = canvas.width / frame.width;
            const at = [(x - frame.left) * scale, (y - frame.top) * scale].map(Math.round);
            return [...canvas.getContext("2d").getImageData(...at, 1, 1).data];
        }""",
        [x, y],
    )
    return found


def colour_of(page: Page, name: str) -> list[int]:
    found: list[int] = page.evaluate(
        """(name) => {
            const probe = document.createElement("span");
            document.querySelector(".map").append(probe);
            probe.style.color = `var(--${name})`;
            const parts = getComputedStyle(probe).color.match(/[0-9]+/g).map(Number);
            probe.remove();
            return parts;
        }""",
        name,
    )
    return found


def zoom(page: Page, steps: int) -> None:
    for _ in range(abs(steps)):
        page.locator(f".leaflet-control-zoom-{'in' if steps > 0 else 'out'}").click()
    let_it_draw(page)


@both_schemes
@all_sizes
def test_sea_is_where_there_is_sea(open_page: Open) -> None:
    watched = open_page(around(*COAST))
    page = watched.page
    zoom(page, -1)
    ground = placed(page, COAST)
    assert drawn_at(page, ground, 9.0, 44.1) == [*colour_of(page, "sea"), 255]
    assert drawn_at(page, ground, 9.05, 44.75)[3] == 0
    # Chromium remarks on what this test itself does with the canvas.
    assert [text for text in watched.messages if "willReadFrequently" not in text] == []
    assert watched.asked_for() == []


def test_both_sides_of_the_antimeridian_have_land_and_sea(open_page: Open) -> None:
    page = open_page(around(*FIJI)).page
    zoom(page, -1)
    ground = placed(page, FIJI, 360.0)
    sea = [*colour_of(page, "sea"), 255]
    # The middle of Viti Levu; east of Taveuni, whose edge runs along the antimeridian; open water beyond it.
    assert drawn_at(page, ground, 178.0, -17.8)[3] == 0
    assert drawn_at(page, ground, 178.9, -17.6) == sea
    assert drawn_at(page, ground, 180.6, -17.3) == sea
    seam = [drawn_at(page, ground, 180.0 + dx / 100, -17.4) for dx in range(-6, 7)]
    assert seam == [sea] * len(seam)


def test_close_up_nothing_of_the_base_is_drawn_and_the_map_says_so(open_page: Open) -> None:
    page = open_page(around(*COAST)).page
    credit = page.locator(".leaflet-control-attribution")
    assert credit.text_content() == CREDIT
    assert page.locator(".town-name").count() > 0
    zoom(page, 5)
    assert credit.text_content() == ""
    assert page.locator(".town-name, .water-name").count() == 0
    painted = page.evaluate(
        """() => {
            const canvas = document.querySelector(".leaflet-geography-pane canvas");
            const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
            return data.some((value) => value > 0);
        }"""
    )
    assert painted is False
    zoom(page, -5)
    assert credit.text_content() == CREDIT


def test_the_switch_takes_the_base_away_and_brings_it_back(open_page: Open) -> None:
    page = open_page(around(*COAST)).page
    zoom(page, -1)
    ground = placed(page, COAST)
    page.locator("#key").evaluate("key => { key.open = true; }")
    box = page.locator("#key input[value=geography]")
    box.uncheck()
    let_it_draw(page)
    assert drawn_at(page, ground, 9.0, 44.1) == [0, 0, 0, 0]
    assert page.locator(".town-name, .water-name").count() == 0
    assert page.locator(".leaflet-control-attribution").text_content() == ""
    box.check()
    let_it_draw(page)
    assert drawn_at(page, ground, 9.0, 44.1)[3] == 255
    assert page.locator(".town-name").count() > 0


@all_sizes
def test_names_keep_clear_of_each_other_and_of_marks(open_page: Open) -> None:
    page = open_page(around(*COAST, (11.3, 46.4), (4.8, 45.7))).page
    for _ in range(5):
        found: list[dict[str, Any]] = page.evaluate(
            """() => [...document.querySelectorAll(".town-name, .water-name, .cell-name, .park-name, .mark")]
                .filter((node) => !node.matches(".mark.small"))
                .map((node) => {
                    const { left, right, top, bottom } = node.getBoundingClientRect();
                    const ours = node.matches(".town-name, .water-name");
                    return { left, right, top, bottom, ours, text: node.textContent };
                })"""
        )
        for a, b in combinations(found, 2):
            if not (a["ours"] or b["ours"]):
                continue
            # Line boxes are a little taller than their letters.
            apart = max(
                a["left"] - b["right"], b["left"] - a["right"], a["top"] - b["bottom"], b["top"] - a["bottom"]
            )
            assert apart > -2.5, (a, b)
        if page.locator(".leaflet-control-zoom-out.leaflet-disabled").count():
            break
        zoom(page, -1)


def test_where_the_base_has_no_land_there_is_no_sea_and_the_map_says_why(open_page: Open) -> None:
    page = open_page(around((-33.0, 45.0), (-32.5, 45.2))).page
    zoom(page, -1)
    assert (
        page.locator(".leaflet-control-attribution").text_content()
        == "Natural Earth 1:50 million has no land here"
    )
    at = page.locator(".leaflet-geography-pane canvas").evaluate(
        """(canvas) => {
            const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
            return data.some((value) => value > 0);
        }"""
    )
    assert at is False


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_change_of_scheme_draws_the_base_anew(open_page: Open, scheme: str) -> None:
    page = open_page(around(*COAST)).page
    zoom(page, -1)
    ground = placed(page, COAST)
    before = drawn_at(page, ground, 9.0, 44.1)
    page.emulate_media(color_scheme="dark" if scheme == "light" else "light")
    for _ in range(100):  # the page hears of it when the browser is ready to tell
        if drawn_at(page, ground, 9.0, 44.1) != before:
            break
        page.wait_for_timeout(30)
    assert drawn_at(page, ground, 9.0, 44.1) == [*colour_of(page, "sea"), 255]


def test_north_is_marked(open_page: Open) -> None:
    page = open_page(bay()).page
    assert page.get_by_role("img", name="North is up").is_visible()
