"""The page in metres or in feet: as the map was made, until its reader switches; the browser remembers."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace

import pytest
from builders import bay
from page_reader import words
from playwright.sync_api import Page, expect
from walked import harbour

from browser.conftest import Watched, both_sizes, reload_remembering
from scout.model import Findings
from scout.output import text as wording
from scout.page.document import build_map

Open = Callable[..., Watched]

METRIC = re.compile(r"(?<![\w.])[\d,]*\.?\d+ k?m\b")
IMPERIAL = re.compile(r"(?<![\w.])[\d,]*\.?\d+ (?:ft|mi)\b")
RULE = "6.1 m (20 ft)"  # the award rule's own figure, in both
NEAR = wording.MeasuredText("Overhead line ", wording.Length(34.6), " away (Fen line).")


def told() -> Findings:
    found = harbour()
    first = replace(found.spots[0], warnings=(NEAR,))
    return replace(found, spots=(first, *found.spots[1:]), station=replace(found.station, radius_m=7.0))


def read_all(page: Page) -> list[str]:
    """Every text and label of the page, on paper too; not the scale, in both units, nor what was said."""
    texts: list[str] = page.evaluate(
        """() => {
          window.dispatchEvent(new Event("beforeprint"));
          const aside = "script, style, noscript, .leaflet-control-scale, #said";
          const blocks = "p, li, dt, dd, td, th, a, figcaption, h1, h2, h3, label, .row-warning, .remark";
          const found = [...document.querySelectorAll(blocks)].filter((node) => !node.closest(aside));
          const labelled = [...document.querySelectorAll("[aria-label]")];
          const all = [...found.map((node) => node.textContent), ...labelled.map((node) => node.ariaLabel)];
          window.dispatchEvent(new Event("afterprint"));
          return all;
        }"""
    )
    return [text.replace(RULE, "") for text in texts]


def switch(page: Page, units: str) -> None:
    page.locator("#key").evaluate("key => { key.open = true; }")
    page.get_by_label("Units of lengths").select_option(units)


def units_are(page: Page, units: str) -> None:
    expect(page.get_by_label("Units of lengths")).to_have_value(units, timeout=10_000)


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
    expect(body).to_contain_text("0.82 mi each way, 387 ft of climb on the way out, 1,319 ft off paths.")
    expect(body).not_to_contain_text(METRIC)
    expect(page.locator("header .summary")).to_contain_text("station 23 ft")  # 22.966 ft
    reload_remembering(page, lambda: switch(page, "imperial"), lambda: units_are(page, "imperial"))
    expect(row.locator(".row-warning")).to_have_text("Overhead line 114 ft away (Fen line).")
    expect(page.locator("header .summary")).to_contain_text("station 23 ft")
    switch(page, "metric")
    expect(row.locator(".row-warning")).to_have_text("Overhead line 35 m away (Fen line).")
    expect(page.locator("header .summary")).to_contain_text("station 7 m")
    assert opened.messages == []


@pytest.mark.parametrize("address", ["#spot=1", "#spot=3", "#check=45.00005,-20", "#check=IN95aa"])
def test_no_length_keeps_the_other_units(open_page: Open, address: str) -> None:
    page = open_page(told(), address).page
    metric = read_all(page)
    assert sum(bool(METRIC.search(text)) for text in metric) > 15
    assert [text for text in metric if IMPERIAL.search(text)] == []
    switch(page, "imperial")
    imperial = read_all(page)
    assert [text for text in imperial if METRIC.search(text)] == []
    assert [bool(IMPERIAL.search(t)) for t in imperial] == [bool(METRIC.search(t)) for t in metric]
    switch(page, "metric")
    assert read_all(page) == metric


@both_sizes
def test_what_is_measured_is_worded_anew(open_page: Open) -> None:
    page = open_page(bay()).page
    page.locator("#measure-button").click()
    for at in ((230, 240), (230, 270)):
        page.locator(".map").click(position={"x": at[0], "y": at[1]})
    expect(page.locator("#measure-text")).to_contain_text(METRIC)
    switch(page, "imperial")
    expect(page.locator("#measure-text")).to_contain_text(IMPERIAL)
    expect(page.locator("#measure-text")).not_to_contain_text(METRIC)


@pytest.mark.parametrize("kept", ['"imperial"', '"furlongs"', '["imperial"]', "{"])
def test_what_is_remembered_counts_only_where_it_names_units(open_page: Open, kept: str) -> None:
    opened = open_page(told())
    page = opened.page
    switch(page, "imperial")
    (name,) = page.evaluate("() => Object.keys(localStorage).filter((key) => key.endsWith(' units'))")
    assert json.loads(page.evaluate("name => localStorage.getItem(name)", name)) == "imperial"
    page.evaluate("([name, kept]) => localStorage.setItem(name, kept)", [name, kept])
    page.reload()
    units = "imperial" if kept == '"imperial"' else "metric"
    expect(page.get_by_label("Units of lengths")).to_have_value(units)
    expect(page.locator("header .summary")).to_contain_text("23 ft" if units == "imperial" else "7 m")
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
