"""Park outlines as one page draws them, and where they overlap."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.outlines import polygonal_parts
from scout.page.frame import OUTLINE_UNITS_PER_DEG, Frame, whole
from scout.page.overlaps import overlaps
from scout.page.simplify import simplify

__all__ = ["Areas", "Drawn", "Polygons", "Ring", "draw"]


class Ring(NamedTuple):
    """An open ring in whole units, and which of its edges are not the outline's own."""

    units: NDArray[np.int64]  # shape (n, 2)
    loose: NDArray[np.bool_]  # shape (n,): the edge from each vertex to the next


Polygons = list[list[Ring]]  # of each polygon its rings, shell first
Areas = list[list[NDArray[np.int64]]]  # the same of what is only drawn, in units of frame.UNITS_PER_DEG

_METRES_PER_DEG = 111_200.0
_NARROWEST_M = 2.0  # narrower overlaps are slivers between neighbours


@dataclass(frozen=True, slots=True)
class Drawn:
    """Outlines in whole numbers of ``1 / OUTLINE_UNITS_PER_DEG`` degree, in the page's own longitudes."""

    parks: list[Polygons]
    labels: list[tuple[float, float]]  # a point inside each park, degrees
    twice: Areas  # where exactly two parks overlap
    thrice: Areas  # where three or more do
    tolerance_m: float  # of the loose edges
    narrowest_m: float  # overlaps that are drawn are wider


def draw(geometries: NDArray[Any], near: NDArray[np.float64], frame: Frame) -> Drawn:
    """Outlines of parks, whole near some places and simplified elsewhere.

    Parameters
    ----------
    geometries : array of Polygon or MultiPolygon, shape (n,)
        Longitude and latitude, degrees.
    near : array, shape (m, 2)
        Places, longitude and latitude, near which nothing may be left out.
    frame : Frame
        The page's longitudes.
    """
    if not len(geometries):
        return Drawn([], [], [], [], 0.0, _NARROWEST_M)
    placed = _in_frame(geometries, frame)
    parts, park_of = shapely.get_parts(placed, return_index=True)
    rings, part_of = shapely.get_rings(parts, return_index=True)
    kept = simplify(rings, near)
    units = whole(kept.xy, OUTLINE_UNITS_PER_DEG)
    edges = np.searchsorted(kept.ring_of, np.arange(len(rings) + 1))
    polygons: Polygons = [[] for _ in parts]
    for (first, end), part in zip(pairwise(edges), part_of, strict=True):
        polygons[part].append(Ring(units[first:end], kept.loose[first:end]))
    parks: list[Polygons] = [[] for _ in geometries]
    for polygon, park in zip(polygons, park_of, strict=True):
        parks[park].append(polygon)
    # Rounded to whole units an outline may touch itself; what collapses to lines is not drawn as ground.
    shapes = shapely.make_valid(np.array([_shape(park) for park in parks], dtype=object))
    twice, thrice = overlaps(np.array([polygonal_parts(shape) for shape in shapes], dtype=object))
    # What is narrower may come from simplifying two outlines apart.
    narrowest_m = max(2 * kept.tolerance_m, _NARROWEST_M)
    return Drawn(
        parks=parks,
        labels=[(float(p.x), float(p.y)) for p in shapely.point_on_surface(placed)],
        twice=_wide(twice, narrowest_m),
        thrice=_wide(thrice, narrowest_m),
        tolerance_m=kept.tolerance_m,
        narrowest_m=narrowest_m,
    )


def _in_frame(geometries: NDArray[Any], frame: Frame) -> NDArray[Any]:
    west, _, east, _ = shapely.bounds(geometries).T
    turns = frame.turns((west + east) / 2)
    xy, of = shapely.get_coordinates(geometries, return_index=True)
    placed: NDArray[Any] = shapely.set_coordinates(
        geometries.copy(), np.column_stack([xy[:, 0] + turns[of], xy[:, 1]])
    )
    return placed


def _shape(polygons: Polygons) -> Any:
    degrees = [[ring.units / OUTLINE_UNITS_PER_DEG for ring in rings] for rings in polygons]
    return shapely.multipolygons([shapely.Polygon(shell, holes) for shell, *holes in degrees])


def _wide(geometry: Any, narrowest_m: float) -> Areas:
    """Polygons of a geometry that are wider."""
    parts = [p for p in shapely.get_parts(geometry) if p.geom_type == "Polygon" and not p.is_empty]
    return [
        [whole(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
        for part in parts
        if _width_m(part) > narrowest_m
    ]


def _width_m(polygon: Any) -> float:
    shrink = np.cos(np.radians(polygon.centroid.y))
    flat = shapely.transform(polygon, lambda xy: xy * [shrink * _METRES_PER_DEG, _METRES_PER_DEG])
    return float(2 * flat.area / flat.length)
