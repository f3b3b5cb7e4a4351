"""One tile searched: corners, stretches, overlaps, near misses; the results of tiles put together.

Only parks near a lattice line are looked at, and no cell polygon is ever built.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.geo.antimeridian import Box, find_in_box
from scout.geo.boundaries import Boundaries, Floats, Ints
from scout.geo.locator import count_columns, get_column_number, get_row_number
from scout.geo.probability import DOUBTFUL
from scout.model import DATUM_ERROR, ParkReport, Station
from scout.parks.sources import LoadedParks, ParkQuery, ParkSource
from scout.search.corners import find_near_corners, find_near_lines, judge_corners, limit_reach_m
from scout.search.found import FoundPlaces, grade_confidence, make_empty
from scout.search.overlaps import OverlapRegions, PairGround, find_regions
from scout.search.scan import (
    CellWindow,
    EdgePieces,
    FoundCorners,
    cut_pieces,
    find_corners_inside,
    find_inside_intervals,
)
from scout.search.stretches import find_owning_corners, place_along_pieces
from scout.search.tiles import Tile, check_repeated, cut_into_tiles, find_meeting, is_near_lines, narrow_tile
from scout.search.verdict import JudgingContext
from scout.search.wide import find_long_stretches, place_in_wide_regions


class SearchResult(NamedTuple):
    """All places found, and the stretches that belong to them (``owner`` is a row of ``found``)."""

    found: FoundPlaces
    meridians: EdgePieces
    meridian_owner: Ints
    parallels: EdgePieces
    parallel_owner: Ints


def cut_to_core(result: SearchResult, core: CellWindow | None, level: int) -> SearchResult:
    """The places of a core, and the stretches that belong to them."""
    if core is None:
        return result
    n, found = count_columns(level), result.found
    top = core.north + (core.north == n)  # nothing lies beyond the last row
    inside = ((found.i - core.west) % n < core.east - core.west) & (found.j >= core.south) & (found.j < top)
    keep = np.flatnonzero(inside)
    place = np.full(len(found.i) + 1, -1)
    place[keep] = np.arange(len(keep))

    def mine(pieces: EdgePieces, owner: Ints) -> tuple[EdgePieces, Ints]:
        kept = np.flatnonzero(place[owner] >= 0)
        return pieces.take(kept), place[owner[kept]]

    meridians = mine(result.meridians, result.meridian_owner)
    parallels = mine(result.parallels, result.parallel_owner)
    return SearchResult(found.take(keep), *meridians, *parallels)


def join_searches(parts: list[SearchResult]) -> SearchResult:
    """Join the finds of all tiles, whose parks bear the same numbers; the list is emptied on the way.

    Parts and whole would be most of the memory that a large search takes.
    """
    shifts = np.cumsum([0, *(len(part.found.i) for part in parts[:-1])])

    def owners(columns: Sequence[Ints]) -> Ints:
        return np.concatenate([column + shift for column, shift in zip(columns, shifts, strict=True)])

    up, flat = owners([p.meridian_owner for p in parts]), owners([p.parallel_owner for p in parts])
    found = [part.found for part in parts]
    upright, level = [part.meridians for part in parts], [part.parallels for part in parts]
    parts.clear()
    return SearchResult(
        FoundPlaces.drain(found), EdgePieces.drain(upright), up, EdgePieces.drain(level), flat
    )


def renumber_parks(result: SearchResult, numbers: Ints) -> SearchResult:
    """Parks by other numbers: ``numbers`` has the new one at the place of the old."""
    found = result.found
    near = np.where(found.near_park < 0, -1, numbers[found.near_park]) if len(numbers) else found.near_park
    claims = replace(found.claims, park=numbers[found.claims.park])
    return SearchResult(
        replace(found, claims=claims, near_park=near),
        _renumber_pieces(result.meridians, numbers),
        result.meridian_owner,
        _renumber_pieces(result.parallels, numbers),
        result.parallel_owner,
    )


def _renumber_pieces(pieces: EdgePieces, numbers: Ints) -> EdgePieces:
    return replace(pieces, sets=replace(pieces.sets, park=numbers[pieces.sets.park]))


# The search: corners, stretches of lines, overlaps and near misses, in arrays from end to end.
def find_cell_window(west: float, south: float, east: float, north: float, level: int) -> CellWindow:
    """The cells that a box in degrees touches, and one more all round; ``east`` may pass 180."""
    n = count_columns(level)
    i0, i1 = (
        int(np.floor(get_column_number(west, level))) - 1,
        int(np.ceil(get_column_number(east, level))) + 1,
    )
    j0, j1 = int(np.floor(get_row_number(south, level))) - 1, int(np.ceil(get_row_number(north, level))) + 1
    return CellWindow(i0, max(j0, 0), min(i1, i0 + n), min(j1, n))


def search_parks(
    geometries: NDArray[Any],
    boundary_error_m: Floats,
    level: int,
    station: Station,
    *,
    near_m: float = 500.0,
    overlaps: bool | NDArray[np.bool_] = True,
    window: CellWindow | None = None,
    error_range_m: tuple[float, float] | None = None,
    listed_from: float = 0.0,
) -> SearchResult:
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
    window : CellWindow, optional
        The part of the lattice to search.
    error_range_m : tuple of float, optional
        Least and greatest boundary error of all parks, where these are a part of them.
    listed_from : float
        Overlaps under this confidence are not wanted: of those surely under it only that is worked out.

    Returns
    -------
    SearchResult
        Park numbers are positions in ``geometries``.
    """
    near_m = limit_reach_m(near_m, level)
    chosen = is_near_lines(shapely.bounds(geometries).reshape(-1, 4), level, near_m)
    shared = _find_wanted_regions(geometries, overlaps)
    if shared is not None:
        chosen[shared[0].park] = True
    numbers = np.flatnonzero(chosen)
    ground = JudgingContext(
        Boundaries(geometries[numbers]),
        boundary_error_m[numbers],
        level,
        station,
        error_range_m,
        min(listed_from, DOUBTFUL),
    )
    result, found = _search_lines(ground, near_m, window, geometries[numbers])
    parts = [result.found, found]
    if shared is not None:
        at = np.where(chosen, np.cumsum(chosen) - 1, -1)
        parts.append(place_in_wide_regions(*_renumber_regions(*shared, at), geometries[numbers], ground))
    whole = FoundPlaces.concat(parts)
    return renumber_parks(result._replace(found=whole), numbers)


