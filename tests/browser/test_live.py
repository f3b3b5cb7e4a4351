"""Where the reader is: the way to a spot, the verdict while walking, the average standing still, saved."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builders import bay
from playwright.sync_api import Page, expect
from published.test_gpx_schema import faults as gpx_faults
from pyproj import Geod

from browser.conftest import Watched, all_sizes
from browser.test_check_here import by_command
from browser.test_site import Device, device  # noqa: F401
from scout.cli import main
from scout.io.write import write_file
from scout.model import Findings
from scout.output import text as wording

Open = Callable[..., Watched]

# Circular normal errors: the radius that holds 95 % is sqrt(ln 0.05 / ln 0.32) times that of 68 %.
TO_95 = np.sqrt(np.log(0.05) / np.log(0.32))


def stand_at(page: Page, lon: float, lat: float, accuracy: float = 6.0) -> None:
    page.context.set_geolocation({"latitude": lat, "longitude": lon, "accuracy": accuracy})


# Walking, without the web space it came from


def test_it_follows_the_device_and_judges_as_the_command_with_the_devices_error(
    device: Device,  # noqa: F811
) -> None:
    found = bay()
    page = device.page
    device.store()
    device.server.stop()
    device.open("#spot=3")
    stand_at(page, -20.0, 45.0)
    page.locator("#live-button").click()
    spot = next(ranked.spot for ranked in found.spots if ranked.rank == 3)
    seen = set()
    for lon, lat, accuracy in (
        (-20.00002, 45.00003, 2.0),
        (-20.00002, 45.00003, 8.0),
        (-19.95, 45.05, 4.0),
        (-19.9, 44.98, 25.0),
        (-20.2, 45.2, 5.0),
    ):
        stand_at(page, lon, lat, accuracy)
        truth = by_command(found, lon, lat, accuracy * TO_95)
        panel = page.locator("#live-text")
        bearing, _, away = Geod(ellps="WGS84").inv(lon, lat, spot.lon, spot.lat)
        expect(panel).to_contain_text(
            f"Spot 3: {wording.format_fine_length(away)} to the {wording.format_bearing(bearing % 360)}"
            if away > 0.05
            else "Spot 3: 0.0 m"
        )
        verdict = truth.verdict
        seen.add(verdict.word)
        sure = f"confidence {wording.format_probability(verdict.confidence)}"
        expect(panel.locator(".claim")).to_contain_text(
            f"{verdict.word} {sure if verdict.parks else 'in the parks that this page knows'}"
        )
        expect(panel).to_contain_text(f"fix error {wording.format_fine_length(accuracy * TO_95)}")
        expect(panel.locator(".live-cells")).to_have_text(" ".join(verdict.locators))
        for park in truth.parks:
            if park.clearance_m > 0:
                expect(panel).to_contain_text(
                    f"{park.park_name} {wording.format_clearance(park.clearance_m)}"
                )
    assert seen == {"firm", "doubtful", "not counted"}
    expect(page.locator("#details-title")).to_contain_text("Spot 3")
    assert page.url.endswith("#spot=3")  # where the reader is stays out of the address


@all_sizes
def test_the_circle_on_the_map_is_the_error_at_95_percent_and_the_dot_its_middle(
    open_page: Open, size: str
) -> None:
    opened = open_page(bay(), "#spot=3")
    page = opened.page
    page.context.grant_permissions(["geolocation"])
    stand_at(page, -19.95, 45.05, 40.0)
    page.locator("#live-button").click()
    circle, dot = page.locator("path.check-shape.stated"), page.locator(".live-dot")
    expect(dot).to_be_visible()
    middle = [
        (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        for box in (circle.bounding_box(), dot.bounding_box())
        if box is not None
    ]
    assert middle[0] == pytest.approx(middle[1], abs=1.5)
    metres = page.evaluate(
        """() => { const line = document.querySelector(".leaflet-control-scale-line");
        const number = parseFloat(line.textContent) * (/km/.test(line.textContent) ? 1000 : 1);
        return document.querySelector("path.check-shape.stated").getBoundingClientRect().width
            * number / (line.offsetWidth - 2); }"""
    )
    assert metres == pytest.approx(2 * 40 * TO_95, rel=0.06)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    frame = page.locator(".map").bounding_box()
    assert frame is not None
    assert frame["height"] > 180  # the panel leaves the map its room
    assert opened.messages == []
    assert opened.asked_for() == []


def test_without_a_chosen_spot_the_nearest_is_named_and_a_choice_takes_over(open_page: Open) -> None:
    opened = open_page(bay())
    page = opened.page
    page.context.grant_permissions(["geolocation"])
    stand_at(page, -19.951, 45.05)
    page.locator("#live-button").click()
    expect(page.locator(".live-way")).to_contain_text("Nearest, spot 3:")
    page.locator('#spots [data-rank="1"] a.row').click()
    expect(page.locator(".live-way")).to_contain_text("Spot 1:")
    page.locator("#units").evaluate(
        "field => { field.value = 'imperial'; field.dispatchEvent(new Event('change')); }"
    )
    expect(page.locator(".live-way")).to_contain_text("mi to the")
    page.locator("#live-full").click()
    expect(page.locator("#here-answer")).to_contain_text("Your position")
    expect(page.locator("#here-answer")).to_contain_text("Your device states")
    assert opened.messages == []


def test_it_ends_where_it_is_told_to(open_page: Open) -> None:
    page = open_page(bay()).page
    page.context.grant_permissions(["geolocation"])
    stand_at(page, -19.95, 45.05)
    button, panel = page.locator("#live-button"), page.locator("#live")
    expect(panel).to_be_hidden()
    button.click()
    expect(page.locator(".live-dot")).to_be_visible()
    expect(button).to_have_attribute("aria-expanded", "true")
    page.locator("#live-stop").click()
    expect(panel).to_be_hidden()
    expect(button).to_be_focused()
    expect(page.locator(".live-dot")).to_have_count(0)
    stand_at(page, -19.9, 45.0)
    expect(panel).to_be_hidden()


# What a file may not


def test_a_page_from_a_file_says_why_it_may_get_no_position_and_what_to_do(open_page: Open) -> None:
    page = open_page(bay(), "#check").page
    advice = (
        "opened from a file, and most phones give a file no position",
        "scout pack --web",
        "compass or GPS app",
    )
    for said in advice:
        expect(page.locator("#here-hint")).to_contain_text(said)
    page.locator("#live-button").click()
    for said in ("The browser does not let this page see the position", *advice):
        expect(page.locator("#live-text")).to_contain_text(said)
        expect(page.locator("#said")).to_contain_text(said)
    page.locator("#here-position").click()
    for said in advice:
        expect(page.locator("#here-note")).to_contain_text(said)


def test_a_page_of_a_site_gives_no_such_advice(device: Device) -> None:  # noqa: F811
    device.open("#check")
    expect(device.page.locator("#here-hint")).to_contain_text("no position leaves it")
    expect(device.page.locator("#here-hint")).not_to_contain_text("from a file")


# Standing still

FEED = """() => {
  window.taken = [];
  navigator.geolocation.watchPosition = (take, refuse) => {
    window.take = ([time, longitude, latitude, accuracy]) =>
      take({ timestamp: 1000 * time, coords: { longitude, latitude, accuracy } });
    window.refuse = (code) => refuse({ code });
    return 1;
  };
  navigator.geolocation.clearWatch = () => { window.cleared = true; };
}"""


def record(page: Page, rows: Any) -> None:
    page.evaluate("rows => rows.forEach(window.take)", np.asarray(rows).tolist())


def make_rest(count: int, lon: float, lat: float, seed: int = 3) -> np.ndarray:
    """Fixes of ten minutes whose errors last for minutes, two far off; accuracies as a phone states."""
    rng = np.random.default_rng(seed)
    error = np.zeros((count, 2))
    for k in range(1, count):
        error[k] = 0.98 * error[k - 1] + 0.4 * rng.standard_normal(2)
    error[[50, 51]] += 80
    east, north = error.T
    geod = Geod(ellps="WGS84")
    x, y, _ = geod.fwd(
        np.full(count, lon), np.full(count, lat), np.degrees(np.arctan2(east, north)), np.hypot(east, north)
    )
    time = 1_790_000_000.0 + np.arange(count) * 600 / count
    return np.column_stack([time, x, y, rng.uniform(3, 6, count)])


@pytest.mark.parametrize("at", [(-20.0, 45.0), (-19.93, 44.97)])
def test_the_saved_recording_gives_the_command_the_position_and_circle_that_the_page_showed(
    open_page: Open,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    at: tuple[float, float],
) -> None:
    found = bay()
    opened = open_page(found)
    page = opened.page
    page.evaluate(FEED)
    page.locator("#live-button").click()
    rows = make_rest(400, *at)
    record(page, rows[:1])
    page.locator("#live-stand").click()
    record(page, rows[1:])
    expect(page.locator(".live-stand")).to_contain_text("from 399 fixes", timeout=8000)
    with page.expect_download() as coming:
        page.locator("#live-save").click()
    saved = tmp_path / coming.value.suggested_filename
    coming.value.save_as(saved)
    assert saved.name.startswith("standstill-2026-09-21-")
    assert saved.suffix == ".gpx"
    assert gpx_faults(saved.read_bytes()) == []
    boundaries = tmp_path / "parks.geojson"
    write_file(boundaries, parks_as_file(found))
    capsys.readouterr()
    main(["arrive", str(saved), "--parks", str(boundaries), "--json"])
    read = json.loads(capsys.readouterr().out)
    stand, answer = read["standstill"], read["answer"]
    shown = page.locator(".live-stand").inner_text()
    assert f"95 % within {wording.format_fine_length(stand['error_95_m'])}" in shown
    assert wording.format_position(stand["lon"], stand["lat"]) in shown
    assert f"worth {stand['independent_fixes']:.1f} independent ones" in shown
    assert f"Dropped as far off: {len(stand['outliers'])}." in shown
    assert len(stand["outliers"]) == 2
    assert stand["kind"] == "GPX"
    assert any("taken to hold 68 % of fixes" in note for note in stand["notes"])
    expect(page.locator("#live-text .claim")).to_contain_text(answer["verdict"])
    assert opened.messages == []


def parks_as_file(found: Findings) -> str:
    """The parks of some findings as GeoJSON, with ids and names."""
    frame = found.parks[["park_id", "park_name", "geometry"]]
    text: str = frame.to_json()
    return text


def test_the_circle_never_falls_below_what_the_device_states_nor_the_floor(open_page: Open) -> None:
    page = open_page(bay()).page
    page.evaluate(FEED)
    page.locator("#live-button").click()
    for accuracy, least in ((0.5, 4.9), (20.0, 20 * TO_95)):
        rows = make_rest(400, -20.0, 45.0)
        rows[:, 3] = accuracy
        record(page, rows[:1])
        page.locator("#live-stand").click()
        record(page, rows[1:])
        line = page.locator(".live-stand strong")
        expect(line).to_contain_text("95 % within", timeout=8000)
        shown = float(line.inner_text().split("within ")[1].split(" m")[0])
        assert least <= shown < least + 4
        page.once("dialog", lambda dialog: dialog.accept())
        page.locator("#live-stand").click()


def test_a_device_that_walks_is_told_so_and_one_that_leaves_is_judged_where_it_is(open_page: Open) -> None:
    page = open_page(bay()).page
    page.evaluate(FEED)
    page.locator("#live-button").click()
    rows = make_rest(200, -20.0, 45.0)
    rows[:, 2] += np.linspace(0, 0.02, 200)
    record(page, rows[:1])
    page.locator("#live-stand").click()
    record(page, rows)
    expect(page.locator(".live-stand")).to_contain_text("No average yet: the device moved", timeout=8000)
    page.locator("#live-stand").click()
    rest = make_rest(200, -20.0, 45.0)
    rest[:, 0] += 700
    page.locator("#live-stand").click()
    record(page, rest)
    expect(page.locator(".live-stand")).to_contain_text("95 % within", timeout=8000)
    expect(page.locator(".live-dot")).to_have_class("live-dot averaged")
    record(page, [[rest[-1, 0] + 60, -19.93, 44.97, 4.0]])
    expect(page.locator(".live-stand")).to_contain_text("You have left that place", timeout=8000)
    expect(page.locator(".live-dot")).to_have_class("live-dot")


def test_a_position_that_stays_away_is_said_and_comes_back(open_page: Open) -> None:
    page = open_page(bay()).page
    page.evaluate(FEED)
    page.clock.install()
    page.locator("#live-button").click()
    panel = page.locator("#live-text")
    expect(panel).to_contain_text("Asking the device for its position")
    page.evaluate("window.refuse(3)")
    expect(panel).to_contain_text("found no position within 30 s")
    record(page, [[1_790_000_000, -20.0, 45.0, 5.0]])
    expect(panel).not_to_contain_text("found no position")
    expect(panel.locator(".claim")).to_be_visible()
    page.clock.run_for(15_000)
    expect(panel).to_contain_text("No newer position for")
    page.locator("#live-stop").click()
    assert page.evaluate("window.cleared") is True


def test_a_recording_that_is_not_saved_is_not_lost_without_a_question(open_page: Open) -> None:
    page = open_page(bay()).page
    page.evaluate(FEED)
    page.clock.install()
    page.locator("#live-button").click()
    record(page, make_rest(80, -20.0, 45.0)[:1])
    page.locator("#live-stand").click()
    record(page, make_rest(80, -20.0, 45.0)[1:])
    page.clock.run_for(90_000)
    asked = []
    page.once("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
    page.locator("#live-stop").click()
    assert asked == ["End it, and lose the recording that is not saved?"]
    expect(page.locator("#live")).to_be_visible()
    with page.expect_download():
        page.locator("#live-save").click()
    page.locator("#live-stop").click()
    expect(page.locator("#live")).to_be_hidden()


def test_the_screen_is_kept_on_where_the_browser_offers_it(open_page: Open) -> None:
    page = open_page(bay()).page
    page.evaluate(FEED)
    page.evaluate(
        """() => { window.locks = [];
          Object.defineProperty(navigator, "wakeLock", { value: { request: async (kind) => {
            window.locks.push(kind);
            return { release: () => window.locks.push("released") };
          } } }); }"""
    )
    page.locator("#live-button").click()
    expect(page.locator("#live-now")).to_contain_text("The screen stays on.")
    record(page, make_rest(80, -20.0, 45.0)[:1])
    page.locator("#live-stand").click()
    record(page, make_rest(80, -20.0, 45.0)[1:])
    expect(page.locator(".live-stand")).to_contain_text("from 79 fixes in 10 min", timeout=8000)
    expect(page.locator(".live-stand")).not_to_contain_text("screen")
    page.locator("#live-stop").click()
    assert page.evaluate("window.locks") == ["screen", "released"]


def test_where_it_is_not_kept_on_who_stands_still_is_told(open_page: Open) -> None:
    page = open_page(bay()).page
    page.evaluate(FEED)
    page.evaluate("() => Object.defineProperty(navigator, 'wakeLock', { value: undefined })")
    page.locator("#live-button").click()
    record(page, make_rest(80, -20.0, 45.0)[:1])
    page.locator("#live-stand").click()
    record(page, make_rest(80, -20.0, 45.0)[1:])
    expect(page.locator(".live-stand")).to_contain_text("does not keep the screen on: touch it", timeout=8000)
