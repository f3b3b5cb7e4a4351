"""On paper: the overview and the list, a page each, nothing cut off (read back with pdftotext)."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from builders import QUIET_COVE, box, findings, line_spot, parks_frame
from playwright.sync_api import Page
from walked import harbour

from browser.conftest import Watched
from browser.ground import tips
from scout.cautions import ALWAYS
from scout.model import Findings

Open = Callable[..., Watched]

needs_poppler = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="no pdftotext; on Debian: apt install poppler-utils"
)


def printed(page: Page, to: Path, paper: str) -> list[str]:
    """The text of each page, words joined by single spaces."""
    page.pdf(path=to, format=paper)
    text = subprocess.run(
        ["pdftotext", "-layout", str(to), "-"], check=True, capture_output=True, text=True
    ).stdout
    return [" ".join(one.split()) for one in text.split("\f") if one.strip()]


def many(count: int) -> Findings:
    spots = [line_spot(-20.0, 40 + n * 0.05, ["HN90", "IN00"], QUIET_COVE) for n in range(count)]
    return findings(spots, parks_frame((QUIET_COVE, box(-20.2, 39.9, -19.8, 46.0))))


@needs_poppler
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_two_pages_hold_overview_and_list(open_page: Open, tmp_path: Path, paper: str) -> None:
    opened = open_page(harbour(), "#spot=1")
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
        "HN95 IN05 HN94 IN04",
        "QX-001, QX-002: Quiet Cove",
        "45.000033, -19.999934",
        "24 min",
        "out of reach",
        "not known",
        "firm 96.0 %",
        *ALWAYS,
    ):
        assert said in listed, said
    # The screen is as it was.
    assert tips(opened.page).keys() == before.keys()
    for rank, at in tips(opened.page).items():
        assert at == pytest.approx(before[rank], abs=1.5)
    assert opened.messages == []


@needs_poppler
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_long_list_prints_its_first_page_and_says_what_is_left(
    open_page: Open, tmp_path: Path, paper: str
) -> None:
    pages = printed(open_page(many(100)).page, tmp_path / "out.pdf", paper)
    assert len(pages) == 2
    assert pages[1].count("HN90 IN00") == 30
    assert "and 70 more spots" in pages[1]
    assert ALWAYS[-1] in pages[1]


@needs_poppler
def test_only_what_is_shown_is_printed(open_page: Open, tmp_path: Path) -> None:
    page = open_page(harbour()).page
    page.locator("#filter-box").evaluate("box => { box.open = true; }")
    page.locator("select[name=kind]").select_option("overlap")
    _, listed = printed(page, tmp_path / "out.pdf", "A4")
    assert "45.050000, -19.950000" in listed
    assert "45.000033" not in listed
