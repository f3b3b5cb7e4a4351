"""GeoJSON looked at before GDAL does, and geometry recovered that GDAL gives up on.

Geometries with broken rings, ring by ring: an open ring is closed, one of too few points is left out.

Shapely refuses a whole geometry for one such ring. Only records that it refused come here.
"""

from __future__ import annotations

import json
import re
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.errors import InputError
from scout.io.local_files import map_file

# ("polygon" | "line" | "point" | "unknown", its rings or its one run of points; None where unreadable)
Shape = tuple[str, Sequence[NDArray[np.float64] | None]]

_POINT, _LINE, _POLYGON, _TRIANGLE = 1, 2, 3, 17
_COLLECTIONS = (4, 5, 6, 7, 15, 16)  # multi-part types, collection, polyhedral surface, TIN


@dataclass
class RecoveredShape:
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


def assemble_shapes(shapes: Sequence[Shape]) -> RecoveredShape:
    """Make one geometry of the shapes that can be kept."""
    result = RecoveredShape()
    made: list[shapely.Geometry] = []
    for number, (kind, runs) in enumerate(shapes, start=1):
        part = f" of part {number}" if len(shapes) > 1 else ""
        if kind == "polygon":
            made += _make_polygon(runs, part, result)
        elif not runs or runs[0] is None or len(runs[0]) < (2 if kind == "line" else 1):
            result.lost.append(f"the {'geometry' if kind == 'unknown' else kind}{part} cannot be read")
        else:
            made.append(shapely.linestrings(runs[0]) if kind == "line" else shapely.points(runs[0][0]))
    result.geometry = _join_made(made)
    return result


def _make_polygon(
    rings: Sequence[NDArray[np.float64] | None], part: str, result: RecoveredShape
) -> list[Any]:
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


def _join_made(made: list[shapely.Geometry]) -> shapely.Geometry | None:
    if len(made) < 2:
        return made[0] if made else None
    kinds = {geometry.geom_type for geometry in made}
    if kinds == {"Polygon"}:
        return shapely.multipolygons(made)
    return shapely.multilinestrings(made) if kinds == {"LineString"} else shapely.geometrycollections(made)


def list_wkb_shapes(wkb: bytes) -> list[Shape]:
    """Shapes of a well-known binary (OGC 06-103r4, section 8; also the Z and M flags of EWKB).

    Surfaces made of triangles or faces become their polygons. What cannot be read is an "unknown" shape.
    """
    try:
        return list(_WkbCursor(wkb).shapes())
    except (struct.error, ValueError):
        return [("unknown", [])]


class _WkbCursor:
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


# What GDAL does not tell of a GeoJSON file: the coordinate system it names, and geometries it gave up on.
_TAIL = 4096  # bytes at the end of the file where a late `crs` member is looked for
_LARGEST = 100_000_000  # bytes; beyond it lost geometries are not looked up, parsing would take gigabytes
_KINDS = {"Point": ("point", 0), "LineString": ("line", 0), "Polygon": ("polygon", 1)}


def check_geojson(name: str, file: Path) -> str:
    """Look at the text before GDAL does.

    Returns
    -------
    str
        The coordinate system it names: by the `crs` member of the 2008 format, else WGS 84 (RFC 7946).
        Empty if that member is null, which meant "unknown".

    Raises
    ------
    InputError
        No JSON object, or a `crs` member that links to somewhere.
    """
    with map_file(file) as content:
        head = content[:64].removeprefix(b"\xef\xbb\xbf").lstrip()
        if not head.startswith(b"{"):
            raise InputError(name, "is no GeoJSON object", "export it as GeoJSON again")
        start = content.find(b'"features"')
        members = content[: start if start >= 0 else len(content)] + content[-_TAIL:]
    found = re.search(rb'"crs"\s*:\s*(null\b|\{)', members)
    if found is None:
        return "EPSG:4326"
    if found[1] == b"null":
        return ""
    try:
        text = members[found.start(1) : found.start(1) + _TAIL].decode("utf-8", errors="replace")
        crs = json.JSONDecoder().raw_decode(text)[0]
        stated, kind = crs.get("properties") or {}, str(crs.get("type")).lower()
    except (ValueError, AttributeError):
        return "crs member that cannot be read"
    if kind not in ("name", "epsg"):
        raise InputError(name, f"its crs member is of type {kind}, not a name", "name the system by its code")
    return f"EPSG:{stated.get('code')}" if kind == "epsg" else str(stated.get("name"))


def list_geometries(file: Path) -> list[Any]:
    """The geometry of every record as the text has it, for those that GDAL gives up on.

    Empty for very large files and for text that Python cannot read either.
    """
    if file.stat().st_size > _LARGEST:
        return []
    try:
        whole = json.loads(file.read_text("utf-8-sig"))
        features = whole.get("features", [whole])
        return [feature.get("geometry") for feature in features if isinstance(feature, dict)]
    except (ValueError, AttributeError, TypeError, RecursionError):
        return []


def list_shapes(geometry: dict[str, Any]) -> list[Shape]:
    """The shapes of a GeoJSON geometry, with None for what is no run of positions."""
    return list(_iterate_shapes(geometry))


def _iterate_shapes(geometry: dict[str, Any]) -> Iterator[Shape]:
    kind = str(geometry.get("type"))
    if kind == "GeometryCollection":
        for part in _list_members_of(geometry.get("geometries")):
            if isinstance(part, dict):
                yield from _iterate_shapes(part)
        return
    single = kind.removeprefix("Multi")
    if single not in _KINDS:
        yield "unknown", []
        return
    name, nesting = _KINDS[single]
    coordinates = geometry.get("coordinates")
    for part in _list_members_of(coordinates) if kind != single else [coordinates]:
        yield name, [_parse_points(ring) for ring in (_list_members_of(part) if nesting else [part])]


def _list_members_of(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _parse_points(value: Any) -> np.ndarray[Any, Any] | None:
    try:
        points = np.array(
            [[*point][:2] for point in value] if isinstance(value[0], list) else [value[:2]], float
        )
    except (TypeError, ValueError, IndexError, KeyError):
        return None
    return points if points.ndim == 2 and points.shape[1] == 2 else None
