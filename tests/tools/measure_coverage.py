"""Branch coverage of the core by its own tests, without the oracles and the browser: some five minutes.

Run from the project's folder: ``python tests/tools/measure_coverage.py``. What runs in other processes (the
workers of a cluster) and what only oracles reach (`search/wide`) shows too little here.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

CORE = ("geo", "search", "visits", "recording", "tours")
TESTS = (
    *("locator", "lattice", "rank", "find", "find_notebook", "check", "check_near", "coordinates"),
    *("coordinates_refused", "tally", "stamp", "stamp_log", "standstill", "standstill_moving"),
    *("standstill_numbers", "arrive", "read_fixes", "read_fixes_errors", "read_fixes_gpx", "notebook"),
    *("notebook_spoilt", "kernels", "compare", "nearby", "coarse_outlines", "coarse_rounding"),
    *("overlap_bounds", "trip", "world", "visit", "oracles/test_trips"),
)


def main() -> int:
    """Measure and print; gives the status of the tests."""
    files = [f"tests/{name if '/' in name else f'test_{name}'}.py" for name in TESTS]
    source = ",".join(f"scout.{name}" for name in CORE)
    with tempfile.TemporaryDirectory() as folder:
        data = f"--data-file={Path(folder, 'coverage')}"
        coverage = [sys.executable, "-m", "coverage"]
        run = [*coverage, "run", "--branch", f"--source={source}", data, "-m", "pytest", "-n0", "-q", *files]
        status = subprocess.run(run, check=False).returncode
        subprocess.run([*coverage, "report", data], check=True)
    return status


if __name__ == "__main__":
    sys.exit(main())
