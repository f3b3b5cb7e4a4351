"""What GDAL does not tell of a GeoJSON file: the coordinate system it names, and geometries it gave up on."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from scout.errors import InputError
from scout.read.archives import mapped
from scout.read.salvage import Shape

__all__ = ["check", "geometries", "shapes_of"]

_TAIL = 4096  # bytes at the end of the file where a late `crs` member is looked for
_LARGEST = 100_000_000  # bytes; beyond it lost geometries are not looked up, parsing would take gigabytes
_KINDS = {"Point": ("point", 0), "LineString": ("line", 0), "Polygon": ("polygon", 1)}


def check(name: str, file: Path) -> str:
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
    with mapped(file) as content:
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


def geometries(file: Path) -> list[Any]:
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


def shapes_of(geometry: dict[str, Any]) -> list[Shape]:
    """The shapes of a GeoJSON geometry, with None for what is no run of positions."""
    return list(_shapes(geometry))


def _shapes(geometry: dict[str, Any]) -> Iterator[Shape]:
    kind = str(geometry.get("type"))
    if kind == "GeometryCollection":
        for part in _listed(geometry.get("geometries")):
            if isinstance(part, dict):
                yield from _shapes(part)
        return
    single = kind.removeprefix("Multi")
    if single not in _KINDS:
        yield "unknown", []
        return
    name, nesting = _KINDS[single]
    coordinates = geometry.get("coordinates")
    for part in _listed(coordinates) if kind != single else [coordinates]:
        yield name, [_points(ring) for ring in (_listed(part) if nesting else [part])]


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _points(value: Any) -> np.ndarray[Any, Any] | None:
    try:
        points = np.array(
            [[*point][:2] for point in value] if isinstance(value[0], list) else [value[:2]], float
        )
    except (TypeError, ValueError, IndexError, KeyError):
        return None
    return points if points.ndim == 2 and points.shape[1] == 2 else None
