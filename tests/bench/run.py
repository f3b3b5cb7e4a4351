"""How scout grows with the number of parks, and how it stands beside its rivals.

Parks are made from a seed at the same density whatever their number: smooth rings, and a set that is ragged
as real data is, for which fewer lines are measured. Every line is a process of its own:
imports are timed apart, then the whole command on the file, nothing warmed; the best of some runs counts.
Lines run one after another: read the ratios to the bare read, machines differ. Then, once: the walks, and how
large the map of the best spots is. Prints tables and writes bench.json to the folder named by --out (default:
a temporary one), where the files of parks stay for the next run.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import os
import platform
import sys
import tempfile
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import Any

from alone import measured
from lines import DEMO, LINES, ONCE, PAGE, PAGE_SIZES, RAGGED, WALKS, fresh
from made_parks import MAKERS, described, home_in, made_file

_PREPARE = "scout prepare"
_MOST_DESCRIBED = 100_000  # parks; the density is the same at every size
_MOST_RAGGED = 10_000  # parks of the ragged set, unless it alone is asked for
_BARE = {"gpkg": "bare read", "geojson": "bare read, GeoJSON", "parquet": "bare read, prepared"}
_COLUMNS = {  # of the tables: key, title, form
    "imports": ("imports", ".2f"),
    "seconds": ("seconds", ".2f"),
    "x_read": ("x read", ".2f"),  # times the bare read of the GeoPackage
    "x_same": ("x same", ".2f"),  # times the bare read of the file that the line reads
    "processor": ("processor", ".2f"),
    "peak_mb": ("peak MB", ",.0f"),
    "spots": ("spots", ",.0f"),
}


def machine() -> dict[str, Any]:
    """What the figures rest on."""
    import pyogrio
    import shapely

    packages = ("numpy", "pandas", "shapely", "geopandas", "pyogrio", "pyproj", "scipy", "pyarrow")
    return {
        "cores": len(os.sched_getaffinity(0)),
        "memory_gb": round(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9, 1),
        "python": platform.python_version(),
        "gdal": pyogrio.__gdal_version_string__,
        "geos": shapely.geos_version_string,
        **{name: version(name) for name in packages},
    }


def count_records(path: Path) -> int:
    """Records in a file."""
    import pyogrio

    return int(pyogrio.read_info(path, force_feature_count=True)["features"])


def file_of(count: int, kind: str, folder: Path) -> Path:
    """Where the parks of one size are."""
    return folder / (f"{count}.gpkg" if kind == "smooth" else f"{kind}-{count}.gpkg")


def at_size(
    count: int, kind: str, names: list[str], times: int, folder: Path
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Each line at one size as it comes; one that failed has its last words as ``failed``."""
    plain = file_of(count, kind, folder)
    yield from on_file(plain, count, kind, names, times, home_in(plain))


