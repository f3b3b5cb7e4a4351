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
from scout.spots.long_stretches import long_stretches
from scout.spots.near_misses import near_corners, near_lines, reach_m
from scout.spots.overlaps import Regions, overlap_regions
from scout.spots.results import Search, renumbered
from scout.spots.stretches import along_pieces, owning_corners, rows, with_more
from scout.spots.wide_regions import in_wide_regions
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
        parts.append(in_wide_regions(regions, geometries[numbers], ground))
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
    apart, pieces, owners = _stretches_apart(corners, at, owners, pieces, ground)
    near = none_found(ground)
    if near_m > 0 and len(geometries):
        near = _near_misses(corners, ground, geometries, near_m, window)
    return Search(join([at, apart]), pieces[0], owners[0], pieces[1], owners[1]), near


def _near_misses(
    corners: Corners, ground: Ground, geometries: NDArray[Any], near_m: float, window: Window | None
) -> Found:
    near, three = near_corners(corners, ground, near_m, window)
    # Parks that hold a place on a line have bounds that meet it: the others are not asked.
    beside = near_lines(ground, shapely.STRtree(geometries), near_m, window)
    return join([near, three, beside])


def _stretches_apart(
    corners: Corners, at: Found, owners: list[Ints], pieces: tuple[Pieces, Pieces], ground: Ground
) -> tuple[Found, tuple[Pieces, Pieces], list[Ints]]:
    """The stretches that no corner at least as sure takes in; and all pieces with their owners.

    ``owners`` are the corners that pieces end at. Owners count the corners first and then these stretches.
    """
    grades, owner, count = grade(at.judged.confidence), np.concatenate(owners), len(pieces[0].line)
    firm = np.zeros(len(owner), dtype=bool)
    if len(at.i):
        # A firm corner takes its stretches in whatever they are worth: no need to judge them.
        firm = (owner >= 0) & (grades[owner] == 0)
    apart = np.flatnonzero(~firm)
    upright, flat = np.split(apart, [np.searchsorted(apart, count)])
    spots = along_pieces([rows(pieces[0], upright), rows(pieces[1], flat - count)], ground)
    mine = owner[apart]
    worth = np.zeros(len(owner), dtype=np.int64)
    worth[apart] = grade(spots.judged.confidence)
    better = mine < 0
    if len(at.i):
        better |= worth[apart] < grades[mine]
        worth[apart] = np.where(mine < 0, worth[apart], np.minimum(worth[apart], grades[mine]))
    longer = long_stretches(pieces, worth, (apart, spots), (corners, at), ground)
    stays = np.ones(len(owner), dtype=bool)
    stays[longer.gone] = False
    better &= stays[apart]
    owner[apart[better]] = len(at.i) + np.arange(np.count_nonzero(better))
    found = join([spots.rows(np.flatnonzero(better)), longer.spots])
    first = len(at.i) + np.count_nonzero(better)
    made, after = [], []
    for some, new, of, left in zip(
        pieces, longer.pieces, np.split(owner, [count]), np.split(stays, [count]), strict=True
    ):
        made.append(with_more(rows(some, np.flatnonzero(left)), new))
        after.append(np.concatenate([of[left], first + np.arange(len(new.line))]))
        first += len(new.line)
    return found, (made[0], made[1]), after
