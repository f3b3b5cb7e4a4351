"""Everything the page shows, draws and judges, as one block of data."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from itertools import chain, islice, pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cautions import select_entry_notes, warn_of_outline
from scout.errors import PlaceError
from scout.geo.coordinates.grids import format_utm
from scout.geo.geodesy import measure_geodesic, move_point
from scout.model import (
    ATTRIBUTES,
    DATUM_ERROR,
    GEOMETRY,
    KIND,
    PARK_ID,
    PARK_NAME,
    Aim,
    Findings,
    Ranked,
    Route,
    Spot,
)
from scout.output.text import Length, MeasuredText, name_verdict_class
from scout.page.around import make_surroundings_data
from scout.page.contours import make_contour_data
from scout.page.geography import make_geography_data
from scout.page.outlines import Areas, DrawnParks, Polygons, draw_parks
from scout.page.packing import (
    MAP_EDGE_LAT,
    OUTLINE_UNITS_PER_DEG,
    UNITS_PER_DEG,
    PageFrame,
    choose_frame,
    convert_to_units,
    pack_ring,
    pack_rings,
)
from scout.page.shading import make_shading_data
from scout.search.describe import find_coarse_outlines
from scout.search.rank import edge_m, has_plenty
from scout.sight.outlook import compute_possible, describe_aim, describe_horizon, look_towards
from scout.tours.day import Trip, TripTour

WALK_TOLERANCE_M = 4.0  # drawn walks stray by no more; they come from cells of some 10 m
DRIVE_TOLERANCE_M = 20.0  # drawn drives stray by no more
_METRES_PER_DEG = 111_200.0
_PROFILE_POINTS = 32  # more cannot be seen in a picture of 300 pixels
_LEAST_OFFSET_M = 0.05  # less is standing on it


def convert_place(lon: float, lat: float, frame: PageFrame) -> list[int]:
    """A place in the page's own whole numbers, longitude first."""
    pair: list[int] = convert_to_units([frame.lon(lon), lat]).tolist()
    return pair


def make_spot_data(
    ranked: Ranked, number: Mapping[str, int], frame: PageFrame, aims: Sequence[Aim] = ()
) -> dict[str, Any]:
    """A spot in the words of ``spots.js``; what is empty is left out.

    Parameters
    ----------
    ranked : Ranked
    number : mapping
        Park id to its place among the parks that the page names.
    frame : Frame
        The page's longitudes.
    aims : sequence of Aim
        Where the spots are to look.
    """
    spot, verdict = ranked.spot, ranked.spot.verdict
    values = {
        "rank": ranked.rank,
        "kind": spot.kind,
        "look": name_verdict_class(ranked),
        "worth": [ranked.n_grids, ranked.n_parks, ranked.grid_park_pairs],
        "missing": None if ranked.new is None else [ranked.new.grids, ranked.new.parks, ranked.new.pairs],
        "at": convert_place(spot.lon, spot.lat, frame),
        "utm": _format_spot_utm(spot),
        "corner": convert_place(*spot.corner, frame) if spot.corner else None,
        "offset": _make_offset(spot),
        "locators": list(verdict.locators),
        "parks": [number[park] for park in verdict.parks],
        "clearances": [_round_fine(c) for c in verdict.clearances_m],
        "inside": [_round_p(p) for p in verdict.parks_p],
        "touching": _round_p(verdict.grids_p),
        "confidence": _round_p(verdict.confidence),
        "outlines": len(verdict.coarse) or None,
        "plenty": has_plenty(ranked) or None,
        "edge": _round_fine(edge_m(ranked)),
        "home": None if ranked.home_km is None else round(ranked.home_km, 7),
        "near": _make_near_data(spot, number, frame),
        "stretches": [
            [
                *convert_place(*s.start, frame),
                *convert_place(*s.end, frame),
                _round_fine(s.length_m),
                s.line,
                list(s.locators),
                [number[park] for park in s.parks if park in number],
            ]
            for s in spot.stretches
        ],
        "notes": [_make_text_data(note) for note in spot.notes],
        "entry": [k for k, note in enumerate(spot.notes) if select_entry_notes([note])],
        "warnings": [_make_text_data(warning) for warning in ranked.warnings],
        "slope": None if ranked.slope_deg is None else _round_fine(ranked.slope_deg),
        "walk": None if ranked.route is None else _make_walk_data(ranked.route, frame),
        "sight": None if ranked.horizon is None else _make_sight_data(ranked, aims),
    }
    return {key: value for key, value in values.items() if value not in (None, [])}


