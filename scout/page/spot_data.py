"""One spot as the page's script gets it: numbers and names, no sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from scout.coordinates import utm
from scout.errors import PlaceError
from scout.geodesy import move
from scout.model import Ranked, Spot
from scout.page.frame import Frame, whole
from scout.page.packed import pack
from scout.page.wording import verdict_class
from scout.rank import edge_m, has_plenty
from scout.surroundings import Route

__all__ = ["WALK_TOLERANCE_M", "place_units", "spot_data"]

WALK_TOLERANCE_M = 4.0  # drawn walks stray by no more; they come from cells of some 10 m
_METRES_PER_DEG = 111_200.0
_PROFILE_POINTS = 32  # more cannot be seen in a picture of 300 pixels
_LEAST_OFFSET_M = 0.05  # less is standing on it


def place_units(lon: float, lat: float, frame: Frame) -> list[int]:
    """A place in the page's own whole numbers, longitude first."""
    pair: list[int] = whole([frame.lon(lon), lat]).tolist()
    return pair


def spot_data(ranked: Ranked, number: Mapping[str, int], frame: Frame) -> dict[str, Any]:
    """A spot in the words of ``spots.js``; what is empty is left out.

    Parameters
    ----------
    ranked : Ranked
    number : mapping
        Park id to its place among the parks that the page names.
    frame : Frame
        The page's longitudes.
    """
    spot, verdict = ranked.spot, ranked.spot.verdict
    told = {
        "rank": ranked.rank,
        "kind": spot.kind,
        "look": verdict_class(ranked),
        "worth": [ranked.n_grids, ranked.n_parks, ranked.grid_park_pairs],
        "missing": None if ranked.new is None else [ranked.new.grids, ranked.new.parks, ranked.new.pairs],
        "at": place_units(spot.lon, spot.lat, frame),
        "utm": _utm(spot),
        "corner": place_units(*spot.corner, frame) if spot.corner else None,
        "offset": _offset(spot),
        "locators": list(verdict.locators),
        "parks": [number[park] for park in verdict.parks],
        "clearances": [round(c, 1) for c in verdict.clearances_m],
        "inside": [_p(p) for p in verdict.parks_p],
        "touching": _p(verdict.grids_p),
        "confidence": _p(verdict.confidence),
        "plenty": has_plenty(ranked) or None,
        "edge": _tenths(edge_m(ranked)),
        "home": None if ranked.home_km is None else round(ranked.home_km, 3),
        "near": _near(spot, number, frame),
        "stretches": [
            [
                *place_units(*s.start, frame),
                *place_units(*s.end, frame),
                round(s.length_m, 1),
                s.line,
                list(s.locators),
                [number[park] for park in s.parks if park in number],
            ]
            for s in spot.stretches
        ],
        "notes": list(spot.notes),
        "warnings": list(ranked.warnings),
        "slope": None if ranked.slope_deg is None else round(ranked.slope_deg, 1),
        "walk": None if ranked.route is None else _walk(ranked.route, frame),
    }
    return {key: value for key, value in told.items() if value not in (None, [])}


def _p(share: float) -> float:
    """Six digits, rounded down: a probability never looks better than it is."""
    return math.floor(share * 1e6 + 1e-6) / 1e6


def _utm(spot: Spot) -> str | None:
    try:
        return utm(spot.lon, spot.lat)
    except PlaceError:
        return None  # UTM ends before the poles


def _offset(spot: Spot) -> list[float] | None:
    if spot.offset_m < _LEAST_OFFSET_M:
        return None
    return [round(spot.offset_m, 2), round(spot.offset_deg, 1)]


def _near(spot: Spot, number: Mapping[str, int], frame: Frame) -> dict[str, Any] | None:
    if spot.near is None:
        return None
    lon, lat = move(spot.lon, spot.lat, spot.near.bearing_deg, spot.near.distance_m)
    return {
        "park": number[spot.near.park],
        "away": [round(spot.near.distance_m, 1), round(spot.near.bearing_deg, 1)],
        "to": place_units(lon, lat, frame),
    }


def _walk(route: Route, frame: Frame) -> dict[str, Any]:
    """The line as a packed ring whose loose edges are those off paths; heights as one of metres."""
    told = {
        "state": route.state,
        "reason": route.reason,
        "out": _tenths(route.out_min),
        "back": _tenths(route.back_min),
        "length": _tenths(route.length_m),
        "climb": _tenths(route.climb_m),
        "off": _tenths(route.off_path_m),
        "start": None if route.start is None else place_units(*route.start, frame),
        "startKind": route.start_kind,
        "startName": route.start_name,
        "straight": _tenths(route.straight_m),
        "line": _line(route, frame),
        "profile": _profile(route),
    }
    return {key: value for key, value in told.items() if value not in (None, "")}


def _tenths(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 1)


def _line(route: Route, frame: Frame) -> str:
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
    return pack(whole(xy[[*at, len(xy) - 1]]), np.array([*loose, False]))


def _profile(route: Route) -> str:
    """Distance and height of points, whole metres, thinned evenly, both ends kept."""
    points = [(d, h) for d, h in route.profile if math.isfinite(d) and math.isfinite(h)]
    if len(points) > _PROFILE_POINTS:
        last = len(points) - 1
        points = [points[round(k * last / (_PROFILE_POINTS - 1))] for k in range(_PROFILE_POINTS)]
    return pack(np.rint(np.array(points)).astype(np.int64)) if len(points) > 1 else ""
