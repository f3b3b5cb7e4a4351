"""Visits as CSV, which a spreadsheet opens as data, and as GeoJSON points (RFC 7946)."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from scout.exports.spreadsheet import as_data
from scout.exports.text import cleaned
from scout.geodesy import wrap_lon
from scout.visits import Visit

__all__ = ["properties", "to_csv", "to_geojson"]

_TEXTS = ("call", "operator", "antenna", "radio", "power_w", "bands", "contacts")
_TOLD = ("weather", "conditions", "went_well", "went_badly", "sheet")


def properties(visit: Visit) -> dict[str, Any]:
    """All of a visit but its position; lists stay lists, what is not known is None."""
    return {
        "visit": visit.number,
        "start": _time(visit.start),
        "end": _time(visit.end),
        "error_m": visit.error_m,
        "level": visit.level,
        "locators": list(visit.locators),
        "parks": [cleaned(park.park) for park in visit.parks],
        "park_names": [cleaned(park.name) for park in visit.parks],
        "clearances_m": [park.clearance_m for park in visit.parks],
        "park_confidences": [park.confidence for park in visit.parks],
        "confidence": visit.confidence,
        **{name: _tidy(getattr(visit, name)) for name in (*_TEXTS, *_TOLD)},
    }


def to_csv(visits: Sequence[Visit]) -> str:
    """A row per visit, latitude before longitude; locators are joined by blanks, other lists by ``; ``."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    names = list(properties(Visit(0.0, 0.0, datetime(2000, 1, 1, tzinfo=UTC))))[1:]
    table.writerow(["visit", "latitude", "longitude", *names])
    for visit in visits:
        values = properties(visit)
        place = (f"{visit.lat:.8f}", f"{float(wrap_lon(visit.lon)):.8f}")
        table.writerow([visit.number, *place, *(_cell(name, values[name]) for name in names)])
    return out.getvalue()


def to_geojson(visits: Sequence[Visit]) -> str:
    """A feature collection of points."""
    features = [
        {
            "type": "Feature",
            "id": visit.number,
            "geometry": {
                "type": "Point",
                "coordinates": [round(float(wrap_lon(visit.lon)), 8), round(visit.lat, 8)],
            },
            "properties": properties(visit),
        }
        for visit in visits
    ]
    collection = {"type": "FeatureCollection", "features": features}
    return json.dumps(collection, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _time(time: datetime | None) -> str | None:
    return None if time is None else f"{time.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def _tidy(value: Any) -> Any:
    return cleaned(value) if isinstance(value, str) else value


def _cell(name: str, value: Any) -> Any:
    """A cell a spreadsheet takes as data: text that would start a formula is led by an apostrophe."""
    if value is None:
        return ""
    if isinstance(value, list):
        texts = ["" if item is None else f"{item:g}" if isinstance(item, float) else item for item in value]
        value = (" " if name == "locators" else "; ").join(texts)
    return as_data(value) if isinstance(value, str) else value
