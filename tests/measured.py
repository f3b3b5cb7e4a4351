"""Branch coverage of the core, measured while those tests run that go through most branches.

Nothing is measured unless the environment names a folder for the results. The core is imported while it is
watched, for the lines that only an import runs; what runs in processes of its own (the workers of a cluster)
shows nothing.
"""

from __future__ import annotations

import importlib
import os
import pkgutil
from pathlib import Path

import coverage

FOLDER = "SCOUT_COVERAGE"  # the variable of the environment
DATA = "coverage"  # files with what was measured: so they are called, and a dot and more of each process
CORE = ("geo", "search", "visits", "recording", "tours")
_NAMES = (
    *("arrive", "check", "check_near", "coarse_rounding", "compare"),
    *("coordinates_refused", "find", "find_notebook", "kernels", "lattice", "locator", "notebook"),
    *("notebook_spoilt", "overlap_bounds", "read_fixes", "read_fixes_gpx", "stamp", "stamp_log"),
    *("standstill", "trip", "visit", "world", "oracles/test_parted"),
)
FILES = tuple(Path(__file__).parent / (f"{n}.py" if "/" in n else f"test_{n}.py") for n in _NAMES)


class CoverageOfCore:
    """Measures while it is switched on."""

    def __init__(self, folder: str) -> None:
        self._measure = coverage.Coverage(
            data_file=str(Path(folder, DATA)),
            data_suffix=True,
            branch=True,
            source=[f"scout.{name}" for name in CORE],
            config_file=False,
        )
        self._on = False

    def switch(self, on: bool) -> None:
        """Begin to measure, or leave off."""
        if on != self._on:
            (self._measure.start if on else self._measure.stop)()
        self._on = on

    def save(self) -> None:
        """Write what was measured beside what other processes write."""
        self.switch(on=False)
        self._measure.save()


def watch_imports() -> CoverageOfCore | None:
    """Import the core while it is watched, where the environment asks for it."""
    if FOLDER not in os.environ:
        return None
    made = CoverageOfCore(os.environ[FOLDER])
    made.switch(on=True)
    for name in CORE:
        package = importlib.import_module(f"scout.{name}")
        for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            importlib.import_module(found.name)
    made.switch(on=False)
    return made


COVERAGE = watch_imports()  # so import this before anything that imports the core
