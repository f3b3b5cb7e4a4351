"""The shortlist: ticked, noted, kept, saved, and joined with another reader's, whatever their file holds."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from builders import bay
from hypothesis import given, settings
from hypothesis import strategies as st
from page_reader import script
from playwright.sync_api import Browser, Page, expect

from browser.conftest import Watched, all_sizes

Open = Callable[..., Watched]
TIME = "2026-03-01T08:00:00.000Z"


def unfold(page: Page) -> None:
    page.locator("#picks-box").evaluate("box => { box.open = true; }")


def tick(page: Page, rank: int) -> Any:
    return page.locator(f'#spots [data-rank="{rank}"] .pick input')


def save(page: Page, to: Path) -> dict[str, Any]:
    with page.expect_download() as download:
        page.locator("#picks-save").click()
    download.value.save_as(to)
    loaded: dict[str, Any] = json.loads(to.read_text(encoding="utf-8"))
    return loaded


def pick(**more: Any) -> dict[str, Any]:
    return {"lat": 45.0, "lon": -20.0, "who": "Ann", "note": "", "picked": True, "at": TIME, **more}


def shortlist_file(*picks: Any, **more: Any) -> str:
    return json.dumps({"format": "scout-shortlist", "version": 1, "map": "any", "picks": list(picks), **more})


def give(page: Page, text: str | bytes, name: str = "theirs.json") -> None:
    data = text if isinstance(text, bytes) else text.encode()
    page.locator("#picks-open").set_input_files(
        {"name": name, "mimeType": "application/json", "buffer": data}
    )


@all_sizes
def test_ticks_notes_and_name_are_kept(open_page: Open) -> None:
    opened = open_page(bay())
    page = opened.page
    expect(page.locator("#picks-count")).to_have_text("Shortlist: empty")
    tick(page, 2).check()
    page.locator('#spots [data-rank="3"] a.row').click()
    page.locator(".pick-note textarea").fill("by the old jetty")
    page.locator("#close").click()
    unfold(page)
    page.locator("#picks input[name=who]").fill("Ann")
    page.locator("#picks input[name=who]").press("Tab")
    expect(page.locator("#picks-count")).to_have_text("Shortlist: 2 spots")
    page.reload()
    page.wait_for_selector("html.ready", state="attached")
    expect(tick(page, 2)).to_be_checked()
    expect(tick(page, 3)).to_be_checked()  # a note ticks its spot
    expect(tick(page, 1)).not_to_be_checked()
    expect(page.locator("#picks input[name=who]")).to_have_value("Ann")
    page.locator('#spots [data-rank="3"] a.row').click()
    expect(page.locator(".pick-note textarea")).to_have_value("by the old jetty")
    page.locator(".picks-here .tick input").uncheck()
    page.locator("#close").click()
    expect(page.locator("#picks-count")).to_have_text("Shortlist: 1 spot")
    assert opened.messages == []
    assert opened.asked_for() == []


def test_only_the_shortlist_is_a_filter(open_page: Open) -> None:
    page = open_page(bay()).page
    tick(page, 2).check()
    page.locator("#filter-box").evaluate("box => { box.open = true; }")
    page.locator("input[name=picked]").check()
    expect(page.locator("#spots > li")).to_have_count(1)
    tick(page, 2).click()
    expect(page.locator("#spots > li")).to_have_count(0)
    expect(page.locator("#hidden-why")).to_have_text("Hidden: 5 by shortlist")


def test_a_name_is_asked_for_before_a_file_is_saved(open_page: Open) -> None:
    page = open_page(bay()).page
    unfold(page)
    tick(page, 1).check()
    page.locator("#picks-save").click()
    expect(page.locator("#picks-note")).to_contain_text("Write your name first")
    expect(page.locator("#picks input[name=who]")).to_be_focused()


def test_two_readers_join_their_lists(open_page: Open, browser: Browser, tmp_path: Path) -> None:
    ann = open_page(bay())
    unfold(ann.page)
    ann.page.locator("#picks input[name=who]").fill("Ann")
    tick(ann.page, 1).check()
    tick(ann.page, 2).check()
    saved = save(ann.page, tmp_path / "ann.json")
    assert {(p["lat"], p["lon"], p["who"], p["picked"]) for p in saved["picks"]} == {
        (45.0, -20.0, "Ann", True),
        (45.2, -20.0, "Ann", True),
    }
    context = browser.new_context(offline=True)
    bo = context.new_page()
    bo.goto(ann.path.as_uri())
    bo.wait_for_selector("html.ready", state="attached")
    unfold(bo)
    bo.locator("#picks input[name=who]").fill("Bo")
    tick(bo, 2).check()
    give(bo, (tmp_path / "ann.json").read_text(encoding="utf-8"), "ann.json")
    expect(bo.locator("#picks-note")).to_have_text("Joined ann.json: it speaks of 2 spots.")
    expect(bo.locator('#spots [data-rank="1"] .pick-names')).to_have_text("picked by Ann")
    expect(tick(bo, 1)).not_to_be_checked()
    expect(tick(bo, 2)).to_be_checked()
    # Ann drops one; her word travels by way of Bo's file and is not undone by the older one.
    tick(ann.page, 2).uncheck()
    save(ann.page, tmp_path / "ann2.json")
    give(bo, (tmp_path / "ann2.json").read_text(encoding="utf-8"))
    give(bo, (tmp_path / "ann.json").read_text(encoding="utf-8"))
    expect(bo.locator('#spots [data-rank="2"] .pick-names')).to_be_empty()
    both = save(bo, tmp_path / "bo.json")
    words = {(p["who"], p["lat"]): p["picked"] for p in both["picks"]}
    assert words == {("Ann", 45.0): True, ("Ann", 45.2): False, ("Bo", 45.2): True}
    # On another device of hers, Ann's own words are her own ticks.
    give(ann.page, (tmp_path / "bo.json").read_text(encoding="utf-8"))
    expect(ann.page.locator('#spots [data-rank="2"] .pick-names')).to_have_text("picked by Bo")
    expect(tick(ann.page, 1)).to_be_checked()
    expect(tick(ann.page, 2)).not_to_be_checked()
    assert ann.messages == []
    context.close()


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (b"\xff\xfe\x00", "it is not JSON"),
        ("", "it is not JSON"),
        ("[]", "it is not a shortlist of such a map"),
        ("null", "it is not a shortlist of such a map"),
        ('{"type": "FeatureCollection"}', "it is not a shortlist of such a map"),
        (shortlist_file(version=2), "it was saved by a newer version"),
        ('{"format": "scout-shortlist", "version": 1}', "it holds no picks"),
        (shortlist_file(7), "pick 1: it is no pick"),
        (shortlist_file(pick(), None), "pick 2: it is no pick"),
        (shortlist_file(pick(lat=91)), "pick 1: it names no place"),
        (shortlist_file(pick(lon="x")), "pick 1: it names no place"),
        (shortlist_file(pick(who=" \u0000 ")), "pick 1: it does not say who picked"),
        (shortlist_file(pick(who={"toString": 1})), "pick 1: it does not say who picked"),
        (shortlist_file(pick(picked="yes")), "pick 1: its note or its tick is not one"),
        (shortlist_file(pick(at="yesterday")), "pick 1: its time is not one"),
        (shortlist_file(pick(at="+275760-09-13T00:00:00.000Z")), "pick 1: its time is not one"),
        (shortlist_file(pick(at="9999-12-31T23:59:59.999Z")), "pick 1: its time is not one"),
        (shortlist_file(pick(at="-000001-01-01T00:00:00.000Z")), "pick 1: its time is not one"),
    ],
)
def test_a_bad_file_gets_one_clear_line_and_changes_nothing(
    open_page: Open, text: str | bytes, line: str
) -> None:
    opened = open_page(bay())
    unfold(opened.page)
    tick(opened.page, 1).check()
    give(opened.page, text)
    expect(opened.page.locator("#picks-note")).to_have_text(f"Not opened, theirs.json: {line}.")
    expect(opened.page.locator("#picks-count")).to_have_text("Shortlist: 1 spot")
    assert opened.messages == []


HOSTILE = (
    "<img src=x onerror=alert(1)>",
    "</script><script>alert(2)</script>",
    "__proto__",
    "constructor",
    "\u202ereversed",
    "=cmd()",
)


def test_hostile_names_and_notes_stay_text(open_page: Open) -> None:
    opened = open_page(bay(), "#spot=1")
    page = opened.page
    give(page, shortlist_file(*(pick(who=text, note=text * 40) for text in HOSTILE)))
    expect(page.locator("#details-body .picks-here li")).to_have_count(len(HOSTILE))
    for text in HOSTILE:
        expect(page.locator("#details-body .picks-here")).to_contain_text(text)
    assert page.locator("img, bdi *").count() == 0
    assert page.evaluate("() => ({}).picked") is None
    assert opened.messages == []


def test_places_of_another_map_are_counted_and_passed_on(open_page: Open, tmp_path: Path) -> None:
    page = open_page(bay()).page
    unfold(page)
    page.locator("#picks input[name=who]").fill("Bo")
    give(page, shortlist_file(pick(), pick(lat=10.0)))
    expect(page.locator("#picks-note")).to_have_text(
        "Joined theirs.json: it speaks of 1 spot; 1 other this map does not hold."
    )
    saved = save(page, tmp_path / "bo.json")
    assert {p["lat"] for p in saved["picks"]} == {45.0, 10.0}


# Joining lists


@pytest.fixture(scope="module")
def joins(browser: Browser) -> Page:
    """A page with the shortlist's functions and nothing else."""
    page = browser.new_page()
    page.evaluate(
        f"""() => {{
          {script("shortlist.js")}
          const read = (words) => {{
            const list = makeShortlist();
            for (const [key, who, word] of words) setEntry(list, key, who, word);
            return list;
          }};
          const told = (list) => {{
            const rows = [];
            for (const [key, words] of list) {{
              for (const [who, {{ picked, note, at }}] of words) {{
                rows.push([key, who, picked, note, at].join("|"));
              }}
            }}
            return rows.sort().join("; ");
          }};
          window.orders = ([a, b, c]) => [
            joinShortlists(read(a), read(b), read(c)),
            joinShortlists(joinShortlists(read(c), read(a)), read(b)),
            joinShortlists(read(b), joinShortlists(read(c), read(a), read(a))),
            readShortlist(JSON.stringify(packShortlist(joinShortlists(read(a), read(b), read(c)), "t"))),
          ].map(told);
        }}"""
    )
    return page


words = st.lists(
    st.tuples(
        st.sampled_from(["45.000000, -20.000000", "-1.500000, 3.000000"]),
        st.sampled_from(["Ann", "Bo", "__proto__"]),
        st.fixed_dictionaries(
            {
                "picked": st.booleans(),
                "note": st.sampled_from(["", "a", "b"]),
                "at": st.sampled_from([TIME, "2026-03-02T08:00:00.000Z"]),
            }
        ),
    ),
    max_size=6,
)


@given(st.tuples(words, words, words))
@settings(deadline=None, derandomize=True, max_examples=60)
def test_in_whatever_order_lists_are_joined_the_result_is_one(joins: Page, lists: Any) -> None:
    told = joins.evaluate("(lists) => window.orders(lists)", [[list(word) for word in one] for one in lists])
    assert len(set(told)) == 1
