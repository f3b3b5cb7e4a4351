"""Geometry at the antimeridian: made continuous for the search, cut for the outputs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.geo.boundaries import polygonal_parts

_NEAR_DEG = 1e-9  # 0.1 mm: what counts as lying on the antimeridian
_REACH_DEG = 200.0  # how far a park that goes all the way round is drawn on either side


def make_continuous(geometries: NDArray[Any]) -> NDArray[np.object_]:
    """Parks so that each runs on across 180 instead of being cut there.

    Parameters
    ----------
    geometries : array of Polygon or MultiPolygon
        Valid, in degrees; cut at 180 (RFC 7946, section 3.1.9) or running past 180 or -180.

    Returns
    -------
    array of Polygon or MultiPolygon
        Valid. The least longitude is in [-180, 180); a park that crosses runs past 180, and no edge lies on
        the cut. A park that goes all the way round, such as a polar cap, is drawn from -200 to 200 instead,
        more than a full turn, so that 180 lies inside; its edges at -200, 200 and along the pole are no
        boundary. That is the only case of bounds wider than 360 degrees.
    """
    result = np.array(geometries, dtype=object)
    bounds = shapely.bounds(result)
    reaching = (bounds[:, 0] < -180 + _NEAR_DEG) | (bounds[:, 2] > 180 - _NEAR_DEG)
    for row in np.flatnonzero(reaching).tolist():
        result[row] = _unwrap_parts(result[row])
    return result


def _unwrap_parts(geometry: shapely.Geometry) -> shapely.Geometry:
    snapped = shapely.transform(geometry, _snap_points)
    parts = [_move_home(part) for part in shapely.get_parts(snapped)]
    bounds = shapely.bounds(parts)
    to_180 = (bounds[:, 2] >= 180).any()
    from_180 = (bounds[:, 0] == -180).any() or (bounds[:, 2] > 180).any()
    if to_180 and from_180:
        left = bounds[:, 0] + bounds[:, 2] < 0
        parts = [_turn_part(part, 1) if west else part for part, west in zip(parts, left, strict=True)]
    whole = shapely.union_all(parts) if len(parts) > 1 else parts[0]
    west, _, east, _ = whole.bounds
    if east - west >= 360 - _NEAR_DEG:
        whole = polygonal_parts(_close_around(whole))
    # Adding 360 rounds coordinates: vertices a hair apart may have changed places.
    return (
        whole
        if whole.is_valid
        else polygonal_parts(shapely.make_valid(whole, method="structure", keep_collapsed=False))
    )


def _snap_points(points: NDArray[np.float64]) -> NDArray[np.float64]:
    antimeridian = 360 * np.round((points[:, 0] - 180) / 360) + 180
    near = np.abs(points[:, 0] - antimeridian) < _NEAR_DEG
    return np.column_stack([np.where(near, antimeridian, points[:, 0]), points[:, 1]])


def _move_home(part: shapely.Geometry) -> shapely.Geometry:
    """A part with its least longitude in [-180, 180)."""
    turns = -int(np.floor((part.bounds[0] + 180) / 360))
    return _turn_part(part, turns) if turns else part


def _turn_part(part: shapely.Geometry, turns: int) -> shapely.Geometry:
    return shapely.transform(part, lambda points: points + np.array([360.0 * turns, 0.0]))


def _close_around(whole: shapely.Geometry) -> shapely.Geometry:
    turned = shapely.union_all([_turn_part(whole, turns) for turns in (-2, -1, 0, 1, 2)])
    return shapely.intersection(turned, shapely.box(-_REACH_DEG, -90, _REACH_DEG, 90))


# Longitudes as files want them: within 180 degrees, and shapes cut where they would run past.
_WORLD = shapely.box(-180, -90, 180, 90)
_PAST = shapely.box(180, -90, 540, 90)


def round_place(lon: float, lat: float) -> tuple[float, float]:
    """A position to 1e-8 deg (a millimetre), its longitude at least -180 and less than 180.

    GPX 1.1 refuses a longitude of 180.

    Examples
    --------
    >>> round_place(180.0, 45.0), round_place(179.999999999, 45.0), round_place(190.5, 45.0)
    ((-180.0, 45.0), (-180.0, 45.0), (-169.5, 45.0))
    """
    lon = round(lon, 8)
    if not -180 <= lon < 180:
        lon = round((lon + 180) % 360 - 180, 8)
    return lon, round(lat, 8)


def make_path(points: Iterable[tuple[float, float]]) -> shapely.LineString:
    """A line whose longitudes run on across the antimeridian; the shorter way between two points."""
    lon, lat = np.array(list(points), dtype=float).reshape(-1, 2).T
    return shapely.LineString(np.column_stack([np.unwrap(lon, period=360), lat]))


def cut_geometries(geometries: Iterable[Any]) -> NDArray[np.object_]:
    """Lines and areas with continuous longitudes, cut at 180 (as RFC 7946, section 3.1.9).

    Returns
    -------
    array of LineString, MultiLineString, Polygon or MultiPolygon
        Longitudes from -180 to 180. What does not cross comes back as it was, whole turns apart.
    """
    result = np.array([*geometries, None], dtype=object)[:-1]
    bounds = shapely.bounds(result).reshape(-1, 4)
    for row in np.flatnonzero((bounds[:, 0] < -180) | (bounds[:, 2] > 180)).tolist():
        result[row] = _cut_geometry(result[row])
    return result


def _cut_geometry(geometry: Any) -> Any:
    west, _, east, _ = geometry.bounds
    # What goes all the way round, such as a polar cap, is drawn with more than a full turn.
    all_round = east - west >= 360
    turned = geometry if all_round else _turn_geometry(geometry, -int(np.floor((west + 180) / 360)))
    if not all_round and turned.bounds[2] <= 180:
        return turned
    parts = [*_cut_pieces(turned, _WORLD)]
    if not all_round:
        parts += [_turn_geometry(part, -1) for part in _cut_pieces(turned, _PAST)]
    if geometry.geom_type.endswith("LineString"):
        return shapely.multilinestrings(parts)
    areas = shapely.multipolygons(parts)
    # Taking 360 away rounds coordinates: vertices a hair apart may have changed places.
    return (
        areas
        if areas.is_valid
        else polygonal_parts(shapely.make_valid(areas, method="structure", keep_collapsed=False))
    )


def _cut_pieces(geometry: Any, window: Any) -> list[Any]:
    parts = shapely.get_parts(shapely.intersection(geometry, window))
    wanted = "LineString" if geometry.geom_type.endswith("LineString") else "Polygon"
    return [part for part in parts if part.geom_type == wanted and not part.is_empty]


def _turn_geometry(geometry: Any, turns: int) -> Any:
    return shapely.transform(geometry, lambda xy: xy + np.array([360.0 * turns, 0.0])) if turns else geometry


# Bounds and boxes, on whatever turn of the globe.
Box = tuple[float, float, float, float]


def find_in_box(bounds: NDArray[np.float64], box: Box, near_m: float) -> NDArray[np.int64]:
    """Return the numbers of the bounds that come near a box (west, south, east past 180, north; degrees)."""
    high = near_m / 110_000.0 + 0.01
    wide = high / max(float(np.cos(np.radians(min(max(abs(box[1]), abs(box[3])) + high, 89.9)))), 1e-3)
    return np.flatnonzero(meets_box(bounds, (box[0] - wide, box[1] - high, box[2] + wide, box[3] + high)))


def meets_box(bounds: NDArray[np.float64], box: Box) -> NDArray[np.bool_]:
    """Return which bounds meet a box, on whatever turn of the globe."""
    west, south, east, north = bounds.T
    meets: NDArray[np.bool_] = np.zeros(len(bounds), dtype=bool)
    for turn in (-360.0, 0.0, 360.0):
        meets |= (west + turn <= box[2]) & (east + turn >= box[0])
    meets &= (south <= box[3]) & (north >= box[1])
    return meets
