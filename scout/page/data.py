"""What the page's script needs to show and draw, as one JSON text."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scout.geodesy import inverse, move
from scout.model import ATTRIBUTES, DATUM_ERROR, GEOMETRY, KIND, PARK_ID, PARK_NAME, Findings, Ranked
from scout.page.around import around
from scout.page.drawn import Areas, Drawn, Polygons, draw
from scout.page.frame import MAP_EDGE_LAT, OUTLINE_UNITS_PER_DEG, UNITS_PER_DEG, Frame, frame_of, whole
from scout.page.packed import pack
from scout.page.spot_data import place_units, spot_data

__all__ = ["escaped_json", "page_data"]

_HOME_CIRCLE_POINTS = 180
_ESCAPES = {c: f"\\u{ord(c):04x}" for c in "<>&\u2028\u2029"}


def page_data(findings: Findings) -> tuple[dict[str, Any], Drawn]:
    """Everything the page shows, draws and judges, and the outlines among it as they were made.

    Coordinates are whole numbers, longitude first, in the page's own frame: ``1 / unitsPerDegree`` degree,
    and ``1 / outlineUnitsPerDegree`` degree in the outlines of parks. A line is ``[x, y, x, y, ...]``; a ring
    is a text, see `scout.page.packed`.
    """
    frame = frame_of(findings)
    places = np.array([(r.spot.lon, r.spot.lat) for r in findings.spots], dtype=float).reshape(-1, 2)
    lines = [r.route.line for r in findings.spots if r.route is not None]
    walked = np.array([place for line in lines for place in line], dtype=float).reshape(-1, 2)
    parks, drawn = _parks(findings, places, frame)
    number = {park["id"]: at for at, park in reversed(list(enumerate(parks)))}
    named = _named_only(findings.spots, number)
    return {
        "key": _key(findings),
        "title": findings.title,
        "unitsPerDegree": UNITS_PER_DEG,
        "outlineUnitsPerDegree": OUTLINE_UNITS_PER_DEG,
        "mapEdge": MAP_EDGE_LAT,
        "middle": frame.middle,
        "level": findings.level,
        "stationRadius": findings.station.radius_m,
        "fixError": findings.station.fix_error_m,
        "boundaryError": findings.station.boundary_error_m,
        "tolerance": drawn.tolerance_m,
        "walkLimit": findings.walking.limit_min if findings.walking else None,
        "spots": [spot_data(ranked, number, frame) for ranked in findings.spots],
        "parks": parks,
        "named": named,
        "overlaps": {"two": _area(drawn.twice), "more": _area(drawn.thrice)},
        "around": around(findings.surroundings, places, walked, frame),
        "home": _home(findings, frame),
    }, drawn


def _parks(
    findings: Findings, places: NDArray[np.float64], frame: Frame
) -> tuple[list[dict[str, Any]], Drawn]:
    frame_of_parks = findings.parks
    if not len(frame_of_parks):
        return [], draw(np.array([]), places, frame)
    drawn = draw(frame_of_parks[GEOMETRY].to_numpy(), places, frame)
    more = frame_of_parks[ATTRIBUTES] if ATTRIBUTES in frame_of_parks else [None] * len(frame_of_parks)
    columns = (frame_of_parks[column] for column in (PARK_ID, PARK_NAME, KIND, DATUM_ERROR))
    parks = []
    for at, (park_id, name, kind, datum_error_m, own) in enumerate(zip(*columns, more, strict=True)):
        park = {
            "id": park_id,
            "name": name,
            "kind": kind,
            "at": place_units(*drawn.labels[at], frame),
            "error": findings.station.boundary_error_m + float(datum_error_m),
            "outline": _outline(drawn.parks[at]),
        }
        if isinstance(own, dict) and own:
            park["own"] = [[str(key), str(value)] for key, value in own.items()]
        parks.append(park)
    return parks, drawn


def _named_only(spots: Sequence[Ranked], number: dict[str, int]) -> list[list[str]]:
    """Parks that spots name and whose outline is not here; they are numbered after the others."""
    named = []
    for ranked in spots:
        spot = ranked.spot
        pairs = list(zip(spot.verdict.parks, spot.park_names, strict=True))
        if spot.near:
            pairs.append((spot.near.park, spot.near.park_name))
        for park, name in pairs:
            if park not in number:
                number[park] = len(number)
                named.append([park, name])
    return named


def _key(findings: Findings) -> str:
    """What this page keeps its memory under: the same for every copy of one map, another for another."""
    places = [(r.spot.kind, round(r.spot.lon, 6), round(r.spot.lat, 6)) for r in findings.spots]
    told = json.dumps([findings.title, findings.level, findings.made_on, places]).encode("utf-8", "replace")
    return hashlib.sha256(told).hexdigest()[:12]


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
    return {"at": place_units(lon, lat, frame), "circle": circle}


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
