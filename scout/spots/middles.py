"""Middles of regions: where a station has most room, or plenty of it."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cores import by_rows
from scout.geodesy import degree_lengths
from scout.outlines import Floats

__all__ = ["middles"]

Geometries = NDArray[Any]
_WIDE = 0.6  # of the largest circle: a centre of gravity this far inside is middle enough


def middles(shapes: Geometries, plenty_m: float) -> tuple[Floats, Floats]:
    """Centres of the largest circles inside, by metres: longitudes are shrunk as their latitude asks."""
    if len(shapes) == 0:
        return np.empty(0), np.empty(0)
    centres = by_rows(lambda some: _centres(some, plenty_m), shapes)
    return centres[:, 0], centres[:, 1]


def _centres(shapes: Geometries, plenty_m: float) -> Floats:
    bounds = shapely.bounds(shapes)
    per_lon, per_lat = degree_lengths((bounds[:, 1] + bounds[:, 3]) / 2)
    factor = np.ones((len(shapes), 2))
    factor[:, 0] = per_lon / per_lat
    each = np.repeat(factor, shapely.get_num_coordinates(shapes), axis=0)
    flat = shapely.set_coordinates(shapes.copy(), shapely.get_coordinates(shapes) * each)
    plenty = plenty_m / per_lat
    points = shapely.centroid(flat)
    away = np.where(shapely.contains(flat, points), shapely.distance(points, shapely.boundary(flat)), 0.0)
    rest = np.flatnonzero(away < np.maximum(plenty, _WIDE * _most_room(flat)))
    circles = shapely.maximum_inscribed_circle(flat[rest], tolerance=_tolerance(flat[rest], plenty[rest]))
    points[rest] = shapely.get_point(circles, 0)
    centres: Floats = shapely.get_coordinates(points) / factor
    return centres


def _most_room(shapes: Geometries) -> Floats:
    """Radius that no circle inside can pass, by the shape's area and by its bounds."""
    bounds = shapely.bounds(shapes)
    by_area = np.sqrt(shapely.area(shapes) / np.pi)
    least: Floats = np.minimum(by_area, np.minimum(*(bounds[:, 2:] - bounds[:, :2]).T) / 2)
    return least


def _tolerance(shapes: Geometries, plenty: Floats) -> Floats:
    """Near enough to a middle; finer would count cells without end in a long thin shape.

    Without holes the largest circle's radius is no less than area over length (Bonnesen's inequality): where
    that leaves plenty, and a station is sure anywhere near, the middle need not be known as well.
    """
    bounds = shapely.bounds(shapes)
    size = np.hypot(bounds[:, 2] - bounds[:, 0], bounds[:, 3] - bounds[:, 1])
    least = shapely.area(shapes) / shapely.length(shapes)
    wide = np.where(shapely.get_num_interior_rings(shapes) == 0, np.minimum(0.4 * least, least - plenty), 0.0)
    near: Floats = np.maximum(np.maximum(0.1 * least, wide), size / 1000)
    return near
