"""The site in Firefox: stored, it opens without its web space, lists, and judges where the device is."""

from __future__ import annotations

from pathlib import Path

import pytest
from builders import bay

from browser.conftest import must_have
from browser.marionette import firefox, firefox_path
from browser.served import serving
from browser.test_check_here import by_command
from browser.test_live import TO_95
from browser.test_site import STORED, put
from scout.output import text as wording


def test_it_is_stored_and_goes_on_without_its_web_space(tmp_path: Path) -> None:
    must_have(firefox_path(), "Firefox", "firefox-esr")
    found = bay()
    with serving(put(tmp_path / "site", found)) as server, firefox(tmp_path) as browser:
        browser.open(server.address)
        browser.wait(f"return document.getElementById('stored').textContent === {STORED!r}")
        server.stop()
        browser.open(server.address + "?again#spot=3")
        browser.wait(f"return document.getElementById('stored').textContent === {STORED!r}")
        assert browser.run("return document.querySelectorAll('#spots > li').length") == 5
        assert "Spot 3" in browser.run("return document.getElementById('details-title').textContent")
        # One place only: without a network in reach its provider keeps the first.
        lon, lat, accuracy = -20.00002, 45.00003, 8.0
        browser.stand_at(lon, lat, accuracy)
        browser.run("document.getElementById('live-button').click()")
        verdict = by_command(found, lon, lat, accuracy * TO_95).verdict
        error = wording.format_fine_length(accuracy * TO_95)
        sure = wording.format_probability(verdict.confidence)
        said = f"{verdict.word} confidence {sure}, fix error {error}"
        browser.wait(
            "return (document.querySelector('#live-text .claim')?.textContent ?? '')"
            f".trim().replace(/\\s+/g, ' ') === {said!r}"
        )
        cells = browser.run("return document.querySelector('.live-cells').textContent")
        assert cells.split() == list(verdict.locators)
        assert browser.complaints(server.address) == []


def test_a_page_that_was_never_stored_is_gone_with_its_web_space(tmp_path: Path) -> None:
    """That the server is really stopped above."""
    must_have(firefox_path(), "Firefox", "firefox-esr")
    with serving(put(tmp_path / "site", bay())) as server, firefox(tmp_path) as browser:
        server.stop()
        with pytest.raises(RuntimeError, match="Navigate"):
            browser.open(server.address)
