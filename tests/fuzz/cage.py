"""One case in a process of its own, forked, with bounds on time and memory; what it did is judged outside it."""

from __future__ import annotations

import ctypes
import gc
import os
import resource
import select
import signal
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Bounds", "Run", "run_caged", "warm_up"]


@dataclass(frozen=True, slots=True)
class Bounds:
    """What a case may take."""

    seconds: float = 20.0  # of the processor: how busy the machine is does not matter
    resident_mb: float = 1000.0
    address_mb: int = 6000  # far over what may be used, so that a runaway ends here and not in the machine


@dataclass(frozen=True, slots=True)
class Run:
    """What came of a case."""

    status: int  # exit status, or minus the signal that ended it
    out: str
    err: str
    seconds: float
    peak_mb: float  # imports with it
    late: bool


def warm_up() -> None:
    """Import what cases need and read what comes with scout, so that a fork has it all; no thread may start."""
    import js_lib_leaflet
    import numpy as np
    import pyarrow
    import pyarrow.pandas_compat
    import pyarrow.parquet
    import pyarrow.vendored.version
    import rasterio
    import simdjson

    import scout.app.check
    import scout.app.find
    import scout.app.outputs
    import scout.app.sources
    import scout.cli.arrive
    import scout.cli.card
    import scout.cli.check
    import scout.cli.find
    import scout.cli.stamp
    import scout.cli.tally
    import scout.cli.visit
    import scout.io.places
    import scout.io.rasters
    import scout.io.write
    import scout.model
    import scout.output.arrival
    import scout.output.gpx
    import scout.output.journal
    import scout.output.kml
    import scout.output.report
    import scout.page.bundle
    import scout.page.document
    import scout.page.geography
    import scout.page.leaflet
    import scout.page.packing
    import scout.parks.build
    import scout.parks.indexed
    import scout.recording.arrive
    import scout.recording.read
    import scout.search.check
    import scout.visits.notebook
    import scout.visits.tally
    import scout.walk.reach
    import scout.walk.read
    import scout.walk.ways

    threads = os.listdir("/proc/self/task") if sys.platform == "linux" else []
    scout.app.sources.load_profiles()
    scout.page.bundle.join_modules("scout.page", "start.js")
    scout.page.leaflet.load_script()
    scout.page.geography.make_geography_data(np.empty((0, 2)), scout.page.packing.PageFrame())
    for name in ("map", "page", "spot", "about", "intro", "trip"):
        scout.page.document._load_templates().get_template(f"{name}.html")
    assert sys.platform != "linux" or os.listdir("/proc/self/task") == threads
    del js_lib_leaflet, np, pyarrow, rasterio, scout, simdjson
    # What was imported stays: looking through it again before every fork was a quarter of the work.
    gc.collect()
    gc.freeze()


def run_caged(words: list[str], folder: Path, bounds: Bounds) -> Run:
    """Run ``scout`` with these words in a folder; gives what it did."""
    out, err = folder / ".out", folder / ".err"
    _return_memory()
    child = os.fork()
    if child == 0:
        _inside(words, folder, out, err, bounds)
    status, used, late = _waited(child, bounds.seconds)
    code = -os.WTERMSIG(status) if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)
    texts = [path.read_bytes().decode("utf-8", "backslashreplace") for path in (out, err)]
    out.unlink()
    err.unlink()
    late = late or code == -signal.SIGXCPU
    return Run(code, *texts, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, late)


def _return_memory() -> None:
    """Hand back what making the files took: a child counts all that its parent still holds."""
    gc.collect()
    import pyarrow

    pyarrow.default_memory_pool().release_unused()
    if sys.platform == "linux":
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
        if trim is not None:
            trim(0)


def _waited(child: int, seconds: float) -> tuple[int, resource.struct_rusage, bool]:
    handle = os.pidfd_open(child)
    try:
        late = not select.select([handle], [], [], 10 * seconds)[0]  # waiting for nothing is late as well
        if late:
            os.kill(child, signal.SIGKILL)
    finally:
        os.close(handle)
    _, status, used = os.wait4(child, 0)
    return status, used, late


def _inside(words: list[str], folder: Path, out: Path, err: Path, bounds: Bounds) -> None:
    """The child: never returns."""
    code = 70
    try:
        for number, path in ((1, out), (2, err)):
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(handle, number)
        null = os.open(os.devnull, os.O_RDONLY)
        os.dup2(null, 0)
        os.chdir(folder)
        resource.setrlimit(resource.RLIMIT_AS, (bounds.address_mb * 2**20,) * 2)
        resource.setrlimit(resource.RLIMIT_CPU, (int(bounds.seconds), int(bounds.seconds) + 5))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
        sys.stderr = open(2, "w", encoding="utf-8", errors="backslashreplace", closefd=False)  # noqa: SIM115
        sys.argv = ["scout", *words]
        tempfile.tempdir = str(folder.with_name(f"{folder.name}-unpacked"))  # what is left there is removed
        os.makedirs(tempfile.tempdir, exist_ok=True)
        os.environ["SCOUT_DETAILS"] = "1"  # status 3 is a fault, and this tells which
        from scout.cli import main

        code = main(words)
        sys.stdout.flush()
        sys.stderr.flush()
    except SystemExit as error:
        code = error.code if isinstance(error.code, int) else 71
    except BaseException:
        import traceback

        traceback.print_exc()
        sys.stderr.flush()
    finally:
        os._exit(code)
