"""What a stranger sees first: the best place, all places, marks that say what a contact counts for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from builders import bay
from playwright.sync_api import Page, expect
from test_page_relief import relief
from walked import ground_frame, harbour, surroundings

from browser.conftest import Watched, all_sizes, both_sizes, let_it_draw
from scout.page.shading import add_relief

Open = Callable[..., Watched]


def mark_box(page: Page, rank: int) -> dict[str, float]:
    found: dict[str, float] = page.locator(f".mark[data-rank='{rank}'] svg").evaluate(
        """(svg) => { const { width, height } = svg.getBoundingClientRect(); return { width, height }; }"""
    )
    return found


@all_sizes
def test_the_sentence_is_seen_and_opens_the_best_place(open_page: Open) -> None:
    watched = open_page(bay())
    page = watched.page
    best = page.locator(".best")
    expect(best).to_be_visible()
    expect(best).to_contain_text("One contact counts for 4 grids in 2 parks")
    best.get_by_role("link").click()
    expect(page.locator("#details")).to_be_visible()
    expect(page.locator("#details-title")).to_contain_text("Spot 1")
    assert watched.messages == []


@all_sizes
def test_all_places_shows_every_mark_again(open_page: Open) -> None:
    page = open_page(bay()).page
    for _ in range(6):
        page.locator(".leaflet-control-zoom-in").click()
    let_it_draw(page)

    def outside() -> int:
        count: int = page.evaluate(
            """() => {
                const view = document.querySelector(".map").getBoundingClientRect();
                return [...document.querySelectorAll(".mark")].filter((mark) => {
                    const at = mark.getBoundingClientRect();
                    const [x, y] = [at.left + 17, at.top + 45];
                    return x < view.left || x > view.right || y < view.top || y > view.bottom;
                }).length;
            }"""
        )
        return count

    assert outside() > 0
    page.locator("#all-button").click()
    let_it_draw(page)
    assert outside() == 0


def test_marks_are_sized_by_what_a_contact_counts_for(open_page: Open) -> None:
    page = open_page(bay()).page
    widths = {rank: mark_box(page, rank)["width"] for rank in (1, 5)}
    # 8 pairs, and a near miss that counts for none.
    assert widths[1] > 1.2 * widths[5]
    assert widths[5] > 34 * 0.85


def test_what_is_out_of_reach_is_grey_with_a_number_to_read(open_page: Open) -> None:
    found = harbour()
    out = next(r for r in found.spots if r.route is not None and r.route.state == "out of reach")
    page = open_page(found).page
    colours = page.locator(f".mark[data-rank='{out.rank}']").evaluate(
        """(mark) => {
            const of = (query, name) => getComputedStyle(mark.querySelector(query))[name];
            return [of("use.speck", "display"), getComputedStyle(mark).getPropertyValue("--mark-edge").trim(),
                getComputedStyle(mark).getPropertyValue("--mark-number").trim(),
                getComputedStyle(document.documentElement).getPropertyValue("--uncounted").trim(),
                getComputedStyle(document.documentElement).getPropertyValue("--soft").trim()];
        }"""
    )
    assert colours[1] == colours[3]
    assert colours[2] == colours[4]
    first = next(r for r in found.spots if r.route is not None and r.route.state == "walked")
    assert page.locator(f".mark.unreached[data-rank='{first.rank}']").count() == 0


@both_sizes
def test_the_words_are_one_tap_from_a_spot(open_page: Open) -> None:
    page = open_page(bay(), "#spot=1").page
    page.get_by_role("link", name="What these words mean").click()
    expect(page.locator("#words")).to_have_attribute("open", "")
    expect(page.get_by_text("Places for a portable amateur-radio station")).to_be_in_viewport()


@all_sizes
def test_filters_start_folded_and_the_list_is_seen(open_page: Open) -> None:
    found = bay()
    spots = tuple(replace(found.spots[0], rank=k + 1) for k in range(12))
    page = open_page(replace(found, spots=spots)).page
    expect(page.locator("#filter-box")).not_to_have_attribute("open", "")
    expect(page.locator("#count")).to_have_text("Places found: 12")
    expect(page.locator("#spots .row").first).to_be_in_viewport()


def test_hills_and_roads_come_and_go_with_their_switches(open_page: Open) -> None:
    rough = relief(-20.1, 44.9, 1e-3, np.random.default_rng(3).normal(300, 60, (200, 200)))
    peak = ground_frame([("peak", "Crow Top", shapely.Point(-20.003, 45.004))])
    ground = replace(surroundings(), reliefs=(rough,), landmarks=peak)
    opened = open_page(add_relief(replace(harbour(), surroundings=ground)), "#spot=1")
    page = opened.page
    page.locator("#closer").click()
    page.locator(".leaflet-control-zoom-out").click(click_count=4, delay=30)
    page.locator("#key").evaluate("key => { key.open = true; }")
    for name, drawn in (("shading", "img.shading"), ("roads", ".town-name.peak")):
        expect(page.locator(drawn)).to_have_count(1)
        page.locator(f"#key input[value={name}]").uncheck()
        expect(page.locator(drawn)).to_have_count(0)
        page.locator(f"#key input[value={name}]").check()
        expect(page.locator(drawn)).to_have_count(1)
    # Contour lines are on a canvas of their own: without them it is clear.
    picture = "() => document.querySelector('.leaflet-contours-pane canvas').toDataURL()"
    clear = """() => { const { width, height } = document.querySelector('.leaflet-contours-pane canvas');
        return Object.assign(document.createElement('canvas'), { width, height }).toDataURL(); }"""
    for wanted in (False, True):
        page.locator("#key input[value=contours]").set_checked(wanted)
        let_it_draw(page)
        assert (page.evaluate(picture) != page.evaluate(clear)) is wanted
    assert page.locator("img.shading").evaluate("(img) => img.complete && img.naturalWidth > 50")
    assert opened.messages == []
    assert opened.asked_for() == []
