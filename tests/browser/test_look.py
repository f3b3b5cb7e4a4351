"""What can be said of the look without eyes: contrast, room for fingers, room for everything."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from typing import Any

import pytest
from builders import bay
from playwright.sync_api import Page

from browser.conftest import Watched, all_sizes, both_schemes
from scout.cautions import HAZARDS

Open = Callable[..., Watched]

TEXTS = (
    "h1",
    ".summary",
    ".best",
    ".best a",
    ".caution",
    ".fold-word",
    ".aside",
    ".pick-note",
    ".row-name",
    ".row-parks",
    ".row-facts",
    ".row-verdict.firm",
    ".row-verdict.doubtful",
    ".about li",
    ".story-part",
    ".park-id",
    ".cell-name",
    ".key-body legend",
    ".details-bar button",
)

CHECK_TEXTS = (
    "#check-button",
    "#here h2",
    "#here label",
    "#here-position",
    "#here-answer .story-kind",
    "#here-answer .claim strong",
    "#here-answer .near-parks p",
    "#here-answer .near-park-p",
    "#here-answer .near-park-p strong",
    "#here-answer .aside",
    "#here-answer .lattice-lines dt",
    "#here-answer .coordinates a",
)
ASKED = "#check=45.00003,-20.00002"

DRAWN = (
    ("firm", "ground", 3.0),
    ("on-firm", "firm", 4.5),
    ("mark-ink", "doubtful", 4.5),
    ("mark-ink", "mark-paper", 4.5),
    ("doubtful-edge", "ground", 3.0),
    ("uncounted", "ground", 3.0),
    ("stretch", "case", 3.0),
    ("park-edge", "ground", 3.0),
    ("park-name", "ground", 4.5),
    ("home", "ground", 3.0),
    ("miss", "ground", 3.0),
    ("check", "case", 3.0),
    ("check", "ground", 3.0),
    ("walk", "ground", 3.0),
    ("barriers", "ground", 3.0),
    ("town", "ground", 4.5),
    ("town", "sea", 4.5),
    ("water-name", "ground", 4.5),
    ("water-name", "sea", 4.5),
    ("firm", "sea", 3.0),
    ("doubtful-edge", "sea", 3.0),
    ("uncounted", "sea", 3.0),
    ("park-edge", "sea", 3.0),
    ("park-name", "sea", 4.5),
    ("lattice-name", "sea", 3.0),
    ("home", "sea", 3.0),
    *((kind.key, "ground", 3.0) for kind in HAZARDS),
)


def luminance(rgb: list[float]) -> float:
    """Relative luminance, WCAG 2.2."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in rgb)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: list[float], other: list[float]) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula_against_known_pairs() -> None:
    # WCAG 2.2: black on white is 21; #767676 on white is the well-known 4.54 (recomputed).
    assert contrast([0, 0, 0], [255, 255, 255]) == pytest.approx(21.0)
    assert contrast([118, 118, 118], [255, 255, 255]) == pytest.approx(4.54, abs=0.01)


PAINT = """(query) => {
  const numbers = (text) => text.match(/[\\d.]+/g).map(Number);
  const node = document.querySelector(query);
  const backing = (e) => numbers(getComputedStyle(e).backgroundColor);
  let ground = node;
  while ((backing(ground)[3] ?? 1) === 0) ground = ground.parentElement;
  return [numbers(getComputedStyle(node).color).slice(0, 3), backing(ground).slice(0, 3)];
}"""


