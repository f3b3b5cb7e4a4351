"""The desk in Firefox: it lets in, searches, makes a card, checks, writes a visit, looks a locator up."""

from __future__ import annotations

from pathlib import Path

import pytest
from desks import running

from browser.marionette import firefox, firefox_path

pytestmark = pytest.mark.skipif(
    firefox_path() is None, reason="no Firefox on this machine; on Debian: apt install firefox-esr"
)


def test_from_the_click_on_the_demo_to_a_card(tmp_path: Path) -> None:
    with running() as caller, firefox(tmp_path) as browser:
        browser.open(caller.desk.address(caller.desk.keys.shown))
        assert browser.run("return location.href") == f"http://127.0.0.1:{caller.desk.port}/"
        browser.run("document.getElementById('demo').click()")
        browser.wait("return !document.getElementById('see-spots').disabled")
        with browser.inside():
            browser.wait("return document.querySelectorAll('#spots > li').length === 50")
        browser.run("document.getElementById('cancel').click()")
        browser.wait("return document.getElementById('progress').textContent === ''")
        browser.run(
            """const spot = document.querySelector("#day [name=spot]");
               spot.value = "1";
               spot.dispatchEvent(new Event("input", { bubbles: true }));
               document.getElementById("card").click();"""
        )
        browser.wait("return document.querySelectorAll('#got-day li').length === 1")
        # Checked, written down, and a locator looked up.
        browser.run("document.getElementById('check-spot').click()")
        browser.wait("return document.querySelector('#checked .word')?.textContent === 'firm'")
        browser.run(
            """document.getElementById("visit-spot").click();
               const { elements } = document.getElementById("visit-form");
               elements.namedItem("day").value = "2026-02-14";
               elements.namedItem("from").value = "18:05";
               document.getElementById("write-visit").click();"""
        )
        browser.wait("return !document.getElementById('keep-form').hidden")
        browser.run("document.getElementById('keep-not').click()")
        browser.wait("return document.querySelectorAll('#visits tbody tr').length === 1")
        browser.run(
            """const form = document.getElementById("locate-form");
               form.elements.namedItem("place").value = "JO22ab";
               form.requestSubmit();"""
        )
        browser.wait("return document.getElementById('located').textContent.includes('subsquare')")
        assert browser.complaints("/own/") == []


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
