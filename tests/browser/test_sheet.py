"""The arrival sheet in a browser: opened from disk, read on two sizes, printed."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, expect
from sheets import HOSTILE, alder, crowded_sheet, hostile_sheet, sheet, standing

from browser.conftest import Watched, both_schemes, both_sizes
from browser.test_look import PAINT, contrast, luminance

Open = Callable[[str], Watched]

TEXTS = (
    "h1", ".kicker", ".call", "dt", "dd", "h2", ".word b", ".verdict .aside", ".keys li", "th", "td", ".id",
    ".blank", ".small", "footer p", "footer code",
)  # fmt: skip


def beside_an_inholding() -> str:
    return sheet(parks=alder(inholding=True), level=4)


def far_from_parks() -> str:
    return sheet(standing(50.0, 60.0))


both_sheets = pytest.mark.parametrize("made", [sheet, hostile_sheet])
PRINTED = [sheet, beside_an_inholding, far_from_parks, hostile_sheet, crowded_sheet]


@pytest.fixture
def open_sheet(context: BrowserContext, tmp_path: Path) -> Open:
    def open_(text: str) -> Watched:
        path = tmp_path / "sheet.html"
        path.write_text(text, encoding="utf-8")
        watched = Watched(context.new_page(), path)
        watched.page.on("request", lambda request: watched.requests.append(request.url))
        watched.page.on("console", lambda message: watched.messages.append(f"{message.type}: {message.text}"))
        watched.page.on("pageerror", lambda error: watched.messages.append(f"error: {error}"))
        watched.page.on("dialog", lambda dialog: (watched.messages.append("dialog"), dialog.dismiss()))
        watched.page.goto(path.as_uri())
        return watched

    return open_


def pages(pdf: bytes) -> int:
    """Pages of a PDF whose page objects are not packed, as Chromium writes them."""
    assert pdf.startswith(b"%PDF")
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


@both_sizes
@both_sheets
def test_it_asks_for_nothing_and_says_nothing(open_sheet: Open, made: Callable[[], str]) -> None:
    opened = open_sheet(made())
    opened.page.wait_for_timeout(150)
    assert opened.asked_for() == []
    assert opened.messages == []


@both_sizes
@both_sheets
def test_nothing_sticks_out_to_the_side(open_sheet: Open, made: Callable[[], str]) -> None:
    page = open_sheet(made()).page
    assert page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth") <= 0
    outside = """() => [...document.querySelectorAll("main *:not(svg *)")]
        .filter((e) => e.getBoundingClientRect().right > window.innerWidth + 1)
        .map((e) => e.outerHTML.slice(0, 80))"""
    assert page.evaluate(outside) == []


@both_sizes
def test_hostile_names_stay_text(open_sheet: Open) -> None:
    opened = open_sheet(hostile_sheet())
    page = opened.page
    for name in HOSTILE[:2]:
        expect(page.locator("bdi", has_text=name).first).to_be_visible()
    assert page.locator("img, script, iframe, b b, bdi *").count() == 0
    assert opened.messages == []


def test_a_script_would_not_run(open_sheet: Open) -> None:
    opened = open_sheet(sheet())
    opened.page.evaluate(
        """() => {
          const script = document.createElement("script");
          script.textContent = "window.broken = 1";
          document.body.append(script);
        }"""
    )
    assert opened.page.evaluate("() => window.broken") is None
    assert any("Content Security Policy" in message for message in opened.messages)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("made", PRINTED)
def test_it_prints_on_two_pages(open_sheet: Open, paper: str, made: Callable[[], str]) -> None:
    page = open_sheet(made()).page
    assert pages(page.pdf(format=paper)) == 2


@pytest.mark.parametrize("made", PRINTED)
def test_photographs_have_room_on_paper(open_sheet: Open, made: Callable[[], str]) -> None:
    """80 mm wide, and 26 mm high at the worst; a usual sheet holds two prints of 8 x 8 cm."""
    page = open_sheet(made()).page
    page.set_viewport_size({"width": 718, "height": 970})  # what margins leave of Letter, CSS pixels
    page.emulate_media(media="print")
    boxes = [frame.bounding_box() for frame in page.locator(".frame").all()]
    assert len(boxes) == 2
    for box in boxes:
        assert box is not None
        assert box["width"] * 25.4 / 96 >= 80
        assert box["height"] * 25.4 / 96 >= (80 if made in (sheet, far_from_parks) else 25.9)


def test_the_count_of_pages_counts(open_sheet: Open) -> None:
    page = open_sheet(sheet()).page
    page.evaluate("() => { document.body.style.height = '3000mm'; }")
    assert pages(page.pdf(format="A4")) > 5


@both_schemes
def test_paper_is_white_whatever_the_screen(open_sheet: Open, scheme: str) -> None:
    page = open_sheet(sheet()).page
    _, ground = page.evaluate(PAINT, "h1")
    assert (luminance(ground) < 0.05) == (scheme == "dark")
    page.emulate_media(media="print", color_scheme=scheme)
    ink, ground = page.evaluate(PAINT, "h1")
    assert luminance(ground) == pytest.approx(1.0)
    assert contrast(ink, ground) > 12


@both_schemes
def test_text_is_readable(open_sheet: Open) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1."""
    page = open_sheet(sheet()).page
    found = {text: contrast(*page.evaluate(PAINT, text)) for text in TEXTS}
    assert {text: ratio for text, ratio in found.items() if ratio < 4.5} == {}


@both_schemes
def test_lines_and_marks_stand_out(open_sheet: Open) -> None:
    """WCAG 2.2, 1.4.11: 3 to 1 for what is needed to understand a picture."""
    page = open_sheet(sheet()).page
    paint = """(query) => {
      const numbers = (text) => text.match(/[\\d.]+/g).map(Number).slice(0, 3);
      const ground = getComputedStyle(document.querySelector(".ground"));
      return [numbers(getComputedStyle(document.querySelector(query)).stroke), numbers(ground.fill)];
    }"""
    drawn = (
        ".lattice-line",
        ".park-edge",
        ".error",
        ".fix.used",
        ".fix.dropped",
        ".centre",
        ".station",
        ".rim",
    )
    found = {mark: contrast(*page.evaluate(paint, f".picture {mark}")) for mark in drawn}
    assert {mark: ratio for mark, ratio in found.items() if ratio < 3.0} == {}


@both_sizes
def test_the_picture_keeps_its_scale_and_its_words_can_be_read(open_sheet: Open, size: str) -> None:
    page = open_sheet(sheet()).page
    box = page.locator(".picture").first.bounding_box()
    assert box is not None
    assert box["height"] / box["width"] == pytest.approx(1.068, abs=0.01)
    heights = page.locator(".picture text").evaluate_all(
        "all => all.map((t) => t.getBoundingClientRect().height)"
    )
    assert min(heights) > 10
