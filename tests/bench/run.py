"""How fast the search is beside its rivals: ``python tests/bench/run.py [PARKS]``.

Every line runs in a process of its own on the same file, one after another; read the ratios, not the
seconds. Peak memory is the process's, imports and frame included. Prints a table and writes bench.json to
the folder named by ``--out`` (default: a temporary one).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))


def _frame(path: str) -> Any:
    import pyogrio

    return pyogrio.read_dataframe(path)


def _parks(path: str) -> Any:
    from scout.parks import build_parks
    from scout.read import read_layers

    return build_parks(read_layers([path]))


def bare_read(path: str) -> Callable[[], Any]:
    import pyogrio

    return lambda: pyogrio.read_dataframe(path)


def full_read(path: str) -> Callable[[], Any]:
    from scout.parks import build_parks
    from scout.read import read_layers

    return lambda: build_parks(read_layers([path]))


def _find(path: str, **options: Any) -> Callable[[], Any]:
    from scout.find import Options, find

    parks = _parks(path)
    return lambda: find(parks, Options(**options))


def square(path: str) -> Callable[[], Any]:
    return _find(path, level=2, min_grids=2)


def square_overlaps(path: str) -> Callable[[], Any]:
    return _find(path, level=2)


def subsquare(path: str) -> Callable[[], Any]:
    return _find(path, level=3, min_grids=2)


def overlay(path: str) -> Callable[[], Any]:
    """The plain way: cells as polygons, laid over the parks."""
    import geopandas as gpd
    import numpy as np
    import shapely

    frame = _frame(path)
    west, south, east, north = frame.total_bounds
    lon, lat = np.meshgrid(
        np.arange(np.floor(west / 2) * 2, east, 2.0), np.arange(np.floor(south), north, 1.0)
    )
    cells = gpd.GeoDataFrame(geometry=shapely.box(lon, lat, lon + 2, lat + 1).ravel(), crs=4326)
    return lambda: gpd.overlay(frame, cells)


LINES = (bare_read, full_read, square, square_overlaps, subsquare, overlay)


def _measured(line: Callable[[str], Callable[[], Any]], path: str, queue: Any) -> None:
    work = line(path)
    before = _peak_mb()
    start = time.perf_counter()
    work()
    seconds = time.perf_counter() - start
    queue.put({"seconds": seconds, "loaded_mb": before, "peak_mb": _peak_mb()})


def _peak_mb() -> float:
    """Most memory this process has held; getrusage would count its parent's before the start as well."""
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("parks", nargs="?", type=int, default=100_000)
    arguments.add_argument("--out", type=Path)
    given = arguments.parse_args()
    from made_parks import made_parks

    folder = given.out or Path(tempfile.mkdtemp())
    path = str(folder / "made.gpkg")
    made_parks(given.parks).to_file(path, layer="parks", engine="pyogrio")
    spawn = multiprocessing.get_context("spawn")
    results: dict[str, dict[str, float]] = {}
    for line in LINES:
        queue = spawn.Queue()
        process = spawn.Process(target=_measured, args=(line, path, queue))
        process.start()
        results[line.__name__] = queue.get()
        process.join()
    read = results["bare_read"]["seconds"]
    print(f"{given.parks:,} parks of 100 vertices, one GeoPackage\n")
    print(f"{'':16} {'seconds':>8} {'x read':>8} {'loaded MB':>10} {'peak MB':>8}")
    for name, row in results.items():
        print(
            f"{name:16} {row['seconds']:8.2f} {row['seconds'] / read:8.2f} "
            f"{row['loaded_mb']:10.0f} {row['peak_mb']:8.0f}"
        )
    print(f"\noverlay / square: {results['overlay']['seconds'] / results['square']['seconds']:.0f}")
    (folder / "bench.json").write_text(json.dumps(results, indent=1))
    print(f"wrote {folder / 'bench.json'}")


if __name__ == "__main__":
    main()
