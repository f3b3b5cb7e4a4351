"""One batch of records put on the globe; records that cannot lie there are refused one by one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from scout.read.crs import Datum
from scout.read.rings import across_by_length, across_by_midpoint, unwrap

__all__ = ["CAUSES", "Placed", "describe_gap", "place"]

# Why records are refused: what is wrong, and what to do if it is so with all of a file.
CAUSES = {
    "not finite": ("coordinates are not finite numbers", "export the file again"),
    "swapped": (
        "latitude and longitude seem to be swapped",
        "export it with longitude first, or with the right coordinate system",
    ),
    "metres": (
        "that looks like metres or feet, but the file says degrees",
        "give the file its projected coordinate system (re-export it, or correct the .prj)",
    ),
    "off the globe": ("that is outside the globe", "check the coordinate system of the file"),
    "no image": (
        "that cannot be transformed to longitude and latitude",
        "check the coordinate system",
    ),
}
_WIDEST_LON = 540.0  # degrees; once round from 180, the most that continuous longitudes come to
_METRES = 1000.0  # degrees; larger numbers are not degrees gone wrong but another unit
_FARTHEST = 1e9  # metres or feet; beyond it PROJ wraps numbers round the globe that are no places on it
_CLOSED_M = 1.0  # a shorter gap is a last point left out
_ROUNDING = 1e-6  # degrees that a latitude may exceed 90 by and be taken for 90


@dataclass
class Placed:
    """A batch in WGS 84. Keys are positions in the batch."""

    geometry: NDArray[np.object_]
    refused: dict[int, tuple[str, str]] = field(default_factory=dict)  # (key of CAUSES, what it has)
    noted: dict[int, str] = field(default_factory=dict)
    bounds: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 4)))  # in the file's own system


def place(geometry: NDArray[np.object_], datum: Datum, continuous: bool = False) -> Placed:
    """Check the coordinates, transform them, make longitudes continuous.

    Parameters
    ----------
    geometry : array of Geometry
        As read, may hold None; in the system of ``datum``.
    datum : Datum
    continuous : bool
        Whether longitudes are known to run on already, however far.
    """
    before = _flattened(geometry)
    result = Placed(before)
    with np.errstate(all="ignore"):
        bounds, length = shapely.bounds(before), shapely.length(before)
    # A length is not finite if any coordinate is not; only then the coordinates themselves are looked at.
    _refuse(result, np.flatnonzero(~np.isfinite(length)), "not finite", _not_finite)
    _refuse(result, np.flatnonzero(np.isinf(bounds).any(axis=1)), "not finite", _not_finite)
    if datum.geographic:
        _check_degrees(result, bounds, 90.0 / datum.quarter_turn)
    if not datum.identity:
        source, owner = shapely.get_coordinates(before, return_index=True)
        points = _transformed(source, datum)
        lost = (np.abs(source) > _FARTHEST).any(axis=1)
        # PROJ gives infinity where there is no image, and now and then a number that is no angle.
        lost |= ~((np.abs(points[:, 0]) <= _WIDEST_LON) & (np.abs(points[:, 1]) <= 90 + _ROUNDING))
        _refuse(result, np.unique(owner[lost]), "no image", _no_image)
        points[lost] = 0.0
        result.geometry = shapely.set_coordinates(before.copy(), points)
    _pull_to_pole(result)
    if not continuous:
        _unwrap(result, before, datum)
    result.geometry[list(result.refused)] = None
    result.bounds = bounds[~shapely.is_missing(result.geometry)]
    return result


def _flattened(geometry: NDArray[np.object_]) -> NDArray[np.object_]:
    deep = shapely.has_z(geometry) | shapely.has_m(geometry)
    flat = geometry.copy()
    flat[deep] = shapely.force_2d(geometry[deep])
    # To take parts out is to copy them: a shape without holes, and most are, is left alone.
    holed = np.flatnonzero(shapely.get_num_interior_rings(flat) > 0)
    several = np.flatnonzero(shapely.get_type_id(flat) > 3)
    parts, of = shapely.get_parts(flat[several], return_index=True)
    with_holes = shapely.get_num_interior_rings(parts) > 0
    shapes = np.concatenate([flat[holed], parts[with_holes]])
    row = np.concatenate([holed, several[of[with_holes]]])
    rings, shape = shapely.get_rings(shapes, return_index=True)
    empty = np.concatenate([row[shape[shapely.is_empty(rings)]], several[of[shapely.is_empty(parts)]]])
    for number in np.unique(empty).tolist():
        flat[number] = _without_empty_rings(flat[number])
    return flat


def _without_empty_rings(geometry: shapely.Geometry) -> shapely.Geometry:
    """Take out parts and holes without a vertex, which binaries can hold and GEOS crashes at."""
    made = [
        shapely.polygons(part.exterior, holes=[hole for hole in part.interiors if not hole.is_empty] or None)
        if part.geom_type == "Polygon"
        else part
        for part in shapely.get_parts(geometry)
        if not part.is_empty
    ]
    return made[0] if geometry.geom_type == "Polygon" else type(geometry)(made)


def _refuse(result: Placed, rows: NDArray[Any], cause: str, text: Callable[[shapely.Geometry], str]) -> None:
    for row in rows.tolist():
        if result.geometry[row] is not None and row not in result.refused:
            what = text(result.geometry[row])
            if what:
                result.refused[row] = (cause, what)


def _not_finite(geometry: shapely.Geometry) -> str:
    bad = int((~np.isfinite(shapely.get_coordinates(geometry)).all(axis=1)).sum())
    return f"at {bad} of its vertices" if bad else ""


def _no_image(geometry: shapely.Geometry) -> str:
    x, y = shapely.get_coordinates(geometry)[0]
    return f"has a first vertex of {x:.10g}, {y:.10g}"


def _check_degrees(result: Placed, bounds: NDArray[np.float64], unit_deg: float) -> None:
    """Refuse what no longitude and latitude can be, saying what it looks like."""
    reach = np.abs(bounds) * unit_deg
    x, y = np.fmax(reach[:, 0], reach[:, 2]), np.fmax(reach[:, 1], reach[:, 3])
    for row in np.flatnonzero((y > 90 + _ROUNDING) | (x > _WIDEST_LON)).tolist():
        if max(x[row], y[row]) > _METRES:
            cause = "metres"
        elif x[row] <= 90 < y[row] <= 360:
            cause = "swapped"
        else:
            cause = "off the globe"
        east, north = (max(bounds[row, axis::2], key=abs) for axis in (0, 1))
        result.refused.setdefault(row, (cause, f"has longitude {east:.10g} and latitude {north:.10g}"))


def _transformed(points: NDArray[np.float64], datum: Datum) -> NDArray[np.float64]:
    lon, lat = datum.transformer.transform(points[:, 0], points[:, 1])
    return np.column_stack([lon, lat])


def _pull_to_pole(result: Placed) -> None:
    """Latitudes that exceed 90 by rounding become 90."""
    bounds = shapely.bounds(result.geometry)
    over = np.flatnonzero((bounds[:, 3] > 90) | (bounds[:, 1] < -90))
    for row in over.tolist():
        if row not in result.refused:
            result.geometry[row] = shapely.transform(
                result.geometry[row], lambda xy: np.column_stack([xy[:, 0], np.clip(xy[:, 1], -90, 90)])
            )


def _unwrap(result: Placed, before: NDArray[np.object_], datum: Datum) -> None:
    bounds = shapely.bounds(result.geometry)
    rule = across_by_length if datum.geographic else across_by_midpoint(datum.transformer.transform)
    for row in np.flatnonzero(bounds[:, 2] - bounds[:, 0] > 180).tolist():
        if row in result.refused:
            continue
        new = unwrap(result.geometry[row], before[row], rule)
        if new is not None:
            result.geometry[row] = new
            if datum.geographic:
                result.noted[row] = "an edge of more than 180 degrees was read as crossing the antimeridian"


def describe_gap(gap: NDArray[np.float64], datum: Datum) -> str:
    """Say how long the edge is that closes a ring, where it is more than a last point left out."""
    (line,) = place(np.array([shapely.linestrings(gap)], dtype=object), datum).geometry
    length = 0.0 if line is None else pyproj.Geod(ellps="WGS84").geometry_length(line)
    if length <= _CLOSED_M:
        return ""
    return f" over {length:,.0f} m, where the boundary is unknown: count nothing near that edge"
