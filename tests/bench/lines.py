"""The lines of the benchmark: what each one imports, and the work that is timed after that.

A search is the whole command on a file, as a user gives it, with its report on what was read and its list.
"""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_SCOUT = (
    *("scout.cli.find", "scout.app.outputs", "scout.output.report", "scout.app.find", "scout.parks.indexed"),
    *("scout.io.write", "pyarrow", "pyarrow.parquet", "pyarrow.pandas_compat"),
)
_SAVING = (*_SCOUT, "scout.output.features")
_MAPPING = (*_SCOUT, "scout.page.document")
_PREPARE = (*_SCOUT, "scout.cli.prepare", "scout.app.prepare", "geopandas.tools.hilbert_curve")
_CHECK = (*_SCOUT, "scout.cli.check", "scout.output.report", "scout.search.places", "scout.geo.coordinates")
_PLAIN = ("geopandas", "pyogrio", "shapely", "pyarrow", "pyarrow.parquet", "pyarrow.pandas_compat")


@dataclass(frozen=True)
class Line:
    """One thing to measure; ``ready`` makes what the work is given, before the clock runs."""

    imports: tuple[str, ...]
    work: Callable[..., Any]
    suffix: str = "gpkg"  # of the file it reads
    most: int = 10**9  # parks; beyond that it takes too long
    ready: Callable[[Path, str], tuple[Any, ...]] = lambda path, home: (path, home)


def fresh(path: Path) -> Path:
    """Where ``scout prepare`` writes to."""
    return path.with_suffix(".fresh.parquet")


def _read(path: Path, home: str) -> Any:
    import pyogrio

    return pyogrio.read_dataframe(path)


def _read_prepared(path: Path, home: str) -> Any:
    import geopandas as gpd

    return gpd.read_parquet(path)


def _run(*words: str) -> str:
    """What a command of scout prints; bad input, a refusal too, is no measurement and ends the line."""
    import scout.cli

    out, sys.stdout = sys.stdout, io.StringIO()
    try:
        if scout.cli.main([*words]) not in (0, 1):
            raise SystemExit(2)
        return sys.stdout.getvalue()
    finally:
        sys.stdout = out


def _find(*words: str) -> Callable[[Path, str], dict[str, int]]:
    """A search; in its words ``HOME`` stands for that place and ``OUT`` for a file beside the parks."""

    def work(path: Path, home: str) -> dict[str, int]:
        out = str(path.parent / f"{path.stem}-out")
        given = (home if word == "HOME" else word.replace("OUT", out) for word in words)
        said = _run("find", str(path), "--top", "20", *given)
        more = re.search(r"Not listed: ([\d,]+) ranked below", said)
        return {"spots": _listed(said) + (int(more[1].replace(",", "")) if more else 0)}

    return work


def _listed(said: str) -> int:
    return len(re.findall(r"^\d+ ", said, re.MULTILINE))


def _check(path: Path, home: str) -> None:
    _run("check", home, "--parks", str(path))


def _prepare(path: Path, target: Path) -> None:
    _run("prepare", str(path), str(target))


def _to_fresh(path: Path, home: str) -> tuple[Path, Path]:
    fresh(path).unlink(missing_ok=True)
    return path, fresh(path)


