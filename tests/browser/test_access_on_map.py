"""Walks, parking, barriers, closed ground, power lines: in the row, the details and on the map; measuring."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from builders import bay
from page_reader import script
from playwright.sync_api import Page, expect
from walked import LAKE, PARKING, WARNING, harbour

from browser.conftest import Watched, all_sizes, both_schemes, let_it_draw
from browser.ground import ground_of, tips
from scout.cautions import HAZARDS, list_entry_notes
from scout.geo.geodesy import measure_geodesic
from scout.output import text as wording

Open = Callable[..., Watched]


@all_sizes
def test_warnings_and_reach_stand_in_the_row(open_page: Open) -> None:
    opened = open_page(harbour())
    page = opened.page
    expect(page.locator('#spots [data-rank="1"] .row-warning')).to_have_text(WARNING)
    facts = page.locator('#spots [data-rank="1"] .row-facts')
    expect(facts).to_contain_text("walk 24 min, 31 % off paths, from parking Tern <b>Gate</b>")
    far = page.locator('#spots [data-rank="3"]')
    expect(far.locator(".row-warning")).to_have_text(f"Out of reach on foot: {LAKE}")
    # Plain to those who see no colour: a bar across its mark, in the list and on the map.
    expect(far.locator(".row .bar")).to_have_count(1)
    expect(page.locator('.mark[data-rank="3"] .bar')).to_have_count(1)
    assert page.locator('.mark[data-rank="1"] .bar').count() == 0
    assert opened.messages == []
    assert opened.asked_for() == []


def test_where_entry_may_not_be_open_stands_in_the_row_and_above_the_notes(open_page: Open) -> None:
    told = list_entry_notes([("Quiet Cove", "restricted"), ("Long Fen", "unknown")])
    found = bay()
    notes = [(*told, "Wet after rain."), told[:1]]
    marked = [
        replace(ranked, spot=replace(ranked.spot, notes=tuple(some)))
        for ranked, some in zip(found.spots[:2], notes, strict=True)
    ]
    page = open_page(replace(found, spots=(*marked, *found.spots[2:])), "#spot=1").page
    several = "Entry may not be open in 2 parks of this spot; ask the land manager before you go."
    for rank, text in ((1, several), (2, told[0])):
        expect(page.locator(f'#spots [data-rank="{rank}"] .row-warning')).to_have_text(text)
    expect(page.locator('#spots [data-rank="3"] .row-warning')).to_have_count(0)
    body = page.locator("#details-body")
    expect(body.locator(".warnings li")).to_have_text(told)
    expect(body.get_by_text("Wet after rain.")).to_be_visible()
    for text in told:
        expect(body.get_by_text(text)).to_have_count(1)


@all_sizes
def test_the_details_tell_the_walk(open_page: Open) -> None:
    page = open_page(harbour(), "#spot=1").page
    body = page.locator("#details-body")
    for text in (
        "Take care here",
        WARNING,
        "One contact from here counts for 8 pairs of grid and park.",
        "24 min",
        "22 min",
        "1.31 km each way, 118 m of climb on the way out, 402 m off paths.",
        "parking, Tern <b>Gate</b>",
        "44.995000, -20.012000",
        "UTM 27N 578820 4983440",  # scout.geo.coordinates.grids has its own tests against PROJ
        "Slope of the ground",
        "Of Quiet Cove in its file",
        "ask at the <i>gate</i>",
        "What holds it down most: reaching 4 grids.",
    ):
        expect(body).to_contain_text(text)
    expect(body.locator(".coordinates a[href='geo:44.995000,-20.012000']")).to_be_visible()
    heights = body.get_by_role("img", name=re.compile("12 m at the start, 117 m at the spot, lowest 12 m"))
    expect(heights).to_have_count(1)
    assert body.locator("b, i").count() == 0


def test_the_details_say_why_there_is_no_walk(open_page: Open) -> None:
    page = open_page(harbour(), "#spot=3").page
    body = page.locator("#details-body")
    expect(body).to_contain_text(f"Out of reach on foot: {LAKE}")
    expect(body).to_contain_text("Nearest place to start from")
    page.locator("#earlier").click()
    expect(body).to_contain_text(
        "Walking time not worked out: walks are worked out for the best 500 spots only"
    )


@pytest.mark.parametrize("rank", [1, 2, 3, 4, 5])
def test_where_to_stand_is_worded_as_in_the_list_without_script(open_page: Open, rank: int) -> None:
    found = bay()
    moved = replace(found.spots[1], spot=replace(found.spots[1].spot, offset_m=12.3, offset_deg=271.0))
    found = replace(found, spots=(found.spots[0], moved, *found.spots[2:]))
    page = open_page(found, f"#spot={rank}").page
    said = wording.describe_standing(found.spots[rank - 1].spot)
    expect(page.locator("#details-body")).to_contain_text(said)


def painted_pixels(page: Page, pane: str) -> int:
    count: int = page.evaluate(
        """(pane) => {
          const canvas = document.querySelector(`.leaflet-${pane}-pane canvas`);
          if (!canvas) return 0;
          const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
          let painted = 0;
          for (let k = 3; k < data.length; k += 4) if (data[k]) painted += 1;
          return painted;
        }""",
        pane,
    )
    return count


def colour_at(page: Page, pane: str, x: float, y: float) -> list[int]:
    rgba: list[int] = page.evaluate(
        """([pane, x, y]) => {
          const canvas = document.querySelector(`.leaflet-${pane}-pane canvas`);
          const frame = canvas.getBoundingClientRect();
          const scale = canvas.width / frame.width;
          const at = [(x - frame.left) * scale, (y - frame.top) * scale];
          return [...canvas.getContext("2d").getImageData(at[0], at[1], 1, 1).data];
        }""",
        [pane, x, y],
    )
    return rgba


def close_up(page: Page) -> Any:
    """The first spot in the middle at zoom 13, and the ground's placing there."""
    page.locator("#around").click()
    page.locator("#close").click()
    page.locator(".leaflet-control-zoom-in").click()
    let_it_draw(page)
    at = tips(page)
    spots = {r.rank: (r.spot.lon, r.spot.lat) for r in harbour().spots}
    return ground_of(spots[1], at[1], spots[2], at[2])


