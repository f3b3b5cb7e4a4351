"""How long the map takes to open on a slow phone: the list, a tap on a row, the map under the finger.

Chromium with its processor slowed down and a phone's window; times from the start of the navigation, the
median of some runs. With --profile, where the time goes.

    .venv/bin/python tests/bench/opening.py [--rate 4] [--runs 5] [--profile] [--browser PATH] [MAP.html ...]

The browser is that of the tests, without windows if there is one: a whole Chromium without a screen draws its
window as well, with the processor, for which rows came 0.2 s later.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1]))
from browser.conftest import chromium_path

# Watches from the first moment: rows in the list, marks on the map, details open, the map moved by a finger,
# and the longest stretch in which nothing could react. Rows are told to the console, which needs no answer.
_WATCH = """
window.seen = { longest: 0 };
new PerformanceObserver((list) => list.getEntries().forEach((task) => {
  window.seen.longest = Math.max(window.seen.longest, task.duration);
})).observe({ type: "longtask", buffered: true });
let place = null;
const look = () => {
  const { seen } = window;
  const reached = (name, there) => { if (!seen[name] && there) seen[name] = performance.now(); };
  const row = document.querySelector("#spots > li");
  if (row && !seen.rows) {
    const box = (at) => at.getBoundingClientRect();
    const map = box(document.querySelector(".ground"));
    const middle = [map.left + map.width / 2, map.top + map.height / 2];
    console.log("rows", box(row).left + 150, box(row).top + 20, ...middle);
  }
  reached("rows", row);
  reached("map", document.querySelector(".mark"));
  reached("details", document.querySelector("#details:not([hidden]) .story"));
  const moved = document.querySelector(".leaflet-map-pane")?.style.transform;
  if (seen.map && place === null) place = moved;
  reached("moved", place !== null && moved !== place);
  requestAnimationFrame(look);
};
requestAnimationFrame(look);
"""


def opened(browser: Browser, path: Path, rate: float, gesture: str = "", profile: bool = False) -> Any:
    """One opening in a fresh context: milliseconds by what was reached, and the profile.

    The gesture, ``tap`` on the first row or ``drag`` of the map, comes when rows are seen and asks the page
    nothing, as a finger would; drags come again and again until one moves the map.
    """
    context = browser.new_context(
        viewport={"width": 390, "height": 844},
        device_scale_factor=3,
        has_touch=True,
        is_mobile=True,
        offline=True,
    )
    page = context.new_page()
    page.add_init_script(_WATCH)
    cdp = context.new_cdp_session(page)
    cdp.send("Emulation.setCPUThrottlingRate", {"rate": rate})
    if profile:
        cdp.send("Profiler.enable")
        cdp.send("Profiler.setSamplingInterval", {"interval": 500})
        cdp.send("Profiler.start")

    def finger(kind: str, x: float = 0.0, y: float = 0.0) -> None:
        points = [] if kind == "touchEnd" else [{"x": x, "y": y}]
        cdp.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    with page.expect_console_message(lambda message: message.text.startswith("rows")) as told:
        page.goto(path.as_uri(), wait_until="commit")
    row_x, row_y, map_x, map_y = map(float, told.value.text.split()[1:])
    if gesture == "tap":
        finger("touchStart", row_x, row_y)
        finger("touchEnd")
        page.wait_for_function("() => window.seen.details && window.seen.map")
    elif gesture == "drag":
        while not page.evaluate("() => window.seen.moved"):
            finger("touchStart", map_x, map_y)
            for step in range(1, 6):
                finger("touchMove", map_x + 12 * step, map_y + 6 * step)
            finger("touchEnd")
    else:
        page.wait_for_function("() => document.documentElement.classList.contains('ready')")
    found = cdp.send("Profiler.stop")["profile"] if profile else None
    seen = page.evaluate("() => window.seen")
    context.close()
    return seen, found


def hottest(profile: Any, most: int = 30) -> list[tuple[str, float, float]]:
    """Functions by their total time, milliseconds: name and line, total, own."""
    nodes = {node["id"]: node for node in profile["nodes"]}
    parent = {child: node["id"] for node in profile["nodes"] for child in node.get("children", [])}
    own: Counter[int] = Counter()
    for at, took in zip(profile["samples"], profile["timeDeltas"], strict=True):
        own[at] += took
    total: Counter[str] = Counter()
    selfish: Counter[str] = Counter()

    def label(number: int) -> str:
        frame = nodes[number]["callFrame"]
        return f"{frame['functionName'] or '(anonymous)'}:{frame['lineNumber'] + 1}"

    for number, took in own.items():
        selfish[label(number)] += took
        names, at = set(), number
        while at is not None:
            names.add(label(at))
            at = parent.get(at)
        for name in names:
            total[name] += took
    return [(name, took / 1000, selfish[name] / 1000) for name, took in total.most_common(most)]


def made(folder: Path) -> list[Path]:
    """The demo map, and one of 100 spots in 100 parks of 1,000 vertices."""
    from test_page import synthetic

    from scout.page.document import build_map

    big = folder / "hundred.html"
    big.write_text(build_map(synthetic(100, 100, 1000)), encoding="utf-8")
    demo = Path(__file__).parents[2] / "maps" / "demo.html"
    return [demo, big] if demo.exists() else [big]


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("maps", nargs="*", type=Path)
    words.add_argument("--rate", type=float, default=4.0, help="how many times slower")
    words.add_argument("--runs", type=int, default=5)
    words.add_argument("--profile", action="store_true")
    words.add_argument("--browser", default=chromium_path(), help="path of a Chromium")
    given = words.parse_args()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=given.browser, args=["--no-sandbox"])
        for path in given.maps or made(Path(folder)):
            middle: dict[str, float] = {}
            for gesture in ("", "drag", "tap"):
                runs = [opened(browser, path.resolve(), given.rate, gesture)[0] for _ in range(given.runs)]
                middle |= {key: statistics.median(run[key] for run in runs) for key in runs[0]}
            print(f"{path.name}, {path.stat().st_size / 1000:.0f} KB, slowed {given.rate:g} times, ms:")
            in_order = sorted(middle.items(), key=lambda item: item[1])
            print("  " + ", ".join(f"{key} {value:.0f}" for key, value in in_order), flush=True)
            if given.profile:
                _, profile = opened(browser, path.resolve(), given.rate, profile=True)
                for name, total, own in hottest(profile):
                    print(f"  {total:8.0f} {own:8.0f}  {name}")
        browser.close()


if __name__ == "__main__":
    main()
