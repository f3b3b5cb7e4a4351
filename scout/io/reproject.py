"""Coordinates checked, transformed to WGS 84 and made continuous across the antimeridian."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from scout.geo.boundaries import polygonal_parts
from scout.io.crs import Datum

Points = NDArray[np.float64]
# Takes a run of lon/lat vertices and the same run as the file has it; gives the degrees to add to each
# longitude, a multiple of 360.
Shifts = Callable[[Points, Points], NDArray[np.float64]]

_WORLD = shapely.box(-180, -90, 180, 90)


def shift_by_length(run: Points, _: Points) -> NDArray[np.float64]:
    """For data in degrees: an edge of over 180 and under 360 goes the short way, if the whole then is narrow.

    An edge of 360 is the border of a world map, and a run that stays wider than 180 is left as it is.
    """
    step = np.diff(run[:, 0])
    crossing = (np.abs(step) > 180) & (np.abs(step) < 360 - 1e-6)
    shifts = _sum_turns(np.where(crossing, -np.sign(step), 0))
    narrow = np.ptp(run[:, 0] + shifts) < 180
    return shifts if narrow else np.zeros(len(run))


def shift_by_midpoint(to_wgs84: Callable[[Any, Any], Any]) -> Shifts:
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
        return _sum_turns(turns)

    return shifts


def _sum_turns(turns: NDArray[np.float64]) -> NDArray[np.float64]:
    return 360.0 * np.concatenate([[0.0], np.cumsum(turns)])


def unwrap_geometry(
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
        `shift_by_length` or what `shift_by_midpoint` gives.

    Returns
    -------
    Geometry or None
        None if nothing crosses. A polygon whose ring goes round a pole comes back cut at 180, with the pole.
    """
    parts = list(zip(shapely.get_parts(geometry), shapely.get_parts(source), strict=True))
    if geometry.geom_type == "GeometryCollection":
        made = [unwrap_geometry(part, before, shifts_of) for part, before in parts]
    else:
        made = [_unwrap_part(part, before, shifts_of) for part, before in parts]
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


def _unwrap_part(
    part: shapely.Geometry, before: shapely.Geometry, shifts_of: Shifts
) -> shapely.Geometry | None:
    if part.geom_type == "LineString":
        run = shapely.get_coordinates(part)
        along = shifts_of(run, shapely.get_coordinates(before))
        return shapely.linestrings(_shift_lon(run, along)) if along.any() else None
    if part.geom_type != "Polygon":
        return None
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(part)]
    sources = [shapely.get_coordinates(ring) for ring in shapely.get_rings(before)]
    shifts = [shifts_of(ring, source) for ring, source in zip(rings, sources, strict=True)]
    if not any(shift.any() for shift in shifts):
        return None
    moved = [_shift_lon(ring, shift) for ring, shift in zip(rings, shifts, strict=True)]
    if any(abs(ring[-1, 0] - ring[0, 0]) > 180 for ring in moved):
        return _close_over_pole(moved)
    return shapely.polygons(moved[0], holes=[_move_beside(hole, moved[0]) for hole in moved[1:]] or None)


def _shift_lon(run: Points, shifts: NDArray[np.float64] | float) -> Points:
    return np.column_stack([run[:, 0] + shifts, run[:, 1]])


def _move_beside(hole: Points, shell: Points) -> Points:
    """The hole in the turn of longitudes that its shell is in."""
    apart = (shell[:, 0].min() + shell[:, 0].max() - hole[:, 0].min() - hole[:, 0].max()) / 2
    return _shift_lon(hole, 360 * np.round(apart / 360))


def _close_over_pole(rings: list[Points]) -> shapely.Geometry:
    areas = [_clip_to_world(ring) for ring in rings]
    return shapely.difference(areas[0], shapely.union_all(areas[1:])) if len(areas) > 1 else areas[0]


def _clip_to_world(ring: Points) -> shapely.Geometry:
    """The area of a ring between -180 and 180; one that does not come back to its start holds a pole."""
    if abs(ring[-1, 0] - ring[0, 0]) > 180:
        pole = np.copysign(90.0, ring[:, 1].mean())
        ring = np.concatenate([ring, [[ring[-1, 0], pole], [ring[0, 0], pole], ring[0]]])
    area = polygonal_parts(
        shapely.make_valid(shapely.polygons(ring), method="structure", keep_collapsed=False)
    )
    turns = [shapely.transform(area, lambda xy, k=k: _shift_lon(xy, 360.0 * k)) for k in range(-2, 3)]
    return shapely.union_all([polygonal_parts(shapely.intersection(turn, _WORLD)) for turn in turns])


# One batch of records put on the globe; records that cannot lie there are refused one by one.
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
class ReprojectedBatch:
    """A batch in WGS 84. Keys are positions in the batch."""

    geometry: NDArray[np.object_]
    refused: dict[int, tuple[str, str]] = field(default_factory=dict)  # (key of CAUSES, what it has)
    noted: dict[int, str] = field(default_factory=dict)
    bounds: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 4)))  # in the file's own system