def on_file(
    plain: Path, count: int, kind: str, names: list[str], times: int, home: str = ""
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Each line on one file as it comes."""
    bare: dict[str, float] = {}  # seconds, by kind of file
    for name in names:
        line = LINES[name]
        if count > line.most:
            continue
        path = plain.with_suffix(f".{line.suffix}") if kind in MAKERS else plain
        if kind not in MAKERS:
            pass  # it is there
        elif line.suffix != "parquet":
            made_file(count, path, kind)
        elif not path.exists():
            _prepare(plain, home, 1)
        row = _prepare(plain, home, times) if name == _PREPARE else measured(name, path, home, times)
        if name == _BARE[line.suffix] and "seconds" in row:
            bare[line.suffix] = row["seconds"]
        for ratio, suffix in (("x_read", "gpkg"), ("x_same", line.suffix)):
            if suffix in bare and "seconds" in row:
                row[ratio] = row["seconds"] / bare[suffix]
        yield name, row


def _prepare(plain: Path, home: str, times: int) -> dict[str, Any]:
    row = measured(_PREPARE, plain, home, times)
    if "failed" not in row:
        fresh(plain).replace(plain.with_suffix(".parquet"))
    return row


def growth(sizes: dict[int, dict[str, dict[str, Any]]]) -> dict[str, dict[str, float]]:
    """Exponents of the time over the number of parks by line, from each size to the next."""
    found: dict[str, dict[str, float]] = {}
    for (few, before), (many, after) in itertools.pairwise(sizes.items()):
        for name in before.keys() & after.keys():
            if "seconds" in before[name] and "seconds" in after[name]:
                slope = math.log(after[name]["seconds"] / before[name]["seconds"]) / math.log(many / few)
                found.setdefault(name, {})[_step(few, many)] = slope
    return {name: found[name] for name in LINES if name in found}


def once(names: list[str], sizes: list[int], times: int, folder: Path) -> dict[str, Any]:
    """The walks, and the page of each of its sizes that the sizes asked for reach."""
    found: dict[str, Any] = {}
    if WALKS in names:
        row = measured(WALKS, folder, "", times)
        found[WALKS] = row | ({} if "failed" in row else {"seconds_a_walk": row["seconds"] / row["places"]})
    if DEMO in names:
        found[DEMO] = measured(DEMO, folder, "", times)
    for count in PAGE_SIZES:
        if PAGE in names and count <= max(sizes):
            row = measured(PAGE, made_file(count, folder / f"{count}.gpkg"), "")
            kept = {key: row[key] for key in ("failed", "spots", "kb") if key in row}
            found.setdefault(PAGE, {})[count] = kept
    return found


def print_head(count: int, kind: str, about: str) -> None:
    print(f"\n{count:,} parks, {kind}" + (f": {about}" if about else ""))
    print(f"{'':22}" + "".join(f"{title:>10}" for title, _ in _COLUMNS.values()), flush=True)


def print_row(name: str, row: dict[str, Any]) -> None:
    cells = [f"{row[key]:{form}}" if key in row else "" for key, (_, form) in _COLUMNS.items()]
    print(f"{name:22}" + row.get("failed", "".join(f"{cell:>10}" for cell in cells)), flush=True)


def print_growth(slopes: dict[str, dict[str, float]]) -> None:
    steps = list(dict.fromkeys(step for row in slopes.values() for step in row))
    if steps:
        print("\ngrowth: exponent of the time over the number of parks, from each size to the next")
        print(f"{'':22}" + "".join(f"{step:>22}" for step in steps))
        for name, row in slopes.items():
            print(f"{name:22}" + "".join(f"{f'{row[s]:.2f}' if s in row else '':>22}" for s in steps))


def print_once(found: dict[str, Any]) -> None:
    print()
    walks = found.get(WALKS, {})
    if "seconds" in walks:
        print(
            f"{walks['places']} walks: {walks['seconds']:.1f} s, {walks['seconds_a_walk']:.3f} s a walk "
            f"({walks['processor']:.1f} s of processor), peak {walks['peak_mb']:,.0f} MB; "
            f"{walks['walked']} walked, median {walks['median_min']:.0f} min"
        )
    elif walks:
        print(f"walks: {walks['failed']}")
    demo = found.get(DEMO, {})
    if demo:
        said = "{seconds:.1f} s ({processor:.1f} s of processor), peak {peak_mb:,.0f} MB; {spots} spots"
        print(f"demo: {demo['failed'] if 'failed' in demo else said.format(**demo)}")
    for count, row in found.get(PAGE, {}).items():
        size = f"{row['kb']:,.0f} KB for {row['spots']} spots" if "kb" in row else row["failed"]
        print(f"the map of the best spots of {count:,} parks: {size}")


def _step(few: int, many: int) -> str:
    return f"{few:,} to {many:,}"


def _given() -> argparse.Namespace:
    names = [*LINES, *ONCE]
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--sizes", nargs="+", type=int, default=[1000, 10_000, 100_000, 1_000_000])
    words.add_argument("--set", nargs="+", choices=[*MAKERS], default=[*MAKERS], help="of parks")
    words.add_argument(
        "--file", type=Path, help="of parks, GeoPackage or another, longitude and latitude: measured alone"
    )
    words.add_argument("--times", type=int, default=2, help="runs of each line; the best counts")
    words.add_argument("--lines", nargs="+", choices=names, default=names, metavar="LINE", help=str(names))
    words.add_argument(
        "--out",
        type=Path,
        metavar="FOLDER",
        help="for bench.json, which replaces an older one, and the files of parks",
    )
    return words.parse_args()


def main() -> int:
    given = _given()
    folder = given.out or Path(tempfile.mkdtemp(prefix="bench-"))
    folder.mkdir(parents=True, exist_ok=True)
    sizes = sorted(set(given.sizes))
    found: dict[str, Any] = {"machine": machine(), "times": given.times}
    print(", ".join(f"{name} {value}" for name, value in found["machine"].items()))
    if given.file is not None:
        names = [name for name in RAGGED if name in given.lines]
        print_head(count := count_records(given.file), given.file.name, described(given.file))
        rows = found["file"] = {}
        for name, row in on_file(given.file, count, "file", names, given.times):
            rows[name] = row
            print_row(name, row)
        print(f"wrote {_keep(found, folder)}")
        return int('"failed"' in json.dumps(found))
    for kind in given.set:
        names = [name for name in LINES if name in given.lines and (kind == "smooth" or name in RAGGED)]
        most = _MOST_RAGGED if kind == "ragged" and len(given.set) > 1 else max(sizes)
        of_kind = found[kind] = {"parks": {}, "sizes": {}}
        for count in [size for size in sizes if size <= most] if names else []:
            plain = made_file(count, file_of(count, kind, folder), kind)
            of_kind["parks"][count] = described(plain) if count <= _MOST_DESCRIBED else ""
            print_head(count, kind, of_kind["parks"][count])
            rows = of_kind["sizes"][count] = {}
            for name, row in at_size(count, kind, names, given.times, folder):
                rows[name] = row
                print_row(name, row)
                _keep(found, folder)  # the next line may take long
            of_kind["growth"] = growth(of_kind["sizes"])
        print_growth(of_kind.get("growth", {}))
    _keep(found, folder)
    found |= once(given.lines, sizes, given.times, folder)
    print_once(found)
    print(f"wrote {_keep(found, folder)}")
    return int('"failed"' in json.dumps(found))


def _keep(found: dict[str, Any], folder: Path) -> Path:
    path = folder / "bench.json"
    path.write_text(json.dumps(found, indent=1))
    return path


if __name__ == "__main__":
    sys.exit(main())
