"""What a saved spot says about itself, under names that GeoJSON, CSV and GeoPackage share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from scout.exports.antimeridian import place
from scout.exports.text import cleaned
from scout.model import Ranked
from scout.surroundings import Route

__all__ = ["PROPERTIES", "properties"]

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


def properties(ranked: Ranked) -> dict[str, Any]:
    """Values by the names of ``PROPERTIES``, in that order; None where nothing is known.

    ``corner`` and ``parking`` are ``[lon, lat]``; ``parking`` is where the walk begins, or the nearest such
    place when there is no walk, and ``walk_note`` then says why. Text is cleaned, not escaped.
    """
    spot, near = ranked.spot, ranked.spot.near
    values = (
        ranked.rank,
        spot.kind,
        None if spot.corner is None else list(place(*spot.corner)),
        list(spot.verdict.locators),
        _texts(spot.verdict.parks),
        _texts(spot.park_names),
        ranked.n_grids,
        ranked.n_parks,
        ranked.grid_park_pairs,
        _rounded(spot.clearance_m, 2),
        round(spot.verdict.confidence, 4),
        spot.verdict.word,
        round(spot.stretch_m, 1),
        _rounded(ranked.home_km, 3),
        cleaned(" ".join(spot.notes)),
        None if near is None else cleaned(near.park),
        None if near is None else cleaned(near.park_name),
        None if near is None else _rounded(near.distance_m, 2),
        None if near is None else _rounded(near.bearing_deg, 1),
        round(spot.offset_m, 2),
        round(spot.offset_deg, 1),
        *_walk(ranked.route),
        _rounded(ranked.slope_deg, 1),
        _texts(ranked.warnings),
        *((None,) * 3 if ranked.new is None else (ranked.new.grids, ranked.new.parks, ranked.new.pairs)),
    )
    return dict(zip(PROPERTIES, values, strict=True))


def _walk(route: Route | None) -> tuple[Any, ...]:
    if route is None:
        return (None,) * 7
    return (
        _rounded(route.out_min, 1),
        _rounded(route.back_min, 1),
        _rounded(route.length_m, 1),
        _rounded(route.climb_m, 1),
        _rounded(route.off_path_m, 1),
        None if route.start is None else list(place(*route.start)),
        None if route.state == "walked" else cleaned(route.reason or route.state),
    )


def _texts(texts: Iterable[str]) -> list[str]:
    return [cleaned(text) for text in texts]


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)
