"""The page in Firefox: it loads, lists, filters, tells, checks and keeps, and says nothing on the console."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from walked import WARNING, harbour

from browser.conftest import SIZES, must_have
from browser.marionette import Firefox, firefox, firefox_path
from scout.page.document import build_map

WINDOWS = {**SIZES, "old screen": (1024, 768), "half zoom": (720, 450)}


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Firefox, str]]:
    must_have(firefox_path(), "Firefox", "firefox-esr")
    folder = tmp_path_factory.mktemp("firefox")
    path = folder / "harbour.html"
    path.write_text(build_map(harbour()), encoding="utf-8")
    with firefox(folder) as browser:
        yield browser, path.as_uri()


@pytest.fixture(scope="module", params=list(WINDOWS))
def opened(started: tuple[Firefox, str], request: pytest.FixtureRequest) -> tuple[Firefox, str]:
    """The page in a window of each size, nothing kept from the size before."""
    browser, address = started
    browser.open(address)
    browser.size(*WINDOWS[request.param])
    browser.run("localStorage.clear()")
    browser.open(address)
    return browser, address


def text_of(browser: Firefox, query: str) -> str:
    text: str = browser.run("return document.querySelector(arguments[0]).innerText", query)
    return " ".join(text.split())


def test_the_window_has_its_size(opened: tuple[Firefox, str], request: pytest.FixtureRequest) -> None:
    browser, _ = opened
    name = request.node.callspec.params["opened"]
    assert browser.run("return [innerWidth, innerHeight]") == pytest.approx(
        WINDOWS[name], abs=4
    )  # zooms go in steps
    assert browser.run("return document.documentElement.scrollWidth - innerWidth") <= 0


def test_it_lists_and_filters(opened: tuple[Firefox, str]) -> None:
    browser, address = opened
    browser.open(address)
    rows = "return [...document.querySelectorAll('#spots > li')].map((row) => row.dataset.rank)"
    assert browser.run(rows) == ["1", "2", "3"]
    assert WARNING in text_of(browser, '#spots [data-rank="1"]')
    assert browser.run("return document.querySelectorAll('.mark').length") == 3
    browser.run(
        """document.querySelector("[name=kind]").value = "line";
           document.getElementById("filters").dispatchEvent(new Event("input"));"""
    )
    assert browser.run(rows) == ["3"]
    browser.run("document.querySelector('#hidden-box button').click()")
    browser.wait("return document.querySelectorAll('#spots > li').length === 3")


def test_it_tells_a_spot_and_draws_the_map(opened: tuple[Firefox, str]) -> None:
    browser, _ = opened
    browser.run("document.querySelector('[data-rank=\"1\"] a.row').click()")
    story = text_of(browser, "#details-body")
    for said in ("Spot 1: corner", "24 min", "5.2 m north-east (45°)", "UTM 27N 578820 4983440", WARNING):
        assert said in story
    assert browser.run("return location.hash") == "#spot=1"
    painted = """
      const canvas = document.querySelector(".leaflet-parks-pane canvas");
      const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
      return data.some((value) => value > 0);"""
    assert browser.run(painted)
    browser.run("document.getElementById('close').click()")


def test_it_checks_a_place(opened: tuple[Firefox, str]) -> None:
    browser, _ = opened
    browser.run(
        """document.getElementById("check-button").click();
           document.getElementById("here-text").value = "45.00003, -20.00002";
           document.querySelector("#here-form button").click();"""
    )
    answer = text_of(browser, "#here-answer")
    assert "HN95 IN05 HN94 IN04" in answer
    assert "firm" in answer
    browser.run("document.getElementById('here-close').click()")


def test_measuring_and_checking_own_the_taps(opened: tuple[Firefox, str]) -> None:
    browser, _ = opened
    tap = """
      const mark = document.querySelector('.mark[data-rank="1"]');
      const { left, top } = mark.getBoundingClientRect();
      const at = { bubbles: true, clientX: left + 17, clientY: top + 45 };
      for (const kind of ["mousedown", "mouseup", "click"]) mark.dispatchEvent(new MouseEvent(kind, at));"""
    browser.run("document.getElementById('all-button').click()")
    browser.run("document.getElementById('measure-button').click()")
    browser.run(tap)
    assert text_of(browser, "#measure-text") == "Press on the next place, from spot 1."
    box, ground = "document.getElementById('measure')", "document.querySelector('.map')"
    below = f"return {box}.getBoundingClientRect().top >= {ground}.getBoundingClientRect().bottom - 1"
    assert browser.run(below)
    browser.run("document.getElementById('measure-close').click()")
    browser.run("document.getElementById('check-button').click()")
    browser.run(tap)
    assert browser.run("return document.getElementById('details').hidden")
    assert browser.run("return location.hash").startswith("#check=")
    browser.run("document.getElementById('here-close').click()")


def test_the_map_keeps_half_of_the_window(opened: tuple[Firefox, str]) -> None:
    browser, _ = opened
    share = """
      const { left, right, top, bottom } = document.querySelector(".map").getBoundingClientRect();
      const sheet = document.getElementById("details").getBoundingClientRect();
      const from = sheet.bottom > top && sheet.top < bottom - 1 ? Math.max(left, sheet.right) : left;
      return ((right - from) * (bottom - top)) / (innerWidth * innerHeight);"""
    browser.run("document.querySelector('[data-rank=\"1\"] a.row').click()")
    assert float(browser.run(share)) >= 0.5
    # Followed by its position as well; the position is handed over in place of the device's.
    browser.run(
        """navigator.geolocation.clearWatch = () => {};
           navigator.geolocation.watchPosition = (take) => {
             take({ timestamp: Date.now(), coords: { longitude: -20.0001, latitude: 45.0001, accuracy: 8 } });
             return 1;
           };
           document.getElementById("live-button").click();"""
    )
    assert text_of(browser, ".live-way").startswith("Spot 1:")
    assert float(browser.run(share)) >= 0.5
    browser.run("document.getElementById('live-stop').click(); document.getElementById('close').click()")


def test_an_open_spot_is_laid_out_on_paper_and_the_screen_comes_back(opened: tuple[Firefox, str]) -> None:
    browser, _ = opened
    browser.run("document.querySelector('[data-rank=\"1\"] a.row').click()")
    place = "return document.querySelector('.mark[data-rank=\"1\"]').getBoundingClientRect().left"
    before = None
    while before != (now := browser.run(place)):  # the map is on its way to the spot
        before = now
        time.sleep(0.4)
    browser.run("window.dispatchEvent(new Event('beforeprint'))")
    told = text_of(browser, "#paper-list")
    for said in ("Map 1 : ", "when printed at full size", "24 min", "44.995000, -20.012000", "pairs (yield)"):
        assert said in told
    browser.run("window.dispatchEvent(new Event('afterprint'))")
    assert browser.run(place) == pytest.approx(before, abs=1.5)
    assert browser.run("return document.getElementById('paper-list').childElementCount") == 0
    browser.run("document.getElementById('close').click()")


def test_it_keeps_the_shortlist(opened: tuple[Firefox, str]) -> None:
    browser, address = opened
    browser.run("document.querySelector('[data-rank=\"2\"] .pick input').click()")
    browser.open(address + "?again")
    assert text_of(browser, "#picks-count") == "Shortlist: 1 spot"


def test_it_asks_for_nothing_and_says_nothing(opened: tuple[Firefox, str]) -> None:
    browser, _ = opened
    assert browser.run("return performance.getEntriesByType('resource').map((entry) => entry.name)") == []
    # Leaflet copies the event of a press with all it has; of two old names in it Firefox says they are old.
    said = [line for line in browser.complaints("harbour.html") if not line.startswith("MouseEvent.moz")]
    assert said == []


def test_a_complaint_would_be_seen(started: tuple[Firefox, str], tmp_path: Path) -> None:
    browser, _ = started
    path = tmp_path / "broken.html"
    path.write_text(
        "<script>document.documentElement.classList.add('ready'); nowhere();</script>", encoding="utf-8"
    )
    browser.open(path.as_uri())
    assert any("nowhere" in line for line in browser.complaints("broken.html"))
