"""Sort and filter: what is shown, how many are not and why; the map follows; the browser remembers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from builders import bay
from playwright.sync_api import Page, expect
from walked import harbour

from browser.conftest import Watched, all_sizes
from browser.ground import tips
from scout.model import New, Route, Walking

Open = Callable[..., Watched]


def ranks(page: Page) -> list[int]:
    return [int(r) for r in page.locator("#spots > li").evaluate_all("all => all.map(r => r.dataset.rank)")]


def unfold(page: Page) -> None:
    page.locator("#filter-box").evaluate("box => { box.open = true; }")


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        ("rank", [1, 2, 3, 4, 5]),
        ("home", [2, 3, 1, 4, 5]),
        ("confidence", [3, 1, 2, 4, 5]),
        ("clearance", [1, 3, 2, 4, 5]),  # two plenty, two not sure, then the near miss
        ("name", [5, 1, 3, 4, 2]),  # Long Spit; Quiet Cove thrice; Tern Marsh
    ],
)
def test_orders(open_page: Open, order: str, expected: list[int]) -> None:
    page = open_page(bay()).page
    unfold(page)
    page.locator("select[name=order]").select_option(order)
    assert ranks(page) == expected


def test_every_order_but_names_keeps_to_the_ranking(open_page: Open) -> None:
    """Spots 1 and 2 have plenty, 3 is out of reach, the near miss is nearest to home."""
    found = bay()
    deep = {1: (60.0, 1.0), 2: (9_000.0, 1.0), 3: (20_000.0, 1.0), 4: (20.0, 0.99)}
    spots = []
    for ranked in found.spots:
        spot = ranked.spot
        if ranked.rank in deep:
            metres, p = deep[ranked.rank]
            n = len(spot.verdict.parks)
            verdict = replace(spot.verdict, clearances_m=(metres,) * n, parks_p=(p,) * n)
            spot = replace(spot, verdict=verdict)
        route = Route("out of reach", "water all round") if ranked.rank == 3 else ranked.route
        spots.append(replace(ranked, spot=spot, route=route, home_km=200.0 - 10 * ranked.rank))
    page = open_page(replace(found, spots=tuple(spots), walking=Walking())).page
    unfold(page)
    for order, expected in (
        ("clearance", [1, 2, 4, 5, 3]),
        ("home", [4, 2, 1, 5, 3]),
        ("confidence", [1, 2, 4, 5, 3]),
    ):
        page.locator("select[name=order]").select_option(order)
        assert ranks(page) == expected, order
    expect(page.locator('#spots [data-rank="2"] .row-facts')).to_contain_text("9.00 km inside (plenty)")
    expect(page.locator('#spots [data-rank="4"] .row-facts')).to_contain_text("20.0 m inside, home")


def test_order_by_walk_puts_what_has_no_time_last(open_page: Open) -> None:
    page = open_page(harbour()).page
    unfold(page)
    page.locator("select[name=order]").select_option("walk")
    assert ranks(page) == [1, 2, 3]
    assert page.locator("select[name=order] option[value=walk]").count() == 1


@all_sizes
def test_the_count_says_how_many_are_hidden_and_by_what(open_page: Open) -> None:
    opened = open_page(bay())
    page = opened.page
    unfold(page)
    expect(page.locator("#hidden-box")).to_be_hidden()
    page.locator("input[name=look][value=near]").uncheck()
    page.locator("select[name=parks]").select_option("2")
    page.locator("input[name=words]").fill("hn95")
    expect(page.locator("#count")).to_have_text("Places found: 1 of 5")
    expect(page.locator("#hidden-why")).to_have_text("Hidden: 2 by parks, 1 by text, 1 by verdict")
    assert ranks(page) == [1] == sorted(tips(page))
    page.locator("#hidden-box button").click()
    expect(page.locator("#hidden-box")).to_be_hidden()
    assert ranks(page) == [1, 2, 3, 4, 5] == sorted(tips(page))
    assert opened.messages == []


def test_kind_filter(open_page: Open) -> None:
    page = open_page(bay()).page
    unfold(page)
    for kind, expected in (("line", [2, 4]), ("near-miss", [5]), ("corner", [1]), ("", [1, 2, 3, 4, 5])):
        page.locator("select[name=kind]").select_option(kind)
        assert ranks(page) == expected


def test_the_longest_walk_is_a_slider_for_fingers_and_keys(open_page: Open) -> None:
    page = open_page(harbour()).page
    unfold(page)
    slider = page.locator("#longest-walk")
    assert slider.get_attribute("max") == "25"  # the longest walk is 24.4 min
    expect(page.locator("#longest-walk-text")).to_have_text("any")
    assert ranks(page) == [1, 2, 3]
    slider.focus()
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#longest-walk-text")).to_have_text("20 min")
    # 24 min is too long; out of reach and not worked out are no short walk.
    assert ranks(page) == []
    expect(page.locator("#hidden-why")).to_have_text("Hidden: 3 by walk")
    page.keyboard.press("End")
    assert ranks(page) == [1, 2, 3]


def test_without_walks_there_is_no_slider(open_page: Open) -> None:
    page = open_page(bay()).page
    assert page.locator("#longest-walk").count() == 0
    assert page.locator("input[value=walks], option[value=walk]").count() == 0


def test_every_field_is_reached_by_keyboard(open_page: Open) -> None:
    page = open_page(harbour()).page
    unfold(page)
    page.locator("#filter-box > summary").focus()
    seen = []
    for _ in range(11):
        page.keyboard.press("Tab")
        seen.append(page.evaluate("() => document.activeElement.name"))
    assert seen == [
        "words",
        "grids",
        "parks",
        "kind",
        "order",
        "walk",
        "look",
        "look",
        "look",
        "look",
        "picked",
    ]


def test_filters_and_view_are_remembered(open_page: Open) -> None:
    opened = open_page(bay())
    page = opened.page
    unfold(page)
    page.locator("input[name=look][value=near]").uncheck()
    page.locator("select[name=order]").select_option("home")
    page.locator("#key").evaluate("key => { key.open = true; }")
    page.locator("input[name=layer][value=park-names]").uncheck()
    page.locator(".leaflet-control-zoom-in").click()
    before = tips(page)
    page.goto(opened.path.as_uri())
    page.wait_for_selector("html.ready", state="attached")
    assert ranks(page) == [2, 3, 1, 4]
    assert not page.locator("input[name=layer][value=park-names]").is_checked()
    assert page.locator(".park-name").count() == 0
    after = tips(page)
    assert after.keys() == before.keys()
    for rank, at in before.items():
        assert after[rank] == pytest.approx(at, abs=1.5)
    # A link to what is filtered out shows it all the same.
    page.goto("about:blank")
    page.goto(opened.path.as_uri() + "#spot=5")
    page.wait_for_selector("html.ready", state="attached")
    expect(page.locator("#details-title")).to_contain_text("Spot 5")
    assert ranks(page) == [1, 2, 3, 4, 5]
    assert opened.messages == []


def test_a_damaged_memory_does_no_harm(open_page: Open) -> None:
    opened = open_page(bay())
    page = opened.page
    page.evaluate(
        """() => {
          const key = JSON.parse(document.getElementById("findings").textContent).key;
          const put = (name, text) => localStorage.setItem(`scout ${key} ${name}`, text);
          put("filters", '{"values": [["grids", "99"], ["no", 1]], "ticks": 7}');
          put("view", '{"at": ["x", null], "zoom": 3}');
          put("picks", '{"picks": [null, {"lat": "a"}]}');
          put("who", "{");
        }"""
    )
    page.reload()
    page.wait_for_selector("html.ready", state="attached")
    assert ranks(page) == [1, 2, 3, 4, 5]
    assert opened.messages == []


def test_what_the_notebook_holds_can_be_hidden_and_both_yields_are_told(open_page: Open) -> None:
    found = bay()
    new = {1: New(0, 0, 0), 2: New(1, 0, 1)}
    spots = tuple(replace(r, new=new.get(r.rank, New(0, 0, 0))) for r in found.spots)
    page = open_page(replace(found, spots=spots)).page
    unfold(page)
    expect(page.locator("#spots > li[data-rank='2']")).to_contain_text("1 new")
    page.locator("input[name=missing]").check()
    assert ranks(page) == [2]
    expect(page.locator("#hidden-why")).to_contain_text("4 by what is done")
    page.locator("#spots > li[data-rank='2'] a").click()
    expect(page.locator("#details")).to_contain_text(
        "Still missing: 1 pair, with 1 new grid and 0 new parks."
    )


def test_without_a_notebook_nothing_offers_to_hide_what_is_done(open_page: Open) -> None:
    assert open_page(bay()).page.locator("input[name=missing]").count() == 0