def _round_p(share: float) -> float:
    """Six digits, rounded down: a probability never looks better than it is."""
    return math.floor(share * 1e6 + 1e-6) / 1e6


def _format_spot_utm(spot: Spot) -> str | None:
    try:
        return format_utm(spot.lon, spot.lat)
    except PlaceError:
        return None  # UTM ends before the poles


def _make_text_data(text: str) -> str | list[str | list[float | str]]:
    """A text; where it knows its lengths, texts and ``[metres, form]``, to be worded by the page."""
    if not isinstance(text, MeasuredText):
        return text
    return [[round(part.metres, 4), part.form] if isinstance(part, Length) else part for part in text.parts]


def _make_offset(spot: Spot) -> list[float | None] | None:
    if spot.offset_m < _LEAST_OFFSET_M:
        return None
    return [_round_fine(spot.offset_m), _round_fine(spot.offset_deg)]


def _make_near_data(spot: Spot, number: Mapping[str, int], frame: PageFrame) -> dict[str, Any] | None:
    if spot.near is None:
        return None
    lon, lat = move_point(spot.lon, spot.lat, spot.near.bearing_deg, spot.near.distance_m)
    return {
        "park": number[spot.near.park],
        "away": [_round_fine(spot.near.distance_m), _round_fine(spot.near.bearing_deg)],
        "to": convert_place(lon, lat, frame),
    }


def _make_walk_data(route: Route, frame: PageFrame) -> dict[str, Any]:
    """The line as a packed ring whose loose edges are those off paths; heights as one of metres."""
    values = {
        "state": route.state,
        "reason": _make_text_data(route.reason),
        "out": _round_fine(route.out_min),
        "back": _round_fine(route.back_min),
        "length": _round_fine(route.length_m),
        "climb": _round_fine(route.climb_m),
        "off": _round_fine(route.off_path_m),
        "start": None if route.start is None else convert_place(*route.start, frame),
        "startKind": route.start_kind,
        "startName": route.start_name,
        "straight": _round_fine(route.straight_m),
        "line": _pack_walk_line(route, frame),
        "profile": _pack_profile(route),
    }
    return {key: value for key, value in values.items() if value not in (None, "")}


_SIGHT_ANGLES = 120  # round a spot: the highest of three degrees each
_DIGITS = "0123456789abcdefghijklmnopqrstuvwxyz"


def _make_sight_data(ranked: Ranked, aims: Sequence[Aim]) -> dict[str, Any]:
    """The horizon in the words of ``horizon_details.js``: angles all round, sentences, bearings of aims."""
    horizon, spot = ranked.horizon, ranked.spot
    assert horizon is not None
    deg, most = np.array(horizon.deg), compute_possible(horizon)
    seen = look_towards(horizon, spot.lon, spot.lat, aims)
    values = {
        "deg": _pack_angles(deg),
        "most": _pack_angles(most) if (most > deg + 0.05).any() else None,
        "lines": [_make_text_data(line) for line in describe_horizon(horizon)],
        "aims": [[round(aim.bearing_deg, 1), _make_text_data(describe_aim(aim))] for aim in seen],
    }
    return {key: value for key, value in values.items() if value not in (None, [])}


def _pack_angles(deg: NDArray[np.float64]) -> str:
    """Angles from north on, two digits to the base of 36 each: tenths of a degree over -10."""
    highest = np.roll(deg, 1).reshape(_SIGHT_ANGLES, -1).max(axis=1)  # about 0, 3, 6 ... degrees
    tenths = np.clip(np.ceil(10.0 * (highest + 10.0) - 1e-6), 0, 1100).astype(np.int64).tolist()
    return "".join(f"{_DIGITS[one // 36]}{_DIGITS[one % 36]}" for one in tenths)


def _round_fine(value: float | None) -> float | None:
    """Four digits: rounded to tenths here, it would now and then read otherwise than in other outputs."""
    return None if value is None or not math.isfinite(value) else round(value, 4)


def _pack_walk_line(route: Route, frame: PageFrame) -> str:
    """The walk's line, each run on or off paths simplified by itself, so that every change of kind stays."""
    if len(route.line) < 2:
        return ""
    xy = np.array(route.line, dtype=float)
    xy[:, 0] += float(frame.turns(xy[0, 0]))
    off = ~np.array(route.on_path, dtype=bool)
    cuts = np.flatnonzero(np.diff(off)) + 1
    wide = max(math.cos(math.radians(xy[0, 1])), 0.02)
    at, loose = [], []
    for first, last in pairwise([0, *cuts.tolist(), len(xy) - 1]):
        plane = np.column_stack([xy[first : last + 1] * [wide, 1.0], np.arange(first, last + 1)])
        run = shapely.simplify(
            shapely.LineString(plane), WALK_TOLERANCE_M / _METRES_PER_DEG, preserve_topology=False
        )
        kept = shapely.get_coordinates(run, include_z=True)[:-1, 2].astype(int).tolist()
        at += kept
        loose += [off[first]] * len(kept)
    return pack_ring(convert_to_units(xy[[*at, len(xy) - 1]]), np.array([*loose, False]))


