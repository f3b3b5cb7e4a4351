"""Fixtures for all tests, and the versions that results depend on in the header of a run."""

from __future__ import annotations

import gc
import os
from collections.abc import Callable, Iterator
from pathlib import Path

# There is a worker for each core: threads of a product of matrices would only wait for each other, busily.
os.environ["OPENBLAS_NUM_THREADS"] = "1"

import folium
import pyogrio
import pyproj
import pytest
import shapely
from forked import Forks, serve_forks
from hypothesis import Phase, settings
from hypothesis.internal.conjecture import providers
from measured import COVERAGE, FILES

from scout import kernels, threads

# A core each leaves no use for more threads of our own, either; processes that tests start, and tests with
# `two_threads`, have them.
if "PYTEST_XDIST_WORKER" in os.environ:
    threads.CORES = 1

# The same draws every time, so that a red test is the change's; SOAK=1 draws afresh.
settings.register_profile("steady", derandomize=True, deadline=None)
# Of a mutant only is asked whether a test fails: no smaller example is looked for.
settings.register_profile("mutants", derandomize=True, deadline=None, phases=[Phase.explicit, Phase.generate])
if "SOAK" not in os.environ:
    settings.load_profile("steady")
    # Hypothesis would draw numbers of our own source, too: of those modules that happen to be loaded by then.
    if hasattr(providers, "_get_local_constants"):
        providers._get_local_constants = lambda: providers._local_constants

REPOSITORY = Path(__file__).resolve().parents[1]

# Processes that tests start read what the first of them has compiled: a third of the time that they start in.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_report_header() -> str:
    gdal = ".".join(str(part) for part in pyogrio.__gdal_version__)
    return (
        f"GDAL {gdal}, GEOS {shapely.geos_version_string}, PROJ {pyproj.proj_version_str}, "
        f"folium {folium.__version__}"
    )


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    if COVERAGE is not None:
        COVERAGE.switch(on=item.path in FILES)
    return (yield)


def pytest_sessionfinish() -> None:
    if COVERAGE is not None:
        COVERAGE.save()


def pytest_collection_finish() -> None:
    # Thousands of tests and what they import stay to the end: no need to look through them again and again.
    gc.collect()
    gc.freeze()


@pytest.fixture(params=["compiled", "numpy"])
def loops(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """A test of both loops over edges: those of the compiled library and those of numpy."""
    if request.param == "numpy":
        monkeypatch.setattr(kernels, "LIBRARY", None)
    elif kernels.LIBRARY is None:
        pytest.skip("built without a C compiler")


@pytest.fixture(scope="module")
def two_threads() -> Iterator[None]:
    """Work on two cores, as on a user's machine."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(threads, "CORES", 2)
        yield


@pytest.fixture(scope="module")
def forks() -> Iterator[Forks]:
    """Starts commands from a process that has their imports done."""
    with serve_forks() as forks:
        yield forks


@pytest.fixture(scope="session")
def shared_data() -> Callable[[str], Path]:
    """Finds a file of real boundaries that lies beside the repository and is not part of it."""

    def find(name: str) -> Path:
        path = REPOSITORY.parent / "shared" / "data" / name
        if not path.exists():
            pytest.skip(f"{name} is not there: public-domain data that is not part of the repository")
        return path

    return find
