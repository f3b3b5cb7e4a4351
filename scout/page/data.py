"""What the page's script needs to draw, as one JSON text."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np

from scout.geodesy import inverse, move
from scout.model import DATUM_ERROR, GEOMETRY, KIND, PARK_ID, PARK_NAME, Findings, Ranked
from scout.page.drawn import Areas, Drawn, Polygons, draw
from scout.page.frame import MAP_EDGE_LAT, OUTLINE_UNITS_PER_DEG, UNITS_PER_DEG, Frame, frame_of, whole
from scout.page.packed import pack
from scout.page.wording import verdict_class

__all__ = ["escaped_json", "page_data"]

_HOME_CIRCLE_POINTS = 180
_ESCAPES = {c: f"\\u{ord(c):04x}" for c in "<>&\u2028\u2029"}


def page_data(findings: Findings) -> tuple[dict[str, Any], Drawn]:
    """Everything the map draws and judges, and the outlines among it as they were made.

    Coordinates are whole numbers, longitude first, in the page's own frame: ``1 / unitsPerDegree`` degree,
    and ``1 / outlineUnitsPerDegree`` degree in the outlines of parks. A line is ``[x, y, x, y, ...]``; a ring
    is a text, see `scout.page.packed`.
    """
    frame = frame_of(findings)
    parks = findings.parks
    places = np.array([(r.spot.lon, r.spot.lat) for r in findings.spots], dtype=float).reshape(-1, 2)
    drawn_parks = (
        draw(parks[GEOMETRY].to_numpy(), places, frame) if len(parks) else draw(np.array([]), places, frame)
    )
    columns = (PARK_ID, PARK_NAME, KIND, DATUM_ERROR)
    rows = zip(*(parks[column] for column in columns), strict=True) if len(parks) else ()
    number = {}
    drawn = []
    for at, (park_id, name, kind, datum_error_m) in enumerate(rows):
        number[park_id] = at
        drawn.append(
            {
                "id": park_id,
                "name": name,
                "kind": kind,
                "at": _at(*drawn_parks.labels[at], frame),
                "error": findings.station.boundary_error_m + float(datum_error_m),
                "outline": _outline(drawn_parks.parks[at]),
            }
        )
    return {
        "unitsPerDegree": UNITS_PER_DEG,
        "outlineUnitsPerDegree": OUTLINE_UNITS_PER_DEG,
        "mapEdge": MAP_EDGE_LAT,
        "middle": frame.middle,
        "level": findings.level,
        "stationRadius": findings.station.radius_m,
        "fixError": findings.station.fix_error_m,
        "boundaryError": findings.station.boundary_error_m,
        "tolerance": drawn_parks.tolerance_m,
        "spots": [_spot(ranked, number, frame) for ranked in findings.spots],
        "parks": drawn,
        "overlaps": {"two": _area(drawn_parks.twice), "more": _area(drawn_parks.thrice)},
        "home": _home(findings, frame),
    }, drawn_parks


def _spot(ranked: Ranked, number: dict[str, int], frame: Frame) -> dict[str, Any]:
    spot = ranked.spot
    of_parks = [*spot.verdict.parks, *([spot.near.park] if spot.near else [])]
    names = [*spot.park_names, *([spot.near.park_name] if spot.near else [])]
    return {
        "rank": ranked.rank,
        "kind": spot.kind,
        "look": verdict_class(ranked),
        "at": _at(spot.lon, spot.lat, frame),
        "corner": _at(*spot.corner, frame) if spot.corner else None,
        "lines": [[*_at(*s.start, frame), *_at(*s.end, frame)] for s in spot.stretches],
        "miss": _miss(ranked, frame),
        "grids": ranked.n_grids,
        # Far from every park sorts behind all that are near one.
        "clearance": -1e9 if math.isnan(spot.clearance_m) else round(spot.clearance_m, 1),
        "confidence": round(spot.verdict.confidence, 6),
        "home": ranked.home_km,
        "parks": [number[park] for park in of_parks if park in number],
        "words": " ".join([*spot.verdict.locators, *of_parks, *names]),
    }


def _miss(ranked: Ranked, frame: Frame) -> list[int] | None:
    spot = ranked.spot
    if spot.near is None:
        return None
    lon, lat = move(spot.lon, spot.lat, spot.near.bearing_deg, spot.near.distance_m)
    return [*_at(spot.lon, spot.lat, frame), *_at(lon, lat, frame)]


def _home(findings: Findings, frame: Frame) -> dict[str, Any] | None:
    if findings.home is None:
        return None
    lon, lat = findings.home
    circle = None
    to_pole_km = inverse(lon, lat, lon, 90.0 if lat >= 0 else -90.0)[0] / 1000
    # Round a pole the circle is no ring on a Mercator map.
    if findings.within_km and findings.within_km < to_pole_km:
        bearings = np.linspace(0, 360, _HOME_CIRCLE_POINTS, endpoint=False)
        x, y = move(lon, lat, bearings, findings.within_km * 1000)
        # Each point next to the centre, so that the circle stays one over the antimeridian.
        x = frame.lon(lon) + (x - lon + 180) % 360 - 180
        circle = whole(np.column_stack([x, y])).ravel().tolist()
    return {"at": _at(lon, lat, frame), "circle": circle}


def _at(lon: float, lat: float, frame: Frame) -> list[int]:
    pair: list[int] = whole([frame.lon(lon), lat]).tolist()
    return pair


def _outline(polygons: Polygons) -> list[list[str]]:
    return [[pack(ring.units, ring.loose) for ring in rings] for rings in polygons]


def _area(polygons: Areas) -> list[list[str]]:
    return [[pack(ring) for ring in rings] for rings in polygons]


def escaped_json(value: Any) -> str:
    r"""JSON that may stand inside a script element, whatever texts it holds.

    Examples
    --------
    >>> escaped_json({"name": "</script>"})
    '{"name":"\\u003c/script\\u003e"}'
    """
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for character, escape in _ESCAPES.items():
        text = text.replace(character, escape)
    return text