def _find_wanted_regions(
    geometries: NDArray[Any], overlaps: bool | NDArray[np.bool_]
) -> tuple[OverlapRegions, PairGround] | None:
    """What is shared by the parks whose overlaps are terms."""
    mine = np.flatnonzero(np.broadcast_to(overlaps, len(geometries)))
    if not len(mine):
        return None
    some = geometries[mine]
    return _renumber_regions(*find_regions(some, shapely.STRtree(some)), mine)


def _renumber_regions(
    regions: OverlapRegions, pairs: PairGround, numbers: Ints
) -> tuple[OverlapRegions, PairGround]:
    """Parks by other numbers, in the same order; pairs of which one has none, -1, are left out."""
    low, high = numbers[pairs.low], numbers[pairs.high]
    known = (low >= 0) & (high >= 0)
    ground = PairGround(low[known], high[known], pairs.shape[known])
    return replace(regions, park=numbers[regions.park]), ground


def _search_lines(
    ground: JudgingContext, near_m: float, window: CellWindow | None, geometries: NDArray[Any]
) -> tuple[SearchResult, FoundPlaces]:
    """Corners and stretches, and apart from them the near misses."""
    level = ground.level
    bounds = shapely.bounds(geometries).reshape(-1, 4)
    wide = bounds[:, 2] - bounds[:, 0] > 360.0
    outlines = ground.boundaries.outlines
    across = find_inside_intervals(outlines, "parallel", level)
    up = find_inside_intervals(outlines, "meridian", level)
    corners = find_corners_inside(across, level, wide, window)
    # Laid out before the long work begins: where it is too much, that is said at once.
    pieces = (
        cut_pieces(up, "meridian", level, wide, window),
        cut_pieces(across, "parallel", level, wide, window),
    )
    at = judge_corners(corners, ground)
    owners = [find_owning_corners(some, corners, at, level) for some in pieces]
    apart, pieces, owners = _separate_stretches(corners, at, owners, pieces, ground)
    near = make_empty(ground)
    if near_m > 0 and len(geometries):
        near = _find_near_misses(corners, ground, geometries, near_m, window)
    return SearchResult(FoundPlaces.concat([at, apart]), pieces[0], owners[0], pieces[1], owners[1]), near


def _find_near_misses(
    corners: FoundCorners,
    ground: JudgingContext,
    geometries: NDArray[Any],
    near_m: float,
    window: CellWindow | None,
) -> FoundPlaces:
    near, three = find_near_corners(corners, ground, near_m, window)
    # Parks that hold a place on a line have bounds that meet it: the others are not asked.
    beside = find_near_lines(ground, shapely.STRtree(geometries), near_m, window)
    return FoundPlaces.concat([near, three, beside])


