"""Check a place: typed, pressed on the map, or where the device says it is; told in words and on the map."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pytest
import shapely
from builders import QUIET_COVE, TERN_MARSH, bay, box, corner_spot, findings, parks_frame
from playwright.sync_api import BrowserContext, Locator, Page, expect

from browser.conftest import Watched, all_sizes
from browser.ground import ground_of, tips
from scout.model import Checked, Findings, Parks
from scout.output import text as wording
from scout.search.check import CheckOptions, check_places

Open = Callable[..., Watched]

CORNER = "45.00003, -20.00002"  # 3.3 m north and 1.6 m west of it


@pytest.fixture
def quiet(open_page: Open) -> Iterator[Open]:
    """Opens pages that at the end have asked for nothing and said nothing."""
    opened = []

    def open_(*args: object) -> Watched:
        opened.append(open_page(*args))
        return opened[-1]

    yield open_
    for page in opened:
        assert page.messages == []
        assert page.asked_for() == []


def away(line):
    """How the page says where a lattice line is."""
    return f"{wording.format_fine_length(line.distance_m)} to the {wording.format_bearing(line.bearing_deg)}"


def by_command(found: Findings, lon: float, lat: float, fix_error_m: float | None = None) -> Checked:
    station = replace(found.station, fix_error_m=fix_error_m) if fix_error_m else found.station
    known = Parks(found.parks, found.sources, found.report)
    return next(iter(check_places(known, [lon], [lat], CheckOptions(found.level, station, moves=False))))


def ask(page: Page, text: str) -> Locator:
    """Type a place into the open panel; gives the answer."""
    page.locator("#here-text").fill(text)
    page.keyboard.press("Enter")
    return page.locator("#here-answer")


def mark_at(page: Page) -> tuple[float, float]:
    """Window pixels of the middle of the mark of the checked place."""
    frame = page.locator(".check-mark").bounding_box()
    assert frame is not None
    return frame["x"] + frame["width"] / 2, frame["y"] + frame["height"] / 2


# The panel


@all_sizes
def test_the_button_opens_the_panel_and_closes_it(quiet: Open, size: str) -> None:
    page = quiet(bay()).page
    button, panel = page.locator("#check-button"), page.locator("#here")
    expect(panel).to_be_hidden()
    button.click()
    expect(panel).to_be_visible()
    expect(button).to_have_attribute("aria-expanded", "true")
    expect(page.locator("#here-title")).to_be_focused()
    expect(panel).to_contain_text("no position leaves it")
    assert page.locator("#list").evaluate("list => list.inert") == (size != "wide")
    button.click()
    expect(panel).to_be_hidden()
    expect(button).to_have_attribute("aria-expanded", "false")
    assert not page.locator("#list").evaluate("list => list.inert")


def test_keyboard_alone_is_enough(quiet: Open) -> None:
    page = quiet(bay()).page
    page.locator("#check-button").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#here-title")).to_be_focused()
    for place in ("#here-position", "#here-close", "#here-body", "#here-text"):
        page.keyboard.press("Tab")
        expect(page.locator(place)).to_be_focused()
    page.keyboard.type(CORNER)
    page.keyboard.press("Enter")
    expect(page.locator("#here-answer h3")).to_contain_text("HN95 IN05 HN94 IN04")
    page.keyboard.press("Escape")
    expect(page.locator("#here")).to_be_hidden()
    expect(page.locator("#check-button")).to_be_focused()


def test_a_spot_and_a_check_take_turns(quiet: Open) -> None:
    page = quiet(bay(), "#spot=5").page
    page.locator("#check-button").click()
    expect(page.locator("#details")).to_be_hidden()
    expect(page.locator("#here")).to_be_visible()
    # A mark is part of the map while a place is checked; the list, beside it, opens a spot.
    page.locator('.mark[data-rank="5"]').click()
    expect(page.locator("#here-answer h3").first).to_be_visible()
    page.locator('[data-rank="5"] a.row').click()
    expect(page.locator("#here")).to_be_hidden()
    expect(page.locator("#details-title")).to_contain_text("Spot 5")


# What is asked


@all_sizes
def test_a_typed_place_is_answered_in_full(quiet: Open) -> None:
    found = bay()
    page = quiet(found, "#check").page
    answer = ask(page, CORNER)
    truth = by_command(found, -20.00002, 45.00003)
    meridian, parallel, corner = truth.lines
    for text in (
        " ".join(truth.verdict.locators),
        f"{truth.verdict.word} confidence {wording.format_probability(truth.verdict.confidence)}",
        "What holds it down: reaching 4 grids",
        f"meridian 20° W{away(meridian)}",
        f"parallel 45° N{away(parallel)}",
        f"corner{away(corner)}",
        "45.000030, -20.000020",
        "45° 00.0018' N 020° 00.0012' W",
        "fix error 4.9 m, boundary error 14 m",
        "This page knows only the 3 parks of its findings.",
        "Keep antennas, masts and lines well clear of overhead power lines.",
    ):
        expect(answer).to_contain_text(text)
    assert answer.locator(".figures dd").all_text_contents() == ["4", "2", "8"]
    for park in truth.parks:
        row = answer.locator(".near-parks li", has_text=park.park)
        expect(row).to_contain_text(park.park_name)
        expect(row).to_contain_text(
            f"{wording.format_clearance(park.clearance_m)}; "
            f"nearest edge to the {wording.format_bearing(park.edge_deg)}"
        )
        expect(row).to_contain_text(f"{park.word} {wording.format_probability(park.p)}")
    link = answer.locator(".coordinates a")
    expect(link).to_have_attribute("href", "geo:45.000030,-20.000020")
    expect(page.locator("#said")).to_contain_text("doubtful confidence")
    expect(page.locator("#said")).to_contain_text("HN95 IN05 HN94 IN04")


def test_the_mark_stands_on_the_place_with_the_station_around_it(quiet: Open) -> None:
    found = bay()
    page = quiet(found, "#check=44.97,-19.96").page
    at = tips(page)
    place = {r.rank: (r.spot.lon, r.spot.lat) for r in found.spots}
    ground = ground_of(place[3], at[3], place[5], at[5])
    assert mark_at(page) == pytest.approx(ground.pixel(-19.96, 44.97), abs=2)
    disc = page.locator("path.check-shape").bounding_box()
    assert disc is not None
    middle = (disc["x"] + disc["width"] / 2, disc["y"] + disc["height"] / 2)
    assert middle == pytest.approx(mark_at(page), abs=1.5)


@all_sizes
def test_a_press_on_the_map_asks_about_that_place(quiet: Open, size: str) -> None:
    found = bay()
    page = quiet(found).page
    page.locator("#check-button").click()
    frame = page.locator(".map").bounding_box()
    assert frame is not None
    x, y = frame["x"] + frame["width"] * 0.62, frame["y"] + frame["height"] * 0.72
    page.mouse.click(x, y)
    at, place = tips(page), {r.rank: (r.spot.lon, r.spot.lat) for r in found.spots}
    lon, lat = ground_of(place[3], at[3], place[5], at[5]).place(x, y)
    shown = [float(n) for n in page.locator("#here-text").input_value().split(",")]
    assert shown == pytest.approx([lat, lon], abs=0.02)
    assert mark_at(page) == pytest.approx((x, y), abs=1.5)
    expect(page.locator("#here-answer .exact").first).to_have_text(page.locator("#here-text").input_value())
    expect(page.locator(".leaflet-popup")).to_have_count(0)


def test_outside_the_check_a_press_on_the_map_offers_it(quiet: Open) -> None:
    page = quiet(bay()).page
    page.mouse.click(1000, 300)
    popup = page.locator(".leaflet-popup")
    expect(popup).to_contain_text("outside the parks drawn here")
    popup.locator("button", has_text="Check this place").click()
    expect(page.locator("#here-answer h3")).to_be_visible()
    assert mark_at(page) == pytest.approx((1000, 300), abs=1.5)
    expect(popup).to_have_count(0)


def test_the_address_holds_what_was_asked(quiet: Open) -> None:
    page = quiet(bay()).page
    page.locator('.mark[data-rank="5"]').click()
    page.locator("#check-button").click()
    ask(page, "44.98, -19.9")
    answer = ask(page, CORNER)
    page.reload()
    expect(answer).to_contain_text("HN95 IN05 HN94 IN04")
    expect(page.locator("#here-text")).to_have_value(CORNER)
    # From place to place is no step: going back leaves the check.
    page.go_back()
    expect(page.locator("#details-title")).to_contain_text("Spot 5")
    page.go_forward()
    expect(answer).to_contain_text("HN95 IN05 HN94 IN04")


def test_what_is_no_place_is_refused_in_one_line(quiet: Open) -> None:
    page = quiet(bay(), "#check=45,-20").page
    note = page.locator("#here-note")
    for text, told in (
        ("45,5 -89,2", "these look like decimal commas; write 45.5, -89.2"),
        ("-112, 41", "latitude -112 is over 90; latitude comes first: write 41, -112"),
        ("<img src=x onerror=alert(1)>", "< at character 1 has no meaning in coordinates"),
        ("", "there is nothing to read; write 45.123, -89.456"),
        ("%E0%A4%A", "% at character 1 has no meaning"),
        ("9" * 500, "longer than 200 characters"),
    ):
        answer = ask(page, CORNER)
        expect(answer.locator("h3")).to_be_visible()
        expect(note).to_be_hidden()
        ask(page, text)
        expect(note).to_contain_text(told)
        expect(page.locator("#here-text")).to_have_attribute("aria-invalid", "true")
        expect(answer).to_be_empty()
        expect(page.locator(".check-mark")).to_have_count(0)
    expect(note).to_have_attribute("role", "alert")
    # Nor does an address that no text can stand behind break anything.
    page.evaluate("() => { window.location.hash = '#check=%E0%A4%A'; }")
    expect(note).to_contain_text("Not understood")


def test_a_locator_is_judged_as_its_whole_cell(quiet: Open) -> None:
    page = quiet(bay(), "#check").page
    answer = ask(page, "in05aa")
    expect(answer).to_contain_text("The whole cell IN05aa")
    expect(answer.locator("h3")).to_contain_text("IN05")
    expect(answer.locator(".near-parks li", has_text="Quiet Cove")).to_contain_text(
        "The whole of the cell lies inside"
    )
    expect(answer).to_contain_text("Centre of the cell")
    cell = page.locator("path.check-shape").bounding_box()
    assert cell is not None
    assert cell["width"] > 100
    answer = ask(page, "IN")
    expect(answer).to_contain_text("no one grid")
    expect(answer).to_contain_text("not counted")


# What the device says


def at_the_corner(context: BrowserContext, accuracy: float) -> None:
    context.grant_permissions(["geolocation"])
    context.set_geolocation({"latitude": 45.00003, "longitude": -20.00002, "accuracy": accuracy})


@all_sizes
def test_the_device_position_counts_with_its_own_error(quiet: Open, context: BrowserContext) -> None:
    at_the_corner(context, 8.0)
    found = bay()
    page = quiet(found).page
    page.locator("#check-button").click()
    page.locator("#here-position").click()
    answer = page.locator("#here-answer")
    fix_error_m = 8.0 / 1.5096 * 2.4477
    truth = by_command(found, -20.00002, 45.00003, fix_error_m)
    expect(answer).to_contain_text("Your position")
    expect(answer).to_contain_text(
        f"{truth.verdict.word} in the parks"
        if not truth.verdict.parks
        else f"{truth.verdict.word} confidence {wording.format_probability(truth.verdict.confidence)}"
    )
    expect(answer).to_contain_text(
        "Your device states 8.0 m. Phones mean the radius that holds 68 % of fixes"
    )
    expect(answer).to_contain_text("fix error 13.0 m")
    expect(answer).to_contain_text("more than 6.1 m (20 ft)")
    # A place is nobody's business: it stays out of the address.
    assert page.url.endswith("#check")
    circle = page.locator("path.check-shape.stated").bounding_box()
    disc = page.locator("path.check-shape:not(.stated)").bounding_box()
    assert circle is not None
    assert disc is not None
    assert circle["width"] / disc["width"] == pytest.approx(8 / 5, rel=0.12)
    assert mark_at(page) == pytest.approx(
        (circle["x"] + circle["width"] / 2, circle["y"] + circle["height"] / 2), abs=1.5
    )


def test_a_device_that_states_no_error_gets_that_of_the_findings(
    quiet: Open, context: BrowserContext
) -> None:
    at_the_corner(context, 0.0)
    page = quiet(bay(), "#check").page
    page.locator("#here-position").click()
    answer = page.locator("#here-answer")
    expect(answer).to_contain_text("fix error 4.9 m")
    expect(answer).not_to_contain_text("Your device states")


def test_without_leave_the_page_says_so_and_works_on(quiet: Open) -> None:
    page = quiet(bay(), "#check").page
    page.locator("#here-position").click()
    note = page.locator("#here-note")
    expect(note).to_contain_text("does not let this page see the position")
    expect(page.locator("#here-position")).to_be_enabled()
    expect(ask(page, CORNER)).to_contain_text("HN95 IN05 HN94 IN04")
    expect(note).to_be_hidden()


def test_a_device_without_a_position_is_told_plainly(quiet: Open) -> None:
    page = quiet(bay(), "#check").page
    note = page.locator("#here-note")
    refuse = "navigator.geolocation.getCurrentPosition = (_, refused) => refused({{ code: {} }})"
    for script, told in (
        (refuse.format(2), "found no position. Try again under open sky"),
        (refuse.format(3), "found no position within 30 s"),
        ("delete Navigator.prototype.geolocation", "A page opened this way gets no position"),
    ):
        page.evaluate(f"() => {{ {script}; }}")
        page.locator("#here-position").click()
        expect(note).to_contain_text(told)
        expect(note).to_contain_text("type the coordinates that your receiver shows")


# What the page does not know


def test_a_place_outside_its_parks_is_never_called_outside_every_park(quiet: Open) -> None:
    page = quiet(bay(), "#check").page
    answer = ask(page, "40.2, -30.1")
    for text in (
        "not counted in the parks that this page knows",
        "no park that this page knows is near",
        "None within 1 km.",
        "This page knows only the 3 parks of its findings. Whether another park holds or borders this place",
    ):
        expect(answer).to_contain_text(text)
    answer = ask(page, "45.00003, -20.2005")
    expect(answer).to_contain_text("outside every park that this page knows; Quiet Cove is 39.4 m away")


def test_too_close_to_tell_is_said_and_not_guessed(quiet: Open) -> None:
    rng = np.random.default_rng(8)
    angle = np.linspace(0, 2 * np.pi, 40_000, endpoint=False)
    radius = 0.4 + 2e-4 * rng.standard_normal(len(angle))
    park = shapely.make_valid(
        shapely.Polygon(np.column_stack([-20 + radius * np.cos(angle), 45.4 + radius * np.sin(angle)]))
    )
    spot = corner_spot(-20.0, 45.0, ["HN95", "IN05", "HN94", "IN04"], [QUIET_COVE])
    page = quiet(findings([spot], parks_frame((QUIET_COVE, park))), "#check").page
    answer = ask(page, "45.8, -20.0")
    for text in (
        "too close to tell here",
        "the outline of Quiet Cove, which this page draws to",
        "Use the command scout check with the boundary file",
    ):
        expect(answer).to_contain_text(text)
    expect(answer.locator(".claim")).not_to_contain_text("confidence")
    expect(answer.locator(".figures")).to_have_count(0)
    expect(page.locator("#said")).to_contain_text("too close to tell here")
    # Deep inside it is sure of the park, and says by how much the clearance may be off.
    answer = ask(page, "45.4, -20.1")
    expect(answer).to_contain_text("firm over 99.9 %")
    expect(answer.locator(".near-parks")).to_contain_text("inside, give or take")


@all_sizes
def test_hostile_names_stay_text(quiet: Open) -> None:
    names = ("<img src=x onerror=alert(1)>", "</script><script>alert(2)</script>", "W" * 10_000)
    parks = [((f"<b>{n}</b>", name), box(-20.2 - n / 99, 44.9, -19.9, 45.1)) for n, name in enumerate(names)]
    spot = corner_spot(-20.0, 45.0, ["HN95", "IN05", "HN94", "IN04"], [label for label, _ in parks])
    page = quiet(findings([spot], parks_frame(*parks)), "#check").page
    for place in ("45.00003, -19.90003", "45.00003, -19.8999"):
        answer = ask(page, place)
        for name in names[:2]:
            expect(answer.locator("bdi.name", has_text=name).first).to_be_visible()
        assert answer.locator("img, b, script").count() == 0
        inside = (
            "() => { const e = document.getElementById('here-body'); return e.scrollWidth - e.clientWidth; }"
        )
        assert page.evaluate(inside) <= 0
        assert page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth") <= 0


# Edges of the world


def test_places_beyond_180_and_beyond_the_map_are_answered(quiet: Open) -> None:
    past = (QUIET_COVE, box(178.5, -17.3, 182.5, -16.2))
    spots = [
        corner_spot(-180.0, -17.0, ["RH93", "AH03", "RH92", "AH02"], [QUIET_COVE]),
        corner_spot(-178.0, -17.0, ["AH03", "AH13", "AH02", "AH12"], [QUIET_COVE]),
    ]
    north = (TERN_MARSH, box(10.0, 86.0, 30.0, 89.0))
    page = quiet(findings(spots, parks_frame(past, north)), "#check").page
    answer = ask(page, "-17.00001, 179.99999")
    expect(answer.locator("h3")).to_contain_text("RH93 AH03 RH92 AH02")
    at = tips(page)
    assert mark_at(page)[0] == pytest.approx(at[1][0], abs=3)
    answer = ask(page, "87.5, 20.1")
    expect(answer).to_contain_text("Tern Marsh")
    expect(page.locator(".check-mark")).to_have_count(0)
