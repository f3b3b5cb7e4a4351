"""Longitudes as files want them: within 180 degrees, and shapes cut where they would run past."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.outlines import polygonal_parts

__all__ = ["cut", "path", "place"]

_WORLD = shapely.box(-180, -90, 180, 90)
_PAST = shapely.box(180, -90, 540, 90)


def place(lon: float, lat: float) -> tuple[float, float]:
    """A position to 1e-8 deg (a millimetre), its longitude at least -180 and less than 180.

    GPX 1.1 refuses a longitude of 180.

    Examples
    --------
    >>> place(180.0, 45.0), place(179.999999999, 45.0), place(190.5, 45.0)
    ((-180.0, 45.0), (-180.0, 45.0), (-169.5, 45.0))
    """
    lon = round(lon, 8)
    if not -180 <= lon < 180:
        lon = round((lon + 180) % 360 - 180, 8)
    return lon, round(lat, 8)


def path(points: Iterable[tuple[float, float]]) -> shapely.LineString:
    """A line whose longitudes run on across the antimeridian; the shorter way between two points."""
    lon, lat = np.array(list(points), dtype=float).reshape(-1, 2).T
    return shapely.LineString(np.column_stack([np.unwrap(lon, period=360), lat]))


def cut(geometries: Iterable[Any]) -> NDArray[np.object_]:
    """Lines and areas with continuous longitudes, cut at 180 (as RFC 7946, section 3.1.9).

    Returns
    -------
    array of LineString, MultiLineString, Polygon or MultiPolygon
        Longitudes from -180 to 180. What does not cross comes back as it was, whole turns apart.
    """
    result = np.array([*geometries, None], dtype=object)[:-1]
    bounds = shapely.bounds(result).reshape(-1, 4)
    for row in np.flatnonzero((bounds[:, 0] < -180) | (bounds[:, 2] > 180)).tolist():
        result[row] = _cut(result[row])
    return result


def _cut(geometry: Any) -> Any:
    west, _, east, _ = geometry.bounds
    # What goes all the way round, such as a polar cap, is drawn with more than a full turn.
    all_round = east - west >= 360
    turned = geometry if all_round else _turned(geometry, -int(np.floor((west + 180) / 360)))
    if not all_round and turned.bounds[2] <= 180:
        return turned
    parts = [*_pieces(turned, _WORLD)]
    if not all_round:
        parts += [_turned(part, -1) for part in _pieces(turned, _PAST)]
    if geometry.geom_type.endswith("LineString"):
        return shapely.multilinestrings(parts)
    areas = shapely.multipolygons(parts)
    # Taking 360 away rounds coordinates: vertices a hair apart may have changed places.
    return (
        areas
        if areas.is_valid
        else polygonal_parts(shapely.make_valid(areas, method="structure", keep_collapsed=False))
    )


def _pieces(geometry: Any, window: Any) -> list[Any]:
    parts = shapely.get_parts(shapely.intersection(geometry, window))
    wanted = "LineString" if geometry.geom_type.endswith("LineString") else "Polygon"
    return [part for part in parts if part.geom_type == wanted and not part.is_empty]


def _turned(geometry: Any, turns: int) -> Any:
    return shapely.transform(geometry, lambda xy: xy + np.array([360.0 * turns, 0.0])) if turns else geometry