def _separate_stretches(
    corners: FoundCorners,
    at: FoundPlaces,
    owners: list[Ints],
    pieces: tuple[EdgePieces, EdgePieces],
    ground: JudgingContext,
) -> tuple[FoundPlaces, tuple[EdgePieces, EdgePieces], list[Ints]]:
    """The stretches that no corner at least as sure takes in; and all pieces with their owners.

    ``owners`` are the corners that pieces end at. Owners count the corners first and then these stretches.
    """
    grades, owner, count = grade_confidence(at.judged.confidence), np.concatenate(owners), len(pieces[0].line)
    firm = np.zeros(len(owner), dtype=bool)
    if len(at.i):
        # A firm corner takes its stretches in whatever they are worth: no need to judge them.
        firm = (owner >= 0) & (grades[owner] == 0)
    apart = np.flatnonzero(~firm)
    upright, flat = np.split(apart, [np.searchsorted(apart, count)])
    spots = place_along_pieces([pieces[0].take(upright), pieces[1].take(flat - count)], ground)
    mine = owner[apart]
    worth = np.zeros(len(owner), dtype=np.int64)
    worth[apart] = grade_confidence(spots.judged.confidence)
    better = mine < 0
    if len(at.i):
        better |= worth[apart] < grades[mine]
        worth[apart] = np.where(mine < 0, worth[apart], np.minimum(worth[apart], grades[mine]))
    longer = find_long_stretches(pieces, worth, (apart, spots), (corners, at), ground)
    stays = np.ones(len(owner), dtype=bool)
    stays[longer.gone] = False
    better &= stays[apart]
    owner[apart[better]] = len(at.i) + np.arange(np.count_nonzero(better))
    found = FoundPlaces.concat([spots.take(np.flatnonzero(better)), longer.spots])
    first = len(at.i) + np.count_nonzero(better)
    made, after = [], []
    for some, new, of, left in zip(
        pieces, longer.pieces, np.split(owner, [count]), np.split(stays, [count]), strict=True
    ):
        made.append(EdgePieces.concat([some.take(np.flatnonzero(left)), new]))
        after.append(np.concatenate([of[left], first + np.arange(len(new.line))]))
        first += len(new.line)
    return found, (made[0], made[1]), after


# One tile searched, here or in another process: the parks it needs loaded from their source.
@dataclass(frozen=True, slots=True)
class SearchTerms:
    """What a search goes by, whatever its tile."""

    level: int
    station: Station
    near_m: float
    overlaps: bool  # whether places with a single cell and several parks are wanted
    box: Box | None  # west, south, east, north in degrees, east past 180 where it runs over the antimeridian
    listed_from: float = 0.0  # confidence from which overlaps are listed


@dataclass(frozen=True, slots=True)
class TileTask:
    """One tile of a search; can be sent to another process."""

    query: ParkQuery
    tile: Tile
    terms: SearchTerms
    error_range_m: tuple[float, float]


class TileFound(NamedTuple):
    """What a tile holds, and what had to be said of its parks."""

    result: SearchResult
    report: ParkReport


Spread = Callable[[Callable[[TileTask], TileFound], Iterable[TileTask]], Iterable[TileFound]]


def make_tasks(source: ParkSource, terms: SearchTerms, most: int) -> list[TileTask]:
    """Cut a search into tiles, each with the parks that could matter there.

    Parameters
    ----------
    source : ParkSource
    terms : SearchTerms
    most : int
        Parks in a tile, about.
    """
    near_m = limit_reach_m(terms.near_m, terms.level)
    numbers = np.arange(len(source.bounds)) if terms.box is None else source.near(terms.box, near_m)
    bounds = source.bounds[numbers]
    check_repeated(bounds)
    overlaps = find_meeting(bounds) if terms.overlaps else np.zeros(len(numbers), dtype=bool)
    useful = overlaps | is_near_lines(bounds, terms.level, near_m)
    numbers, bounds, overlaps = numbers[useful], bounds[useful], overlaps[useful]
    error = terms.station.boundary_error_m + source.datum_error_m
    error_range_m = float(error.min(initial=np.inf)), float(error.max(initial=0.0))
    window = None if terms.box is None else find_cell_window(*terms.box, terms.level)
    made = []
    for one in cut_into_tiles(bounds, terms.level, near_m, overlaps, window, most):
        one = one._replace(parks=numbers[one.parks])
        made.append(TileTask(source.query(one.parks), one, terms, error_range_m))
    return made


def search_tile(task: TileTask) -> tuple[SearchResult, LoadedParks]:
    """Search one tile; what is found goes by rows of the parks that were loaded."""
    tile, terms, loaded = task.tile, task.terms, task.query.load()
    near_m = limit_reach_m(terms.near_m, terms.level)
    if terms.box is not None:  # the source's bounds may be a little wide
        loaded = loaded.take(find_in_box(shapely.bounds(loaded.geometry).reshape(-1, 4), terms.box, near_m))
    tile = tile._replace(overlapping=tile.overlapping[np.searchsorted(tile.parks, loaded.numbers)])
    if tile.core is not None:
        tile = narrow_tile(tile, tile.core, loaded.geometry, terms.level, near_m)
        loaded = loaded.take(tile.parks)
    result = search_parks(
        loaded.geometry,
        terms.station.boundary_error_m + loaded.frame[DATUM_ERROR].to_numpy(dtype=float),
        terms.level,
        terms.station,
        near_m=terms.near_m,
        overlaps=tile.overlapping,
        window=tile.window,
        error_range_m=task.error_range_m,
        listed_from=terms.listed_from,
    )
    return cut_to_core(result, tile.core, terms.level), loaded


def search_task(task: TileTask) -> TileFound:
    """Search one tile; what is found goes by the numbers of the parks in their source."""
    result, loaded = search_tile(task)
    return TileFound(renumber_parks(result, loaded.numbers), loaded.report)
