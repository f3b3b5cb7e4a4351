"""A few very large files, each once: ten million vertices, a hundred thousand records, texts without end."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np

from fuzz.cage import Bounds, run_caged
from fuzz.cases import Case, Outcome, _fault, _fault_of_files, _state
from fuzz.damage_shapes import written_shapes
from fuzz.whole import LAT, LON

__all__ = ["HEAVY", "heavy_outcome"]

_VERTICES = 10_000_000


def _ring(path: Path) -> None:
    angle = np.linspace(0, 2 * np.pi, _VERTICES, endpoint=False)
    radius = 0.5 * (1 + 0.1 * np.sin(angle * 999))
    ring = np.column_stack([LON + radius * np.cos(angle), LAT + radius * np.sin(angle)])
    ring = np.concatenate([ring, ring[:1]])
    head = b"\1" + np.array([3, 1, len(ring)], "<u4").tobytes()
    if path.suffix != ".geojson":
        written_shapes(path, [head + ring.tobytes()])
        return
    with path.open("w") as stream:
        stream.write('{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"a"},')
        stream.write('"geometry":{"type":"Polygon","coordinates":[[')
        for start in range(0, len(ring), 100_000):
            some = ring[start : start + 100_000].tolist()
            stream.write(("," if start else "") + ",".join(f"[{x:.7f},{y:.7f}]" for x, y in some))
        stream.write("]]}}]}")


def _endless_json(path: Path) -> None:
    with path.open("w") as stream:
        stream.write('{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"')
        for _ in range(300):
            stream.write("a" * 2**20)
        stream.write('"},"geometry":{"type":"Point","coordinates":[0,0]}}]}')


def _sparse(head: bytes) -> Callable[[Path], None]:
    """Four gigabytes that take up no room on the disk."""

    def make(path: Path) -> None:
        with path.open("wb") as stream:
            stream.write(head)
            stream.truncate(4 * 2**30)

    return make


_SHP = b"\0\0\x27\x0a" + b"\0" * 20 + b"\x7f\xff\xff\xff" + b"\xe8\3\0\0\5\0\0\0" + b"\0" * 64
HEAVY: dict[str, tuple[str, Callable[[Path], None]]] = {
    f"ten million vertices {suffix}": (suffix, _ring)
    for suffix in (".gpkg", ".fgb", ".parquet", ".shp", ".geojson")
} | {
    "a name of 300 MiB": (".geojson", _endless_json),
    "4 GiB of nothing .geojson": (".geojson", _sparse(b'{"type":"FeatureCollection","features":[')),
    "4 GiB of nothing .shp": (".shp", _sparse(_SHP)),
    "4 GiB of nothing .fgb": (".fgb", _sparse(b"fgb\3fgb\0")),
    "4 GiB of nothing .kml": (".kml", _sparse(b'<?xml version="1.0"?><kml>')),
    "4 GiB of nothing .zip": (".zip", _sparse(b"PK\3\4")),
    "4 GiB of nothing .gpkg": (".gpkg", _sparse(b"SQLite format 3\0")),
}  # fmt: skip


def heavy_outcome(name: str, wholes: dict[str, Path], folder: Path) -> Outcome:
    """Make the file, search it, judge what came of it."""
    suffix, make = HEAVY[name]
    folder.mkdir()
    make(folder / f"hit{suffix}")
    before = _state(folder)
    bounds = Bounds(seconds=120, resident_mb=4000, address_mb=12_000)
    words = ["find", f"hit{suffix}", "--save", "out.csv"]
    run = run_caged(words, folder, bounds)
    fault = _fault(run, bounds, f"hit{suffix}")
    fault = fault or _fault_of_files(before, _state(folder), ["out.csv"], run, folder)
    shutil.rmtree(folder)
    return Outcome(Case("very large", name, 0), run, tuple(words), fault)
