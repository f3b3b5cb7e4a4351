"""Branch coverage of the core by tests that go through most of it: some two minutes.

Run from the project's folder: ``python tests/tools/measure_coverage.py``. With a folder, only what a run of
the suite left there is shown. The status is 0 if the tests passed and the core is covered as it must be.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from measured import DATA, FILES, FOLDER

LEAST = 95  # percent of lines and branches


def show(folder: str) -> int:
    """Join what the processes of a run have left and print it; gives the status."""
    coverage = [sys.executable, "-m", "coverage"]
    data = f"--data-file={Path(folder, DATA)}"
    subprocess.run([*coverage, "combine", "-q", data, folder], check=True)
    return subprocess.run([*coverage, "report", data, f"--fail-under={LEAST}"], check=False).returncode


def main() -> int:
    """Measure and print."""
    if len(sys.argv) > 1:
        return show(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        tests = [sys.executable, "-m", "pytest", *map(str, FILES)]
        status = subprocess.run(tests, check=False, env=os.environ | {FOLDER: folder}).returncode
        return status or show(folder)


if __name__ == "__main__":
    sys.exit(main())
