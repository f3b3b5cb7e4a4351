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
    def work(path: Path, home: str) -> dict[str, int]:
        said = _run("find", str(path), "--top", "20", *(home if word == "HOME" else word for word in words))
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


def _lattice(path: Path) -> Any:
    """The frame, and the west and south edges of the squares it may lie in."""
    import numpy as np
    import pyogrio

    frame = pyogrio.read_dataframe(path)
    west, south, east, north = frame.total_bounds
    return frame, *np.meshgrid(
        np.arange(np.floor(west / 2) * 2, east, 2.0), np.arange(np.floor(south), north)
    )


def _overlay(path: Path, home: str) -> Any:
    """The plain way: squares as polygons, laid over the parks."""
    import geopandas as gpd
    import shapely

    frame, lon, lat = _lattice(path)
    squares = gpd.GeoDataFrame(geometry=shapely.box(lon, lat, lon + 2, lat + 1).ravel(), crs=4326)
    return gpd.overlay(frame, squares)


def _corners(path: Path, home: str) -> Any:
    import geopandas as gpd
    import shapely

    frame, lon, lat = _lattice(path)
    return gpd.sjoin(gpd.GeoDataFrame(geometry=shapely.points(lon, lat).ravel(), crs=4326), frame)


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
    "check of one place": Line(_CHECK, _check),
    "corners by sjoin": Line(_PLAIN, _corners),
    "overlay of squares": Line(_PLAIN, _overlay, most=200_000),
}
# Of these, what is measured on the ragged set.
RAGGED = ("bare read", "square", "square with overlaps", "subsquare", "overlay of squares")
# Measured once.
PAGE = "page"
PAGE_SIZES = (1000, 100_000)
WALKS = "walks"
ONCE = {
    PAGE: Line(_SCOUT, _page),
    WALKS: Line(("scout.walk.routes", "scout.model"), _walk, ready=_ground),
}
