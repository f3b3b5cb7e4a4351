"""The card in Chromium: printed on one sheet of either size, whole, in type that can be read across a table.

What a PDF says is read by `pypdf` (R), not by the browser that wrote it.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cards
import cv2
import exported
import numpy as np
import pypdf
import pytest
import shapely
from playwright.sync_api import BrowserContext, Page

from browser.conftest import Watched, both_sizes
from browser.test_look import PAINT, contrast
from scout.output.card import CardParticulars, build_card

Open = Callable[[str], Watched]

PX_PER_MM = 96 / 25.4
# Usual text sans-serifs differ in width; the widest and a serif stand for what a reader's machine may have.
TYPES = ["Liberation Sans", "DejaVu Sans", "Liberation Serif"]
LONG_CALLS = replace(cards.SAID, call="QQ1WWW/Q1WWW/MM", club_call="Q0MWMWMWMWMW/Q1")
SCRIPTS = "\u202eשלום עולם <b>x</b> 🏞️👨‍👩‍👧 公園 Ёлка مرج " * 200

CARDS = {
    "plain": lambda: build_card(exported.bay(), 1, cards.SAID),
    "empty": lambda: build_card(cards.grove(1), 1),
    "eight parks": lambda: build_card(cards.grove(8), 1, cards.SAID),
    "eighty parks": lambda: build_card(cards.grove(80), 1, LONG_CALLS),
    "full": lambda: build_card(cards.full(), 1, LONG_CALLS),
    "roomy and long": lambda: build_card(cards.full(count=3, notes=1), 1, LONG_CALLS),
    "ten thousand letters": lambda: build_card(
        cards.full("W" * 10_000), 1, replace(cards.SAID, call="W" * 16)
    ),
    "scripts": lambda: build_card(cards.full(SCRIPTS, 4), 1, cards.SAID),
}
all_cards = pytest.mark.parametrize("name", list(CARDS))


@pytest.fixture
def open_card(context: BrowserContext, tmp_path: Path) -> Open:
    def open_(text: str) -> Watched:
        path = tmp_path / "card.html"
        path.write_text(text, encoding="utf-8")
        watched = Watched(context.new_page(), path)
        watched.page.on("request", lambda request: watched.requests.append(request.url))
        watched.page.on("console", lambda message: watched.messages.append(f"{message.type}: {message.text}"))
        watched.page.on("pageerror", lambda error: watched.messages.append(f"error: {error}"))
        watched.page.goto(path.as_uri())
        return watched

    return open_


def set_type(page: Page, name: str) -> None:
    page.evaluate("(name) => document.documentElement.style.setProperty('--text', `\"${name}\"`)", name)


def printed(page: Page, paper: str) -> list[str]:
    """Text of every page of the PDF, without blanks: where a line ends is no part of a word."""
    pages = pypdf.PdfReader(io.BytesIO(page.pdf(format=paper))).pages
    return [re.sub(r"\s", "", each.extract_text()) for each in pages]


@all_cards
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_both_sides_of_one_sheet(open_card: Open, name: str, paper: str) -> None:
    page = open_card(CARDS[name]()).page
    for letters in TYPES if paper == "Letter" else TYPES[:1]:  # the shorter sheet is the harder one
        set_type(page, letters)
        assert len(printed(page, paper)) == 2, letters


def test_the_count_of_pages_counts(open_card: Open) -> None:
    page = open_card(CARDS["plain"]()).page
    page.evaluate("() => { document.querySelector('.stand').style.height = '200mm'; }")
    assert len(printed(page, "A4")) > 2


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_sheet_says_every_call_locator_and_reference(open_card: Open, paper: str) -> None:
    front, back = printed(open_card(CARDS["plain"]()).page, paper)
    for said in (
        "Q1AAA",
        "Q0CLUB",
        "HN95",
        "IN05",
        "HN94",
        "IN04",
        "QX-001",
        "QuietCove",
        "QX-002",
        "TernMarsh",
    ):
        assert said in front, said
    for said in ("QX-001", "QX-002", "45.000000,-20.000000", "27N5788154983437", "geo:45.000000", "sunrise"):
        assert said in back, said
    front, _ = printed(open_card(CARDS["eight parks"]()).page, paper)
    assert all(f"QX-{k:03d}Grove{k}" in front for k in range(8))
    front, _ = printed(open_card(build_card(cards.grove(30), 1, cards.SAID)).page, paper)
    assert all(f"QX-{k:03d}" in front for k in range(30))
    front, _ = printed(open_card(CARDS["full"]()).page, paper)
    for said in (
        "QQ1WWW/",
        "Q1WWW/MM",
        "Q0MWMWMWMWMW/",
        "JN45xa90xa",
        "JN55aa00aa",
        "JN44xx99xx",
        "JN54ax09ax",
    ):
        assert said in front, said


# What sticks out of its place, or is cut without an ellipsis; a line clamp draws one.
CLIPPED = """() => {
  const found = [];
  for (const side of document.querySelectorAll(".side")) {
    const whole = side.getBoundingClientRect();
    for (const e of side.querySelectorAll("*")) {
      if (e.parentElement.closest(".clamped") || e.closest("svg svg")) continue;  // an inner svg clips itself
      const box = e.getBoundingClientRect(), look = getComputedStyle(e);
      if (!box.width && !box.height) continue;
      if (box.right > whole.right + 1 || box.left < whole.left - 1 || box.bottom > whole.bottom + 1) {
        found.push(["out", e.outerHTML.slice(0, 90)]);
      }
      if (look.overflow === "hidden" && !e.closest("svg")) {
        const ends = look.webkitLineClamp !== "none";
        if (!ends || e.scrollWidth > e.clientWidth + 1) found.push(["cut", e.outerHTML.slice(0, 90)]);
      }
    }
    for (const item of side.querySelectorAll(".parks li")) {
      if (item.scrollHeight > item.clientHeight + 1) found.push(["tall", item.outerHTML.slice(0, 90)]);
    }
    for (const svg of side.querySelectorAll("svg.row")) {
      const view = svg.viewBox.baseVal;
      for (const text of svg.querySelectorAll("text")) {
        const box = text.getBBox();
        if (box.x < -0.5 || box.x + box.width > view.width + 0.5) found.push(["row", text.textContent]);
      }
    }
  }
  return found;
}"""


@all_cards
def test_nothing_is_clipped_in_print(open_card: Open, name: str) -> None:
    page = open_card(CARDS[name]()).page
    page.emulate_media(media="print")
    for letters in TYPES:
        set_type(page, letters)
        assert page.evaluate(CLIPPED) == [], letters


def test_the_look_for_clipping_sees_it(open_card: Open) -> None:
    page = open_card(CARDS["plain"]()).page
    page.emulate_media(media="print")
    page.evaluate("() => { document.querySelector('.reference').style.fontSize = '90mm'; }")
    page.evaluate("() => { document.querySelector('.stand').style.marginLeft = '200mm'; }")
    assert {kind for kind, *_ in page.evaluate(CLIPPED)} >= {"out", "tall"}


def ink(page: Page, query: str) -> np.ndarray:
    """Where an element is dark, as printed, at four dots to the CSS pixel or as the screen has it."""
    shot = page.locator(query).first.screenshot()
    return cv2.imdecode(np.frombuffer(shot, np.uint8), cv2.IMREAD_GRAYSCALE) < 128


SIZES = """() => [...document.querySelectorAll(".back *")].filter((e) => [...e.childNodes].some(
    (node) => node.nodeType === Node.TEXT_NODE && node.textContent.trim())).map((e) => {
  const scale = e.closest(".sketch") ? e.closest(".sketch").getBoundingClientRect().width / 1000 : 1;
  return [parseFloat(getComputedStyle(e).fontSize) * scale * 0.75, e.outerHTML.slice(0, 60)];
})"""


@all_cards
def test_the_back_can_be_read_outdoors(open_card: Open, name: str) -> None:
    """Printed type of 8.5 points at least, names in the sketch too (our own floor, C)."""
    page = open_card(CARDS[name]()).page
    page.emulate_media(media="print")
    sizes = page.evaluate(SIZES)
    assert len(sizes) > 30
    assert [text for size, text in sizes if size < 8.5] == []


@all_cards
def test_the_back_is_used_to_the_foot(open_card: Open, name: str) -> None:
    """No gap between two parts is wider than a sixth of the card."""
    page = open_card(CARDS[name]()).page
    page.emulate_media(media="print")
    ends = page.evaluate(
        """() => [...document.querySelectorAll(".back > :not(.ground), .ground > *")]
          .map((e) => e.getBoundingClientRect()).map((box) => [box.top, box.bottom])"""
    )
    (foot,) = [page.evaluate("() => document.querySelector('.back').getBoundingClientRect().bottom")]
    covered = shapely.union_all([shapely.box(0, top, 1, bottom) for top, bottom in ends])
    gaps = shapely.box(0, min(top for top, _ in ends), 1, foot) - covered
    assert (
        max((part.bounds[3] - part.bounds[1] for part in shapely.get_parts(gaps)), default=0)
        < 256 / 6 * PX_PER_MM
    )


@pytest.mark.parametrize("letters", TYPES)
def test_capitals_of_a_call_are_18_mm_high_at_least(open_card: Open, letters: str) -> None:
    page = open_card(build_card(cards.grove(2), 1, CardParticulars("H1H/HH", "E1E"))).page
    page.emulate_media(media="print")
    set_type(page, letters)
    page.evaluate("() => document.querySelectorAll('.label').forEach((label) => label.remove())")
    rows = np.flatnonzero(ink(page, "svg.calls").any(axis=1))
    assert (rows[-1] - rows[0] + 1) / PX_PER_MM >= 18.0
    assert len(rows) == rows[-1] - rows[0] + 1  # one line of capitals, nothing else


def test_no_tail_of_a_letter_is_cut_off(open_card: Open) -> None:
    said = CardParticulars("QQQ", "QQQ")
    page = open_card(
        build_card(cards.at(10.0, 45.0, ("JJ00gj", "JJ00pq", "JJ00gi", "JJ00pp"), 3), 1, said)
    ).page
    page.emulate_media(media="print")
    for letters in TYPES:
        set_type(page, letters)
        for row in ("svg.calls", "svg.grids"):
            page.evaluate("() => document.querySelectorAll('path.lattice').forEach((rule) => rule.remove())")
            page.evaluate("() => { document.querySelector('svg.grids').style.border = 'none'; }")
            dark = ink(page, row).any(axis=1)
            assert not dark[-2:].any(), (letters, row)


def test_the_code_on_the_sheet_reads(open_card: Open) -> None:
    page = open_card(CARDS["plain"]()).page
    page.emulate_media(media="print")
    links = ("geo:45.000000,-20.000000", "geo:45.001000,-20.006000")
    for figure, link in zip(page.locator("figure").all(), links, strict=True):
        shot = cv2.imdecode(np.frombuffer(figure.screenshot(), np.uint8), cv2.IMREAD_GRAYSCALE)
        assert cards.read_code(shot) == link
        box = figure.locator("svg.code").bounding_box()
        assert box is not None
        assert box["width"] / PX_PER_MM > 35


@both_sizes
@pytest.mark.parametrize("name", ["plain", "full", "ten thousand letters", "scripts"])
def test_on_a_screen_it_asks_for_nothing_says_nothing_and_keeps_its_width(open_card: Open, name: str) -> None:
    opened = open_card(CARDS[name]())
    opened.page.wait_for_timeout(50)
    assert opened.asked_for() == []
    assert opened.messages == []
    assert opened.page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth") <= 0
    assert opened.page.locator("script, img, iframe, bdi *").count() == 0


def test_text_is_readable(open_card: Open) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1."""
    page = open_card(CARDS["plain"]()).page
    texts = (
        ".reference",
        ".name",
        ".foot",
        "h1",
        "h2",
        "dt",
        "dd",
        ".aside",
        ".warning",
        "th",
        "td",
        "footer p",
    )
    found = {text: contrast(*page.evaluate(PAINT, text)) for text in texts}
    assert {text: ratio for text, ratio in found.items() if ratio < 4.5} == {}
