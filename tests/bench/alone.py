"""One line of the benchmark in a process of its own: imports and work timed apart, and its peak memory."""

from __future__ import annotations

import json
import subprocess
import sys
import time
import warnings
from importlib import import_module
from pathlib import Path
from typing import Any


def measured(name: str, path: Path, home: str, times: int = 1) -> dict[str, Any]:
    """The quickest of some runs: seconds of imports, work and processor, peak memory in MB, what it found.

    A line that comes to no figure has its last words as ``failed`` instead.
    """
    runs = []
    for _ in range(times):
        words = [sys.executable, __file__, name, str(path), home]
        run = subprocess.run(words, capture_output=True, text=True, check=False)
        if run.returncode:
            said = run.stderr.strip().splitlines()
            return {"failed": said[-1] if said else f"ended with status {run.returncode}"}
        runs.append(json.loads(run.stdout.splitlines()[-1]))
    return min(runs, key=lambda run: run["seconds"])


def _peak_mb() -> float:
    """Most memory this process has held; getrusage would count its parent's before the start as well."""
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def _run(name: str, path: Path, home: str) -> dict[str, Any]:
    from lines import LINES, ONCE

    line = (LINES | ONCE)[name]
    begin = time.perf_counter()
    for module in line.imports:
        import_module(module)
    imports = time.perf_counter() - begin
    given = line.ready(path, home)
    begin, processor = time.perf_counter(), time.process_time()
    found = line.work(*given)
    seconds, processor = time.perf_counter() - begin, time.process_time() - processor
    row = {"imports": imports, "seconds": seconds, "processor": processor, "peak_mb": _peak_mb()}
    return row | (found if isinstance(found, dict) else {})


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    print(json.dumps(_run(sys.argv[1], Path(sys.argv[2]), sys.argv[3])))
