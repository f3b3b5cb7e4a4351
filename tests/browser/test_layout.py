"""What stands on and around the map at every size: nothing over anything else, and room for the map."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from typing import Any

import pytest
from builders import QUIET_COVE, bay, box, findings, line_spot, parks_frame
from playwright.sync_api import Page, expect
from test_page_first_sight import first_with
from walked import harbour

from browser.conftest import Watched, all_sizes, both_sizes, let_it_draw
from browser.ground import tips
from browser.test_geography import COAST, around
from scout.geo.geodesy import measure_geodesic
from scout.model import CoarseOutline, Findings
from scout.output.text import format_length

Open = Callable[..., Watched]
WINDOWS = {
    "desk": (1440, 900),
    "small desk": (1280, 640),
    "old screen": (1024, 768),
    "half zoom": (720, 450),
    "double zoom": (640, 320),
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
    return open_page(findings or harbour(), address, window=WINDOWS[window])


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
    for query, at in boxes.items():
        assert shared(at, ground) == pytest.approx((at[2] - at[0]) * (at[3] - at[1])), query
    for name in ("Measure", "All places: show the whole map", "My position", "Check a place"):
        page.get_by_title(name).click(trial=True)
    assert opened.messages == []


# Room for the map


@windows
@pytest.mark.parametrize("address", ["", "#spot=1", "#check=45.0001,-20.0001"])
def test_the_map_keeps_half_of_the_window(open_page: Open, window: str, address: str) -> None:
    opened = open_at(open_page, window, address)
    page = opened.page
    width, height = WINDOWS[window]
    assert measure_free_map(page) >= 0.5 * width * height
    # The same with the reader's position told above it; the caution stays, and some of list or details.
    page.context.grant_permissions(["geolocation"])
    page.context.set_geolocation({"latitude": 45.0001, "longitude": -20.0001, "accuracy": 8.0})
    page.locator("#live-button").click()
    expect(page.locator(".live-way")).to_be_visible()
    assert measure_free_map(page) >= 0.5 * width * height
    expect(page.locator(".caution")).to_be_visible()
    below = box_of(page, ".sheet:not([hidden])" if address else "#list")
    assert min(below[3], height) - below[1] >= 60
    assert opened.messages == []


def measure_free_map(page: Page) -> float:
    """Pixels of the map that no sheet and no key covers."""
    size = page.viewport_size
    assert size is not None
    ground = box_of(page, ".map")
    free = shared(ground, (0, 0, size["width"], size["height"]))
    for query in (".sheet:not([hidden])", "#key"):
        if page.locator(query).count():
            free -= shared(ground, box_of(page, query))
    return free


@windows
def test_opening_a_spot_shows_it_with_its_walk_and_its_parking(open_page: Open, window: str) -> None:
    opened = open_at(open_page, window)
    page = opened.page
    page.locator("#spots a.row").first.click()
    expect(page.locator("#details-title")).to_contain_text("Spot 1")
    let_it_draw(page)
    left, top, right, bottom = box_of(page, ".map")
    left = max(left, box_of(page, "#details")[2] if box_of(page, "#details")[1] < bottom - 5 else 0)
    car = next(box for box in page.locator(".car-mark").all() if box.is_visible()).bounding_box()
    assert car is not None
    ends = {"spot": tips(page)[1], "car": (car["x"] + car["width"] / 2, car["y"] + car["height"] / 2)}
    for name, (x, y) in ends.items():
        assert left <= x <= right, name
        assert top <= y <= bottom, name
    # Large enough to see how it runs, and the mark itself under no button.
    assert abs(ends["spot"][0] - ends["car"][0]) > 0.12 * (right - left)
    page.locator('.mark[data-rank="1"]').click(trial=True)
    # Pressed again, a view that shows all of it stays.
    page.locator("#details-title").focus()
    before = tips(page)[1]
    page.locator('.mark[data-rank="1"]').click()
    let_it_draw(page)
    assert tips(page)[1] == pytest.approx(before, abs=0.6)
    assert opened.messages == []


@windows
def test_every_row_can_be_reached(open_page: Open, window: str) -> None:
    many = [line_spot(-20.0, 40 + n * 0.2, ["HN90", "IN00"], QUIET_COVE) for n in range(25)]
    opened = open_at(
        open_page, window, findings=findings(many, parks_frame((QUIET_COVE, box(-20.2, 39.9, -19.8, 46))))
    )
    page = opened.page
    # One turn of the wheel after the other, as a reader would.
    x0, _, x1, _ = box_of(page, "#list")
    height = WINDOWS[window][1]
    page.mouse.move((x0 + x1) / 2, height - 20)
    for _ in range(40):
        page.mouse.wheel(0, 400)
    let_it_draw(page)
    last = page.locator('#spots > li[data-rank="25"] a.row')
    last.click()
    expect(page.locator("#details-title")).to_contain_text("Spot 25")


@pytest.mark.parametrize(
    ("window", "most"), [("old screen", 112), ("desk", 110), ("small desk", 112), ("phone", 165)]
)
def test_the_header_leaves_room(open_page: Open, window: str, most: float) -> None:
    page = open_at(open_page, window).page
    _, top, _, bottom = box_of(page, "header")
    assert bottom - top <= most
    for query in (".best", ".caution"):
        expect(page.locator(query)).to_be_visible()


@windows
def test_the_key_starts_folded_where_it_would_crowd_the_map(open_page: Open, window: str) -> None:
    page = open_at(open_page, window).page
    key = page.locator("#key")
    if window != "desk":
        expect(key).not_to_have_attribute("open", "")
        page.locator("#key > summary").click()
    expect(key).to_have_attribute("open", "")
    ground, key_box = box_of(page, ".ground"), box_of(page, "#key")
    assert shared(ground, key_box) == pytest.approx((key_box[2] - key_box[0]) * (key_box[3] - key_box[1]))
    for button in ("#measure-button", "#check-button", ".leaflet-control-zoom"):
        assert shared(box_of(page, button), key_box) == 0, button
    if window == "desk":
        assert key.evaluate("key => key.scrollHeight <= key.clientHeight + 1")
        # A spot's details leave no room for it.
        page.locator("#spots a.row").first.click()
        expect(key).not_to_have_attribute("open", "")


@pytest.mark.parametrize("window", ["desk", "narrow phone"])
def test_a_long_verdict_leaves_the_locators_whole(open_page: Open, window: str) -> None:
    outline = CoarseOutline(*QUIET_COVE, 900.0, 140.0, 150.0, 14.0)
    page = open_at(open_page, window, findings=first_with(harbour(), spot={"coarse": (outline,)})).page
    row = '#spots > li[data-rank="1"] '
    verdict, name, whole = (box_of(page, row + part) for part in (".row-verdict", ".row-name", "a.row"))
    expect(page.locator(row + ".row-verdict")).to_contain_text("firm if the outline is true")
    assert verdict[2] <= whole[2]
    assert name[2] <= verdict[0]
    assert name[3] - name[1] < 100  # four locators on four lines at the most


def test_where_nothing_was_found_the_key_leaves_the_map_its_half(open_page: Open) -> None:
    page = open_at(open_page, "phone", findings=findings([], parks_frame(), left_out=(), home=None)).page
    expect(page.locator("#key")).not_to_have_attribute("open", "")
    assert measure_free_map(page) >= 0.5 * 390 * 844


# Whose taps they are


def crowd() -> Findings:
    """Marks so near to each other that they lie round every tap."""
    spots = [
        line_spot(-20.0 + 0.002 * (n % 5), 45 + 0.002 * (n // 5), ["HN95", "IN05"], QUIET_COVE)
        for n in range(25)
    ]
    return findings(spots, parks_frame((QUIET_COVE, box(-20.2, 44.9, -19.8, 45.2))))


def places_to_tap(page: Page) -> list[tuple[float, float]]:
    """On a mark, beside it, and on its tip, all of them on the map and under no button."""
    left, top, right, bottom = box_of(page, ".map")
    sheet = box_of(page, "#here")
    left = sheet[2] if left < sheet[2] < right else left
    at = [
        (x, y) for x, y in tips(page).values() if left + 60 < x < right - 110 and top + 120 < y < bottom - 90
    ]
    assert len(at) > 4
    x, y = at[len(at) // 2]
    return [(x, y - 30), (x + 9, y - 12), (x, y), (x - 14, y - 25)]


@all_sizes
def test_a_check_owns_the_taps(open_page: Open) -> None:
    opened = open_page(crowd())
    page = opened.page
    page.locator("#check-button").click()
    page.locator("#all-button").click()  # beside the sheet, where that lies on the map
    let_it_draw(page)
    seen = set()
    for x, y in places_to_tap(page):
        before = page.url
        page.mouse.click(x, y)
        page.wait_for_function("(before) => window.location.href !== before", arg=before)
        expect(page.locator("#here")).to_be_visible()
        expect(page.locator("#details")).to_be_hidden()
        expect(page.locator("#here-answer h3").first).to_be_visible()
        left, top, right, bottom = box_of(page, ".check-mark")
        assert ((left + right) / 2, (top + bottom) / 2) == pytest.approx((x, y), abs=1.5)
        seen.add(page.url)
    assert len(seen) == 4
    # Afterwards a mark opens its spot again.
    page.locator("#here-close").click()
    page.locator(".mark:not(.small)").first.click()
    expect(page.locator("#details")).to_be_visible()
    assert opened.messages == []


@all_sizes
def test_measuring_owns_the_taps_and_takes_spots(open_page: Open) -> None:
    opened = open_page(bay())
    page = opened.page
    page.locator("#measure-button").click()
    text = page.locator("#measure-text")
    x, y = tips(page)[3]
    page.mouse.click(x - 2, y + 2)
    expect(text).to_have_text("Press on the next place, from spot 3.")
    page.locator('.mark[data-rank="5"]').click()
    expect(text).to_contain_text("from spot 3 to spot 5")
    expect(page.locator("#details")).to_be_hidden()
    # From spot to spot exactly, by GeographicLib, whose rounding the page's words share.
    one, other = (next(r.spot for r in bay().spots if r.rank == rank) for rank in (3, 5))
    ((metres,), _) = measure_geodesic([one.lon], [one.lat], [other.lon], [other.lat])
    expect(text).to_contain_text(format_length(float(metres)))
    # Nothing of the box lies on the map.
    assert shared(box_of(page, "#measure"), box_of(page, ".map")) == 0
    page.locator("#measure-back").click()
    x, y = tips(page)[1]
    page.mouse.click(x + 2, y + 2)
    expect(text).to_contain_text("from spot 3 to spot 1")
    page.locator("#measure-close").click()
    page.locator('.mark[data-rank="5"]').click()
    expect(page.locator("#details-title")).to_contain_text("Spot 5")
    assert opened.messages == []


@both_sizes
def test_a_link_leads_past_the_marks(open_page: Open) -> None:
    opened = open_page(crowd(), "#spot=3")
    page = opened.page
    page.locator("#past-marks").focus()
    expect(page.locator("#past-marks")).to_be_in_viewport()
    page.keyboard.press("Enter")
    expect(page.locator(".leaflet-control-zoom-in")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("() => !document.activeElement.matches('.mark')")
    assert page.url.endswith("#spot=3")
    expect(page.locator("#details")).to_be_visible()
    assert opened.messages == []


# The find field


@both_sizes
def test_the_find_field_knows_parking_finer_locators_and_towns(open_page: Open) -> None:
    opened = open_page(harbour())
    page = opened.page
    page.locator("#filter-box > summary").click()
    words = page.locator("#filters input[name=words]")
    words.fill("gate")  # where the car is left for the first
    expect(page.locator("#count")).to_have_text("Places found: 1 of 3")
    words.fill("in05aa")
    expect(page.locator("#spots > li").first).to_have_attribute("data-rank", "1")
    place = page.locator("#on-map button")
    expect(place).to_have_text("IN05aa")
    place.click()
    # The cell fills the map: 2.5 minutes of latitude from 45 N.
    let_it_draw(page)
    x, y = tips(page)[1]
    left, top, right, bottom = box_of(page, ".map")
    assert left < x < right
    assert top < y < bottom
    words.fill("no such thing")
    expect(page.locator("#on-map")).to_be_hidden()
    assert opened.messages == []


def test_a_town_is_found_and_shown(open_page: Open) -> None:
    opened = open_page(around(*COAST))
    page = opened.page
    page.locator("#filter-box > summary").click()
    names = page.locator(".town-name")
    town = names.first.text_content() or ""
    assert town
    page.locator("#filters input[name=words]").fill(town.lower()[:5])
    button = page.locator("#on-map button", has_text=town)
    expect(button).to_be_visible()
    button.click()
    let_it_draw(page)
    left, top, right, bottom = box_of(page, ".map")
    box_of_name = page.locator(".town-name", has_text=town).first.bounding_box()
    assert box_of_name is not None
    assert abs(box_of_name["x"] - (left + right) / 2) < 120
    assert abs(box_of_name["y"] - (top + bottom) / 2) < 40
    assert opened.messages == []