def test_the_ground_around_is_drawn_where_it_lies(open_page: Open) -> None:
    page = open_page(harbour(), "#spot=1").page
    ground = close_up(page)
    let_it_draw(page)
    lake, island = ground.pixel(-20.0035, 45.02), ground.pixel(-20.0, 45.02)
    assert colour_at(page, "surroundings", *lake)[3] > 0
    assert colour_at(page, "surroundings", *island)[3] == 0
    on_line = ground.pixel(-19.985, 45.001 - 0.065 * 0.006)
    column = [colour_at(page, "surroundings", on_line[0], on_line[1] + dy)[3] for dy in (-1, 0, 1)]
    assert max(column) > 100
    walked = ground.pixel(-20.0065, 44.9985)
    assert colour_at(page, "walks", *walked)[3] > 200
    cars = page.locator(".car-mark").evaluate_all(
        "all => all.map((m) => { const f = m.getBoundingClientRect(); return [f.left + 10, f.top + 10]; })"
    )
    assert any(car == pytest.approx(ground.pixel(*PARKING), abs=1.6) for car in cars)


def test_the_key_switches_the_ground_and_the_walks(open_page: Open) -> None:
    page = open_page(harbour(), "#spot=1").page
    close_up(page)
    page.locator("#key").evaluate("key => { key.open = true; }")
    for layer, pane in (("walks", "walks"), ("barriers", "surroundings"), ("closed", "surroundings")):
        before = painted_pixels(page, pane)
        page.locator(f"input[name=layer][value={layer}]").uncheck()
        let_it_draw(page)
        assert painted_pixels(page, pane) < before, layer
    page.locator("input[name=layer][value=cars]").uncheck()
    assert page.locator(".car-mark").count() == 0


def inked_pixels(page: Page, ink: str) -> int:
    """Pixels of the ground in this colour of a style, if thinly."""
    count: int = page.evaluate(
        """(ink) => {
          const wanted = ink.match(/\\d+/g).map(Number);
          const canvas = document.querySelector(".leaflet-surroundings-pane canvas");
          const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
          let inked = 0;
          for (let k = 0; k < data.length; k += 4) {
            if (data[k + 3] > 80 && wanted.every((part, n) => Math.abs(data[k + n] - part) < 5)) inked += 1;
          }
          return inked;
        }""",
        ink,
    )
    return count


