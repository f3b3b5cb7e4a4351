"""A spot handed on: addresses for a map program, texts to share and copy, GPX and KML made in the page."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import exported
import gpxpy
import pytest
from builders import bay
from lxml import etree
from page_reader import script
from playwright.sync_api import Page, expect
from published.test_gpx_schema import faults as gpx_faults
from published.test_kml_schema import KML
from published.test_kml_schema import faults as kml_faults
from walked import PARKING, WARNING, harbour, route

from browser.conftest import Watched, both_sizes
from browser.test_site import Device, device  # noqa: F401
from scout.cautions import NOT_A_SURVEY

Open = Callable[..., Watched]


def save(page: Page, what: str, which: str, folder: Path) -> bytes:
    page.locator("#picks-box").evaluate("box => { box.open = true; }")
    page.locator("#hand-which").select_option(which)
    with page.expect_download() as coming:
        page.locator(f"#hand-{what}").click()
    assert coming.value.suggested_filename == f"spots.{what}"
    path = folder / f"spots.{what}"
    coming.value.save_as(path)
    return path.read_bytes()


@both_sizes
def test_the_car_comes_first_then_the_spot_each_with_its_address(open_page: Open, size: str) -> None:
    opened = open_page(harbour(), "#spot=1")
    steps = opened.page.locator(".hand-steps li")
    expect(steps).to_have_count(2)
    expect(steps.nth(0)).to_contain_text("The car first: parking, Tern <b>Gate</b>")
    expect(steps.nth(0)).to_contain_text("44.995000, -20.012000")
    expect(steps.nth(0).locator("a")).to_have_attribute("href", "geo:44.995000,-20.012000")
    expect(steps.nth(1)).to_contain_text("then the spot")
    spot = harbour().spots[0].spot
    expect(steps.nth(1).locator("a")).to_have_attribute("href", f"geo:{spot.lat:.6f},{spot.lon:.6f}")
    assert opened.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert opened.messages == []
    assert opened.asked_for() == []


def test_a_spot_without_a_walk_has_one_step(open_page: Open) -> None:
    page = open_page(bay(), "#spot=3").page
    expect(page.locator(".hand-steps li")).to_have_count(1)
    expect(page.locator(".hand-steps li")).to_contain_text("The spot")


def test_a_copy_is_the_plain_coordinates(open_page: Open) -> None:
    page = open_page(harbour(), "#spot=1").page
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.locator(".hand-steps li").nth(0).locator("button").click()
    expect(page.locator(".hand-note")).to_have_text("Copied.")
    assert page.evaluate("navigator.clipboard.readText()") == "44.995000, -20.012000"


def test_where_nothing_can_be_copied_the_text_stands_there_to_be_marked(open_page: Open) -> None:
    opened = open_page(harbour(), "#spot=1")
    page = opened.page
    page.evaluate(
        """() => {
          navigator.clipboard.writeText = async () => { throw new DOMException("no", "NotAllowedError"); };
        }"""
    )
    page.locator(".hand-buttons button").click()
    expect(page.locator(".hand-note textarea")).to_have_value(lines_of_spot_1())
    assert opened.messages == []


def lines_of_spot_1() -> re.Pattern[str]:
    spot = harbour().spots[0].spot
    parts = (
        "Spot 1, corner: HN95 IN05 HN94 IN04",
        "Car (parking, Tern <b>Gate</b>): 44.995000, -20.012000 geo:44.995000,-20.012000",
        f"Spot: {spot.lat:.6f}, {spot.lon:.6f} geo:{spot.lat:.6f},{spot.lon:.6f}",
        f"Take care: {WARNING}",
        "Walk: 24 min out, 22 min back, 1.31 km.",
        NOT_A_SURVEY,
    )
    return re.compile(".*".join(map(re.escape, parts)), re.DOTALL)


SHARE = """() => {
  window.shared = [];
  navigator.share = async (what) => {
    window.shared.push(what);
    if (window.refuse) throw window.refuse;
  };
}"""


def test_a_device_that_shares_is_given_the_text_and_on_a_web_space_the_address(device: Device) -> None:  # noqa: F811
    page = device.page
    page.add_init_script(f"({SHARE})()")
    device.open("?from=mail#spot=3")
    button = page.locator(".hand-buttons button")
    expect(button).to_have_text("Share this spot")
    button.click()
    (shared,) = page.evaluate("window.shared")
    assert shared["url"] == f"{device.server.address}#spot=3"
    assert "Spot: 45.050000, -19.950000 geo:45.050000,-19.950000" in shared["text"]
    assert NOT_A_SURVEY in shared["text"]
    # Who thinks better of it is told nothing; where it fails, the text is copied.
    page.evaluate("window.refuse = new DOMException('no', 'AbortError')")
    button.click()
    expect(page.locator(".hand-note")).to_be_empty()
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.evaluate("window.refuse = new DOMException('no', 'NotAllowedError')")
    button.click()
    expect(page.locator(".hand-note")).to_have_text("Copied.")
    assert page.evaluate("navigator.clipboard.readText()").endswith(f"\n{device.server.address}#spot=3")


def test_a_page_from_a_file_shares_no_address_of_this_disk(open_page: Open) -> None:
    page = open_page(bay(), "#spot=3").page
    page.evaluate(SHARE)
    page.evaluate("window.location.hash = '#spot=1'")
    page.locator(".hand-buttons button").click()
    (shared,) = page.evaluate("window.shared")
    assert "url" not in shared
    assert "file:" not in str(shared)


def test_gpx_of_all_shown_holds_cars_spots_and_walks(open_page: Open, tmp_path: Path) -> None:
    opened = open_page(harbour())
    data = save(opened.page, "gpx", "shown", tmp_path)
    assert gpx_faults(data) == []
    read = gpxpy.parse(data.decode())
    names = [point.name for point in read.waypoints]
    assert names[0] == "Car for 1, 3: parking, Tern <b>Gate</b>"
    assert [name.split(",")[0] for name in names[-3:]] == ["1", "2", "3"]
    car = read.waypoints[0]
    assert (car.longitude, car.latitude) == pytest.approx(PARKING, abs=1e-6)
    for point, ranked in zip(read.waypoints[-3:], harbour().spots, strict=True):
        assert (point.longitude, point.latitude) == pytest.approx(
            (ranked.spot.lon, ranked.spot.lat), abs=1e-6
        )
        assert NOT_A_SURVEY in point.description
    assert f"Take care: {WARNING}" in read.waypoints[-3].description
    (track,) = read.tracks
    line = [(point.longitude, point.latitude) for point in track.segments[0].points]
    assert line[0] == pytest.approx(route().line[0], abs=1e-6)
    assert line[-1] == pytest.approx(route().line[-1], abs=1e-6)
    assert opened.messages == []


def test_kml_of_all_shown_holds_the_same(open_page: Open, tmp_path: Path) -> None:
    opened = open_page(harbour())
    data = save(opened.page, "kml", "shown", tmp_path)
    assert kml_faults(data) == []
    tree = etree.fromstring(data)
    places = [
        tuple(map(float, point.text.split(","))) for point in tree.iterfind(f".//{KML}Point/{KML}coordinates")
    ]
    spots = [(ranked.spot.lon, ranked.spot.lat) for ranked in harbour().spots]
    for got, expected in zip(places[-3:], spots, strict=True):
        assert got == pytest.approx(expected, abs=1e-6)
    assert len(tree.findall(f".//{KML}LineString")) == 1
    assert "&lt;b&gt;Gate" not in tree.findtext(f".//{KML}Placemark/{KML}name")  # escaped once, for XML
    assert opened.messages == []


def test_only_the_shortlist_or_only_what_is_shown_goes_into_a_file(open_page: Open, tmp_path: Path) -> None:
    page = open_page(bay()).page
    page.locator("#picks-box").evaluate("box => { box.open = true; }")
    page.locator("#hand-gpx").click()
    expect(page.locator("#hand-note")).to_have_text("The shortlist is empty: tick spots in the list.")
    page.locator('#spots [data-rank="3"] .pick input').click()
    picked = gpxpy.parse(save(page, "gpx", "picked", tmp_path).decode())
    assert [point.name.split(",")[0] for point in picked.waypoints] == ["3"]
    page.locator("#filters [name=kind]").evaluate(
        "field => { field.value = 'line'; field.dispatchEvent(new Event('input', { bubbles: true })); }"
    )
    shown = gpxpy.parse(save(page, "gpx", "shown", tmp_path).decode())
    kinds = {ranked.rank for ranked in bay().spots if ranked.spot.kind == "line"}
    assert {int(point.name.split(",")[0]) for point in shown.waypoints} == kinds


def test_no_text_breaks_either_format(open_page: Open, tmp_path: Path) -> None:
    # All in one list, and the empty one alone: among others it is no title.
    for texts in (exported.HOSTILE, ("",)):
        opened = open_page(exported.named_in_turn(texts))
        expect(opened.page.locator("#spots > li")).to_have_count(len(bay().spots) * len(texts))
        assert gpx_faults(save(opened.page, "gpx", "shown", tmp_path)) == [], texts
        assert kml_faults(save(opened.page, "kml", "shown", tmp_path)) == [], texts
        assert opened.messages == []
        opened.page.close()


def test_a_walk_over_the_antimeridian_is_two_lines_in_kml(open_page: Open) -> None:
    text = open_page(bay()).page.evaluate(
        "() => {"
        + script("kml.js")
        + "return makePlacesKml('t', 'd', [], [{ name: 'w', description: '',"
        + " line: [[179.998, 1], [179.999, 1], [-179.999, 1], [-179.998, 1]] }]); }"
    )
    assert kml_faults(text.encode()) == []
    lines = etree.fromstring(text.encode()).findall(f".//{KML}LineString/{KML}coordinates")
    ends = [[float(pair.split(",")[0]) for pair in line.text.split()] for line in lines]
    assert ends == [[179.998, 179.999], [-179.999, -179.998]]