def _edges(bounds: Any, size: float) -> Any:
    """West and south edges of the cells, ``size`` degrees high, that bounds may lie in."""
    import numpy as np

    west, south, east, north = bounds
    columns, rows = np.arange(west // (2 * size), east / (2 * size)), np.arange(south // size, north / size)
    return np.meshgrid(columns * 2 * size, rows * size)


def _lay_over(frame: Any, size: float) -> Any:
    import geopandas as gpd
    import shapely

    lon, lat = _edges(frame.total_bounds, size)
    cells = shapely.box(lon, lat, lon + 2 * size, lat + size).ravel()
    return gpd.overlay(frame, gpd.GeoDataFrame(geometry=cells, crs=4326), keep_geom_type=True)


def _overlay(size: float) -> Callable[[Path, str], Any]:
    """The plain way: cells as polygons, laid over the parks."""

    def work(path: Path, home: str) -> Any:
        return _lay_over(_read(path, home).to_crs(4326), size)

    return work


def _overlay_few(size: float) -> Callable[[Path, str], dict[str, int]]:
    """The careful way: bounds are read first, and only parks with bounds over a line are laid over."""

    def work(path: Path, home: str) -> dict[str, int]:
        import numpy as np
        import pyogrio

        fids, bounds = pyogrio.read_bounds(path)
        first, last = (np.floor(some / [[2 * size], [size]]) for some in (bounds[:2], bounds[2:]))
        over = fids[(first != last).any(axis=0)]
        if not len(over):
            return {"spots": 0}
        return {"spots": len(_lay_over(pyogrio.read_dataframe(path, fids=over), size))}

    return work


def _corners(path: Path, home: str) -> Any:
    import geopandas as gpd
    import shapely

    frame = _read(path, home).to_crs(4326)
    lon, lat = _edges(frame.total_bounds, 1.0)
    return gpd.sjoin(gpd.GeoDataFrame(geometry=shapely.points(lon, lat).ravel(), crs=4326), frame)


def _demo(folder: Path, home: str) -> dict[str, int]:
    import os

    os.chdir(folder)
    return {"spots": _listed(_run("demo"))}


def _page(path: Path, home: str) -> dict[str, float]:
    page = path.with_suffix(".html")
    said = _run("find", str(path), "--top", "100", "--map", str(page))
    return {"spots": _listed(said), "kb": page.stat().st_size / 1000}


def _ground(path: Path, home: str) -> tuple[Any, ...]:
    import walking

    return walking.ready()


def _walk(*ground: Any) -> dict[str, Any]:
    import walking

    return walking.walk(*ground)


def _near(level: str, km: str) -> Callable[[Path, str], dict[str, int]]:
    return _find("--home", "HOME", "--within", km, "--level", level)


_GRIDS = ("--min-grids", "2")

# Measured at every size.
LINES = {
    "bare read": Line(_PLAIN, _read),
    "bare read, GeoJSON": Line(_PLAIN, _read, "geojson", 100_000),
    "scout prepare": Line(_PREPARE, _prepare, ready=_to_fresh),  # its file is what the prepared lines read
    "bare read, prepared": Line((*_PLAIN, "pyarrow.dataset"), _read_prepared, "parquet"),
    "field": Line(_SCOUT, _find(*_GRIDS, "--level", "field")),
    "square": Line(_SCOUT, _find(*_GRIDS)),
    "square, prepared": Line(_SCOUT, _find(*_GRIDS), "parquet"),
    "square, GeoJSON": Line(_SCOUT, _find(*_GRIDS), "geojson", 100_000),
    "square with overlaps": Line(_SCOUT, _find()),
    "subsquare": Line(_SCOUT, _find(*_GRIDS, "--level", "subsquare")),
    "subsquare in 100 km": Line(_SCOUT, _near("subsquare", "100")),
    "extended in 20 km": Line(_SCOUT, _near("extended", "20")),
    "fifth in 5 km": Line(_SCOUT, _near("fifth", "5")),
    "subsquare, saved": Line(_SAVING, _find(*_GRIDS, "--level", "subsquare", "--save", "OUT.geojson")),
    "square, map": Line(_MAPPING, _find(*_GRIDS, "--map", "OUT.html")),
    "check of one place": Line(_CHECK, _check),
    "check, prepared": Line(_CHECK, _check, "parquet"),
    "corners by sjoin": Line(_PLAIN, _corners),
    "overlay of squares": Line(_PLAIN, _overlay(1.0), most=200_000),
    "overlay, bounds first": Line(_PLAIN, _overlay_few(1.0)),
    "overlay of subsquares": Line(_PLAIN, _overlay(1 / 24), most=10_000),
}
# Of these, what is measured on the ragged set and on a file that the user names.
RAGGED = (
    *("bare read", "square", "square with overlaps", "subsquare", "subsquare, saved", "square, map"),
    *("overlay of squares", "overlay, bounds first", "overlay of subsquares"),
)
# Measured once.
PAGE = "page"
PAGE_SIZES = (1000, 100_000)
WALKS = "walks"
DEMO = "demo"
ONCE = {
    PAGE: Line(_MAPPING, _page),
    DEMO: Line((*_MAPPING, "scout.walk.reach", "scout.walk.read"), _demo),
    WALKS: Line(("scout.walk.routes", "scout.model"), _walk, ready=_ground),
}
