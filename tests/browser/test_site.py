"""The map as a site: installed, it opens, lists, checks and answers as the command without its web space."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builders import bay
from playwright.sync_api import Browser, BrowserType, Page, expect

from browser.asked import anywhere, near_boundaries, near_lattice
from browser.conftest import SIZES
from browser.served import Served, serving
from browser.test_check_numbers import asked_of_command, asked_of_page, assert_same, island  # noqa: F401
from scout.model import Findings
from scout.page.site import NAMES, build_site

STORED = "Stored on this device: this map opens without coverage."


def put(folder: Path, findings: Findings) -> Path:
    """The site of some findings in a folder, as a web space holds it."""
    folder.mkdir(exist_ok=True)
    for name, content in build_site(findings).items():
        (folder / name).write_bytes(content)
    return folder


@dataclass
class Device:
    """A page on a device, watched, and the web space it came from."""

    page: Page
    server: Served
    messages: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def open(self, address: str = "") -> None:
        self.page.goto(self.server.address + address)
        self.page.wait_for_selector("html.ready", state="attached")

    def store(self) -> None:
        """Open it and wait until it is kept."""
        self.open()
        expect(self.page.locator("#stored")).to_have_text(STORED)


def watch(page: Page, server: Served) -> Device:
    device = Device(page, server)
    page.on("console", lambda message: device.messages.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: device.messages.append(f"error: {error}"))
    page.context.on("request", lambda request: device.requests.append(request.url))
    return device


@pytest.fixture
def device(browser: Browser, tmp_path: Path) -> Iterator[Device]:
    """A phone with the map of the bay; it asks for nothing but the site's own files and says nothing."""
    width, height = SIZES["tall"]
    context = browser.new_context(
        viewport={"width": width, "height": height},
        permissions=["geolocation"],
        reduced_motion="reduce",
        has_touch=True,
    )
    with serving(put(tmp_path / "site", bay())) as server:
        watched = watch(context.new_page(), server)
        yield watched
        own = {server.address + name for name in ("", *NAMES)}
        assert {url.split("#")[0].split("?")[0] for url in watched.requests} <= own
        assert watched.messages == []
    context.close()


def test_a_browser_finds_nothing_that_keeps_it_from_being_installed(
    browser_type: BrowserType, browser_type_launch_args: dict[str, Any], tmp_path: Path
) -> None:
    with serving(put(tmp_path / "site", bay())) as server:
        context = browser_type.launch_persistent_context(tmp_path / "profile", **browser_type_launch_args)
        device = watch(context.new_page(), server)
        device.store()
        session = context.new_cdp_session(device.page)
        assert session.send("Page.getInstallabilityErrors")["installabilityErrors"] == []
        manifest = session.send("Page.getAppManifest")
        assert manifest["errors"] == []
        assert manifest["url"] == server.address + "manifest.webmanifest"
        context.close()
        assert device.messages == []
        assert {name.lstrip("/").split("?")[0] for name in server.asked} == {"", *NAMES}


def test_its_icons_are_pictures_of_their_size(device: Device) -> None:
    device.store()
    for side in (192, 512):
        got = device.page.evaluate(
            """async (name) => {
              const picture = new Image();
              picture.src = name;
              await picture.decode();
              const { width, height } = picture;
              const surface = new OffscreenCanvas(width, height).getContext("2d");
              surface.drawImage(picture, 0, 0);
              return [width, height, ...surface.getImageData(width / 2, height / 2, 1, 1).data];
            }""",
            f"icon-{side}.png",
        )
        assert got == [side, side, 242, 179, 61, 255]


@pytest.mark.parametrize("address", ["", "index.html", "?from=home", "#spot=3"])
def test_without_its_web_space_it_opens_lists_and_checks(device: Device, address: str) -> None:
    device.store()
    device.server.stop()
    device.page.goto("about:blank")
    device.open(address)
    page = device.page
    expect(page.locator("#stored")).to_have_text(STORED)
    expect(page.locator("#spots > li")).to_have_count(5)
    if address == "#spot=3":
        expect(page.locator("#details-title")).to_contain_text("Spot 3")
    page.evaluate("window.location.hash = '#check=45.00003,-20.00002'")
    expect(page.locator("#here-answer h3")).to_contain_text("HN95 IN05 HN94 IN04")


def test_a_page_that_was_never_stored_is_gone_with_its_web_space(device: Device) -> None:
    """That the server is really stopped above."""
    device.server.stop()
    with pytest.raises(Exception, match="ERR_CONNECTION_REFUSED"):
        device.page.goto(device.server.address)


