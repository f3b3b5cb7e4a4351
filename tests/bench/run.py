"""How fast the search is beside its rivals: ``python tests/bench/run.py [PARKS]``.

Every line runs in processes of its own on the same file, one after another, and the best of them counts;
read the ratios, not the seconds. Each process first does its line on a hundred parks, so that imports and
first calls are behind it. Peak memory is the process's, imports and frame included. Prints a table and
writes bench.json to the folder named by ``--out`` (default: a temporary one). ``--crowded`` makes the
parks larger, so that a third of them overlap another.
"""

from __future__ import annotations

import argparse
import gc
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


def _measured(line: Callable[[str], Callable[[], Any]], paths: tuple[str, str], queue: Any) -> None:
    few, path = paths
    line(few)()
    work = line(path)
    gc.collect()  # what loading left to collect is no part of any line
    before = _peak_mb()
    start = time.perf_counter()
    work()
    seconds = time.perf_counter() - start
    queue.put({"seconds": seconds, "loaded_mb": before, "peak_mb": _peak_mb()})


def _peak_mb() -> float:
    """Most memory this process has held; getrusage would count its parent's before the start as well."""
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def _best_of(
    times: int, line: Callable[[str], Callable[[], Any]], paths: tuple[str, str]
) -> dict[str, float]:
    spawn = multiprocessing.get_context("spawn")
    runs = []
    for _ in range(times):
        queue = spawn.Queue()
        process = spawn.Process(target=_measured, args=(line, paths, queue))
        process.start()
        runs.append(queue.get())
        process.join()
    return min(runs, key=lambda run: run["seconds"])


def _described(parks: Any) -> str:
    import numpy as np
    import shapely

    shapes, bounds = parks.geometry.to_numpy(), parks.bounds.to_numpy()
    crossing = (np.floor(bounds[:, :2] / (2, 1)) != np.floor(bounds[:, 2:] / (2, 1))).any(axis=1).sum()
    a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    share = len(np.unique(a[a != b])) / len(shapes)
    return f"{len(shapes):,} parks: {crossing:,} with bounds over a square line, {share:.0%} meet another"


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("parks", nargs="?", type=int, default=100_000)
    arguments.add_argument("--out", type=Path)
    arguments.add_argument("--crowded", action="store_true")
    arguments.add_argument("--times", type=int, default=3)
    given = arguments.parse_args()
    from made_parks import CROWDED_DEG, SIZE_DEG, made_parks

    folder = given.out or Path(tempfile.mkdtemp())
    parks = made_parks(given.parks, size_deg=CROWDED_DEG if given.crowded else SIZE_DEG)
    paths = str(folder / "few.gpkg"), str(folder / "made.gpkg")
    for some, path in zip((parks.head(100), parks), paths, strict=True):
        some.to_file(path, layer="parks", engine="pyogrio")
    print(f"{_described(parks)}; 100 vertices each, one GeoPackage\n")
    del parks
    results = {line.__name__: _best_of(given.times, line, paths) for line in LINES}
    read = results["bare_read"]["seconds"]
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
