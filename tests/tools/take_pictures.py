"""Renews the pictures of README in maps/: the demo map, its phone view, the desk with the demo, a terminal.

    .venv/bin/python tests/tools/take_pictures.py

Needs Chromium and a system with terminals. Look at them afterwards.
"""

from __future__ import annotations

import os
import pty
import shutil
import subprocess
import sys
import tempfile
import termios
from pathlib import Path

from playwright.sync_api import Page, expect, sync_playwright
from rich.console import Console
from rich.text import Text

ROOT = Path(__file__).resolve().parents[2]
MAPS = ROOT / "maps"
COLUMNS, LINES = 90, 19  # of the terminal, and how much of the answer is shown
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
        take_terminal(browser.new_page(viewport={"width": 900, "height": 520}))
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


def take_terminal(page: Page) -> None:
    """Search in a terminal, and take the picture of the first lines."""
    main_end, other = pty.openpty()
    termios.tcsetwinsize(other, (LINES, COLUMNS))
    words = ["find", "--outing", "data_demo/outing.toml"]
    kept = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES", "NO_COLOR")}
    with subprocess.Popen(
        [sys.executable, "-m", "scout", *words],
        cwd=ROOT,
        stdout=other,
        stderr=subprocess.DEVNULL,
        env={**kept, "TERM": "xterm-256color"},
    ):
        os.close(other)
        said = b""
        while said.count(b"\n") < LINES:
            said += os.read(main_end, 65536)
        shown = said.decode().replace("\r\n", "\n").split("\n")[:LINES]
        os.close(main_end)
    console = Console(record=True, width=COLUMNS, file=open(os.devnull, "w"))  # noqa: SIM115
    console.print(f"$ scout {' '.join(words)}", highlight=False)
    console.print(Text.from_ansi("\n".join(shown)))
    style = "body { margin: 12px; font: 15px/1.35 monospace } pre, code { font: inherit !important }"
    page.set_content(f"<style>{style}</style>{console.export_html(inline_styles=True)}")
    page.locator("pre").screenshot(path=MAPS / "sample-terminal.png")


if __name__ == "__main__":
    main()
