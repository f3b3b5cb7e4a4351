"""The search: corners, stretches of lines, overlaps and near misses, in arrays from end to end.

Only parks near a lattice line are looked at, and no cell polygon is ever built.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.clearance import Boundaries
from scout.locator import column_number, columns, row_number
from scout.model import Station
from scout.outlines import Floats, Ints
from scout.spots.corners import at_corners
from scout.spots.edges import Corners, Pieces, Window, corners_inside, pieces_inside
from scout.spots.fields import by_lines
from scout.spots.found import Found, grade, join, none_found
from scout.spots.intervals import inside_intervals
from scout.spots.near_misses import near_corners, near_lines, reach_m
from scout.spots.overlaps import Regions, in_regions, overlap_regions
from scout.spots.results import Search, renumbered
from scout.spots.stretches import along_pieces, owning_corners, rows
from scout.verdict import Ground

__all__ = ["search", "window_of"]


def window_of(west: float, south: float, east: float, north: float, level: int) -> Window:
    """The cells that a box in degrees touches, and one more all round; ``east`` may pass 180."""
    n = columns(level)
    i0, i1 = int(np.floor(column_number(west, level))) - 1, int(np.ceil(column_number(east, level))) + 1
    j0, j1 = int(np.floor(row_number(south, level))) - 1, int(np.ceil(row_number(north, level))) + 1
    return Window(i0, max(j0, 0), min(i1, i0 + n), min(j1, n))


def search(
    geometries: NDArray[Any],
    boundary_error_m: Floats,
    level: int,
    station: Station,
    *,
    near_m: float = 500.0,
    overlaps: bool | NDArray[np.bool_] = True,
    window: Window | None = None,
    error_range_m: tuple[float, float] | None = None,
) -> Search:
    """Find every place where cells meet in parks or parks overlap.

    Parameters
    ----------
    geometries : array of (multi)polygons, shape (n,)
        Valid, degrees on WGS 84, running past longitude 180 where a park does.
    boundary_error_m : array, shape (n,)
        95 % boundary error of each park.
    near_m : float
        How far a near miss may lie; 0 for none.
    overlaps : bool or array of bool, shape (n,)
        Whether places with a single cell and several parks are wanted; or of which parks.
    window : Window, optional
        The part of the lattice to search.
    error_range_m : tuple of float, optional
        Least and greatest boundary error of all parks, where these are a part of them.

    Returns
    -------
    Search
        Park numbers are positions in ``geometries``.
    """
    near_m = reach_m(near_m, level)
    chosen = by_lines(shapely.bounds(geometries).reshape(-1, 4), level, near_m)
    regions = _regions(geometries, overlaps)
    if regions is not None:
        chosen[regions.park] = True
    numbers = np.flatnonzero(chosen)
    ground = Ground(Boundaries(geometries[numbers]), boundary_error_m[numbers], level, station, error_range_m)
    result, found = _on_lines(ground, near_m, window, geometries[numbers])
    parts = [result.found, found]
    if regions is not None:
        regions = regions._replace(park=np.searchsorted(numbers, regions.park))
        parts.append(in_regions(regions, ground))
    whole = join(parts)
    return renumbered(result._replace(found=whole), numbers)


def _regions(geometries: NDArray[Any], overlaps: bool | NDArray[np.bool_]) -> Regions | None:
    """What is shared by the parks whose overlaps are wanted."""
    mine = np.flatnonzero(np.broadcast_to(overlaps, len(geometries)))
    if not len(mine):
        return None
    some = geometries[mine]
    regions = overlap_regions(some, shapely.STRtree(some))
    return regions._replace(park=mine[regions.park])


def _on_lines(
    ground: Ground, near_m: float, window: Window | None, geometries: NDArray[Any]
) -> tuple[Search, Found]:
    """Corners and stretches, and apart from them the near misses."""
    level = ground.level
    bounds = shapely.bounds(geometries).reshape(-1, 4)
    wide = bounds[:, 2] - bounds[:, 0] > 360.0
    outlines = ground.boundaries.outlines
    across = inside_intervals(outlines, "parallel", level)
    up = inside_intervals(outlines, "meridian", level)
    corners = corners_inside(across, level, wide, window)
    # Laid out before the long work begins: where it is too much, that is said at once.
    pieces = (
        pieces_inside(up, "meridian", level, wide, window),
        pieces_inside(across, "parallel", level, wide, window),
    )
    at = at_corners(corners, ground)
    owners = [owning_corners(some, corners, at, level) for some in pieces]
    apart, owner = _stretches_apart(at, np.concatenate(owners), pieces, ground)
    near = none_found(ground)
    if near_m > 0 and len(geometries):
        near = _near_misses(corners, ground, geometries, near_m, window)
    up_owner, level_owner = np.split(owner, [len(owners[0])])
    return Search(join([at, apart]), pieces[0], up_owner, pieces[1], level_owner), near


def _near_misses(
    corners: Corners, ground: Ground, geometries: NDArray[Any], near_m: float, window: Window | None
) -> Found:
    near, three = near_corners(corners, ground, near_m, window)
    # Parks that hold a place on a line have bounds that meet it: the others are not asked.
    beside = near_lines(ground, shapely.STRtree(geometries), near_m, window)
    return join([near, three, beside])


def _stretches_apart(
    at: Found, owner: Ints, pieces: tuple[Pieces, Pieces], ground: Ground
) -> tuple[Found, Ints]:
    """The stretches that no corner at least as sure takes in; and every piece's owner.

    ``owner`` are the corners that pieces end at. Owners count the corners first and then these stretches.
    """
    grades = grade(at.judged.confidence)
    firm = np.zeros(len(owner), dtype=bool)
    if len(at.i):
        # A firm corner takes its stretches in whatever they are worth: no need to judge them.
        firm = (owner >= 0) & (grades[owner] == 0)
    apart = np.flatnonzero(~firm)
    upright, flat = np.split(apart, [np.searchsorted(apart, len(pieces[0].line))])
    spots = along_pieces([rows(pieces[0], upright), rows(pieces[1], flat - len(pieces[0].line))], ground)
    mine = owner[apart]
    better = mine < 0
    if len(at.i):
        better |= grade(spots.judged.confidence) < grades[mine]
    owner[apart[better]] = len(at.i) + np.arange(np.count_nonzero(better))
    return spots.rows(np.flatnonzero(better)), owner
