"""The page in metres or in feet: as the map was made, until its reader switches; the browser remembers."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from builders import bay
from page_reader import words
from playwright.sync_api import Page, expect
from walked import harbour

from browser.conftest import Watched
from scout.model import Findings
from scout.output import text as wording
from scout.page.document import build_map

Open = Callable[..., Watched]

METRIC = re.compile(r"(?<![\w.])[\d,]*\.?\d+ k?m\b")
NEAR = wording.MeasuredText("Overhead line ", wording.Length(34.6), " away (Fen line).")


def told() -> Findings:
    found = harbour()
    first = replace(found.spots[0], warnings=(NEAR,))
    return replace(found, spots=(first, *found.spots[1:]), station=replace(found.station, radius_m=7.0))


def switch(page: Page, units: str) -> None:
    page.locator("#key").evaluate("key => { key.open = true; }")
    page.get_by_label("Units of lengths").select_option(units)


def test_the_switch_words_every_length_anew_and_is_remembered(open_page: Open) -> None:
    opened = open_page(told(), "#spot=1")
    page = opened.page
    row = page.locator('#spots [data-rank="1"]')
    expect(row.locator(".row-warning")).to_have_text("Overhead line 35 m away (Fen line).")
    switch(page, "imperial")
    expect(row.locator(".row-warning")).to_have_text("Overhead line 114 ft away (Fen line).")  # 113.5 ft
    expect(row.locator(".row-facts")).not_to_contain_text(METRIC)
    expect(row).to_have_class(re.compile("chosen"))
    body = page.locator("#details-body")
    expect(body).to_contain_text("0.82 mi each way, 387 ft up on the way out, 1,319 ft off paths.")
    expect(body).not_to_contain_text(METRIC)
    expect(page.locator("header .summary")).to_contain_text("station 23 ft")  # 22.966 ft
    page.reload()
    expect(page.get_by_label("Units of lengths")).to_have_value("imperial")
    expect(row.locator(".row-warning")).to_have_text("Overhead line 114 ft away (Fen line).")
    expect(page.locator("header .summary")).to_contain_text("station 23 ft")
    switch(page, "metric")
    expect(row.locator(".row-warning")).to_have_text("Overhead line 35 m away (Fen line).")
    expect(page.locator("header .summary")).to_contain_text("station 7 m")
    assert opened.messages == []


def test_a_map_made_in_feet_opens_in_feet_and_says_what_python_says(open_page: Open) -> None:
    found = replace(bay(), units="imperial")
    page = open_page(found).page
    for ranked in found.spots:
        facts = page.locator(f'#spots [data-rank="{ranked.rank}"] .row-facts')
        if ranked.spot.near is None:
            expect(facts).to_contain_text(wording.format_clearance(ranked.spot.clearance_m, "imperial"))
        else:
            away = wording.format_fine_length(ranked.spot.near.distance_m, "imperial")
            expect(facts).to_contain_text(f"the park is {away} to the")
        expect(facts).not_to_contain_text(METRIC)
    assert "station 16.4 ft" in words(build_map(found))


def test_an_open_check_is_worded_anew(open_page: Open) -> None:
    page = open_page(bay(), "#check=45.00005,-20").page
    answer = page.locator("#here-answer")
    expect(answer).to_contain_text("5.6 m to the south (180°)")  # 5.557 m
    switch(page, "imperial")
    expect(answer).to_contain_text("18.2 ft to the south (180°)")
    expect(answer).to_contain_text("station of 16.4 ft radius")
