"""Findings to bytes, one function per format."""

from __future__ import annotations

import csv
import io
import json
from pathlib import PurePath
from typing import Any

from scout.errors import OutputError
from scout.model import Findings, Ranked

__all__ = ["FORMATS", "export", "to_csv", "to_geojson"]


def export(findings: Findings, path: str) -> str:
    """Text of the findings in the format of a path's suffix.

    Raises
    ------
    OutputError
        When no format goes by that suffix.
    """
    suffix = PurePath(path).suffix.lower()
    if suffix not in FORMATS:
        raise OutputError(path, f"no format goes by {suffix or 'no suffix'}", f"use {' or '.join(FORMATS)}")
    return FORMATS[suffix](findings)


def to_geojson(findings: Findings) -> str:
    """RFC 7946 points, one per spot, in rank order; coordinates to 1e-8 deg (a millimetre)."""
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [round(r.spot.lon, 8), round(r.spot.lat, 8)]},
            "properties": _properties(r),
        }
        for r in findings.spots
    ]
    lines = ",\n".join(json.dumps(f, ensure_ascii=False, allow_nan=False) for f in features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'


def to_csv(findings: Findings) -> str:
    """One row per spot with latitude and longitude first; lists are joined by blanks or ``; ``."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    columns = ["rank", "kind", "latitude", "longitude", "corner_latitude", "corner_longitude"]
    rest = [key for key in _PROPERTIES if key not in ("rank", "kind", "corner")]
    table.writerow([*columns, *rest])
    for ranked in findings.spots:
        values = _properties(ranked)
        corner = values["corner"] or ["", ""]
        spot = ranked.spot
        row = [ranked.rank, spot.kind, f"{spot.lat:.8f}", f"{spot.lon:.8f}", corner[1], corner[0]]
        table.writerow([*row, *(_cell(key, values[key]) for key in rest)])
    return out.getvalue()


def _properties(ranked: Ranked) -> dict[str, Any]:
    spot, near = ranked.spot, ranked.spot.near
    values = (
        ranked.rank,
        spot.kind,
        None if spot.corner is None else list(spot.corner),
        list(spot.verdict.locators),
        list(spot.verdict.parks),
        list(spot.park_names),
        ranked.n_grids,
        ranked.n_parks,
        ranked.grid_park_pairs,
        round(spot.clearance_m, 2),
        round(spot.verdict.confidence, 4),
        spot.verdict.word,
        round(spot.stretch_m, 1),
        None if ranked.home_km is None else round(ranked.home_km, 3),
        " ".join(spot.notes),
        None if near is None else near.park,
        None if near is None else near.park_name,
        None if near is None else round(near.distance_m, 2),
        None if near is None else round(near.bearing_deg, 1),
        round(spot.offset_m, 2),
        round(spot.offset_deg, 1),
    )
    return dict(zip(_PROPERTIES, values, strict=True))


_PROPERTIES = (
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
    "stretch_m",
    "home_km",
    "notes",
    "near_park",
    "near_park_name",
    "near_m",
    "near_deg",
    "offset_m",
    "offset_deg",
)


def _cell(key: str, value: Any) -> Any:
    """A cell a spreadsheet takes as data: text that would start a formula is led by an apostrophe."""
    if value is None:
        return ""
    if isinstance(value, list):
        value = (" " if key == "locators" else "; ").join(value)
    if isinstance(value, str):
        value = value.replace("\x00", "\ufffd")
        return f"'{value}" if value.lstrip().startswith(("=", "+", "-", "@")) else value
    return value


FORMATS = {".geojson": to_geojson, ".csv": to_csv}
