"""Geometries with broken rings, ring by ring: an open ring is closed, one of too few points is left out.

Shapely refuses a whole geometry for one such ring. Only records that it refused come here.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = ["Salvaged", "Shape", "assemble", "extent", "shapes_of_wkb"]

# ("polygon" | "line" | "point" | "unknown", its rings or its one run of points; None where unreadable)
Shape = tuple[str, Sequence[NDArray[np.float64] | None]]

_POINT, _LINE, _POLYGON, _TRIANGLE = 1, 2, 3, 17
_COLLECTIONS = (4, 5, 6, 7, 15, 16)  # multi-part types, collection, polyhedral surface, TIN


@dataclass
class Salvaged:
    """What could be kept of one geometry (None: nothing), which rings were closed and which are lost."""

    geometry: shapely.Geometry | None = None
    closed: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    gaps: list[NDArray[np.float64]] = field(default_factory=list)  # of each closed ring, its last edge


def extent(shapes: Sequence[Shape]) -> shapely.Geometry | None:
    """The points that shapes have, however broken they are; None without any."""
    runs = [run for _, several in shapes for run in several if run is not None and len(run)]
    points = np.concatenate(runs) if runs else np.empty((0, 2))
    points = points[np.isfinite(points).all(axis=1)]
    return shapely.multipoints(points) if len(points) else None


def assemble(shapes: Sequence[Shape]) -> Salvaged:
    """Make one geometry of the shapes that can be kept."""
    result = Salvaged()
    made: list[shapely.Geometry] = []
    for number, (kind, runs) in enumerate(shapes, start=1):
        part = f" of part {number}" if len(shapes) > 1 else ""
        if kind == "polygon":
            made += _polygon(runs, part, result)
        elif not runs or runs[0] is None or len(runs[0]) < (2 if kind == "line" else 1):
            result.lost.append(f"the {'geometry' if kind == 'unknown' else kind}{part} cannot be read")
        else:
            made.append(shapely.linestrings(runs[0]) if kind == "line" else shapely.points(runs[0][0]))
    result.geometry = _together(made)
    return result


def _polygon(rings: Sequence[NDArray[np.float64] | None], part: str, result: Salvaged) -> list[Any]:
    kept = []
    for number, ring in enumerate(rings, start=1):
        label = f"{'the outer ring' if number == 1 else f'hole {number - 1}'}{part}"
        if ring is None or len(ring) == 0:
            result.lost.append(f"{label} cannot be read")
        elif len(np.unique(ring, axis=0)) < 3:
            result.lost.append(f"{label} has fewer than three different points")
        else:
            if not np.array_equal(ring[0], ring[-1]):
                result.closed.append(f"{label} was not closed")
                ring = np.concatenate([ring, ring[:1]])
                result.gaps.append(ring[-2:])
            kept.append(shapely.linearrings(ring))
            continue
        if number == 1:
            return []
    return [shapely.polygons(kept[0], holes=kept[1:] or None)] if kept else []


def _together(made: list[shapely.Geometry]) -> shapely.Geometry | None:
    if len(made) < 2:
        return made[0] if made else None
    kinds = {geometry.geom_type for geometry in made}
    if kinds == {"Polygon"}:
        return shapely.multipolygons(made)
    return shapely.multilinestrings(made) if kinds == {"LineString"} else shapely.geometrycollections(made)


def shapes_of_wkb(wkb: bytes) -> list[Shape]:
    """Shapes of a well-known binary (OGC 06-103r4, section 8; also the Z and M flags of EWKB).

    Surfaces made of triangles or faces become their polygons. What cannot be read is an "unknown" shape.
    """
    try:
        return list(_Bytes(wkb).shapes())
    except (struct.error, ValueError):
        return [("unknown", [])]


class _Bytes:
    """A position in a well-known binary."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at, self.order = data, 0, "<"

    def integer(self) -> int:
        value: int = struct.unpack_from(self.order + "I", self.data, self.at)[0]
        self.at += 4
        return value

    def points(self, count: int, dimensions: int) -> NDArray[np.float64]:
        values = np.frombuffer(self.data, self.order + "f8", count * dimensions, self.at)
        self.at += values.nbytes
        return values.reshape(count, dimensions)[:, :2].astype(float)

    def shapes(self, depth: int = 0) -> Iterator[Shape]:
        self.order = "<" if self.data[self.at : self.at + 1] == b"\x01" else ">"
        self.at += 1
        code = self.integer()
        if code & 0x20000000:  # EWKB: a reference system follows
            self.integer()
        thousands, kind = divmod(code & 0x0FFFFFFF, 1000)
        flagged = bool(code & 0x80000000) + bool(code & 0x40000000)
        dimensions = 2 + (flagged or (0, 1, 1, 2)[thousands % 4])
        if kind in _COLLECTIONS and depth < 8:
            for _ in range(self.integer()):
                yield from self.shapes(depth + 1)
        elif kind in (_POLYGON, _TRIANGLE):
            rings = self.integer()
            yield "polygon", [self.points(self.integer(), dimensions) for _ in range(rings)]
        elif kind == _LINE:
            yield "line", [self.points(self.integer(), dimensions)]
        elif kind == _POINT:
            yield "point", [self.points(1, dimensions)]
        else:
            raise ValueError(kind)
