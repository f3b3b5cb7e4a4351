"""The page asks nobody for anything, says nothing on the console, and text from data stays text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from builders import bay, box, corner_spot, findings, line_spot, near_miss, parks_frame, source
from playwright.sync_api import expect
from walked import route, surroundings

from browser.conftest import Watched, all_sizes
from scout.model import ATTRIBUTES, Credit, Findings, ParkReport, Route

Open = Callable[..., Watched]

HOSTILE = (
    "<img src=x onerror=alert(1)>",
    "</script><script>alert(2)</script>",
    "${alert(3)} `tick` {{7*7}} {% raw %}",
    "\"double\" & 'single' \\u003c",
    "\u202ereversed \u2028 parted",
    "W" * 10_000,
)
CORNER = ["HN95", "IN05", "HN94", "IN04"]


def hostile_findings() -> Findings:
    parks = [
        ((f"<b>{n}</b>", name), box(-20.3 - n / 10, 44.8, -19.7, 45.3)) for n, name in enumerate(HOSTILE)
    ]
    labels = [label for label, _ in parks]
    frame = parks_frame(*parks)
    frame[ATTRIBUTES] = [{name: name} for name in HOSTILE]
    found = findings(
        [
            corner_spot(-20.0, 45.0, CORNER, labels, notes=HOSTILE),
            line_spot(-20.0, 45.2, CORNER[:2], labels[5]),
            near_miss(-22.0, 44.0, ["HN84", "HN94", "HN83", "HN93"], labels[0], 120.0, 225.0),
        ],
        frame,
        title=HOSTILE[0],
        author=HOSTILE[4],
        credits=tuple(Credit((name,), name, name, name) for name in HOSTILE),
        surroundings=replace(surroundings(), notes=HOSTILE, sources=(source(path=HOSTILE[1]),)),
        made_by=HOSTILE[1],
        sources=(source(path=HOSTILE[2], layer=HOSTILE[0], warnings=(HOSTILE[1],)),),
        report=ParkReport(records=6, parks=6, id_column=(HOSTILE[0],), name_column=("",), refused=HOSTILE),
    )
    walks = (
        {"route": replace(route(), start_name=HOSTILE[1]), "warnings": HOSTILE},
        {"route": Route("out of reach", HOSTILE[0]), "warnings": HOSTILE[5:]},
        {"route": Route("unknown", HOSTILE[2])},
    )
    return replace(found, spots=tuple(replace(r, **m) for r, m in zip(found.spots, walks, strict=True)))


@all_sizes
def test_page_asks_for_nothing_and_says_nothing(open_page: Open) -> None:
    opened = open_page(bay())
    page = opened.page
    page.locator("a.row").first.click()
    page.locator("#closer").click()
    page.locator("#around").click()
    page.locator(".leaflet-control-zoom-in").click()
    page.locator("#close").click()
    page.wait_for_timeout(200)
    assert opened.asked_for() == []
    assert opened.messages == []


def test_a_request_would_have_been_seen(open_page: Open) -> None:
    opened = open_page(bay())
    opened.page.evaluate(
        "() => { document.body.append(Object.assign(new Image(), { src: 'https://a.invalid/b.png' })); }"
    )
    opened.page.wait_for_timeout(200)
    assert opened.asked_for() or any("Content Security Policy" in message for message in opened.messages)


def test_policy_stops_script_that_data_might_bring(open_page: Open) -> None:
    opened = open_page(bay())
    opened.page.evaluate(
        """() => {
          const script = document.createElement("script");
          script.textContent = "window.broken = 1";
          document.body.append(script);
        }"""
    )
    assert opened.page.evaluate("() => window.broken") is None
    assert any("Content Security Policy" in message for message in opened.messages)


@all_sizes
def test_hostile_names_stay_text(open_page: Open) -> None:
    opened = open_page(hostile_findings(), "#spot=1")
    page = opened.page
    body = page.locator("#details-body")
    for name in HOSTILE[:4]:
        expect(body.locator("bdi.name", has_text=name).first).to_be_visible()
        expect(page.locator("#spots .row-parks").first).to_contain_text(name)
        expect(body.locator(".warnings")).to_contain_text(name)
        expect(body.locator(".own").first).to_be_visible()
        expect(page.locator(".credits")).to_contain_text(name)
    assert page.locator("img, script[src], bdi *, .leaflet-popup script").count() == 0
    assert page.evaluate("() => document.scripts.length") == 4
    assert opened.messages == []
    assert opened.asked_for() == []


@all_sizes
def test_hostile_names_stay_text_on_the_map(open_page: Open) -> None:
    opened = open_page(hostile_findings(), "#spot=1")
    page = opened.page
    page.locator("#around").click()
    drawn = set(page.locator(".park-name").all_text_contents())
    assert drawn
    assert drawn <= set(HOSTILE)
    page.locator("#close").click()
    frame = page.locator(".map").bounding_box()
    assert frame is not None
    page.mouse.click(frame["x"] + frame["width"] / 2 + 60, frame["y"] + frame["height"] / 2 + 40)
    expect(page.locator(".parks-here li").first).to_contain_text(HOSTILE[0])
    assert opened.messages == []


@all_sizes
def test_long_names_do_not_push_the_page_apart(open_page: Open) -> None:
    page = open_page(hostile_findings(), "#spot=1").page
    wide = "() => document.documentElement.scrollWidth - window.innerWidth"
    assert page.evaluate(wide) <= 0
    inside = "(id) => { const e = document.getElementById(id); return e.scrollWidth - e.clientWidth; }"
    assert page.evaluate(inside, "details-body") <= 0
    assert page.evaluate(inside, "list") <= 0
    rows = page.locator("#spots .row").all()
    assert all(row.bounding_box()["height"] < 420 for row in rows)


@all_sizes
def test_nothing_scrolls_but_the_lists(open_page: Open) -> None:
    page = open_page(bay(), "#spot=4").page
    page.locator("#later").click()
    assert page.evaluate("() => [document.scrollingElement.scrollTop, document.body.scrollTop]") == [0, 0]


def test_background_is_off_until_switched_on(open_page: Open) -> None:
    opened = open_page(bay())
    page = opened.page
    switch = page.locator("#background")
    assert not switch.is_checked()
    if not page.locator("#key").evaluate("key => key.open"):
        page.locator("#key > summary").click()
    switch.click()
    page.wait_for_timeout(300)
    # Offline: the page knows, asks nobody and says so.
    assert opened.asked_for() == []
    expect(page.locator("#background-note")).to_contain_text("offline")
    assert not switch.is_checked()


def test_background_asks_one_host_and_gives_credit(open_page: Open) -> None:
    opened = open_page(bay())
    page = opened.page
    page.context.set_offline(False)
    page.route("https://tile.openstreetmap.org/**", lambda route: route.abort())
    if not page.locator("#key").evaluate("key => key.open"):
        page.locator("#key > summary").click()
    page.locator("#background").check()
    expect(page.locator("#background-note")).to_contain_text("did not arrive")
    asked = opened.asked_for()
    assert asked
    assert all(url.startswith("https://tile.openstreetmap.org/") for url in asked)
    expect(page.locator(".leaflet-control-attribution")).to_contain_text("OpenStreetMap contributors")
    page.locator("#background").uncheck()
    count = len(opened.asked_for())
    page.locator(".leaflet-control-zoom-in").click()
    page.wait_for_timeout(200)
    assert len(opened.asked_for()) == count
    # A picture that does not arrive is a line of the browser's own on the console; there is nothing else.
    assert all("Failed to load resource" in message for message in opened.messages)


def test_the_page_leaves_no_global_names_but_leaflets(open_page: Open) -> None:
    watched = open_page(bay())
    named = set(watched.page.evaluate("() => Object.keys(window)"))
    empty = watched.path.with_name("empty.html")
    empty.write_text("<!DOCTYPE html>", encoding="utf-8")
    watched.page.goto(empty.as_uri())
    assert named - set(watched.page.evaluate("() => Object.keys(window)")) == {
        "L",
        "leaflet",
        "_leaflet_events",
    }
