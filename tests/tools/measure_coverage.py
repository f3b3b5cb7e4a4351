"""Branch coverage of the core by tests that each go through branches no other does: some three minutes.

Run from the project's folder: ``python tests/tools/measure_coverage.py``. What runs in other processes (the
workers of a cluster) shows nothing here.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

CORE = ("geo", "search", "visits", "recording", "tours")
TESTS = (
    *("arrive", "check", "check_near", "coarse_rounding", "compare", "coordinates"),
    *("coordinates_refused", "find", "find_notebook", "kernels", "lattice", "locator", "notebook"),
    *("notebook_spoilt", "overlap_bounds", "read_fixes", "read_fixes_gpx", "stamp", "stamp_log"),
    *("standstill", "tally", "trip", "visit", "world", "oracles/test_parted", "oracles/test_trips"),
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
