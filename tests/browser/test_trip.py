"""The tours of a day on the map: told, drawn, switched, and the sheet of the day on paper."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext
from pypdf import PdfReader
from test_trip import write_world

import scout
from browser.conftest import Watched, all_sizes, both_schemes
from browser.test_axe import complaints
from scout.api import TripAnswer

Open = Callable[..., Watched]


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> TripAnswer:
    folder = tmp_path_factory.mktemp("world")
    write_world(folder)
    parks, roads = str(folder / "parks.geojson"), str(folder / "roads.geojson")
    spots = scout.find(parks, home="45.002,10.25", level="subsquare", access=[roads])
    return scout.trip(
        spots, "2026-06-20", zone="UTC", access=roads, hours="07:00-13:00", most_places=2, call="Q1AAA"
    )


COUNT_BLUE = """() => {
      const canvas = document.querySelector(".leaflet-trip-pane canvas");
      const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
      let found = 0;
      for (let k = 0; k < data.length; k += 4) found += data[k + 3] > 200 && data[k + 2] > data[k] + 60;
      return found;
    }"""  # pixels in the colour of the drives on their own canvas


@all_sizes
def test_the_best_tour_is_told_and_drawn(open_page: Open, day: TripAnswer) -> None:
    watched = open_page(day.plan.findings, trip=day.plan)
    page = watched.page
    assert page.locator(".best").inner_text().startswith("Best tour: ")
    tours = page.locator(".trip-tour")
    assert tours.count() == len(day.tours) == 3
    assert [tours.nth(k).is_visible() for k in range(3)] == [True, False, False]
    first = day.tours[0].days[0]
    lines = tours.nth(0).locator("tr th").all_inner_texts()
    assert lines[0] == f"{first.start:%H:%M}"
    assert lines[-1] == f"{first.end:%H:%M}"
    assert page.locator(".order-mark").count() == len(first.visits)
    page.wait_for_function(f"() => ({COUNT_BLUE})() > 100")
    assert watched.messages == []
    assert watched.asked_for() == []


def test_another_tour_takes_its_place(open_page: Open, day: TripAnswer) -> None:
    watched = open_page(day.plan.findings, trip=day.plan)
    page = watched.page
    page.locator("#trip-box input[name=tour]").nth(1).check()
    tours = page.locator(".trip-tour")
    assert [tours.nth(k).is_visible() for k in range(3)] == [False, True, False]
    rank = day.tours[1].visits[0].ranked.rank
    tours.nth(1).locator("a").first.click()
    assert page.url.endswith(f"#spot={rank}")
    assert page.locator("#details").is_visible()
    assert watched.messages == []


def test_the_key_takes_the_drives_away(open_page: Open, day: TripAnswer) -> None:
    page = open_page(day.plan.findings, trip=day.plan).page
    page.locator("#key").evaluate("key => { key.open = true; }")
    page.locator("#key input[value=trip]").uncheck()
    assert page.locator(".order-mark").count() == 0
    page.wait_for_function(f"() => ({COUNT_BLUE})() === 0")  # drawn in the browser's next frame


def test_drives_are_told_in_miles_too(open_page: Open, day: TripAnswer) -> None:
    page = open_page(day.plan.findings, trip=day.plan).page
    page.locator("#key").evaluate("key => { key.open = true; }")
    page.locator("#units").select_option("imperial")
    drive = page.locator(".trip-tour").first.locator("tr.drive .aside").first.inner_text()
    assert drive.endswith(" mi")


def test_a_page_without_a_trip_has_none(open_page: Open, day: TripAnswer) -> None:
    watched = open_page(day.plan.findings)
    assert watched.page.locator("#trip-box, #key input[value=trip], .order-mark").count() == 0
    assert watched.page.locator(".best").inner_text().startswith("Best place: ")
    assert watched.messages == []


@both_schemes
@all_sizes
def test_nothing_to_object_to_with_a_trip(open_page: Open, day: TripAnswer) -> None:
    page = open_page(day.plan.findings, trip=day.plan).page
    page.locator("#key").evaluate("key => { key.open = true; }")
    assert complaints(page) == []


@both_schemes
@all_sizes
def test_the_sheet_of_the_day_reads_on_a_screen(
    context: BrowserContext, tmp_path: Path, day: TripAnswer
) -> None:
    path = day.sheet().save(tmp_path / "day.html")
    page = context.new_page()
    page.goto(path.as_uri())
    assert complaints(page) == []
    wide = page.evaluate("() => [document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= wide[1]


def test_the_sheet_of_the_day_fits_two_pages(
    poppler: None, context: BrowserContext, tmp_path: Path, day: TripAnswer
) -> None:
    path = day.sheet().save(tmp_path / "day.html")
    page = context.new_page()
    page.goto(path.as_uri())
    for size in ("A4", "Letter"):
        page.pdf(path=tmp_path / "day.pdf", format=size, prefer_css_page_size=False)
        assert len(PdfReader(tmp_path / "day.pdf").pages) <= 2
    text = subprocess.run(
        ["pdftotext", "-layout", str(tmp_path / "day.pdf"), "-"], capture_output=True, text=True, check=True
    ).stdout
    for word in ("Q1AAA", "In an emergency", "on the air", "Leave at the first thunder", "Really"):
        assert word in text
