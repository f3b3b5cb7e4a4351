"""The desk in a real browser: the whole day without a terminal, by mouse, by keys, at two sizes."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import geopandas as gpd
import pytest
import shapely
from click.testing import CliRunner
from desks import ROOT, Caller, running
from playwright.sync_api import BrowserContext, ConsoleMessage, FrameLocator, Page, expect
from recordings import gga, rmc
from test_desk_work import collection
from test_stamp import contact
from test_trip import write_world

from browser.conftest import both_sizes
from browser.test_axe import complaints, complaints_in_each_scheme
from scout.cli import command

WALKS = 120_000  # ms: two cores, and other tests on them
expect.set_options(timeout=30_000)  # the first job of a window may wait for its process


@pytest.fixture
def browser_context_args(browser_context_args: dict[str, Any]) -> dict[str, Any]:
    return {**browser_context_args, "offline": False, "accept_downloads": True}


@pytest.fixture(scope="module")
def desk() -> Iterator[Caller]:
    with running(workspaces=60) as one:
        yield one


@dataclass
class Tab:
    """A tab with the desk in it, and all it said and asked for."""

    page: Page
    own: str
    messages: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)

    @property
    def spots(self) -> FrameLocator:
        return self.page.frame_locator("#spots-map")

    def plan(self) -> None:
        """On a phone the plan and the map take turns."""
        if self.page.locator("#show-plan").is_visible():
            self.page.locator("#show-plan").click()

    def map(self) -> None:
        if self.page.locator("#show-stage").is_visible():
            self.page.locator("#show-stage").click()

    def unfold(self, *steps: str) -> None:
        for step in steps:
            self.page.locator(f"#step-{step}").evaluate("step => { step.open = true; }")

    def found(self) -> int:
        """Wait for a list; how many spots it says there are."""
        expect(self.page.locator("#found b")).to_be_attached(timeout=WALKS)
        return int(self.page.locator("#found b").text_content().split()[0])

    def done(self) -> None:
        expect(self.page.locator("#progress")).to_be_empty(timeout=WALKS)

    def hear(self, message: ConsoleMessage) -> None:
        # Chromium without windows warns of a message that a script of its own (no address) cannot post.
        if message.location["url"] or "'postMessage' on 'DOMWindow'" not in message.text:
            self.messages.append(f"{message.type}: {message.text}")

    def quiet(self) -> None:
        assert self.messages == []
        assert self.elsewhere == []


@pytest.fixture
def open_desk(context: BrowserContext, desk: Caller) -> Callable[[], Tab]:
    def open_() -> Tab:
        page = context.new_page()
        tab = Tab(page, f"http://127.0.0.1:{desk.desk.port}/")
        page.on("console", tab.hear)
        page.on("pageerror", lambda error: tab.messages.append(f"error: {error}"))
        page.on(
            "request",
            lambda asked: (
                None if asked.url.startswith((tab.own, "data:")) else tab.elsewhere.append(asked.url)
            ),
        )
        page.goto(desk.desk.address(desk.desk.keys.shown))
        expect(page.locator("html.ready")).to_be_attached(timeout=30_000)
        return tab

    return open_


@pytest.fixture
def made_file(tmp_path: Path) -> Path:
    """Two parks over a corner, one over a line, one with an odd name."""
    path = tmp_path / "made parks.geojson"
    boxes = (
        ("QX-1", "Quiet Cove", (-20.3, 44.9, -19.8, 45.2)),
        ("QX-2", "<b>Tern</b> Marsh", (-20.1, 44.8, -19.9, 45.1)),
        ("QX-3", "Long Spit", (-19.6, 44.7, -19.5, 45.3)),
    )
    import json

    path.write_text(json.dumps(collection(*boxes)), encoding="utf-8")
    return path


def write_extract(path: Path) -> Path:
    """Parks as OpenStreetMap has them, with a road past the corner and a place to park."""
    boxes = (
        ("Quiet Cove", (-20.03, 44.99, -19.98, 45.02)),
        ("<b>Tern</b> Marsh", (-20.01, 44.98, -19.99, 45.01)),
        ("Long Spit", (-19.96, 44.98, -19.95, 45.02)),
    )
    nodes: list[str] = []
    ways: list[str] = []

    def add_way(tags: dict[str, str], places: list[tuple[float, float]]) -> None:
        first = len(nodes) + 1
        nodes.extend(
            f'<node id="{first + k}" lon="{lon}" lat="{lat}"/>' for k, (lon, lat) in enumerate(places)
        )
        numbers = list(range(first, first + len(places)))
        if "leisure" in tags:
            numbers.append(first)
        inside = "".join(f'<nd ref="{one}"/>' for one in numbers)
        inside += "".join(f'<tag k="{key}" v="{escape(value)}"/>' for key, value in tags.items())
        ways.append(f'<way id="{len(ways) + 1}">{inside}</way>')

    for name, (west, south, east, north) in boxes:
        add_way(
            {"leisure": "park", "name": name}, [(west, south), (east, south), (east, north), (west, north)]
        )
    add_way({"highway": "secondary"}, [(-20.04, 45.002), (-20.0, 45.002), (-19.94, 45.002)])
    nodes.append(f'<node id="{len(nodes) + 1}" lon="-20" lat="45.002"><tag k="amenity" v="parking"/></node>')
    path.write_text(f'<osm version="0.6">{"".join(nodes)}{"".join(ways)}</osm>', encoding="utf-8")
    return path


def plan_a_day(page: Page) -> None:
    """Several places between breakfast and supper."""
    form = page.locator("#trip-form")
    form.locator("[name=date]").fill("2026-06-20")
    form.locator("[name=hours]").fill("06:00-20:00")
    form.get_by_role("button", name="Plan the day").click()
    expect(page.locator("#toured .answer strong")).to_contain_text("Best tour", timeout=WALKS)
    expect(page.locator("#got-trip li")).to_have_count(5)


def write_recording(path: Path, place: str) -> Path:
    """Ten minutes at a place, a sentence a second, from 18:10 UTC."""
    lat, lon = map(float, place.split(","))
    here = {
        "lat": f"{int(abs(lat)):02d}{abs(lat) % 1 * 60:07.4f},{'NS'[lat < 0]}",
        "lon": f"{int(abs(lon)):03d}{abs(lon) % 1 * 60:07.4f},{'EW'[lon < 0]}",
    }
    clocks = [f"18{10 + k // 60:02d}{k % 60:02d}" for k in range(600)]
    lines = [line for clock in clocks for line in (gga(clock, **here), rmc(clock, "140226", **here))]
    path.write_text("\r\n".join(lines), encoding="ascii")
    return path


def the_day(tab: Tab, by: str, folder: Path) -> None:
    """Check, card, pack, exports, arrival, visit, log and tally for the first spot of the list."""
    page = tab.page
    tab.map()
    tab.spots.locator("#spots > li").first.click()
    tab.plan()
    tab.unfold("day", "check", "arrive", "visits", "log")
    expect(page.locator("#spot-said b")).to_have_text("Spot 1")
    page.locator("#day [name=call]").fill("Q1AAA/P")
    page.locator("#card").click()
    card = page.locator("#got-day li").first
    expect(card).to_contain_text("Card of spot 1")
    with page.context.expect_page() as opened:
        card.get_by_role("link", name="Open").click()
    expect(opened.value.locator("body")).to_contain_text("Q1AAA/P")
    opened.value.close()
    page.locator("#day [name=spots]").fill("1-2")
    page.locator("#pack").click()
    with page.expect_download() as saved:
        page.locator("#got-day li", has_text="Pack of 1-2").get_by_role("link").click()
    assert saved.value.suggested_filename == "pack.zip"
    page.locator("#day summary").click()
    page.locator("#formats").get_by_role("button", name="GPX").click()
    with page.expect_download() as saved:
        page.locator("#got-saved li").get_by_role("link").click()
    assert b"<gpx" in Path(saved.value.path()).read_bytes()
    page.locator("#check-spot").click()
    expect(page.locator("#checked .word").first).to_contain_text("firm")
    expect(page.locator("#checked")).to_contain_text("permission")
    # At the spot: a recording, its sheet, the visit from it.
    place = page.locator("#check-form [name=place]").input_value()
    recording = write_recording(folder / "still.nmea", place)
    page.locator('input[data-role="recording"]').set_input_files(recording)
    expect(page.locator("#arrived")).to_contain_text("Where the receiver stood")
    with page.context.expect_page() as opened:
        page.locator("#got-arrive li").get_by_role("link", name="Open").click()
    expect(opened.value.locator("body")).to_contain_text("still.nmea")
    opened.value.close()
    page.locator("#visit-recording").click()
    expect(page.locator("#visit-from")).to_contain_text("still.nmea")
    page.locator("#visit-form [name=day]").fill("2026-02-14")
    page.locator("#visit-form [name=from]").fill("18:05")
    page.locator("#visit-form [name=to]").fill("20:05")
    page.locator("#visit-form [name=call]").fill("Q1AAA/P")
    page.locator("#visit-form [name=contacts]").fill("87")
    page.locator("#write-visit").click()
    # The notebook would be lost: where it is to be kept is asked before the first visit is written.
    expect(page.locator("#keep-form")).to_be_visible()
    expect(page.locator("#visits tbody tr")).to_have_count(0)
    page.locator("#keep-not").click()
    expect(page.locator("#visits tbody tr")).to_have_count(1)
    expect(page.locator("#visits")).to_contain_text(by)
    # A slip is put right, and that taken back.
    page.get_by_role("button", name="Change visit 1").click()
    expect(page.locator("#visit-form [name=from]")).to_have_value(re.compile("^18:05"))
    page.locator("#visit-form [name=contacts]").fill("88")
    page.locator("#write-visit").click()
    expect(page.locator("#visits tbody tr")).to_contain_text("88")
    page.locator("#undo").click()
    expect(page.locator("#visits tbody tr")).to_contain_text("87")
    log = folder / "day.adi"
    log.write_text(f"A log\n<EOH>\n{contact()}", encoding="ascii")
    page.locator('input[data-role="log"]').set_input_files(log)
    expect(page.locator("#log-said")).to_have_text("day.adi")
    page.get_by_role("button", name="Show what would change").click()
    expect(page.locator("#stamped")).to_contain_text("1 during visit 1")
    with page.expect_download() as saved:
        page.locator("#got-log li").get_by_role("link").click()
    assert b"MY_GRIDSQUARE" in Path(saved.value.path()).read_bytes()
    page.locator("#tally").click()
    expect(page.locator("#tallied table").first.locator("tbody tr").last).to_contain_text("87")
    page.locator("#save-notebook").click()
    with page.expect_download() as saved:
        page.locator("#got-visits li", has_text="Notebook").get_by_role("link").click()
    assert Path(saved.value.path()).read_bytes().startswith(b"SQLite format 3")


@both_sizes
def test_the_whole_story_on_the_demo_island(open_desk: Callable[[], Tab], tmp_path: Path) -> None:
    tab = open_desk()
    page = tab.page
    expect(page.locator("#picture")).to_be_hidden()  # three doors in place of an empty map
    expect(page.locator(".door")).to_have_count(3)
    page.locator("#demo").click()
    assert tab.found() == 50  # without walks
    expect(page.locator("#doors")).to_be_hidden()
    expect(tab.spots.locator("#spots > li")).to_have_count(50)
    tab.plan()
    expect(page.locator("#parks-said")).to_have_text("19 parks")
    page.locator("#cancel").click()
    expect(page.locator("#cancel")).to_be_disabled()
    tab.done()
    expect(page.locator("#search")).to_be_focused()
    # A number changed, the ranking follows.
    tab.unfold("wanted", "ground")
    page.locator("#wanted [name=within]").fill("8")
    expect(page.locator("#found b")).not_to_have_text("50 spots", timeout=WALKS)
    tab.done()
    expect(page.locator("#newer")).to_be_hidden()
    expect(tab.spots.locator("#walks-box, [name=walk]").first).to_be_attached()  # the list with walks
    the_day(tab, "Q1AAA/P", tmp_path)
    tab.quiet()


@both_sizes
def test_the_whole_story_on_an_extract(open_desk: Callable[[], Tab], tmp_path: Path) -> None:
    tab = open_desk()
    page = tab.page
    page.locator("#door-files").set_input_files(write_extract(tmp_path / "made.osm"))
    expect(page.locator("#files-parks li")).to_contain_text("name from column name")
    expect(page.locator("#parks-said")).to_have_text("3 parks")
    expect(page.locator("#ground-said")).to_have_text("of the extract")
    tab.map()
    # Home by a click on the map of the boundaries.
    page.locator("#picture").click(position={"x": 120, "y": 200})
    tab.plan()
    expect(page.locator("#home-said")).to_contain_text("Understood as")
    page.locator("#search").click()
    assert tab.found() > 3
    tab.done()
    expect(tab.spots.get_by_text("<b>Tern</b> Marsh").first).to_be_attached()  # text, not markup
    tab.plan()
    tab.unfold("trip")
    plan_a_day(page)
    the_day(tab, "Tern", tmp_path)
    tab.quiet()


@both_sizes
def test_what_an_antenna_sees_stands_beside_the_plan(open_desk: Callable[[], Tab], size: str) -> None:
    tab = open_desk()
    page = tab.page
    page.locator("#no-files").click()
    tab.unfold("ground", "view")
    page.locator("#view-form .more summary").click()
    place = page.locator("#view-form [name=place]")
    place.fill("41 S 112 W")
    place.press("Enter")
    expect(page.locator("#wrong-view")).to_have_text("Bring heights first, in The ground.")
    page.locator("[data-role=heights]").set_input_files(ROOT / "data_demo" / "heights.tif")
    expect(page.locator("#files-heights li")).to_contain_text("heights:")
    page.locator("#view-form [name=towards]").fill("240; JJ00")
    page.locator("#wanted [name=units]").select_option("imperial")
    expect(page.locator("#view-form [name=to-height]")).to_have_value("16.4")
    page.locator("#view-form [name=antenna-height]").fill("32.8")
    place.press("Enter")
    expect(page.locator("#viewed .answer")).to_contain_text("32.8 ft above the ground")
    expect(page.locator("#viewed .answer")).to_contain_text("Towards JJ00")
    assert complaints(page) == []
    page.locator("#viewed").get_by_role("button", name="See the pictures").click()
    seen = page.frame_locator("#view-page")
    expect(seen.locator("svg.panorama")).to_be_visible()
    expect(page.locator("#see-view")).to_have_attribute("aria-pressed", "true")
    tab.plan()
    page.locator("#view-form [name=to]").fill("41.05 S 112.05 W")
    page.locator("#view-form [name=mhz]").fill("fast")
    place.press("Enter")
    expect(page.locator("#wrong-view")).to_contain_text("\u201cFrequency\u201d: 'fast' is no number")
    page.locator("#view-form [name=mhz]").fill("430")
    place.press("Enter")
    expect(page.locator("#viewed .answer")).to_contain_text("Blocked by terrain")
    expect(seen.locator("svg.profile")).to_be_attached()
    with page.context.expect_page() as opened:
        page.locator("#got-view li").get_by_role("link", name="Open").click()
    expect(opened.value.locator("h1")).to_contain_text("41 S 112 W to 41.05 S 112.05 W")
    tab.map()
    page.locator("#see-parks").click()
    expect(page.locator("#view-page")).to_be_hidden()
    expect(page.locator("#picture")).to_be_visible()
    tab.quiet()


@both_sizes
def test_a_saved_list_goes_on_where_it_was(
    open_desk: Callable[[], Tab], made_file: Path, tmp_path: Path, size: str
) -> None:
    saved = tmp_path / "spots.gpkg"
    runner = CliRunner()
    runner.invoke(command, ["find", "--parks", str(made_file), "--save", str(saved)], standalone_mode=False)
    tab = open_desk()
    page = tab.page
    page.locator("#door-list").set_input_files(made_file)
    expect(page.locator("#wrong-doors")).to_contain_text("bring .gpkg")
    page.locator("#door-list").set_input_files(saved)
    count = tab.found()
    expect(page.locator("#doors")).to_be_hidden()
    expect(tab.spots.locator("#spots > li")).to_have_count(count)
    tab.plan()
    page.locator("#day [name=spot]").fill("1")
    page.locator("#card").click()
    expect(page.locator("#got-day li")).to_contain_text("Card of spot 1")
    # Boundaries that come now do not take its place, until they are searched.
    page.locator('input[data-role="parks"]').set_input_files(made_file)
    expect(page.locator("#parks-said")).to_have_text("3 parks")
    page.locator("#wanted [name=min-grids]").select_option("4")
    page.locator("#check-form [name=place]").evaluate("field => { field.closest('details').open = true; }")
    page.locator("#check-form [name=place]").fill("45, -20")
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#checked .word").first).to_contain_text("firm")
    expect(page.locator("#found b")).to_contain_text(str(count))
    page.locator("#search").click()
    expect(page.locator("#found b")).not_to_contain_text(str(count))
    tab.quiet()


@both_sizes
def test_the_whole_story_on_real_boundaries(
    open_desk: Callable[[], Tab], shared_data: Callable[[str], Path], tmp_path: Path
) -> None:
    tab = open_desk()
    page = tab.page
    page.locator('input[data-role="parks"]').set_input_files(shared_data("ne_10m_parks_area.geojson"))
    expect(page.locator("#parks-said")).to_have_text(re.compile(r"^[\d,]+ parks"), timeout=30_000)
    page.locator("#wanted [name=home]").fill("44.6 -110.5")
    page.locator("#wanted [name=within]").fill("400")
    page.locator("#search").click()
    assert tab.found() > 0
    tab.done()
    the_day(tab, "Q1AAA/P", tmp_path)
    tab.quiet()


def test_who_reads_a_spot_is_asked_before_the_list_changes(open_desk: Callable[[], Tab]) -> None:
    tab = open_desk()
    page = tab.page
    page.locator("#demo").click()
    assert tab.found() == 50
    row = tab.spots.locator("#spots > li").nth(5)
    expect(row).to_be_attached()
    tab.unfold("day")
    page.locator("#day [name=spot]").fill("6")
    expect(page.locator("#spot-said b")).to_have_text("Spot 6")
    place = page.locator("#spot-said").text_content().split(" at ")[1]
    expect(page.locator("#newer")).to_be_visible(timeout=WALKS)
    # What is made now is still of the list that is shown.
    page.locator("#card").click()
    with page.context.expect_page() as opened:
        page.locator("#got-day li").get_by_role("link", name="Open").click()
    expect(opened.value.locator("body")).to_contain_text(place.split(",")[0])
    opened.value.close()
    page.locator("#newer").click()
    expect(page.locator("#newer")).to_be_hidden()
    expect(tab.spots.locator("#spots > li")).to_have_count(48)
    expect(page.locator("#got-day li")).to_have_count(0)  # made of another list
    tab.quiet()


def test_what_is_wrong_stands_beside_what_caused_it(open_desk: Callable[[], Tab], tmp_path: Path) -> None:
    tab = open_desk()
    page = tab.page
    page.locator("#no-files").click()
    page.locator("#search").click()
    expect(page.locator("#wrong-search")).to_contain_text("Bring boundary files first")
    (tmp_path / "broken.geojson").write_text("{", encoding="utf-8")
    (tmp_path / "letter.txt").write_text("Dear", encoding="utf-8")
    page.locator('input[data-role="parks"]').set_input_files(
        [tmp_path / "broken.geojson", tmp_path / "letter.txt"]
    )
    expect(page.locator("#wrong-parks")).to_contain_text("letter.txt")
    expect(page.locator("#wrong-search")).to_be_empty()
    expect(page.locator("#files-parks li .wrong")).to_contain_text("GeoJSON")
    page.locator("#wanted [name=home]").fill("95, 0")
    expect(page.locator("#wrong-home")).to_contain_text("latitude")
    expect(page.locator("#wanted [name=home]")).to_have_attribute("aria-invalid", "true")
    page.locator("#wanted [name=home]").fill("")
    expect(page.locator("#wrong-home")).to_be_empty()
    page.get_by_role("button", name="Put away broken.geojson").click()
    expect(page.locator("#files-parks li")).to_have_count(0)
    tab.quiet()


def test_a_wrong_setting_is_told_at_its_field(open_desk: Callable[[], Tab], made_file: Path) -> None:
    tab = open_desk()
    page = tab.page
    page.locator('input[data-role="parks"]').set_input_files(made_file)
    expect(page.locator("#parks-said")).to_have_text("3 parks")
    page.locator("#wanted [name=within]").fill("20")
    page.locator("#search").click()
    expect(page.locator("#wrong-within")).to_contain_text("no home to count from")
    page.locator("#wanted [name=home]").fill("45, -20")
    page.locator("#search").click()
    assert tab.found() > 0
    expect(page.locator("#wrong-within")).to_be_empty()
    tab.quiet()


def test_settings_go_out_and_come_back(open_desk: Callable[[], Tab], made_file: Path, tmp_path: Path) -> None:
    tab = open_desk()
    page = tab.page
    page.locator('input[data-role="parks"]').set_input_files(made_file)
    page.locator("#wanted [name=home]").fill("45, -20")
    page.locator("#wanted [name=station-radius]").fill("8")
    expect(page.locator("#drawing-said")).to_contain_text("disc of 8 m")
    with page.expect_download() as saved:
        page.locator("#save-outing").click()
    assert saved.value.suggested_filename == "outing.toml"
    text = Path(saved.value.path()).read_text(encoding="utf-8")
    assert 'parks = ["made parks.geojson"]\nhome = "45, -20"\nstation-radius = 8\n' in text
    again = tmp_path / "mine.toml"
    again.write_text(text, encoding="utf-8")
    other = open_desk()
    other.page.locator("#load-outing").set_input_files(again)
    expect(other.page.locator("#wanted [name=station-radius]")).to_have_value("8")
    expect(other.page.locator("#outing-missing")).to_contain_text("made parks.geojson")
    other.page.locator('input[data-role="parks"]').set_input_files(made_file)
    expect(other.page.locator("#outing-missing")).to_be_hidden()
    again.write_text("level = 7", encoding="utf-8")
    other.page.locator("#load-outing").set_input_files(again)
    expect(other.page.locator("#wrong-outing")).to_contain_text("mine.toml: level")
    other.page.evaluate("document.getElementById('step-wanted').open = true")
    tab.quiet()
    other.quiet()


def test_a_tab_loaded_again_finds_its_files_and_a_second_one_is_apart(
    open_desk: Callable[[], Tab], made_file: Path
) -> None:
    tab = open_desk()
    page = tab.page
    page.locator('input[data-role="parks"]').set_input_files(made_file)
    page.locator("#wanted [name=home]").fill("45, -20")
    expect(page.locator("#parks-said")).to_have_text("3 parks")
    assert "#" not in page.url  # the key has left the address
    page.reload()
    expect(page.locator("#parks-said")).to_have_text("3 parks", timeout=30_000)
    expect(page.locator("#wanted [name=home]")).to_have_value("45, -20")
    other = open_desk()
    expect(other.page.locator("#parks-said")).to_have_text("none yet")
    tab.quiet()


def test_a_copied_tab_gets_a_window_of_its_own(open_desk: Callable[[], Tab], made_file: Path) -> None:
    tab = open_desk()
    tab.page.locator('input[data-role="parks"]').set_input_files(made_file)
    expect(tab.page.locator("#parks-said")).to_have_text("3 parks")
    with tab.page.context.expect_page() as opened:
        tab.page.evaluate("() => { window.open('/'); }")  # copies what the tab keeps, as duplicating does
    expect(opened.value.locator("html.ready")).to_be_attached(timeout=30_000)
    expect(opened.value.locator("#parks-said")).to_have_text("none yet")
    expect(tab.page.locator("#parks-said")).to_have_text("3 parks")


def test_without_the_key_the_page_says_so(context: BrowserContext, desk: Caller) -> None:
    page = context.new_page()
    page.goto(f"http://127.0.0.1:{desk.desk.port}/")
    expect(page.locator("#no-key")).to_contain_text("address that scout desk shows")
    expect(page.locator("main")).to_be_hidden()


def test_a_page_of_another_origin_gets_nothing(context: BrowserContext, desk: Caller, tmp_path: Path) -> None:
    page = context.new_page()
    page.goto("data:text/html,<title>elsewhere</title>")
    told = page.evaluate(
        """async (address) => {
            const frame = document.createElement("iframe");
            frame.src = address;
            document.body.append(frame);
            try { return (await fetch(address + "api/windows", { method: "POST" })).status; }
            catch (error) { return "refused"; }
        }""",
        f"http://127.0.0.1:{desk.desk.port}/",
    )
    assert told == "refused"


REACHED = """async () => {
    const refused = (look) => { try { look(); return false; } catch { return true; } };
    const asked = await fetch("/api/ping").then(() => "answered", () => "refused");
    return [self.origin, refused(() => localStorage), refused(() => sessionStorage), window.opener, asked];
}"""
NOTHING = ["null", True, True, None, "refused"]


def test_what_was_made_reaches_nothing_of_the_desk_in_a_tab_of_its_own(
    open_desk: Callable[[], Tab], made_file: Path, tmp_path: Path
) -> None:
    tab = open_desk()
    page = tab.page
    tab.unfold("day")
    page.locator('input[data-role="parks"]').set_input_files(made_file)
    expect(page.locator("#parks-said")).to_have_text("3 parks")
    page.locator("#search").click()
    tab.found()
    tab.done()
    page.locator("#day [name=spot]").fill("1")
    page.locator("#card").click()
    with page.context.expect_page() as opened:
        page.locator("#got-day li").first.get_by_role("link", name="Open").click()
    expect(opened.value.locator("body")).to_contain_text("In an emergency")
    assert opened.value.evaluate(REACHED) == NOTHING

    alone, said = page.context.new_page(), []
    alone.goto(page.frames[1].url)
    ticks = alone.locator("#spots .pick input")
    expect(ticks.first).to_be_visible()
    assert alone.evaluate(REACHED) == NOTHING
    alone.reload()
    alone.on("console", lambda message: said.append(message.text))
    ticks.first.check()
    expect(alone.locator("body")).to_contain_text("This browser keeps nothing for this page")
    alone.locator("#picks-box").evaluate("box => { box.open = true; }")
    alone.locator("#picks input[name=who]").fill("Ann")
    with alone.expect_download() as download:
        alone.locator("#picks-save").click()
    assert "scout-shortlist" in Path(download.value.path()).read_text("utf-8")
    alone.locator("#check-button").click()
    alone.locator("#here-position").click()
    expect(alone.locator("#here-note")).to_contain_text("does not let this page see the position")
    alone.evaluate("window.addEventListener('beforeprint', () => { document.title = 'on paper'; })")
    alone.evaluate("window.print()")
    assert alone.evaluate("document.title") == "on paper"
    assert said == []


def press_to(page: Page, what: str, most: int = 150) -> None:
    """Tab until the focus is there, as someone without a mouse does."""
    for _ in range(most):
        if page.evaluate("what => document.activeElement?.matches(what) ?? false", what):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"the keyboard does not reach {what}")


@both_sizes
def test_the_keyboard_alone_does_it(open_desk: Callable[[], Tab], tmp_path: Path, size: str) -> None:
    """The whole story, from the extract to the tally."""
    tab = open_desk()
    page = tab.page
    press = page.keyboard.press
    # Listened to from the start: a key pressed just after the first ear is there can be ahead of it.
    page.on("filechooser", lambda _: None)

    def bring(field: str, path: Path) -> None:
        press_to(page, field)
        with page.expect_file_chooser() as chooser:
            press("Space")
        chooser.value.set_files(path)

    press_to(page, "#demo")
    bring("#door-files", write_extract(tmp_path / "made.osm"))
    expect(page.locator("#parks-said")).to_have_text("3 parks")
    press_to(page, "#wanted [name=home]")
    page.keyboard.type("45.002, -20.04")
    expect(page.locator("#home-said")).to_contain_text("Understood as")
    press_to(page, "#search")
    press("Enter")
    assert tab.found() > 3
    if size == "tall":
        press_to(page, "#show-plan")
        press("Enter")
    tab.done()
    press_to(page, "#step-check > summary")
    press("Enter")
    press_to(page, "#check-form [name=place]")
    page.keyboard.type("45, -20")
    press("Enter")
    expect(page.locator("#checked .word").first).to_contain_text("firm")
    press_to(page, "#step-day > summary")
    press("Enter")
    press_to(page, "#day [name=spot]")
    page.keyboard.type("2")
    expect(page.locator("#spot-said b")).to_have_text("Spot 2")
    press_to(page, "#card")
    press("Enter")
    expect(page.locator("#got-day li")).to_contain_text("Card of spot 2")
    press_to(page, "#pack")
    press("Enter")
    expect(page.locator("#got-day li").first).to_contain_text("Pack of 2")
    press_to(page, "#step-trip > summary")
    press("Enter")
    press_to(page, "#trip-form [name=date]")
    page.keyboard.type("06202026")
    press_to(page, "#trip-form [name=hours]")
    press("ControlOrMeta+A")
    page.keyboard.type("06:00-20:00")
    press("Enter")
    expect(page.locator("#toured .answer strong")).to_contain_text("Best tour", timeout=WALKS)
    press_to(page, "#step-arrive > summary")
    press("Enter")
    bring('input[data-role="recording"]', write_recording(tmp_path / "still.nmea", "45,-20"))
    expect(page.locator("#arrived")).to_contain_text("Where the receiver stood")
    press_to(page, "#visit-recording")
    press("Enter")
    expect(page.locator("#visit-form [name=day]")).to_be_focused()
    page.keyboard.type("02142026")
    press_to(page, "#visit-form [name=from]")
    page.keyboard.type("0605PM")
    press_to(page, "#visit-form [name=to]")
    page.keyboard.type("0805PM")
    press_to(page, "#write-visit")
    press("Enter")
    expect(page.locator("#keep-form [name=path]")).to_be_focused()
    press_to(page, "#keep-not")
    press("Enter")
    expect(page.locator("#visits tbody tr")).to_contain_text("2026-02-14 18:05")
    press_to(page, "#tally")
    press("Enter")
    expect(page.locator("#tallied table").first).to_be_attached()
    press_to(page, "#step-log > summary")
    press("Enter")
    log = tmp_path / "day.adi"
    log.write_text(f"A log\n<EOH>\n{contact()}", encoding="ascii")
    bring('input[data-role="log"]', log)
    expect(page.locator("#log-said")).to_have_text("day.adi")
    press_to(page, "#log-form button")
    press("Enter")
    expect(page.locator("#stamped")).to_contain_text("1 during visit 1")
    press_to(page, "#step-locate > summary")
    press("Enter")
    press_to(page, "#locate-form [name=place]")
    page.keyboard.type("JO22ab")
    press("Enter")
    expect(page.locator("#located")).to_contain_text("subsquare")
    # A cancel may have to end the process: what it found is there all the same.
    page.locator("#wanted [name=level]").focus()
    page.keyboard.type("ext")  # the search follows, and has much to do
    expect(page.locator("#cancel")).to_be_enabled()
    press_to(page, "#cancel")
    press("Enter")
    expect(page.locator("#search")).to_be_focused()
    expect(page.locator("#cancel")).to_be_disabled()
    press_to(page, "#day [name=spot]")
    press("ControlOrMeta+A")
    page.keyboard.type("1")
    press_to(page, "#card")
    press("Enter")
    expect(page.locator("#got-day li").first).to_contain_text("Card of spot 1")
    expect(page.locator("#wrong-day")).to_be_empty()
    tab.quiet()


def test_feet_and_miles_go_through_all_of_it(open_desk: Callable[[], Tab], made_file: Path) -> None:
    tab = open_desk()
    page = tab.page
    page.locator("#door-files").set_input_files(made_file)
    expect(page.locator("#parks-said")).to_have_text("3 parks")
    page.locator("#wanted [name=home]").fill("45, -20")
    page.locator("#wanted [name=within]").fill("80")
    page.locator("#step-check > summary").click()
    page.locator("#check-form [name=place]").fill("45.000126, -20")
    page.locator("#check-form [name=place]").press("Enter")
    expect(page.locator("#checked .better")).to_contain_text("14.0 m to the south")
    assert page.locator("#checked .answer > *").first.get_attribute("class") == "better"
    page.locator("#wanted [name=units]").select_option("imperial")
    expect(page.locator("#wanted [name=within]")).to_have_value("49.7")
    expect(page.locator("#wanted [name=station-radius]")).to_have_value("16.4")
    expect(page.locator("#wanted [data-unit=km]")).to_have_text("miles")
    expect(page.locator("#checked .better")).to_contain_text("45.9 ft to the south")
    with page.expect_download() as saved:
        page.locator("#save-outing").click()
    text = Path(saved.value.path()).read_text(encoding="utf-8")
    assert "within = 80\n" in text  # as it was given, to the last digit
    assert "station-radius" not in text
    page.locator("#wanted [name=within]").fill("50")
    with page.expect_download() as saved:
        page.locator("#save-outing").click()
    assert "within = 80.4672\n" in Path(saved.value.path()).read_text(encoding="utf-8")
    page.locator("#checked .better button").click()
    expect(page.locator("#checked .figures").first).to_contain_text("4 grids")
    tab.quiet()


def test_a_notebook_is_kept_on_the_machine(context: BrowserContext, tmp_path: Path) -> None:
    with running() as caller:
        page = context.new_page()
        page.goto(caller.desk.address(caller.desk.keys.shown))
        page.locator("#no-files").click()
        page.locator("#visit-form [name=place]").fill("45, -20")
        page.locator("#visit-form [name=day]").fill("2026-02-14")
        page.locator("#visit-form [name=from]").fill("22:05")
        page.locator("#visit-form [name=to]").fill("01:10")  # the next day
        page.locator("#write-visit").click()
        page.locator("#keep-form [name=path]").fill("visits")
        page.locator("#keep-there").click()
        expect(page.locator("#wrong-keep")).to_contain_text("no full name")
        page.locator("#keep-form [name=path]").fill(str(tmp_path / "mine.gpkg"))
        page.locator("#keep-there").click()
        expect(page.locator("#visits tbody tr")).to_have_count(1)
        expect(page.locator("#book-said")).to_contain_text("mine.gpkg")
        assert (tmp_path / "mine.gpkg").is_file()
        page.get_by_role("button", name="Change visit 1").click()
        expect(page.locator("#visit-form [name=last-day]")).to_have_value("2026-02-15")


@both_sizes
def test_plan_and_map_stay_in_sight(open_desk: Callable[[], Tab], made_file: Path, size: str) -> None:
    tab = open_desk()
    page = tab.page
    page.locator("#door-files").set_input_files(made_file)
    expect(page.locator("#parks-said")).to_have_text("3 parks")
    tab.unfold("ground", "check", "arrive", "visits", "log", "locate", "compare", "prepare")
    page.locator("#prepare-form button").click()
    expect(page.locator("#got-prepare li")).to_have_count(1)
    page.locator("#step-prepare").evaluate("step => step.scrollIntoView()")
    expect(page.locator("h1")).to_be_in_viewport()
    if size == "wide":
        expect(page.locator("#picture")).to_be_in_viewport(ratio=0.99)
        return
    expect(page.locator("#show-stage")).to_be_in_viewport()
    assert page.locator("header").bounding_box()["height"] < 60  # type: ignore[index]
    page.locator("#show-stage").click()
    expect(page.locator("#show-plan")).to_be_in_viewport()
    expect(page.locator("#picture")).to_be_in_viewport()


@both_sizes
def test_axe_finds_nothing(open_desk: Callable[[], Tab], made_file: Path, tmp_path: Path) -> None:
    tab = open_desk()
    page = tab.page
    own = "document.getElementById('spots-map').remove()"  # the map has its own tests
    assert complaints_in_each_scheme(page) == []
    page.locator('input[data-role="parks"]').set_input_files(made_file)
    expect(page.locator("#parks-said")).to_have_text("3 parks")
    page.locator("#wanted [name=home]").fill("95, 0")
    expect(page.locator("#wrong-home")).to_contain_text("latitude")
    page.locator("#wanted [name=home]").fill("")
    page.locator("#search").click()
    assert tab.found() > 0
    tab.plan()
    tab.unfold("ground", "check", "day", "arrive", "visits", "log", "locate", "compare", "prepare")
    for box in page.locator("details.more").all():
        box.evaluate("box => { box.open = true; }")
    page.locator("#check-form [name=place]").fill("45, -20")
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#checked .answer")).to_be_attached()
    page.locator("#day [name=spot]").fill("1")
    page.locator("#card").click()
    expect(page.locator("#got-day li")).to_have_count(1)
    recording = write_recording(tmp_path / "still.nmea", "45, -20")
    page.locator('input[data-role="recording"]').set_input_files(recording)
    expect(page.locator("#arrived .answer")).to_be_attached()
    page.locator("#locate-form [name=place]").fill("JO22")
    page.locator("#locate-form button").click()
    expect(page.locator("#located table")).to_be_attached()
    page.locator('input[data-role="old"]').set_input_files(made_file)
    expect(page.locator("#files-old li")).to_have_count(1)
    page.locator("#compare-form button").click()
    expect(page.locator("#compared .answer")).to_be_attached()
    page.locator("#visit-spot").click()
    page.locator("#visit-form [name=day]").fill("2026-02-14")
    page.locator("#visit-form [name=from]").fill("18:05")
    page.get_by_role("button", name="Write the visit down").click()
    page.locator("#keep-not").click()
    page.locator("#keep").click()  # asked again, to be looked at
    page.locator("#tally").click()
    expect(page.locator("#tallied table")).to_be_attached()
    page.evaluate(own)
    assert complaints_in_each_scheme(page) == []
    tab.map()
    page.locator("#see-parks").click()
    assert complaints_in_each_scheme(page) == []


@both_sizes
def test_a_day_with_several_places_follows_its_times(
    open_desk: Callable[[], Tab], tmp_path: Path, size: str
) -> None:
    write_world(tmp_path)
    tab = open_desk()
    page = tab.page
    page.locator("#door-files").set_input_files(tmp_path / "parks.geojson")
    expect(page.locator("#files-parks li")).to_have_count(1)
    tab.unfold("ground", "trip")
    page.locator("[data-role=access]").set_input_files(tmp_path / "roads.geojson")
    expect(page.locator("#files-access li")).to_have_count(1)
    page.locator("#wanted [name=level]").select_option("subsquare")
    page.locator("#wanted [name=home]").fill("45.002,10.25")
    page.locator("#search").click()
    tab.found()
    tab.done()
    tab.plan()
    form = page.locator("#trip-form")
    expect(form.locator("[name=most-places]")).to_have_value("4")  # what stands by itself is seen
    form.locator("[name=date]").fill("2026-06-20")
    form.locator("[name=hours]").fill("06:00-20:00")
    form.get_by_role("button", name="Plan the day").click()
    best = page.locator("#toured .answer strong")
    expect(best).to_contain_text("Best tour: 12 new pairs (12 grids, 3 parks) at 3 places")
    assert page.locator("#got-trip li b").all_inner_texts() == [
        "Map with the tours",
        "Sheet of the day",
        "Route and walks (GPX)",
        "Calendar",
        "Pack: all of it, a card for each place",
    ]
    # The tour follows what is changed, and what is wrong stands at its field.
    form.locator("[name=most-places]").fill("1")
    expect(best).to_contain_text("at 1 place,")
    form.locator("[name=hours]").fill("08:00-09:00")
    expect(page.locator("#wrong-trip")).to_contain_text("no place fits into 08:00-09:00")
    form.locator("[name=hours]").fill("noon")
    expect(page.locator("#wrong-hours")).to_contain_text("is no span of hours")
    form.locator("[name=hours]").fill("06:00-20:00")
    expect(page.locator("#wrong-hours")).to_be_empty()
    expect(page.locator("#got-trip li")).to_have_count(5)
    assert complaints(page) == []
    tab.quiet()


def test_unsaved_visits_are_not_lost_without_a_word(open_desk: Callable[[], Tab]) -> None:
    tab = open_desk()
    page = tab.page
    page.locator("#no-files").click()
    expect(page.locator("#book-said")).to_have_text(re.compile("lost when the window closes"))
    page.locator("#visit-form [name=place]").fill("45, -20")
    page.locator("#visit-form [name=day]").fill("2026-02-14")
    page.locator("#visit-form [name=from]").fill("18:05")
    page.get_by_role("button", name="Write the visit down").click()
    page.locator("#keep-not").click()
    expect(page.locator("#visits tbody tr")).to_have_count(1)
    with page.expect_event("dialog") as asked:
        page.close(run_before_unload=True)
    assert asked.value.type == "beforeunload"
    asked.value.dismiss()


@both_sizes
def test_records_are_chosen_by_values_with_their_counts(open_desk: Callable[[], Tab], tmp_path: Path) -> None:
    path = tmp_path / "list.geojson"
    sorts = ["park", "park", 'owner\'s "yard"', "park", "easement", "easement"]
    boxes = [shapely.box(x - 0.1, 44.9, x + 0.1, 45.1) for x in range(0, 12, 2)]
    gpd.GeoDataFrame({"code": list("abcdef"), "sort": sorts}, geometry=boxes, crs=4326).to_file(path)
    tab = open_desk()
    page = tab.page
    page.locator('input[data-role="parks"]').set_input_files(path)
    expect(page.locator("#parks-said")).to_have_text("6 parks")
    expect(page.locator("#layers option")).to_have_attribute("value", "list")
    page.locator("#reading > summary").click()
    page.locator("#values-box summary").click()
    expect(page.locator("#values-column option")).to_have_text(["sort"])  # not the codes, all different
    values = page.locator("#values label")
    expect(values).to_have_text(["park (3)", "easement (2)", 'owner\'s "yard" (1)'])
    values.nth(0).click()
    expect(page.locator("#parks-said")).to_have_text("3 parks")
    expect(page.locator("[name=where]")).to_have_value("\"sort\" IN ('park')")
    page.locator("#values label").nth(2).click()
    expect(page.locator("#parks-said")).to_have_text("4 parks")
    expect(page.locator("#notes-parks")).to_contain_text("2 of 6 records left out: 2 by the condition")
    page.locator("[name=where]").fill("srt = 'park'")
    expect(
        page.locator("#reading .wrong, #wrong-all-parks").filter(has_text="did you mean 'sort'")
    ).to_be_visible()
    tab.quiet()