@both_schemes
@all_sizes
def test_text_is_readable(open_page: Open) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1."""
    page = open_page(bay(), "#spot=1").page
    page.locator("#key").evaluate("key => { key.open = true; }")
    found = {text: contrast(*page.evaluate(PAINT, text)) for text in TEXTS}
    assert {text: ratio for text, ratio in found.items() if ratio < 4.5} == {}


@both_schemes
def test_the_check_of_a_place_is_readable(open_page: Open) -> None:
    page = open_page(bay(), ASKED).page
    found = {text: contrast(*page.evaluate(PAINT, text)) for text in CHECK_TEXTS}
    page.evaluate("() => { window.location.hash = '#check=x'; }")
    for text in ("#here-note", "#here-hint", "#here-text"):
        found[text] = contrast(*page.evaluate(PAINT, text))
    assert {text: ratio for text, ratio in found.items() if ratio < 4.5} == {}


def custom(page: Page, name: str) -> list[float]:
    got: list[float] = page.evaluate(
        """(name) => {
          const probe = document.createElement("i");
          document.querySelector(".map").append(probe);
          probe.style.color = `var(--${name})`;
          const rgb = getComputedStyle(probe).color.match(/[\\d.]+/g).map(Number).slice(0, 3);
          probe.remove();
          return rgb;
        }""",
        name,
    )
    return got


@both_schemes
@pytest.mark.parametrize("background", [False, True])
def test_marks_and_lines_stand_out(open_page: Open, background: bool) -> None:
    """WCAG 2.2, 1.4.11: 3 to 1 for what is needed to understand a picture; 4.5 for letters."""
    page = open_page(bay()).page
    if background:
        page.evaluate("() => document.querySelector('.map').classList.add('on-tiles')")
    weak = {
        (drawn, below): ratio
        for drawn, below, least in DRAWN
        if (ratio := contrast(custom(page, drawn), custom(page, below))) < least
    }
    assert weak == {}


@both_schemes
def test_dark_is_dark(open_page: Open, scheme: str) -> None:
    page = open_page(bay()).page
    for text in ("h1", ".row-name", ".cell-name"):
        _, ground = page.evaluate(PAINT, text)
        assert (luminance(ground) < 0.05) == (scheme == "dark")


@all_sizes
@pytest.mark.parametrize("address", ["#spot=1", ASKED])
def test_fingers_find_everything(open_page: Open, size: str, address: str) -> None:
    page = open_page(bay(), address).page
    page.locator("#filter-box").evaluate("box => { box.open = true; }")
    page.locator("#key").evaluate("key => { key.open = true; }")
    least = 40 if size == "tall" else 30
    small: list[Any] = page.locator(
        "button, summary, select, input[type=search], input[type=text], .tick, .row, .leaflet-control-zoom a"
    ).evaluate_all(
        """(all, least) => all
            .filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < least - 0.5)
            .map((e) => e.outerHTML.slice(0, 80))""",
        least,
    )
    assert small == []


@all_sizes
@pytest.mark.parametrize(
    ("address", "wanted"),
    [
        ("#spot=1", ("#close", '.mark[data-rank="1"]')),
        (ASKED, ("#here-close", "#here-position", "#check-button", '.mark[data-rank="1"]')),
    ],
)
def test_nothing_important_is_covered(open_page: Open, address: str, wanted: tuple[str, ...]) -> None:
    page = open_page(bay(), address).page
    for query in (*wanted, ".leaflet-control-zoom-in", "#key > summary", ".caution a"):
        hit = page.evaluate(
            """(query) => {
              const node = document.querySelector(query);
              const frame = node.getBoundingClientRect();
              const x = frame.left + frame.width / 2;
              const top = document.elementFromPoint(x, frame.top + frame.height / 3);
              return node === top || node.contains(top);
            }""",
            query,
        )
        assert hit, query


def test_a_reader_can_zoom_the_page(open_page: Open) -> None:
    page = open_page(bay()).page
    viewport = page.locator("meta[name=viewport]").get_attribute("content") or ""
    assert "width=device-width" in viewport
    assert "user-scalable" not in viewport
    assert "maximum-scale" not in viewport


def test_landmarks_and_labels(open_page: Open) -> None:
    page = open_page(bay(), "#spot=1").page
    assert page.locator("html").get_attribute("lang") == "en"
    assert page.get_by_role("region", name="Places found, best first").count() == 1
    assert page.get_by_role("region", name="Spot 1: corner").count() == 1
    assert page.get_by_role("application", name="Map of the spots").count() == 1
    page.locator("#check-button").click()
    assert page.get_by_role("region", name="Check a place").count() == 1
    assert page.get_by_role("textbox", name="Press on the map, or type coordinates or a locator").count() == 1
    assert page.get_by_role("button", name="1, corner: HN95 IN05 HN94 IN04").count() == 1
    unnamed = page.locator("button, a[href], input, select").evaluate_all(
        """all => all
            .filter((e) => e.checkVisibility())
            .filter((e) => !e.getAttribute("aria-label") && !e.textContent.trim() && !e.title)
            .filter((e) => !(e.labels && e.labels.length))
            .map((e) => e.outerHTML.slice(0, 80))"""
    )
    assert unnamed == []


@all_sizes
def test_what_lies_over_the_map_keeps_apart(open_page: Open) -> None:
    page = open_page(bay()).page
    page.locator("#key").evaluate("key => { key.open = false; }")
    queries = (
        "#measure-button",
        "#all-button",
        "#check-button",
        "#key",
        ".leaflet-control-zoom",
        ".leaflet-control-scale",
        ".north-mark",
    )
    boxes = {query: page.locator(query).bounding_box() for query in queries}
    for one, other in combinations(queries, 2):
        a, b = boxes[one], boxes[other]
        assert a is not None
        assert b is not None
        beside = max(a["x"] - b["x"] - b["width"], b["x"] - a["x"] - a["width"])
        above = max(a["y"] - b["y"] - b["height"], b["y"] - a["y"] - a["height"])
        assert max(beside, above) >= 4, (one, other)