def _pack_profile(route: Route) -> str:
    """Distance and height of points, whole metres, thinned evenly, both ends kept."""
    points = [(d, h) for d, h in route.profile if math.isfinite(d) and math.isfinite(h)]
    if len(points) > _PROFILE_POINTS:
        last = len(points) - 1
        points = [points[round(k * last / (_PROFILE_POINTS - 1))] for k in range(_PROFILE_POINTS)]
    return pack_ring(np.rint(np.array(points)).astype(np.int64)) if len(points) > 1 else ""


# What the page's script needs to show and draw, as one JSON text.
_HOME_CIRCLE_POINTS = 180
_ESCAPES = {c: f"\\u{ord(c):04x}" for c in "<>&\u2028\u2029"}


def make_page_data(findings: Findings, trip: Trip | None = None) -> tuple[dict[str, Any], DrawnParks]:
    """Everything the page shows, draws and judges, and the outlines among it as they were made.

    Coordinates are whole numbers, longitude first, in the page's own frame: ``1 / unitsPerDegree`` degree,
    and ``1 / outlineUnitsPerDegree`` degree in the outlines of parks. A line is ``[x, y, x, y, ...]``; a ring
    is a text, see `scout.page.packing`.
    """
    frame = choose_frame(findings)
    places = np.array([(r.spot.lon, r.spot.lat) for r in findings.spots], dtype=float).reshape(-1, 2)
    lines = [r.route.line for r in findings.spots if r.route is not None]
    walked = np.array([place for line in lines for place in line], dtype=float).reshape(-1, 2)
    parks, drawn = _make_park_data(findings, places, frame)
    around = findings.surroundings
    number = {park["id"]: at for at, park in reversed(list(enumerate(parks)))}
    named = _list_named_only(findings.spots, number)
    return {
        "key": _make_key(findings),
        "title": findings.title,
        "unitsPerDegree": UNITS_PER_DEG,
        "outlineUnitsPerDegree": OUTLINE_UNITS_PER_DEG,
        "mapEdge": MAP_EDGE_LAT,
        "middle": frame.middle,
        "level": findings.level,
        "units": findings.units,
        "stationRadius": findings.station.radius_m,
        "fixError": findings.station.fix_error_m,
        "boundaryError": findings.station.boundary_error_m,
        "tolerance": drawn.tolerance_m,
        "walkLimit": findings.walking.limit_min if findings.walking else None,
        "spots": [make_spot_data(ranked, number, frame, findings.aims) for ranked in findings.spots],
        "parks": parks,
        "named": named,
        "overlaps": {"two": _pack_area(drawn.twice), "more": _pack_area(drawn.thrice)},
        "around": make_surroundings_data(around, places, walked, frame),
        "shading": make_shading_data(around.shading if around else (), frame),
        "contours": make_contour_data(around.contours if around else (), frame),
        "geography": make_geography_data(_list_shown(findings, places, drawn), frame),
        "home": _make_home_data(findings, frame),
        **({} if trip is None else {"trip": [_make_tour_data(tour, frame) for tour in trip.tours]}),
    }, drawn


def _make_tour_data(tour: TripTour, frame: PageFrame) -> dict[str, Any]:
    """The drives of a tour as packed rings, and where its places are, in order."""
    legs = [leg for day in tour.days for leg in (*(visit.leg for visit in day.visits), day.back)]
    return {
        "stops": [
            convert_place(visit.ranked.spot.lon, visit.ranked.spot.lat, frame) for visit in tour.visits
        ],
        "legs": [
            {"line": _pack_drive(leg.line, frame), **({} if leg.by_road else {"estimated": 1})}
            for leg in legs
            if len(leg.line) > 1
        ],
    }


def _pack_drive(line: Sequence[tuple[float, float]], frame: PageFrame) -> str:
    xy = np.array(line, dtype=float)
    xy[:, 0] = xy[0, 0] + (xy[:, 0] - xy[0, 0] + 180.0) % 360.0 - 180.0
    xy[:, 0] += float(frame.turns(xy[0, 0]))
    wide = max(math.cos(math.radians(xy[0, 1])), 0.02)
    run = shapely.LineString(xy * [wide, 1.0]).simplify(DRIVE_TOLERANCE_M / _METRES_PER_DEG)
    return pack_ring(convert_to_units(shapely.get_coordinates(run) / [wide, 1.0]))


