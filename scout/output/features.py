"""Places found as GeoJSON, CSV and GeoPackage, under names that all three share."""

from __future__ import annotations

import csv
import io
import json
import math
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import shapely

from scout.cautions import ALWAYS
from scout.geo.antimeridian import cut_geometries, make_path, round_place
from scout.io.geopackage import FeatureTable, build_geopackage
from scout.io.plain_text import clean_text
from scout.model import ATTRIBUTES, DATUM_ERROR, GEOMETRY, KIND, PARK_ID, PARK_NAME, Findings, Ranked, Route
from scout.output.saved import SAVED_URI, dump_findings
from scout.output.text import list_about, list_credits, parse_day

PROPERTIES = (
    "rank",
    "kind",
    "corner",
    "locators",
    "parks",
    "park_names",
    "n_grids",
    "n_parks",
    "yield",
    "clearance_m",
    "confidence",
    "verdict",
    "outline_error_m",
    "stretch_m",
    "home_km",
    "notes",
    "near_park",
    "near_park_name",
    "near_m",
    "near_deg",
    "offset_m",
    "offset_deg",
    "walk_min",
    "back_min",
    "walk_m",
    "climb_m",
    "off_path_m",
    "parking",
    "walk_note",
    "slope_deg",
    "warnings",
    "new_grids",
    "new_parks",
    "new_yield",
)


def make_properties(ranked: Ranked) -> dict[str, Any]:
    """Values by the names of ``PROPERTIES``, in that order; None where nothing is known.

    ``corner`` and ``parking`` are ``[lon, lat]``; ``parking`` is where the walk begins, or the nearest such
    place when there is no walk, and ``walk_note`` then says why. Text is cleaned, not escaped.
    """
    spot, near = ranked.spot, ranked.spot.near
    values = (
        ranked.rank,
        spot.kind,
        None if spot.corner is None else list(round_place(*spot.corner)),
        list(spot.verdict.locators),
        _clean_texts(spot.verdict.parks),
        _clean_texts(spot.park_names),
        ranked.n_grids,
        ranked.n_parks,
        ranked.grid_park_pairs,
        _round_value(spot.clearance_m, 2),
        round(spot.verdict.confidence, 4),
        spot.verdict.word,
        _round_value(spot.verdict.outline_error_m, 1),
        round(spot.stretch_m, 1),
        _round_value(ranked.home_km, 3),
        clean_text(" ".join(spot.notes)),
        None if near is None else clean_text(near.park),
        None if near is None else clean_text(near.park_name),
        None if near is None else _round_value(near.distance_m, 2),
        None if near is None else _round_value(near.bearing_deg, 1),
        round(spot.offset_m, 2),
        round(spot.offset_deg, 1),
        *_list_walk_values(ranked.route),
        _round_value(ranked.slope_deg, 1),
        _clean_texts(ranked.warnings),
        *((None,) * 3 if ranked.new is None else (ranked.new.grids, ranked.new.parks, ranked.new.pairs)),
    )
    return dict(zip(PROPERTIES, values, strict=True))


def _list_walk_values(route: Route | None) -> tuple[Any, ...]:
    if route is None:
        return (None,) * 7
    return (
        _round_value(route.out_min, 1),
        _round_value(route.back_min, 1),
        _round_value(route.length_m, 1),
        _round_value(route.climb_m, 1),
        _round_value(route.off_path_m, 1),
        None if route.start is None else list(round_place(*route.start)),
        None if route.state == "walked" else clean_text(route.reason or route.state),
    )


def _clean_texts(texts: Iterable[str]) -> list[str]:
    return [clean_text(text) for text in texts]


def _round_value(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)


# CSV that a spreadsheet opens as data: no cell becomes a formula.
_FIRST = ("rank", "kind", "latitude", "longitude", "corner_latitude", "corner_longitude")
_REST = tuple(key for key in PROPERTIES if key not in ("rank", "kind", "corner"))
# The full-width forms too: some spreadsheets read them as the plain ones.
_FORMULA = tuple("=+-@＝＋－＠")
_LINE_LED = ("\t", "\r", "\n")


