"""The desk: first results after the click, answers during a long search, and the memory that comes back.

Run by hand (`python tests/bench/desk.py`); needs Chromium for the first figure and Linux for the last.
"""

from __future__ import annotations

import http.client
import json
import re
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

ROUNDS = 5
LONG_S = 60.0
CLEARED_S = 170.0  # until closed windows are cleared up


class Line:
    """Somebody who talks to the desk."""

    def __init__(self, address: str) -> None:
        found = re.search(r":(\d+)/#(\S+)", address)
        assert found is not None
        self.port, self.key = int(found[1]), ""
        self.key = self.ask("POST", "/api/enter", {"key": found[2]})["key"]

    def ask(self, method: str, path: str, body: Any = None) -> Any:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=600)
        line.request(method, path, None if body is None else json.dumps(body), {"X-Desk-Key": self.key})
        answer = json.loads(line.getresponse().read())
        line.close()
        return answer


def processes(parent: int) -> list[int]:
    """A process and all it has started."""
    found = [parent]
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        if int(fields[1]) == parent:
            found += processes(int(path.parent.name))
    return found


def resident_mb(parent: int) -> float:
    """Memory that is theirs alone, the server's and its workers'."""
    total = 0
    for one in processes(parent):
        try:
            text = Path(f"/proc/{one}/smaps_rollup").read_text()
        except OSError:
            continue
        total += sum(int(kb) for kb in re.findall(r"^Private_\w+: +(\d+) kB", text, re.MULTILINE))
    return total / 1024


def first_results(address: str) -> list[float]:
    """Seconds from the click on the demo island to the list of the map, each time in a new tab."""
    from playwright.sync_api import sync_playwright

    path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    took = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
        for _ in range(ROUNDS):
            page = browser.new_context().new_page()
            page.goto(address)
            page.locator("html.ready").wait_for(state="attached")
            time.sleep(3)  # someone reads the page before clicking
            begin = time.perf_counter()
            page.locator("#demo").click()
            page.frame_locator("#spots-map").locator("#spots > li").first.wait_for(state="attached")
            took.append(time.perf_counter() - begin)
            page.locator("#cancel").click()
            page.locator("#progress:empty").wait_for(state="attached")
            page.close()
        browser.close()
    return took


def long_search(line: Line, server: int) -> None:
    """Searches for a minute: how long the slowest answer took meanwhile, and what memory did."""
    window = line.ask("POST", "/api/windows")["id"]
    here = f"/api/windows/{window}"
    loaded = line.ask("POST", f"{here}/do", {"job": "demo"})["done"]
    loaded["options"]["level"] = "subsquare"
    line.ask("POST", f"{here}/do", {"job": "understand", "given": {"settings": loaded}})
    time.sleep(5)
    before = resident_mb(server)
    ended = threading.Event()

    def search() -> None:
        begin = time.monotonic()
        while time.monotonic() - begin < LONG_S:
            line.ask("POST", f"{here}/do", {"job": "search", "given": {"settings": loaded}})
        ended.set()

    threading.Thread(target=search).start()
    waits, peak = [], 0.0
    begin = time.monotonic()
    while not ended.wait(0.05):
        asked = time.perf_counter()
        line.ask("GET", "/api/ping")
        waits.append(time.perf_counter() - asked)
        if len(waits) % 20 == 0:
            peak = max(peak, resident_mb(server))
    lasted = time.monotonic() - begin
    time.sleep(3)
    after = resident_mb(server)
    cancelled = _cancel(line, here, loaded)
    line.ask("POST", f"{here}/left")
    waits.sort()
    print(
        f"searching for {lasted:.0f} s: {len(waits):,} pings, median {1000 * waits[len(waits) // 2]:.1f} ms,"
    )
    print(
        f"  99 % under {1000 * waits[int(0.99 * len(waits))]:.0f} ms, the slowest {1000 * waits[-1]:.0f} ms"
    )
    print(f"memory: {before:.0f} MB before, {peak:.0f} MB at most, {after:.0f} MB after the search")
    print(f"a cancelled search ended after {cancelled:.2f} s")


def _cancel(line: Line, here: str, loaded: Any) -> float:
    given = {"job": "search", "given": {"settings": loaded}}
    thread = threading.Thread(target=line.ask, args=("POST", f"{here}/do", given))
    thread.start()
    time.sleep(4)
    begin = time.perf_counter()
    line.ask("POST", f"{here}/stop")
    thread.join()
    return time.perf_counter() - begin


def main() -> None:
    """Measure and print."""
    command = [sys.executable, "-m", "scout", "desk", "--no-browser"]
    desk = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert desk.stdout is not None
    begin = time.perf_counter()
    address = desk.stdout.readline().split()[-1]
    print(f"open after {time.perf_counter() - begin:.1f} s")
    try:
        time.sleep(5)
        idle = resident_mb(desk.pid)
        long_search(Line(address), desk.pid)
        took = sorted(first_results(address))
        middle = took[len(took) // 2]
        print(f"first results: {took[0]:.2f} to {took[-1]:.2f} s after the click, median {middle:.2f}")
        time.sleep(CLEARED_S)
        print(f"memory: {idle:.0f} MB without a window, {resident_mb(desk.pid):.0f} MB when all are closed")
    finally:
        desk.terminate()
        print(f"closed with status {desk.wait(30)}")


if __name__ == "__main__":
    main()
