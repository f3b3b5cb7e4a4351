"""Renews the pictures of README in maps/: the demo map, its phone view, the desk with the demo.

    .venv/bin/python tests/tools/take_pictures.py

Needs Chromium. Look at them afterwards.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, expect, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
MAPS = ROOT / "maps"
SETTLED_MS = 2500  # for tiles of the canvas and the flight to a spot


def main() -> None:
    """Take them all."""
    with tempfile.TemporaryDirectory() as place, sync_playwright() as driver:
        folder = Path(place)
        plan = folder / "plan.html"
        scout("find", "--outing", ROOT / "data_demo/outing.toml", "--map", plan)
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        for name, size, address in (
            ("", (1280, 800), plan.as_uri()),
            ("-phone", (390, 844), f"{plan.as_uri()}#spot=1"),
        ):
            page = browser.new_page(viewport={"width": size[0], "height": size[1]})
            page.goto(address)
            take(page, name)
        take_desk(browser.new_page(viewport={"width": 1440, "height": 900}))
        browser.close()


def scout(*words: object) -> None:
    """Run a command of this checkout."""
    command = [sys.executable, "-m", "scout", *map(str, words)]
    subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)


def take(page: Page, name: str) -> None:
    """Write the picture of a page as it stands."""
    page.wait_for_timeout(SETTLED_MS)
    page.screenshot(path=MAPS / f"sample{name}.png")


def take_desk(page: Page) -> None:
    """Open the desk, bring the demo, search, and take the picture."""
    with subprocess.Popen(
        [sys.executable, "-u", "-m", "scout", "desk", "--no-browser"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    ) as desk:
        try:
            assert desk.stdout is not None
            address = next(
                word for line in desk.stdout for word in line.split() if word.startswith("http://")
            )
            page.goto(address)
            page.locator("#demo").click()
            page.wait_for_timeout(SETTLED_MS)
            expect(page.locator("#found b")).to_contain_text("spots", timeout=400_000)
            expect(page.locator("#cancel")).to_be_disabled(timeout=400_000)
            take(page, "-desk")
        finally:
            desk.terminate()


if __name__ == "__main__":
    main()