def test_a_new_pack_takes_the_place_of_the_old_one(device: Device, tmp_path: Path) -> None:
    device.store()
    first = kept(device.page)
    put(tmp_path / "site", replace(bay(), title="The bay again"))
    device.open()  # still the old one; the new one is fetched meanwhile
    expect(device.page.locator("h1")).to_have_text(bay().title)
    # A browser looks for a newer worker some seconds after a page was opened.
    newer = "A newer version of this map has been stored"
    expect(device.page.locator("#stored")).to_contain_text(newer, timeout=30_000)
    device.server.stop()
    device.open()
    expect(device.page.locator("h1")).to_have_text("The bay again")
    assert len(kept(device.page)) == 1
    assert kept(device.page) != first


def kept(page: Page) -> list[str]:
    names: list[str] = page.evaluate("caches.keys()")
    return names


def test_a_pack_that_is_only_half_put_there_changes_nothing(browser: Browser, tmp_path: Path) -> None:
    folder = put(tmp_path / "site", bay())
    with serving(folder) as server:
        context = browser.new_context()
        device = watch(context.new_page(), server)
        device.store()
        first = kept(device.page)
        newer = build_site(replace(bay(), title="The bay again"))
        (folder / "worker.js").write_bytes(newer["worker.js"])  # and the page is still the old one
        device.open("?once more")
        came_to = device.page.evaluate(
            """async () => {
              const registration = await navigator.serviceWorker.getRegistration();
              const { active } = registration;
              const ended = new Promise((done) => {
                registration.addEventListener("updatefound", () => {
                  const { installing, waiting } = registration;
                  const isOld = registration.active === active && !waiting;
                  if (!installing) return done(isOld ? "redundant" : "activated"); // it has ended already
                  const look = () => /redundant|activated/.test(installing.state) && done(installing.state);
                  installing.addEventListener("statechange", look);
                  look();
                });
              });
              await registration.update();
              return ended;
            }"""
        )
        assert came_to == "redundant"
        assert kept(device.page) == first
        server.stop()
        device.open()
        expect(device.page.locator("h1")).to_have_text(bay().title)
        context.close()


def test_a_first_visit_to_half_a_site_says_that_it_is_not_stored(browser: Browser, tmp_path: Path) -> None:
    folder = put(tmp_path / "site", bay())
    (folder / "icon-512.png").unlink()
    with serving(folder) as server:
        context = browser.new_context()
        device = watch(context.new_page(), server)
        device.open()
        expect(device.page.locator("#stored")).to_contain_text(
            "Not stored on this device: a file of this map"
        )
        assert kept(device.page) == []
        context.close()


def test_two_maps_on_one_web_space_keep_apart(browser: Browser, tmp_path: Path) -> None:
    for name in ("north", "south"):
        put(tmp_path / name, replace(bay(), title=f"The {name}"))
    with serving(tmp_path) as server:
        context = browser.new_context()
        for name in ("north", "south"):
            device = watch(context.new_page(), server)
            device.open(f"{name}/")
            expect(device.page.locator("#stored")).to_have_text(STORED)
        assert len(kept(device.page)) == 2
        server.stop()
        for name in ("north", "south"):
            device.open(f"{name}/")
            expect(device.page.locator("h1")).to_have_text(f"The {name}")
        context.close()


def test_stored_it_judges_five_hundred_places_as_the_command_does(
    browser: Browser,
    tmp_path: Path,
    island: Findings,  # noqa: F811
) -> None:
    rng = np.random.default_rng(500)
    area = tuple(island.parks.total_bounds + np.array([-0.02, -0.02, 0.02, 0.02]))
    outlines = island.parks.geometry.to_numpy()
    places = np.concatenate(
        [
            near_boundaries(outlines, 250, 20.0, rng),
            near_lattice(area, 2, 150, 20.0, rng),
            anywhere(area, 100, rng),
        ]
    )
    with serving(put(tmp_path / "site", island)) as server:
        context = browser.new_context()
        device = watch(context.new_page(), server)
        device.store()
        server.stop()
        device.open()
        by_page = asked_of_page(device.page, places)
        by_command = asked_of_command(island, places)
        assert len(by_page) == 500
        for mine, expected in zip(by_page, by_command, strict=True):
            assert_same(mine, expected)
        assert {command.verdict.word for command in by_command} == {"firm", "doubtful", "not counted"}
        assert device.messages == []
        context.close()
