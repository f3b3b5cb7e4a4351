"""The desk in Firefox: it lets in, searches, and makes a card."""

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
        rows = "document.getElementById('spots-map').contentDocument?.querySelectorAll('#spots > li').length"
        browser.wait(f"return {rows} === 50")
        browser.run("document.getElementById('cancel').click()")
        browser.wait("return document.getElementById('progress').textContent === ''")
        browser.run(
            """const spot = document.querySelector("#day [name=spot]");
               spot.value = "1";
               spot.dispatchEvent(new Event("input", { bubbles: true }));
               document.getElementById("card").click();"""
        )
        browser.wait("return document.querySelectorAll('#got-day li').length === 1")
        assert browser.complaints("/own/") == []
