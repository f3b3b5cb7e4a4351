"""List, map and details tell the same story, by pointer, keyboard and address."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from builders import QUIET_COVE, bay, box, corner_spot, findings, line_spot, near_miss, parks_frame
from playwright.sync_api import Browser, Page, expect

from browser.conftest import Watched, all_sizes
from browser.ground import ground_of, tips
from scout.model import Findings
from scout.page.document import build_map

Open = Callable[..., Watched]


def row_ranks(page: Page) -> list[int]:
    return [
        int(r)
        for r in page.locator("#spots > li:visible").evaluate_all("rows => rows.map(r => r.dataset.rank)")
    ]


def open_filters(page: Page) -> None:
    if not page.locator("#filter-box").evaluate("box => box.open"):
        page.locator("#filter-box > summary").click()


@all_sizes
def test_every_row_has_its_mark(open_page: Open) -> None:
    page = open_page(bay()).page
    assert row_ranks(page) == [1, 2, 3, 4, 5]
    assert sorted(tips(page)) == [1, 2, 3, 4, 5]


@all_sizes
def test_marks_stand_on_their_coordinates(open_page: Open) -> None:
    found = bay()
    page = open_page(found).page
    at = tips(page)
    places = {r.rank: (r.spot.lon, r.spot.lat) for r in found.spots}
    # Two marks place the map; the other three and the exact corner must then lie where mercator says.
    ground = ground_of(places[3], at[3], places[5], at[5])
    for rank, place in places.items():
        assert at[rank] == pytest.approx(ground.pixel(*place), abs=1.1), rank
    page.locator('[data-rank="1"] a.row').click()
    page.locator("#closer").click()
    close = tips(page)
    cross = page.locator(".corner-cross").first.bounding_box()
    assert cross is not None
    assert (cross["x"] + 10, cross["y"] + 10) == pytest.approx(close[1], abs=1.1)


def test_marks_show_kind_and_verdict_without_colour(open_page: Open) -> None:
    page = open_page(bay()).page
    shapes = page.locator(".mark .badge use").evaluate_all(
        "all => Object.fromEntries(all.map(u => [u.closest('.mark').dataset.rank, u.getAttribute('href')]))"
    )
    assert shapes == {
        "1": "#shape-corner",
        "2": "#shape-line",
        "3": "#shape-overlap",
        "4": "#shape-line",
        "5": "#shape-near-miss",
    }
    # The rows wear the same marks as the map.
    rows = page.locator("#spots .row .picture use").evaluate_all(
        "all => all.map(u => u.getAttribute('href'))"
    )
    assert rows == list(shapes.values())


@all_sizes
def test_choosing_a_row_tells_the_spot(open_page: Open) -> None:
    page = open_page(bay()).page
    page.locator('[data-rank="1"] a.row').click()
    body = page.locator("#details-body")
    expect(page.locator("#details-title")).to_contain_text("Spot 1: corner")
    for text in (
        "HN95",
        "IN04",
        "Quiet Cove",
        "QX-002",
        "250 m inside",
        "260 m inside",
        "96.0 %",
        "Two parks meet here.",
    ):
        expect(body).to_contain_text(text)
    expect(body).to_contain_text("45.000000, -20.000000")
    expect(body).to_contain_text("45° 00.0000' N 020° 00.0000' W")
    expect(body.locator(".coordinates a[href^='geo:']")).to_have_attribute("href", "geo:45.000000,-20.000000")
    expect(body).to_contain_text("one receiver error moves them all")
    expect(body).to_contain_text("Keep antennas, masts and lines well clear of overhead power lines.")
    expect(page.locator('.mark[data-rank="1"]')).to_have_class(re.compile(r"\bchosen\b"))
    expect(page.locator("#said")).to_contain_text("Spot 1: corner")
    assert page.url.endswith("#spot=1")


@all_sizes
def test_choosing_a_mark_chooses_its_row(open_page: Open) -> None:
    page = open_page(bay()).page
    page.locator('.mark[data-rank="5"]').click()
    expect(page.locator("#details-title")).to_contain_text("Spot 5: near miss")
    expect(page.locator("#details-body")).to_contain_text("120 m to the south-west (225°)")
    expect(page.locator('[data-rank="5"] a.row')).to_have_attribute("aria-current", "true")


def test_address_opens_a_spot(open_page: Open) -> None:
    page = open_page(bay(), "#spot=3").page
    expect(page.locator("#details-title")).to_contain_text("Spot 3: overlap")


def test_address_of_no_spot_opens_nothing(open_page: Open) -> None:
    opened = open_page(bay(), "#spot=99")
    for address in ("#spot=x", "#cautions", "#", "#spot=1e0", "#spot=0"):
        opened.page.goto(opened.path.as_uri() + address)
        expect(opened.page.locator("#details")).to_be_hidden()
    assert opened.messages == []


@all_sizes
def test_what_it_rests_on_is_one_step_away(open_page: Open, size: str) -> None:
    page = open_page(bay(), "#spot=1").page
    page.locator("#details-body a", has_text="What this rests on").click()
    expect(page.locator("#assumptions p").first).to_be_in_viewport()
    # On a small screen the details lay over the list and make way; else they stay.
    expect(page.locator("#details")).to_be_visible(visible=size == "wide")


@all_sizes
def test_details_over_the_list_take_it_out_of_reach(open_page: Open, size: str) -> None:
    page = open_page(bay(), "#spot=1").page
    covered = page.locator("#list").evaluate("list => list.inert")
    assert covered == (size != "wide")
    page.locator("#close").click()
    assert not page.locator("#list").evaluate("list => list.inert")


def test_back_and_forward_follow_the_choice(open_page: Open) -> None:
    page = open_page(bay()).page
    page.locator('.mark[data-rank="5"]').click()
    page.locator("#earlier").click()
    expect(page.locator("#details-title")).to_contain_text("Spot 4")
    page.go_back()
    expect(page.locator("#details-title")).to_contain_text("Spot 5")
    page.go_back()
    expect(page.locator("#details")).to_be_hidden()


def test_keyboard_alone_is_enough(open_page: Open) -> None:
    page = open_page(bay()).page
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.textContent") == "Skip to the list"
    page.locator('[data-rank="2"] a.row').focus()
    page.keyboard.press("Enter")
    expect(page.locator("#details-title")).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.locator("#details")).to_be_hidden()
    expect(page.locator('[data-rank="2"] a.row')).to_be_focused()
    page.locator('.mark[data-rank="5"]').focus()
    page.keyboard.press("Enter")
    expect(page.locator("#details-title")).to_contain_text("Spot 5")


@all_sizes
def test_filters_work_on_list_and_map_alike(open_page: Open) -> None:
    page = open_page(bay()).page
    open_filters(page)
    page.locator("input[name=words]").fill("tern mársh")
    expect(page.locator("#count")).to_have_text("Places found: 3 of 5")
    assert row_ranks(page) == [1, 2, 3] == sorted(tips(page))
    page.locator("input[name=look][value=doubtful]").uncheck()
    assert row_ranks(page) == [1, 3] == sorted(tips(page))
    page.locator("select[name=grids]").select_option("2")
    assert row_ranks(page) == [1] == sorted(tips(page))
    expect(page.locator("#count")).to_have_text("Places found: 1 of 5")
    page.locator("input[name=words]").fill("no such park")
    expect(page.locator("#nothing")).to_be_visible()
    page.locator("#hidden-box button").click()
    expect(page.locator("#count")).to_have_text("Places found: 5")
    assert row_ranks(page) == [1, 2, 3, 4, 5] == sorted(tips(page))


def test_filters_find_locators_and_ids(open_page: Open) -> None:
    page = open_page(bay()).page
    open_filters(page)
    page.locator("input[name=words]").fill("hn83")
    assert row_ranks(page) == [5]
    page.locator("input[name=words]").fill("qx-002 in05")
    assert row_ranks(page) == [1, 2, 3]


def test_a_chosen_spot_that_is_filtered_out_closes(open_page: Open) -> None:
    page = open_page(bay(), "#spot=5").page
    page.locator("#filters").evaluate(
        """form => {
          form.querySelector("[value=near]").checked = false;
          form.dispatchEvent(new Event("input"));
        }"""
    )
    expect(page.locator("#details")).to_be_hidden()
    assert sorted(tips(page)) == [1, 2, 3, 4]


def test_order_changes_the_list(open_page: Open) -> None:
    page = open_page(bay()).page
    open_filters(page)
    page.locator("select[name=order]").select_option("home")
    assert row_ranks(page) == [2, 3, 1, 4, 5]
    page.locator("select[name=order]").select_option("confidence")
    assert row_ranks(page) == [3, 1, 2, 4, 5]
    page.locator("select[name=order]").select_option("rank")
    assert row_ranks(page) == [1, 2, 3, 4, 5]


def crowd(count: int) -> Findings:
    spots = [line_spot(-20.0, 40 + n * 0.02, ["HN90", "IN00"], QUIET_COVE) for n in range(count)]
    return findings(spots, parks_frame((QUIET_COVE, box(-20.2, 39.9, -19.8, 46.0))))


def test_crowded_marks_shrink_and_none_is_lost(open_page: Open) -> None:
    page = open_page(crowd(200)).page
    assert len(tips(page)) == 200
    small = page.locator(".mark.small").count()
    assert 100 < small < 200
    assert page.locator(".mark:not(.small)").first.get_attribute("data-rank") == "1"
    # A hidden one grows when it is chosen.
    page.locator('[data-rank="7"] a.row').click()
    expect(page.locator('.mark[data-rank="7"] .badge')).to_be_visible()
    page.locator("#around").click()
    assert page.locator(".mark.small").count() < small


def test_without_script_the_list_is_complete(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    path.write_text(build_map(bay()), encoding="utf-8")
    context = browser.new_context(java_script_enabled=False, offline=True)
    page = context.new_page()
    page.goto(path.as_uri())
    expect(page.locator(".unscripted")).to_contain_text("need a browser that runs scripts")
    expect(page.locator(".plain > li")).to_have_count(5)
    expect(page.locator(".plain > li").first).to_contain_text("45.000000, -20.000000")
    expect(page.locator(".plain > li").first).to_contain_text("Centre the station on the corner itself.")
    expect(page.locator("#filters")).to_be_hidden()
    expect(page.locator("#cautions")).to_be_visible()
    expect(page.locator(".map")).to_be_hidden()
    context.close()


def test_nothing_found_is_said_plainly(open_page: Open) -> None:
    opened = open_page(findings([], parks_frame()))
    expect(opened.page.locator(".empty")).to_contain_text("No spot was found")
    expect(opened.page.locator(".cell-name").first).to_be_visible()
    assert opened.messages == []


def test_spots_beyond_the_map_stay_in_the_list(open_page: Open) -> None:
    far = corner_spot(20.0, 87.0, ["JR97", "KR07", "JR96", "KR06"], [QUIET_COVE])
    near = near_miss(20.0, 80.0, ["JR90", "KR00", "JQ99", "KQ09"], QUIET_COVE, 300.0, 0.0)
    opened = open_page(
        findings([far, near], parks_frame((QUIET_COVE, box(19.0, 86.0, 21.0, 88.0)))), "#spot=1"
    )
    page = opened.page
    assert row_ranks(page) == [1, 2]
    assert sorted(tips(page)) == [2]
    expect(page.locator("#details-body")).to_contain_text("beyond the edge of the map")
    expect(page.locator("#closer")).to_be_disabled()
    assert opened.messages == []