def reproject(geometry: NDArray[np.object_], datum: Datum, continuous: bool = False) -> ReprojectedBatch:
    """Check the coordinates, transform them, make longitudes continuous.

    Parameters
    ----------
    geometry : array of Geometry
        As read, may hold None; in the system of ``datum``.
    datum : Datum
    continuous : bool
        Whether longitudes are known to run on already, however far.
    """
    before = _flatten_heights(geometry)
    result = ReprojectedBatch(before)
    with np.errstate(all="ignore"):
        bounds, length = shapely.bounds(before), shapely.length(before)
    # A length is not finite if any coordinate is not; only then the coordinates themselves are looked at.
    _refuse_rows(result, np.flatnonzero(~np.isfinite(length)), "not finite", _explain_not_finite)
    _refuse_rows(result, np.flatnonzero(np.isinf(bounds).any(axis=1)), "not finite", _explain_not_finite)
    if datum.geographic:
        _check_degrees(result, bounds, 90.0 / datum.quarter_turn)
    if not datum.identity:
        source, owner = shapely.get_coordinates(before, return_index=True)
        points = _transform_points(source, datum)
        lost = (np.abs(source) > _FARTHEST).any(axis=1)
        # PROJ gives infinity where there is no image, and now and then a number that is no angle.
        lost |= ~((np.abs(points[:, 0]) <= _WIDEST_LON) & (np.abs(points[:, 1]) <= 90 + _ROUNDING))
        _refuse_rows(result, np.unique(owner[lost]), "no image", _explain_no_image)
        points[lost] = 0.0
        result.geometry = shapely.set_coordinates(before.copy(), points)
    _pull_to_pole(result)
    if not continuous:
        _unwrap_rows(result, before, datum)
    result.geometry[list(result.refused)] = None
    result.bounds = bounds[~shapely.is_missing(result.geometry)]
    return result


def _flatten_heights(geometry: NDArray[np.object_]) -> NDArray[np.object_]:
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


def _refuse_rows(
    result: ReprojectedBatch, rows: NDArray[Any], cause: str, text: Callable[[shapely.Geometry], str]
) -> None:
    for row in rows.tolist():
        if result.geometry[row] is not None and row not in result.refused:
            what = text(result.geometry[row])
            if what:
                result.refused[row] = (cause, what)


def _explain_not_finite(geometry: shapely.Geometry) -> str:
    bad = int((~np.isfinite(shapely.get_coordinates(geometry)).all(axis=1)).sum())
    return f"at {bad} of its vertices" if bad else ""


def _explain_no_image(geometry: shapely.Geometry) -> str:
    x, y = shapely.get_coordinates(geometry)[0]
    return f"has a first vertex of {x:.10g}, {y:.10g}"


def _check_degrees(result: ReprojectedBatch, bounds: NDArray[np.float64], unit_deg: float) -> None:
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


def _transform_points(points: NDArray[np.float64], datum: Datum) -> NDArray[np.float64]:
    lon, lat = datum.transformer.transform(points[:, 0], points[:, 1])
    return np.column_stack([lon, lat])


def _pull_to_pole(result: ReprojectedBatch) -> None:
    """Latitudes that exceed 90 by rounding become 90."""
    bounds = shapely.bounds(result.geometry)
    over = np.flatnonzero((bounds[:, 3] > 90) | (bounds[:, 1] < -90))
    for row in over.tolist():
        if row not in result.refused:
            result.geometry[row] = shapely.transform(
                result.geometry[row], lambda xy: np.column_stack([xy[:, 0], np.clip(xy[:, 1], -90, 90)])
            )


def _unwrap_rows(result: ReprojectedBatch, before: NDArray[np.object_], datum: Datum) -> None:
    bounds = shapely.bounds(result.geometry)
    rule = shift_by_length if datum.geographic else shift_by_midpoint(datum.transformer.transform)
    for row in np.flatnonzero(bounds[:, 2] - bounds[:, 0] > 180).tolist():
        if row in result.refused:
            continue
        new = unwrap_geometry(result.geometry[row], before[row], rule)
        if new is not None:
            result.geometry[row] = new
            if datum.geographic:
                result.noted[row] = "an edge of more than 180 degrees was read as crossing the antimeridian"


def describe_gap(gap: NDArray[np.float64], datum: Datum) -> str:
    """Say how long the edge is that closes a ring, where it is more than a last point left out."""
    (line,) = reproject(np.array([shapely.linestrings(gap)], dtype=object), datum).geometry
    length = 0.0 if line is None else pyproj.Geod(ellps="WGS84").geometry_length(line)
    if length <= _CLOSED_M:
        return ""
    return f" over {length:,.0f} m, where the boundary is unknown: count nothing near that edge"
