"""GeoPackage: the layers spots, stretches, parks and routes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import shapely

from scout.cautions import ALWAYS
from scout.exports.antimeridian import cut, path, place
from scout.exports.dates import day_of
from scout.exports.feature_tables import FeatureTable, geopackage
from scout.exports.properties import PROPERTIES, properties
from scout.exports.text import cleaned
from scout.exports.words import about, credit_lines
from scout.model import ATTRIBUTES, DATUM_ERROR, GEOMETRY, KIND, PARK_ID, PARK_NAME, Findings

__all__ = ["to_gpkg"]

_NO_DAY = "1970-01-01"  # where the findings have none: a file needs one
_WHOLE = ("rank", "n_grids", "n_parks", "yield")
_TEXTS = (
    "kind",
    "locators",
    "parks",
    "park_names",
    "verdict",
    "notes",
    "near_park",
    "near_park_name",
    "walk_note",
    "warnings",
)
_PLACES = ("corner", "parking")  # two columns each


def to_gpkg(findings: Findings) -> bytes:
    """A GeoPackage in WGS 84; a layer without rows is there all the same. Lists are joined by ``; ``."""
    findings = replace(findings, spots=tuple(findings.spots))  # made once: three layers look at them
    day = day_of(findings.made_on)
    tables = [_spots(findings), _stretches(findings), _parks(findings), _routes(findings)]
    return geopackage(tables, f"{day.isoformat() if day else _NO_DAY}T00:00:00.000Z")


def _spots(findings: Findings) -> FeatureTable:
    columns: dict[str, str] = {}
    for key in PROPERTIES:
        for name in _names(key):
            columns[name] = "INTEGER" if key in _WHOLE else "TEXT" if key in _TEXTS else "REAL"
    rows, points = [], []
    for ranked in findings.spots:
        values = properties(ranked)
        rows.append([value for key in PROPERTIES for value in _values(key, values[key])])
        points.append(shapely.Point(place(ranked.spot.lon, ranked.spot.lat)))
    return FeatureTable("spots", "POINT", "\n".join(about(findings)), columns, rows, points)


def _names(key: str) -> tuple[str, ...]:
    return (f"{key}_latitude", f"{key}_longitude") if key in _PLACES else (key,)


def _values(key: str, value: Any) -> tuple[Any, ...]:
    if key in _PLACES:
        return (None, None) if value is None else (value[1], value[0])
    if isinstance(value, list):
        return ((" " if key == "locators" else "; ").join(value),)
    return (value,)


def _stretches(findings: Findings) -> FeatureTable:
    columns = {"rank": "INTEGER", "line": "TEXT", "locators": "TEXT", "parks": "TEXT", "length_m": "REAL"}
    rows, lines = [], []
    for ranked in findings.spots:
        for stretch in ranked.spot.stretches:
            parks = cleaned("; ".join(stretch.parks))
            locators = " ".join(stretch.locators)
            rows.append((ranked.rank, stretch.line, locators, parks, round(stretch.length_m, 1)))
            lines.append(path((stretch.start, stretch.end)))
    return FeatureTable(
        "stretches",
        "MULTILINESTRING",
        "Parts of grid lines along which one set of parks holds; rank is the spot's they belong to.",
        columns,
        rows,
        [_multi(line) for line in cut(lines)],
    )


def _parks(findings: Findings) -> FeatureTable:
    columns = {"park": "TEXT", "name": "TEXT", "kind": "TEXT", "datum_error_m": "REAL", "attributes": "TEXT"}
    frame = findings.parks
    told = "\n".join([*credit_lines(findings), ALWAYS[0]])
    if not len(frame):
        return FeatureTable("parks", "MULTIPOLYGON", told, columns, [], [])
    attributes = frame[ATTRIBUTES] if ATTRIBUTES in frame else [None] * len(frame)
    rows = [
        (cleaned(park), cleaned(name), kind, float(error_m), _json(more))
        for park, name, kind, error_m, more in zip(
            *(frame[column] for column in (PARK_ID, PARK_NAME, KIND, DATUM_ERROR)), attributes, strict=True
        )
    ]
    shapes = [_multi(shape) for shape in cut(frame[GEOMETRY])]
    return FeatureTable("parks", "MULTIPOLYGON", told, columns, rows, shapes)


def _routes(findings: Findings) -> FeatureTable:
    columns = {
        "rank": "INTEGER",
        "walk_min": "REAL",
        "back_min": "REAL",
        "walk_m": "REAL",
        "climb_m": "REAL",
        "off_path_m": "REAL",
        "start_kind": "TEXT",
        "start_name": "TEXT",
    }
    rows, lines = [], []
    for ranked in findings.spots:
        route = ranked.route
        if route is not None and len(route.line) > 1:
            values = properties(ranked)
            measured = [values[key] for key in list(columns)[:6]]
            rows.append((*measured, route.start_kind, cleaned(route.start_name)))
            lines.append(path(route.line))
    shapes = [_multi(line) for line in cut(lines)]
    return FeatureTable("routes", "MULTILINESTRING", "\n".join(ALWAYS), columns, rows, shapes)


def _json(attributes: Mapping[str, str] | None) -> str | None:
    """The park's own columns that were asked for; JSON, because their names come from data."""
    texts = {cleaned(name): cleaned(str(value)) for name, value in (attributes or {}).items()}
    return json.dumps(texts, ensure_ascii=False) if texts else None


def _multi(geometry: Any) -> Any:
    if geometry.geom_type.startswith("Multi"):
        return geometry
    several = shapely.multipolygons if geometry.geom_type == "Polygon" else shapely.multilinestrings
    return several([geometry])