@both_schemes
def test_each_kind_of_hazard_is_drawn_in_the_ink_of_the_key_and_goes_with_its_switch(open_page: Open) -> None:
    page = open_page(harbour(), "#spot=1").page
    close_up(page)
    page.locator("#key").evaluate("key => { key.open = true; }")
    inks = set()
    for kind in HAZARDS:
        sample = page.locator(f".k-{kind.key} .k-hazard")
        ink = sample.evaluate("path => getComputedStyle(path).stroke")
        inks.add(ink)
        assert inked_pixels(page, ink) > 20, kind.key
        box = page.get_by_label(kind.title)
        box.uncheck()
        let_it_draw(page)
        assert inked_pixels(page, ink) == 0, kind.key
        box.check()
    assert len(inks) == len(HAZARDS)


def test_a_filtered_spot_takes_its_walk_along(open_page: Open) -> None:
    page = open_page(harbour(), "#spot=1").page
    close_up(page)
    assert painted_pixels(page, "walks") > 0
    page.locator("#filter-box").evaluate("box => { box.open = true; }")
    page.locator("select[name=kind]").select_option("line")
    let_it_draw(page)
    assert painted_pixels(page, "walks") == 0


@all_sizes
def test_measuring_gives_distances_on_the_ellipsoid(open_page: Open) -> None:
    opened = open_page(harbour())
    page = opened.page
    at = tips(page)
    spots = {r.rank: (r.spot.lon, r.spot.lat) for r in harbour().spots}
    ground = ground_of(spots[1], at[1], spots[2], at[2])
    page.locator("#measure-button").click()
    expect(page.locator("#measure-text")).to_have_text("Press on the map where to begin.")
    frame = page.locator(".map").bounding_box()
    assert frame is not None
    places = [(frame["x"] + frame["width"] * 0.28, frame["y"] + frame["height"] * y) for y in (0.5, 0.6, 0.7)]
    for x, y in places:
        page.mouse.click(x, y)
        let_it_draw(page)
    ends = [ground.place(*place) for place in places]
    legs = [measure_geodesic(*one, *other)[0] for one, other in pairwise(ends)]
    text = page.locator("#measure-text").inner_text()
    total, last = (float(km.replace(",", "")) for km in re.findall(r"([\d,.]+) km", text))
    # The pixels of the marks are known to a pixel or so.
    assert total == pytest.approx(sum(legs) / 1000, rel=0.03)
    assert last == pytest.approx(legs[-1] / 1000, rel=0.03)
    assert "2 legs" in text
    assert "south (180°)" in text
    page.locator("#measure-back").click()
    expect(page.locator("#measure-text")).not_to_contain_text("legs")
    page.locator("#measure-close").click()
    expect(page.locator("#measure")).to_be_hidden()
    assert page.locator("path.measured-end").count() == 0
    assert opened.messages == []


def test_measuring_by_keyboard(open_page: Open) -> None:
    page = open_page(harbour()).page
    page.locator("#measure-button").press("Enter")
    page.locator("#measure-middle").press("Enter")
    page.locator(".map").focus()
    page.keyboard.press("ArrowRight")
    let_it_draw(page)
    page.locator("#measure-middle").press("Enter")
    expect(page.locator("#measure-text")).to_contain_text("east (90°)")


def test_the_lattice_goes_no_finer_than_asked(open_page: Open) -> None:
    page = open_page(bay(), "#spot=1").page
    page.locator("#closer").click()
    longest = (
        "() => Math.max(...[...document.querySelectorAll('.cell-name')].map((n) => n.textContent.length))"
    )
    assert page.evaluate(longest) > 4
    page.locator("#key").evaluate("key => { key.open = true; }")
    page.locator("#finest").select_option("2")
    assert page.evaluate(longest) == 4


def test_the_script_words_times_and_distances_as_python_does(page: Page) -> None:
    minutes = [0.2, 1.4, 1.5, 24.4, 24.5, 59.4, 59.5, 60.0, 84.0, 119.6, 725.0]
    kilometres = [0.0, 0.04, 9.96, 68.2, 99.94, 99.97, 100.4, 205.3, 1234.6]
    told = page.evaluate(
        f"""([minutes, kilometres]) => {{
          {script("wording.js")}
          return [minutes.map(formatDuration), kilometres.map((k) => formatLength(1000 * k))];
        }}""",
        [minutes, kilometres],
    )
    assert told == [
        [wording.format_minutes(m) for m in minutes],
        [wording.format_length(1000 * k) for k in kilometres],
    ]
