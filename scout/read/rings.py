"""Rings and lines across the antimeridian: longitudes made continuous, polar rings closed over the pole."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.outlines import polygonal_parts

__all__ = ["across_by_length", "across_by_midpoint", "unwrap"]

Points = NDArray[np.float64]
# Takes a run of lon/lat vertices and the same run as the file has it; gives the degrees to add to each
# longitude, a multiple of 360.
Shifts = Callable[[Points, Points], NDArray[np.float64]]

_WORLD = shapely.box(-180, -90, 180, 90)


def across_by_length(run: Points, _: Points) -> NDArray[np.float64]:
    """For data in degrees: an edge of over 180 and under 360 goes the short way, if the whole then is narrow.

    An edge of 360 is the border of a world map, and a run that stays wider than 180 is left as it is.
    """
    step = np.diff(run[:, 0])
    crossing = (np.abs(step) > 180) & (np.abs(step) < 360 - 1e-6)
    shifts = _summed(np.where(crossing, -np.sign(step), 0))
    narrow = np.ptp(run[:, 0] + shifts) < 180
    return shifts if narrow else np.zeros(len(run))


def across_by_midpoint(to_wgs84: Callable[[Any, Any], Any]) -> Shifts:
    """For projected data: the middle of a long edge, transformed, tells which way round the edge goes."""

    def shifts(run: Points, projected: Points) -> NDArray[np.float64]:
        step = np.diff(run[:, 0])
        wide = np.flatnonzero(np.abs(step) > 180)
        turns = np.zeros(len(step))
        if wide.size:
            middle = (projected[wide] + projected[wide + 1]) / 2
            lon, _ = to_wgs84(middle[:, 0], middle[:, 1])
            halfway = (run[wide, 0] + run[wide + 1, 0]) / 2
            off = np.abs((np.asarray(lon) - halfway + 180) % 360 - 180)
            turns[wide] = np.where(off > 90, -np.sign(step[wide]), 0)
        return _summed(turns)

    return shifts


def _summed(turns: NDArray[np.float64]) -> NDArray[np.float64]:
    return 360.0 * np.concatenate([[0.0], np.cumsum(turns)])


def unwrap(
    geometry: shapely.Geometry, source: shapely.Geometry, shifts_of: Shifts
) -> shapely.Geometry | None:
    """One geometry with continuous longitudes in each part.

    Parameters
    ----------
    geometry : Geometry
        In lon/lat as transformed: longitudes in -180 to 180, jumping where a part crosses 180.
    source : Geometry
        The same before the transformation.
    shifts_of : callable
        `across_by_length` or what `across_by_midpoint` gives.

    Returns
    -------
    Geometry or None
        None if nothing crosses. A polygon whose ring goes round a pole comes back cut at 180, with the pole.
    """
    parts = list(zip(shapely.get_parts(geometry), shapely.get_parts(source), strict=True))
    if geometry.geom_type == "GeometryCollection":
        made = [unwrap(part, before, shifts_of) for part, before in parts]
    else:
        made = [_part(part, before, shifts_of) for part, before in parts]
    if all(new is None for new in made):
        return None
    pieces = [part if new is None else new for new, (part, _) in zip(made, parts, strict=True)]
    flat = shapely.get_parts(pieces)
    kinds = {piece.geom_type for piece in flat}
    if len(flat) == 1:
        return flat[0]
    if kinds == {"Polygon"}:
        return shapely.multipolygons(flat)
    return shapely.multilinestrings(flat) if kinds == {"LineString"} else shapely.geometrycollections(flat)


def _part(part: shapely.Geometry, before: shapely.Geometry, shifts_of: Shifts) -> shapely.Geometry | None:
    if part.geom_type == "LineString":
        run = shapely.get_coordinates(part)
        along = shifts_of(run, shapely.get_coordinates(before))
        return shapely.linestrings(_lon_shifted(run, along)) if along.any() else None
    if part.geom_type != "Polygon":
        return None
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(part)]
    sources = [shapely.get_coordinates(ring) for ring in shapely.get_rings(before)]
    shifts = [shifts_of(ring, source) for ring, source in zip(rings, sources, strict=True)]
    if not any(shift.any() for shift in shifts):
        return None
    moved = [_lon_shifted(ring, shift) for ring, shift in zip(rings, shifts, strict=True)]
    if any(abs(ring[-1, 0] - ring[0, 0]) > 180 for ring in moved):
        return _over_pole(moved)
    return shapely.polygons(moved[0], holes=[_beside(hole, moved[0]) for hole in moved[1:]] or None)


def _lon_shifted(run: Points, shifts: NDArray[np.float64] | float) -> Points:
    return np.column_stack([run[:, 0] + shifts, run[:, 1]])


def _beside(hole: Points, shell: Points) -> Points:
    """The hole in the turn of longitudes that its shell is in."""
    apart = (shell[:, 0].min() + shell[:, 0].max() - hole[:, 0].min() - hole[:, 0].max()) / 2
    return _lon_shifted(hole, 360 * np.round(apart / 360))


def _over_pole(rings: list[Points]) -> shapely.Geometry:
    areas = [_on_world(ring) for ring in rings]
    return shapely.difference(areas[0], shapely.union_all(areas[1:])) if len(areas) > 1 else areas[0]


def _on_world(ring: Points) -> shapely.Geometry:
    """The area of a ring between -180 and 180; one that does not come back to its start holds a pole."""
    if abs(ring[-1, 0] - ring[0, 0]) > 180:
        pole = np.copysign(90.0, ring[:, 1].mean())
        ring = np.concatenate([ring, [[ring[-1, 0], pole], [ring[0, 0], pole], ring[0]]])
    area = polygonal_parts(
        shapely.make_valid(shapely.polygons(ring), method="structure", keep_collapsed=False)
    )
    turns = [shapely.transform(area, lambda xy, k=k: _lon_shifted(xy, 360.0 * k)) for k in range(-2, 3)]
    return shapely.union_all([polygonal_parts(shapely.intersection(turn, _WORLD)) for turn in turns])