def to_csv(findings: Findings) -> str:
    """One row per spot with latitude and longitude first; lists are joined by blanks or ``; ``.

    Credits, where there are any, are a column: a table has no other place that survives a spreadsheet.
    """
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    credits = [" ".join(list_credits(findings))] if findings.credits else []
    columns = [name for key in _REST for name in _name_columns(key)]
    table.writerow([*_FIRST, *columns, *(["credits"] if credits else [])])
    for ranked in findings.spots:
        values = make_properties(ranked)
        spot = ranked.spot
        row: list[Any] = [
            ranked.rank,
            spot.kind,
            *_swap_pair(round_place(spot.lon, spot.lat)),
            *_swap_pair(values["corner"]),
        ]
        for key in _REST:
            row += _swap_pair(values[key]) if key == "parking" else [_make_cell(key, values[key])]
        table.writerow([*row, *(_make_cell("credits", one) for one in credits)])
    return out.getvalue()


def _name_columns(key: str) -> tuple[str, ...]:
    return ("parking_latitude", "parking_longitude") if key == "parking" else (key,)


def _swap_pair(lon_lat: Any) -> tuple[str, str]:
    """Latitude first, as people expect."""
    return ("", "") if lon_lat is None else (f"{lon_lat[1]:.8f}", f"{lon_lat[0]:.8f}")


def _make_cell(key: str, value: Any) -> Any:
    """A cell a spreadsheet takes as data: text that would start a formula is led by an apostrophe."""
    if value is None:
        return ""
    if isinstance(value, list):
        value = (" " if key == "locators" else "; ").join(value)
    return as_data(value) if isinstance(value, str) else value


def as_data(text: str) -> str:
    """A text that a spreadsheet takes as data: an apostrophe leads what would start a formula.

    What follows a semicolon as well, for in many countries spreadsheets part cells there.

    Examples
    --------
    >>> as_data("=1+1"), as_data("Quiet Cove;=1+1"), as_data("a=b; c")
    ("'=1+1", "Quiet Cove;'=1+1", 'a=b; c')
    """
    return ";".join(f"'{part}" if _starts_formula(part) else part for part in text.split(";"))


def _starts_formula(text: str) -> bool:
    """Whether a spreadsheet may compute a text, once it has dropped what nobody sees at its start."""
    if text.startswith(_LINE_LED):
        return True
    seen = next((c for c in text if not c.isspace() and unicodedata.category(c) not in ("Cc", "Cf")), "")
    return seen in _FORMULA


# GeoJSON as RFC 7946 has it: a point per spot.
def to_geojson(findings: Findings) -> str:
    """RFC 7946 points, one per spot, in rank order; coordinates to 1e-8 deg (a millimetre).

    Credits, where there are any, are a foreign member of the collection (section 6.1).
    """
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": list(round_place(r.spot.lon, r.spot.lat))},
            "properties": make_properties(r),
        }
        for r in findings.spots
    ]
    lines = ",\n".join(json.dumps(f, ensure_ascii=False, allow_nan=False) for f in features)
    credits = json.dumps(list_credits(findings), ensure_ascii=False)
    more = f', "credits": {credits}' if findings.credits else ""
    return f'{{"type": "FeatureCollection"{more}, "features": [\n{lines}\n]}}\n'


# GeoPackage: the layers spots, stretches, parks and routes.
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
    """A GeoPackage in WGS 84; a layer without rows is there all the same. Lists are joined by ``; ``.

    As metadata it carries the best of the findings themselves, for cards and packs without another search.
    """
    findings = replace(findings, spots=tuple(findings.spots))  # made once: three layers look at them
    day = parse_day(findings.made_on)
    tables = [
        _make_spots_table(findings),
        _make_stretches_table(findings),
        _make_parks_table(findings),
        _make_routes_table(findings),
    ]
    changed = f"{day.isoformat() if day else _NO_DAY}T00:00:00.000Z"
    return build_geopackage(tables, changed, (SAVED_URI, dump_findings(findings)))


