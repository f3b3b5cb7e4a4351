"""The lattice of the page: names right against the codec, thinning out, over the antimeridian."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from builders import QUIET_COVE, bay, box, corner_spot, findings, line_spot, parks_frame
from page_reader import script
from playwright.sync_api import Page

from browser.conftest import Watched, all_sizes
from browser.ground import Ground, ground_of, names, tips
from scout.geo import locator
from scout.model import Findings

Open = Callable[..., Watched]

VECTORS = json.loads((Path(__file__).parents[1] / "vectors" / "locators.json").read_text(encoding="utf-8"))


def ground(page: Page, found: Findings, one: int, other: int) -> Ground:
    at = tips(page)
    place = {r.rank: (r.spot.lon, r.spot.lat) for r in found.spots}
    return ground_of(place[one], at[one], place[other], at[other])


def test_script_and_codec_agree_on_the_same_numbers(open_page: Open) -> None:
    page = open_page(bay()).page
    got = page.evaluate(
        "(vectors) => {"
        + script("locator.js")
        + """
        return {
          points: vectors.points.map((p) => locatorOf(columnAt(p.lon, 4), rowAt(p.lat, 4), 4)),
          lattice: vectors.lattice.map((c) => locatorOf(c.column, c.row, c.level)),
          edges: vectors.lattice.map((c) => [meridian(c.column, c.level), parallel(c.row, c.level)]),
        }; }""",
        VECTORS,
    )
    assert got["points"] == [p["locator"] for p in VECTORS["points"]]
    assert got["lattice"] == [c["locator"] for c in VECTORS["lattice"]]
    for cell, (lon, lat) in zip(VECTORS["lattice"], got["edges"], strict=True):
        assert lon == locator.get_edge_lon(cell["column"], cell["level"])
        assert lat == locator.get_edge_lat(cell["row"], cell["level"])


@all_sizes
def test_names_are_the_locators_of_the_ground_below(open_page: Open) -> None:
    found = bay()
    page = open_page(found).page
    for steps in range(6):
        shown = names(page)
        where = ground(page, found, 3, 5)
        assert shown, f"no names {steps} steps in"
        for text, x, y in shown:
            assert locator.encode(*where.place(x, y), len(text) // 2) == text
        page.locator(".leaflet-control-zoom-in").click()


@all_sizes
def test_names_thin_out(open_page: Open, size: str) -> None:
    page = open_page(bay()).page
    most = {"wide": 260, "middle": 200, "tall": 60}[size]
    lengths = []
    for _ in range(4):
        page.locator(".leaflet-control-zoom-out").click()
    for _ in range(17):
        shown = names(page)
        assert len(shown) <= most
        assert len({len(text) for text, _, _ in shown}) <= 1, "one level at a time"
        lengths.append(len(shown[0][0]) if shown else 0)
        page.locator(".leaflet-control-zoom-in").click()
    assert lengths == sorted(lengths), "zooming in only adds pairs"
    assert {2, 4, 6, 8} <= set(lengths)


@all_sizes
def test_names_do_not_cover_one_another(open_page: Open) -> None:
    page = open_page(bay()).page
    for _ in range(8):
        overlaps = page.evaluate(
            """() => {
              const names = [...document.querySelectorAll(".cell-name")];
              const boxes = names.map((name) => name.getBoundingClientRect());
              return boxes.filter((a, i) => boxes.some((b, j) => j > i && a.left < b.right && b.left < a.right
                && a.top < b.bottom && b.top < a.bottom)).length;
            }"""
        )
        assert overlaps == 0
        page.locator(".leaflet-control-zoom-in").click()


def test_lattice_can_be_switched_off(open_page: Open) -> None:
    page = open_page(bay()).page
    if not page.locator("#key").evaluate("key => key.open"):
        page.locator("#key > summary").click()
    page.locator("input[name=layer][value=lattice]").uncheck()
    assert names(page) == []
    page.locator(".leaflet-control-zoom-in").click()
    assert names(page) == []
    page.locator("input[name=layer][value=lattice]").check()
    assert names(page)


def over_the_seam() -> Findings:
    """Spots at 179 E, 180 and 178 W, inside one park whose numbers run past 180."""
    park = (QUIET_COVE, box(178.5, -17.3, 182.5, -16.2))
    return findings(
        [
            corner_spot(-180.0, -17.0, ["RH93", "AH03", "RH92", "AH02"], [QUIET_COVE]),
            corner_spot(-178.0, -17.0, ["AH03", "AH13", "AH02", "AH12"], [QUIET_COVE]),
            line_spot(179.0, -17.0, ["RH93", "RH92"], QUIET_COVE),
        ],
        parks_frame(park),
        home=(-179.5, -16.5),
        within_km=300.0,
        home_km=[70.0, 170.0, 170.0],
    )


def test_spots_on_both_sides_of_the_antimeridian_share_one_view(open_page: Open) -> None:
    found = over_the_seam()
    page = open_page(found).page
    at = tips(page)
    # West to east: 179 E, 180, 178 W, one degree and two degrees apart.
    assert at[3][0] < at[1][0] < at[2][0]
    assert abs((at[2][0] - at[1][0]) - 2 * (at[1][0] - at[3][0])) < 2.2
    home = page.locator(".home-mark").bounding_box()
    assert home is not None
    assert at[1][0] < home["x"] + 15 < at[2][0]


def test_names_wrap_at_the_antimeridian(open_page: Open) -> None:
    found = over_the_seam()
    page = open_page(found).page
    at = tips(page)
    where = ground_of((180.0, -17.0), at[1], (182.0, -17.0), at[2])
    shown = names(page)
    sides = set()
    for text, x, y in shown:
        lon, lat = where.place(x, y)
        sides.add(lon > 180)
        assert locator.encode((lon + 180) % 360 - 180, lat, len(text) // 2) == text
    assert sides == {True, False}


def test_parks_over_the_antimeridian_lie_under_their_spots(open_page: Open) -> None:
    page = open_page(over_the_seam(), "#spot=2").page
    page.locator("#around").click()
    page.locator("#close").click()
    x, y = tips(page)[2]
    page.mouse.click(x - 40, y - 70)
    assert "Quiet Cove" in (page.locator(".parks-here").text_content() or "")
    assert "AH03" in (page.locator(".parks-here-cell").text_content() or "")
