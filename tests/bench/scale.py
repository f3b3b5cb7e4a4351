"""How time and memory grow with the number of parks: ``python tests/bench/scale.py [--sizes N ...]``.

Parks are made from a seed at the same density whatever their number, written to a GeoPackage and prepared as
GeoParquet. Every line is one process of its own: its imports are timed apart, then the whole command on the
file, nothing warmed. Lines at one size run one after another; read the ratios. Prints a table and writes
scale.json to the folder named by ``--out`` (default: a temporary one).
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

_CHUNK = 50_000

# Each line: what to import, then what to time; {path} is the file.
_SCOUT = (
    "import scout.cli.find, scout.cli.outputs, scout.cli.tables, scout.find, scout.read.shelf, pyarrow",
    "import scout.cli; sys.stdout = open('/dev/null', 'w');"
    "scout.cli.main(['find', {path!r}, '--top', '20', *{words!r}])",
)
_PLAIN = "import geopandas, pyogrio, pyarrow, shapely, numpy as np"
_CELLS = (
    "frame = pyogrio.read_dataframe({path!r}); w, s, e, n = frame.total_bounds;"
    "x, y = np.meshgrid(np.arange(np.floor(w / 2) * 2, e, 2.0), np.arange(np.floor(s), n, 1.0));"
)
_OVERLAY = _CELLS + (
    "cells = geopandas.GeoDataFrame(geometry=shapely.box(x, y, x + 2, y + 1).ravel(), crs=4326);"
    "geopandas.overlay(frame, cells)"
)
_CORNERS = _CELLS + (
    "corners = geopandas.GeoDataFrame(geometry=shapely.points(x, y).ravel(), crs=4326);"
    "geopandas.sjoin(corners, frame)"
)
LINES: dict[str, tuple[str, str, str, list[str], int]] = {  # file, imports, work, words, most parks
    "bare read": ("gpkg", _PLAIN, "pyogrio.read_dataframe({path!r})", [], 10**9),
    "bare read, prepared": ("parquet", _PLAIN, "geopandas.read_parquet({path!r})", [], 10**9),
    "square": ("gpkg", *_SCOUT, ["--min-grids", "2"], 10**9),
    "square, prepared": ("parquet", *_SCOUT, ["--min-grids", "2"], 10**9),
    "square with overlaps": ("gpkg", *_SCOUT, [], 10**9),
    "near home": ("gpkg", *_SCOUT, ["--home", "38 -95", "--within", "100", "--level", "subsquare"], 10**9),
    "subsquare": ("gpkg", *_SCOUT, ["--min-grids", "2", "--level", "subsquare"], 10**9),
    "corners by sjoin": ("gpkg", _PLAIN, _CORNERS, [], 10**9),
    "overlay of cells": ("gpkg", _PLAIN, _OVERLAY, [], 200_000),
}


def make(count: int, folder: Path) -> None:
    """Write ``count`` parks, some at a time, and prepare them."""
    import pyogrio
    from made_parks import made_parks

    plain = folder / f"{count}.gpkg"
    for seed, first in enumerate(range(0, count, _CHUNK), start=1):
        side = math.sqrt(count / 100_000)
        some = made_parks(min(_CHUNK, count - first), seed=seed, stretch=side, first=first)
        pyogrio.write_dataframe(some, plain, layer="parks", append=first > 0)
    run = "from scout.cli import main; sys.exit(main(sys.argv[1:]))"
    words = [
        sys.executable,
        "-c",
        f"import sys; {run}",
        "prepare",
        str(plain),
        str(plain.with_suffix(".parquet")),
    ]
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL)


def measured(imports: str, work: str, path: Path, words: list[str]) -> dict[str, Any]:
    """Seconds of the imports and of the work, and the process's peak memory in MB."""
    done = "[l for l in open('/proc/self/status') if 'VmHWM' in l][0].split()[1]"
    code = (
        f"import sys, time, warnings; warnings.simplefilter('ignore'); t = time.perf_counter(); {imports}\n"
        f"u = time.perf_counter(); {work.format(path=str(path), words=words)}\n"
        f"v = time.perf_counter(); print(u - t, v - u, int({done}) / 1024, file=sys.stderr)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    if run.returncode:
        raise SystemExit(run.stderr)
    imported, seconds, peak = map(float, run.stderr.split()[-3:])
    return {"imports": imported, "seconds": seconds, "peak_mb": peak}


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--sizes", nargs="+", type=int, default=[1000, 10_000, 100_000, 1_000_000])
    arguments.add_argument("--times", type=int, default=2, help="runs of each line; the best counts")
    arguments.add_argument("--lines", nargs="+", default=list(LINES))
    arguments.add_argument("--out", type=Path)
    given = arguments.parse_args()
    folder = given.out or Path(tempfile.mkdtemp())
    results: dict[str, dict[int, dict[str, Any]]] = {}
    for count in given.sizes:
        if not (folder / f"{count}.parquet").exists():
            make(count, folder)
        for name in given.lines:
            suffix, imports, work, words, most = LINES[name]
            if count <= most:
                path = folder / f"{count}.{suffix}"
                runs = [measured(imports, work, path, words) for _ in range(given.times)]
                results.setdefault(name, {})[count] = min(runs, key=lambda run: run["seconds"])
        _print(results, count)
    print("\ngrowth: exponent of the time over the number of parks, from each size to the next")
    for name, rows in results.items():
        sizes = sorted(rows)
        slopes = [
            math.log(rows[b]["seconds"] / rows[a]["seconds"]) / math.log(b / a)
            for a, b in itertools.pairwise(sizes)
        ]
        print(f"{name:22}" + "".join(f"{slope:7.2f}" for slope in slopes))
    (folder / "scale.json").write_text(json.dumps(results, indent=1))
    print(f"wrote {folder / 'scale.json'}")


def _print(results: dict[str, dict[int, dict[str, Any]]], count: int) -> None:
    print(f"\n{count:,} parks{'':12} {'imports':>8} {'seconds':>8} {'x read':>7} {'peak MB':>8}")
    for name, rows in results.items():
        if count in rows:
            row, read = rows[count], results.get("bare read", rows)[count]["seconds"]
            print(
                f"{name:22} {row['imports']:8.2f} {row['seconds']:8.2f} "
                f"{row['seconds'] / read:7.2f} {row['peak_mb']:8.0f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