def _make_spots_table(findings: Findings) -> FeatureTable:
    columns: dict[str, str] = {}
    for key in PROPERTIES:
        for name in _names_of_geopackage(key):
            columns[name] = "INTEGER" if key in _WHOLE else "TEXT" if key in _TEXTS else "REAL"
    rows, points = [], []
    for ranked in findings.spots:
        values = make_properties(ranked)
        rows.append([value for key in PROPERTIES for value in _make_values(key, values[key])])
        points.append(shapely.Point(round_place(ranked.spot.lon, ranked.spot.lat)))
    return FeatureTable("spots", "POINT", "\n".join(list_about(findings)), columns, rows, points)


def _names_of_geopackage(key: str) -> tuple[str, ...]:
    return (f"{key}_latitude", f"{key}_longitude") if key in _PLACES else (key,)


def _make_values(key: str, value: Any) -> tuple[Any, ...]:
    if key in _PLACES:
        return (None, None) if value is None else (value[1], value[0])
    if isinstance(value, list):
        return ((" " if key == "locators" else "; ").join(value),)
    return (value,)


def _make_stretches_table(findings: Findings) -> FeatureTable:
    columns = {"rank": "INTEGER", "line": "TEXT", "locators": "TEXT", "parks": "TEXT", "length_m": "REAL"}
    rows, lines = [], []
    for ranked in findings.spots:
        for stretch in ranked.spot.stretches:
            parks = clean_text("; ".join(stretch.parks))
            locators = " ".join(stretch.locators)
            rows.append((ranked.rank, stretch.line, locators, parks, round(stretch.length_m, 1)))
            lines.append(make_path((stretch.start, stretch.end)))
    return FeatureTable(
        "stretches",
        "MULTILINESTRING",
        "Parts of grid lines along which one set of parks holds; rank is the spot's they belong to.",
        columns,
        rows,
        [_make_multi(line) for line in cut_geometries(lines)],
    )


def _make_parks_table(findings: Findings) -> FeatureTable:
    columns = {"park": "TEXT", "name": "TEXT", "kind": "TEXT", "datum_error_m": "REAL", "attributes": "TEXT"}
    frame = findings.parks
    about = "\n".join([*list_credits(findings), ALWAYS[0]])
    if not len(frame):
        return FeatureTable("parks", "MULTIPOLYGON", about, columns, [], [])
    attributes = frame[ATTRIBUTES] if ATTRIBUTES in frame else [None] * len(frame)
    rows = [
        (clean_text(park), clean_text(name), kind, float(error_m), _format_json(more))
        for park, name, kind, error_m, more in zip(
            *(frame[column] for column in (PARK_ID, PARK_NAME, KIND, DATUM_ERROR)), attributes, strict=True
        )
    ]
    shapes = [_make_multi(shape) for shape in cut_geometries(frame[GEOMETRY])]
    return FeatureTable("parks", "MULTIPOLYGON", about, columns, rows, shapes)


def _make_routes_table(findings: Findings) -> FeatureTable:
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
            values = make_properties(ranked)
            measured = [values[key] for key in list(columns)[:6]]
            rows.append((*measured, route.start_kind, clean_text(route.start_name)))
            lines.append(make_path(route.line))
    shapes = [_make_multi(line) for line in cut_geometries(lines)]
    return FeatureTable("routes", "MULTILINESTRING", "\n".join(ALWAYS), columns, rows, shapes)


def _format_json(attributes: Mapping[str, str] | None) -> str | None:
    """The park's own columns that were asked for; JSON, because their names come from data."""
    texts = {clean_text(name): clean_text(str(value)) for name, value in (attributes or {}).items()}
    return json.dumps(texts, ensure_ascii=False) if texts else None


def _make_multi(geometry: Any) -> Any:
    if geometry.geom_type.startswith("Multi"):
        return geometry
    several = shapely.multipolygons if geometry.geom_type == "Polygon" else shapely.multilinestrings
    return several([geometry])