def _list_shown(findings: Findings, places: NDArray[np.float64], drawn: DrawnParks) -> NDArray[np.float64]:
    """Longitude and latitude of all that the page has something to show at: spots, home, parks."""
    home = [] if findings.home is None else [findings.home]
    return np.array([*places.tolist(), *home, *drawn.labels], dtype=float).reshape(-1, 2)


def _make_park_data(
    findings: Findings, places: NDArray[np.float64], frame: PageFrame
) -> tuple[list[dict[str, Any]], DrawnParks]:
    frame_of_parks = findings.parks
    if not len(frame_of_parks):
        return [], draw_parks(np.array([]), places, frame)
    drawn = draw_parks(frame_of_parks[GEOMETRY].to_numpy(), places, frame)
    more = frame_of_parks[ATTRIBUTES] if ATTRIBUTES in frame_of_parks else [None] * len(frame_of_parks)
    coarse = find_coarse_outlines(frame_of_parks, findings.station)
    columns = (frame_of_parks[column] for column in (PARK_ID, PARK_NAME, KIND, DATUM_ERROR))
    parks = []
    for at, (park_id, name, kind, datum_error_m, own) in enumerate(zip(*columns, more, strict=True)):
        park = {
            "id": park_id,
            "name": name,
            "kind": kind,
            "at": convert_place(*drawn.labels[at], frame),
            "error": findings.station.boundary_error_m + float(datum_error_m),
            "outline": _pack_outline(drawn.parks[at]),
        }
        outline = coarse[at]
        if outline is not None:
            park["coarse"] = _make_text_data(warn_of_outline(outline))
        if isinstance(own, dict) and own:
            park["own"] = [[str(key), str(value)] for key, value in own.items()]
        parks.append(park)
    return parks, drawn


def _list_named_only(spots: Sequence[Ranked], number: dict[str, int]) -> list[list[str]]:
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


def _make_key(findings: Findings) -> str:
    """What this page keeps its memory under: the same for every copy of one map, another for another."""
    places = [(r.spot.kind, round(r.spot.lon, 6), round(r.spot.lat, 6)) for r in findings.spots]
    facts = json.dumps([findings.title, findings.level, findings.made_on, places]).encode("utf-8", "replace")
    return hashlib.sha256(facts).hexdigest()[:12]


def _make_home_data(findings: Findings, frame: PageFrame) -> dict[str, Any] | None:
    if findings.home is None:
        return None
    lon, lat = findings.home
    circle = None
    to_pole_km = measure_geodesic(lon, lat, lon, 90.0 if lat >= 0 else -90.0)[0] / 1000
    # Round a pole the circle is no ring on a Mercator map.
    if findings.within_km and findings.within_km < to_pole_km:
        bearings = np.linspace(0, 360, _HOME_CIRCLE_POINTS, endpoint=False)
        x, y = move_point(lon, lat, bearings, findings.within_km * 1000)
        # Each point next to the centre, so that the circle stays one over the antimeridian.
        x = frame.lon(lon) + (x - lon + 180) % 360 - 180
        circle = convert_to_units(np.column_stack([x, y])).ravel().tolist()
    return {"at": convert_place(lon, lat, frame), "circle": circle}


def _pack_outline(polygons: Polygons) -> list[list[str]]:
    loose = [ring.loose for rings in polygons for ring in rings]
    units = [[ring.units for ring in rings] for rings in polygons]
    return _pack_lists(units, np.concatenate(loose) if loose else None)


def _pack_area(polygons: Areas) -> list[list[str]]:
    return _pack_lists(polygons)


def _pack_lists(polygons: Areas, loose: NDArray[np.bool_] | None = None) -> list[list[str]]:
    """Rings of polygons as texts; what is loose, of all vertices of all rings."""
    rings = [*chain(*polygons)]
    if not rings:
        return [[] for _ in polygons]
    texts = iter(pack_rings(np.concatenate(rings), np.array([*map(len, rings)]), loose))
    return [[*islice(texts, len(some))] for some in polygons]


def format_script_json(value: Any) -> str:
    r"""JSON that may stand inside a script element, whatever texts it holds.

    Examples
    --------
    >>> format_script_json({"name": "</script>"})
    '{"name":"\\u003c/script\\u003e"}'
    """
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for character, escape in _ESCAPES.items():
        text = text.replace(character, escape)
    return text
