"""On paper: the overview on a page, then the list; of an open spot its own page. Read back with pdftotext."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import lxml.html
import pytest
from builders import QUIET_COVE, box, corner_spot, findings, line_spot, parks_frame
from playwright.sync_api import Page
from walked import PARKING, WARNING, harbour

from browser.conftest import Watched
from browser.ground import tips
from scout.cautions import ALWAYS
from scout.geo.geodesy import measure_geodesic
from scout.model import Findings

Open = Callable[..., Watched]

pytestmark = pytest.mark.usefixtures("poppler")


def printed(page: Page, to: Path, paper: str) -> list[str]:
    """The text of each page, words joined by single spaces."""
    page.pdf(path=to, format=paper)
    text = subprocess.run(
        ["pdftotext", "-layout", str(to), "-"], check=True, capture_output=True, text=True
    ).stdout
    return [" ".join(one.split()) for one in text.split("\f") if one.strip()]


@dataclass(frozen=True)
class Word:
    """A word of a printed page and its box, points from the top left."""

    page: int
    left: float
    top: float
    right: float
    bottom: float
    text: str


def words_of(pdf: Path) -> tuple[list[Word], list[tuple[float, float]]]:
    """All words of a document, and the size of each page."""
    out = subprocess.run(["pdftotext", "-bbox", str(pdf), "-"], check=True, capture_output=True).stdout
    root = lxml.html.fromstring(out)
    pages = root.findall(".//page")
    words = [
        Word(n, *(float(word.get(edge)) for edge in ("xmin", "ymin", "xmax", "ymax")), word.text or "")
        for n, page in enumerate(pages)
        for word in page.findall("word")
    ]
    return words, [(float(page.get("width")), float(page.get("height"))) for page in pages]


def is_full_width(pdf: Path) -> bool:
    """Whether each page is used to its right margin: a browser shrinks what has a line too long for it."""
    words, sizes = words_of(pdf)
    return all(max(w.right for w in words if w.page == n and w.top < 700) > 470 for n in range(len(sizes)))


def column(words: list[Word], title: str, until: str) -> str:
    """What a column of the printed table holds, from its first page to its last, joined by single spaces."""
    heads = [w for w in words if w.page >= 1 and w.text == title]
    (left,) = {round(w.left) for w in heads}
    right = min(w.left for w in words if w.page == heads[0].page and w.text == until)
    inside = [w for w in words if w.page >= 1 and left - 2 <= w.left < right - 2]
    return " ".join(w.text for w in sorted(inside, key=lambda w: (w.page, round(w.top), w.left)))


def crowd(count: int) -> Findings:
    """Corners and lines, every second with two parks, all with names that take several lines."""
    spots, parks = [], []
    for n in range(count):
        lon, lat = -20 + n % 10 / 100, 40 + n / 20
        long = (f"QX-{n:04d}", f"Invented Reserve {n} of Upper Quillmere and the Old Commons by Long Ridge")
        short = (f"QZ-{n:04d}", f"Marsh{n}")
        parks += [(long, box(lon - 0.1, lat - 0.02, lon + 0.1, lat + 0.02))]
        parks += [(short, box(lon - 0.05, lat - 0.01, lon + 0.1, lat + 0.01))]
        cells = [f"{field}{n:02d}{n % 10}{n // 10}a" for field in ("HN", "IN", "HM", "IM")]
        if n % 2:
            spots.append(corner_spot(lon, lat, cells, [long, short]))
        else:
            spots.append(line_spot(lon, lat, cells[:2], long))
    return findings(spots, parks_frame(*parks), title="A hundred spots")


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_two_pages_hold_overview_and_list(open_page: Open, tmp_path: Path, paper: str) -> None:
    opened = open_page(harbour())
    before = tips(opened.page)
    overview, listed = printed(opened.page, tmp_path / "out.pdf", paper)
    for said in (
        "Walks round the harbour",
        "by Quill Marrow",
        "overhead power lines",
        "out of reach",
        "HN95",
    ):
        assert said in overview
    for said in (
        "HN95 IN05",
        "HN94 IN04",
        "QX-001 Quiet Cove, QX-002 Tern Marsh",
        WARNING.split(":")[0],
        "45.000033, -19.999934",
        "24 min",
        "8 pairs, ",
        "% off paths",
        "out of reach",
        "not known",
        "firm 96.0 %",
        *ALWAYS,
    ):
        assert said in listed, said
    assert is_full_width(tmp_path / "out.pdf")
    # The screen is as it was.
    assert tips(opened.page).keys() == before.keys()
    for rank, at in tips(opened.page).items():
        assert at == pytest.approx(before[rank], abs=1.5)
    assert opened.messages == []


@pytest.mark.parametrize(("paper", "size"), [("A4", "wide"), ("Letter", "tall")])
def test_an_open_spot_prints_its_own_page(open_page: Open, tmp_path: Path, paper: str, size: str) -> None:
    opened = open_page(harbour(), "#spot=1")
    page = opened.page
    before = tips(page)
    (only,) = printed(page, tmp_path / "out.pdf", paper)
    for said in (
        "Walks round the harbour",
        "Spot 1: corner",
        "HN95 IN05 HN94 IN04",
        "firm confidence 96.0 %",
        "pairs (yield)",
        "45.000033, -19.999934",
        "24 min",
        "118 m of climb",
        "Tern <b>Gate</b>",
        "44.995000, -20.012000",
        "QX-001",
        "QX-002",
        WARNING.split(":")[0],
        ALWAYS[-1],
    ):
        assert said in only, said
    assert "12 m to 117 m" in only  # beside the profile
    assert "45.050000, -19.950000" not in only  # of another spot
    assert is_full_width(tmp_path / "out.pdf")
    assert {rank: pytest.approx(at, abs=1.5) for rank, at in before.items()} == tips(page)
    # To scale: the way from the car to the spot, measured in pixels of a 96th of an inch (CSS).
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    told = re.search(r"1 : ([\d,]+) when", page.locator(".paper-scale").inner_text())
    assert told is not None
    car = page.locator(".car-mark").first.bounding_box()
    frame = page.locator(".map").bounding_box()
    assert car is not None
    assert frame is not None
    at = (car["x"] + car["width"] / 2, car["y"] + car["height"] / 2)
    spot = tips(page)[1]
    pixels = ((at[0] - spot[0]) ** 2 + (at[1] - spot[1]) ** 2) ** 0.5
    metres = measure_geodesic(*PARKING, -19.999934, 45.000033)[0]
    # A map on the sphere's Mercator projection is off by up to 0.7 % on the ellipsoid.
    assert metres / (pixels * 0.0254 / 96) == pytest.approx(int(told[1].replace(",", "")), rel=0.012)
    for x, y in (at, (spot[0], spot[1] - 46)):
        assert frame["x"] < x < frame["x"] + frame["width"]
        assert frame["y"] < y < frame["y"] + frame["height"]
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert {rank: pytest.approx(at, abs=1.5) for rank, at in before.items()} == tips(page)
    assert opened.messages == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_spot_of_a_long_list_is_printed_whole(open_page: Open, tmp_path: Path, paper: str) -> None:
    found = crowd(100)
    page = open_page(found).page
    pdf = tmp_path / "out.pdf"
    printed(page, pdf, paper)
    words, sizes = words_of(pdf)
    grids, parks = column(words, "grids", "parks"), column(words, "parks", "verdict")
    text = " ".join(w.text for w in words)
    for ranked in found.spots:
        spot = ranked.spot
        for locator in spot.verdict.locators:
            assert locator in grids
        named = zip(spot.verdict.parks, spot.park_names, strict=True)
        assert ", ".join(f"{park} {name}" for park, name in named) in parks
        assert f"{spot.lat:.6f}, {spot.lon:.6f}" in text
    # Each page of the list has the head of the table, and nothing runs over an edge of the paper.
    for n in range(1, len(sizes)):
        assert [w.text for w in words if w.page == n].count("verdict") == 1
    for word in words:
        wide, tall = sizes[word.page]
        assert 10 < word.left < word.right < wide - 10, word
        assert 10 < word.top < word.bottom < tall - 10, word
    assert ALWAYS[-1].split()[-1] in [w.text for w in words if w.page == len(sizes) - 1]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_few_dozen_spots_take_two_pages(open_page: Open, tmp_path: Path, paper: str) -> None:
    spots = [line_spot(-20.0, 40 + n * 0.05, ["HN90", "IN00"], QUIET_COVE) for n in range(48)]
    found = findings(spots, parks_frame((QUIET_COVE, box(-20.2, 39.9, -19.8, 46.0))))
    pages = printed(open_page(found).page, tmp_path / "out.pdf", paper)
    assert len(pages) == 2
    assert pages[1].count("HN90 IN00") == 48
    assert ALWAYS[-1] in pages[1]


def test_a_name_longer_than_a_page_is_printed_to_its_end(open_page: Open, tmp_path: Path) -> None:
    label = ("QX-001", "Q" * 9_999 + "Z")
    found = findings(
        [line_spot(-20.0, 45.0, ["HN90", "IN00"], label)], parks_frame((label, box(-20.1, 44.9, -19.9, 45.1)))
    )
    words = " ".join(printed(open_page(found).page, tmp_path / "out.pdf", "A4")[1:])
    assert words.count("Q") >= 9_999
    assert "Z" in words


def test_only_what_is_shown_is_printed(open_page: Open, tmp_path: Path) -> None:
    page = open_page(harbour()).page
    page.locator("#filter-box").evaluate("box => { box.open = true; }")
    page.locator("select[name=kind]").select_option("overlap")
    _, listed = printed(page, tmp_path / "out.pdf", "A4")
    assert "1 of 3 spots" in listed
    assert "45.050000, -19.950000" in listed
    assert "45.000033" not in listed
