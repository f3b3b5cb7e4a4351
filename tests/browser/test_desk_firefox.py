"""The desk in Firefox: the story of a day, at two sizes."""

from __future__ import annotations

from pathlib import Path

import pytest
from desks import running
from test_stamp import contact

from browser.conftest import SIZES
from browser.marionette import Firefox, firefox, firefox_path
from browser.test_desk import write_extract, write_recording

pytestmark = pytest.mark.skipif(
    firefox_path() is None, reason="no Firefox on this machine; on Debian: apt install firefox-esr"
)


SET = """const [form, values] = arguments;
    const { elements } = document.getElementById(form);
    for (const [name, value] of Object.entries(values)) {
        elements.namedItem(name).value = value;
        elements.namedItem(name).dispatchEvent(new Event("input", { bubbles: true }));
    }"""


def tell_the_story(browser: Firefox, folder: Path) -> None:
    """An extract brought and searched; the day planned, made ready, written down, stamped and counted."""

    def click(selector: str) -> None:
        browser.run("document.querySelector(arguments[0]).click()", selector)

    def expect(selector: str, text: str = "") -> None:
        some = f"[...document.querySelectorAll({selector!r})]"
        browser.wait(f"return {some}.some((one) => one.textContent.includes({text!r}))")

    browser.send("#door-files", str(write_extract(folder / "made.osm")))
    expect("#parks-said", "3 parks")
    browser.run(SET, "wanted", {"home": "45.002, -20.04"})
    expect("#home-said", "Understood as")
    click("#search")
    browser.wait("return !document.getElementById('see-spots').disabled")
    with browser.inside():
        browser.wait("return document.querySelectorAll('#spots > li').length > 3")
    browser.wait("return document.getElementById('progress').textContent === ''")
    browser.run(SET, "day", {"spot": "1", "spots": "1-2", "call": "Q1AAA"})
    click("#card")
    expect("#got-day li", "Card of spot 1")
    click("#pack")
    expect("#got-day li", "Pack of 1-2")
    click("#check-spot")
    expect("#checked .word", "firm")
    browser.run(SET, "trip-form", {"date": "2026-06-20", "hours": "06:00-20:00"})
    click("#trip-form .buttons button")
    expect("#toured .answer strong", "Best tour")
    place = browser.run("return document.querySelector('#check-form [name=place]').value")
    browser.send("input[data-role=recording]", str(write_recording(folder / "still.nmea", place)))
    expect("#arrived", "Where the receiver stood")
    click("#visit-recording")
    browser.run(SET, "visit-form", {"day": "2026-02-14", "from": "18:05", "to": "20:05", "call": "Q1AAA"})
    click("#write-visit")
    browser.wait("return !document.getElementById('keep-form').hidden")
    click("#keep-not")
    expect("#visits tbody tr", "2026-02-14 18:05")
    log = folder / "day.adi"
    log.write_text(f"A log\n<EOH>\n{contact()}", encoding="ascii")
    browser.send("input[data-role=log]", str(log))
    expect("#log-said", "day.adi")
    click("#log-form .buttons button")
    expect("#stamped", "1 during visit 1")
    click("#tally")
    expect("#tallied table")
    browser.run(SET, "locate-form", {"place": "JO22ab"})
    click("#locate-form button")
    expect("#located", "subsquare")


def test_the_whole_story_at_two_sizes(tmp_path: Path) -> None:
    with running() as caller, firefox(tmp_path) as browser:
        for size in (SIZES["wide"], SIZES["tall"]):
            browser.size(*size)
            browser.open(caller.desk.address(caller.desk.keys.shown))
            assert browser.run("return location.href") == f"http://127.0.0.1:{caller.desk.port}/"
            tell_the_story(browser, tmp_path)
            assert browser.complaints("/own/") == []
            browser.run("sessionStorage.clear()")
            browser.ask("WebDriver:Navigate", {"url": "about:blank"})


REACHES_OUT = """
    const reached = [];
    for (const look of [() => parent.document, () => parent.sessionStorage, () => window.localStorage]) {
        try { look(); reached.push(String(look)); } catch { }
    }
    return reached"""
FIRST_TICK = "document.querySelector('#spots > li .pick input')"


def test_the_map_stands_in_a_sandbox_and_keeps_its_shortlist(tmp_path: Path) -> None:
    with running() as caller, firefox(tmp_path) as browser:
        address = f"http://127.0.0.1:{caller.desk.port}/"
        browser.open(caller.desk.address(caller.desk.keys.shown))
        browser.run("document.getElementById('demo').click()")
        browser.wait("return !document.getElementById('see-spots').disabled")
        with browser.inside():
            browser.wait("return document.querySelectorAll('#spots > li').length === 50")
            assert browser.run(REACHES_OUT) == []
            browser.run(f"{FIRST_TICK}.click()")
            assert browser.run("return document.getElementById('picks-count').textContent").endswith("1 spot")
            assert "keeps nothing" not in browser.run("return document.body.innerText")
        browser.run("document.getElementById('cancel').click()")
        browser.wait("return document.getElementById('progress').textContent === ''")
        browser.open(address)  # loaded again: neither the key nor the shortlist is lost
        browser.wait("return document.getElementById('parks-said').textContent.includes('parks')")
        browser.run("document.getElementById('search').click()")
        browser.wait("return !document.getElementById('see-spots').disabled")
        with browser.inside():
            browser.wait(f"return {FIRST_TICK} !== null")
            assert browser.run(f"return {FIRST_TICK}.checked")
        browser.run(
            """const spot = document.querySelector("#day [name=spot]");
               spot.value = "2";
               spot.dispatchEvent(new Event("input", { bubbles: true }));"""
        )
        with browser.inside():
            browser.wait("return location.hash === '#spot=2'")
            browser.run("document.querySelector('#spots > li:nth-child(3) a').click()")
            browser.wait("return location.hash === '#spot=3'")
        browser.wait("return document.querySelector('#day [name=spot]').value === '3'")
