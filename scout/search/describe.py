"""Rows of a search become the objects that leave the core, when they are looked at."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import replace
from typing import TYPE_CHECKING, Any, overload

import numpy as np

from scout.cautions import list_entry_notes, warn_of_outline
from scout.geo.boundaries import Ints, side_of
from scout.geo.coarseness import measure_generalisation
from scout.geo.locator import get_edge_lat, get_edge_lon, make_locator
from scout.geo.probability import choose_word
from scout.model import (
    DATUM_ERROR,
    PARK_ID,
    PARK_NAME,
    CoarseOutline,
    NearMiss,
    New,
    Ranked,
    Spot,
    Station,
    Stretch,
    Verdict,
)
from scout.quantities import Length, MeasuredText, format_probability
from scout.search.found import KINDS, FoundPlaces
from scout.search.rank import RankTerms
from scout.search.run import SearchResult
from scout.search.scan import EdgePieces
from scout.search.stretches import locate_on_pieces, measure_pieces
from scout.search.verdict import FOUR, MERIDIAN, ONE, PARALLEL, THREE
from scout.table import expand_ranges
from scout.visits.tally import make_cell_keys

if TYPE_CHECKING:
    import geopandas as gpd

    from scout.search.beside import ParksBeside
    from scout.visits.tally import Added
    from scout.walk.reach import ReachedSpots


_CHUNK = 5000

# Cells of a claim as steps from its numbers (i, j), read as on a map: north row first, west to east.
_NW, _NE, _SW, _SE = (-1, 0), (0, 0), (-1, -1), (0, -1)
_CELLS: dict[int, tuple[tuple[int, int], ...]] = {
    ONE: (_NE,),
    MERIDIAN: (_NW, _NE),
    PARALLEL: (_NE, _SE),
    FOUR: (_NW, _NE, _SW, _SE),
    THREE[0]: (_NW, _NE, _SE),
    THREE[1]: (_NW, _NE, _SW),
    THREE[2]: (_NW, _SW, _SE),
    THREE[3]: (_NE, _SW, _SE),
}


def count_cells(grid: Ints) -> Ints:
    """Number of cells that each claim names."""
    counts = np.zeros(max(_CELLS) + 1, dtype=np.int64)
    for code, cells in _CELLS.items():
        counts[code] = len(cells)
    return counts[grid]


def make_claim_keys(grid: Ints, i: Ints, j: Ints, level: int) -> Ints:
    """Keys of the cells that each claim names, shape (n, 4), as `count_added` takes them; -1 beyond."""
    east, north = np.zeros((2, max(_CELLS) + 1, 4), dtype=np.int64)
    for code, cells in _CELLS.items():
        east[code, : len(cells)], north[code, : len(cells)] = zip(*cells, strict=True)
    keys = make_cell_keys(i[:, None] + east[grid], j[:, None] + north[grid], level)
    keys[np.arange(4) >= count_cells(grid)[:, None]] = -1
    return keys


def find_coarse_outlines(frame: gpd.GeoDataFrame, station: Station) -> list[CoarseOutline | None]:
    """Of each park of a frame, how its outline looks generalised; None where it does not.

    It does where the true boundary may run further from it than the boundary error it is judged by.
    """
    taken = station.boundary_error_m + frame[DATUM_ERROR].to_numpy(dtype=float)
    spacing, error = measure_generalisation(frame.geometry.to_numpy())
    found: list[CoarseOutline | None] = [None] * len(frame)
    for row in np.flatnonzero(error > taken).tolist():
        park, name = str(frame[PARK_ID].iloc[row]), str(frame[PARK_NAME].iloc[row])
        metres = float(spacing[row]), float(error[row]), _advise_error(float(error[row])), float(taken[row])
        found[row] = CoarseOutline(park, name, *metres)
    return found


def _advise_error(error_m: float) -> float:
    """The next of 1, 2, 5, 10, 20 ... metres."""
    power = 10.0 ** math.floor(math.log10(error_m))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= error_m)


class Listing(Sequence[Ranked]):
    """The listed rows of a search, in order, made into objects only as they are looked at.

    Parameters
    ----------
    result : SearchResult
    order : array of int
        Rows of ``result.found``, best first.
    terms : RankTerms
        Of all rows.
    ids, names : arrays, of numpy or pandas
        Of the parks the search numbered.
    level : int
    reached : ReachedSpots, optional
        The walks, where access data was given.
    new : Added, optional
        What each row would add, where a notebook was given.
    beside : callable, optional
        Gives the parks beside some of the rows.
    entry : array of `Entry` or "", optional
        Who may enter each park.
    coarse : callable, optional
        Gives, of parks by their numbers, which have outlines that look generalised.
    """

    def __init__(
        self,
        result: SearchResult,
        order: Ints,
        terms: RankTerms,
        ids: Any,
        names: Any,
        level: int,
        reached: ReachedSpots | None = None,
        new: Added | None = None,
        beside: Callable[[FoundPlaces], ParksBeside] | None = None,
        entry: Any = None,
        coarse: Callable[[Ints], Mapping[int, CoarseOutline | None]] | None = None,
    ) -> None:
        self._result, self._order, self._terms = result, order, terms
        self._ids, self._names, self._level = ids, names, level
        self._reached, self._new, self._beside, self._entry = reached, new, beside, entry
        self._coarse = coarse

    def __len__(self) -> int:
        return len(self._order)

    def __iter__(self) -> Iterator[Ranked]:
        for first in range(0, len(self), _CHUNK):
            yield from self._made(range(first, min(first + _CHUNK, len(self))))

    @overload
    def __getitem__(self, place: int) -> Ranked: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[Ranked, ...]: ...
    def __getitem__(self, place: int | slice) -> Ranked | tuple[Ranked, ...]:
        if isinstance(place, slice):
            return tuple(self._made(range(len(self))[place]))
        return self._made([range(len(self))[place]])[0]

    def take(self, places: Sequence[int]) -> list[Ranked]:
        """Return some of them by their places in the list, from 0."""
        return self._made(places)

    def bare(self) -> Listing:
        """Return the same without the parks beside each spot, which have to be loaded and judged."""
        bare = copy(self)
        bare._beside = None
        return bare

    def _made(self, places: Sequence[int]) -> list[Ranked]:
        order = self._order[np.asarray(places, dtype=np.int64)]
        found = self._result.found.take(order)
        stretches = _collect_stretches(self._result, order, self._ids, self._level)
        locators = make_locators(found.claims.grid, found.i, found.j, self._level)
        besides = self._parks_beside(found)
        outlines = {} if self._coarse is None else self._coarse(found.parks_of(np.arange(len(order))))
        made = []
        for row, place in enumerate(places):
            spot = _make_spot(
                found, row, locators[row], stretches.get(row, ()), self._ids, self._names, self._level
            )
            entry = self._list_entry(found, row)
            coarse = _list_coarse(found, row, outlines)
            outline = map(warn_of_outline, coarse)
            notes = (*outline, *spot.notes, *entry, *besides.get(row, ()))
            spot = replace(spot, verdict=replace(spot.verdict, coarse=coarse), notes=notes)
            missed = spot.near is not None
            n_grids, n_parks = int(self._terms.n_grids[order[row]]), len(spot.verdict.parks)
            home_km = float(self._terms.home_km[order[row]])
            ranked = Ranked(
                rank=place + 1,
                spot=spot,
                n_grids=n_grids,
                n_parks=n_parks,
                grid_park_pairs=0 if missed else n_grids * n_parks,
                home_km=None if np.isnan(home_km) else home_km,
                new=self._added(int(order[row])),
            )
            made.append(self._with_walk(ranked, int(order[row])))
        return made

    def _parks_beside(self, found: FoundPlaces) -> dict[int, list[str]]:
        """What to note of the parks that rows do not claim and whose boundaries errors may reach."""
        notes: dict[int, list[str]] = {}
        if self._beside is None:
            return notes
        pairs = self._beside(found)
        columns = (pairs.row, pairs.park, pairs.clearance_m, pairs.p)
        for row, park, clearance_m, p in zip(*(column.tolist() for column in columns), strict=True):
            name, ref = str(self._names[park]), str(self._ids[park])
            called, side = f"{name} ({ref})" if name else ref, side_of(clearance_m)
            away = () if side.startswith("on") else (Length(abs(clearance_m), "fine"), " ")
            ending = f", probability {format_probability(p)}."
            notes.setdefault(row, []).append(MeasuredText(f"Not claimed: {called}, ", *away, side, ending))
        return notes

    def _list_entry(self, found: FoundPlaces, row: int) -> list[str]:
        """What to note of the parks of a row that may not be open to everyone."""
        if self._entry is None:
            return []
        parks = found.claims.park[found.claims.first[row] : found.claims.first[row + 1]].tolist()
        return list_entry_notes(
            (str(self._names[park] or self._ids[park]), self._entry[park]) for park in parks
        )

    def _added(self, row: int) -> New | None:
        new = self._new
        return None if new is None else New(int(new.grids[row]), int(new.parks[row]), int(new.pairs[row]))

    def _with_walk(self, ranked: Ranked, row: int) -> Ranked:
        reached = self._reached
        if reached is None or ranked.spot.near is not None:
            return ranked
        spot = ranked.spot
        return replace(
            ranked,
            spot=replace(spot, notes=(*spot.notes, *reached.notes(row))),
            route=reached.route(row),
            slope_deg=reached.slope_deg.get(row),
            warnings=reached.warnings.get(row, ()),
        )


def _list_coarse(
    found: FoundPlaces, row: int, outlines: Mapping[int, CoarseOutline | None]
) -> tuple[CoarseOutline, ...]:
    """The outlines that look generalised of the parks a row claims, or of the one it misses."""
    missed = int(found.near_park[row])
    held = found.claims.park[found.claims.first[row] : found.claims.first[row + 1]].tolist()
    some = (outlines.get(park) for park in (held if missed < 0 else [missed]))
    return tuple(one for one in some if one is not None)


def make_locators(grid: Ints, i: Ints, j: Ints, level: int) -> list[tuple[str, ...]]:
    """Locators each claim names, read as on a map: north row first, west to east."""
    cells = count_cells(grid)
    row, at = expand_ranges(np.zeros(len(cells), dtype=np.int64), cells)
    steps = np.array([_CELLS[int(g)][k] for g, k in zip(grid[row], at, strict=True)])
    if len(steps) == 0:
        return []
    texts = make_locator(i[row] + steps[:, 0], j[row] + steps[:, 1], level).tolist()
    ends = np.cumsum(cells).tolist()
    return [tuple(texts[end - size : end]) for end, size in zip(ends, cells.tolist(), strict=True)]


def _make_spot(
    found: FoundPlaces,
    row: int,
    locators: tuple[str, ...],
    stretches: tuple[Stretch, ...],
    ids: Any,
    names: Any,
    level: int,
) -> Spot:
    judged, missed = found.judged, int(found.near_park[row])
    part = slice(found.claims.first[row], found.claims.first[row + 1])
    held = found.claims.park[part] if missed < 0 else np.empty(0, dtype=np.int64)
    confidence = float(judged.confidence[row])
    grid = int(found.claims.grid[row])
    corner = None
    if grid == FOUR or grid in THREE:
        corner = (float(get_edge_lon(found.i[row], level)), float(get_edge_lat(found.j[row], level)))
    dx, dy = float(found.dx_m[row]), float(found.dy_m[row])
    return Spot(
        kind=KINDS[found.kind[row]],
        lon=float(judged.lon[row]),
        lat=float(judged.lat[row]),
        corner=corner,
        verdict=Verdict(
            locators=locators,
            parks=tuple(ids[held].tolist()),
            clearances_m=tuple(judged.clearance_m[part].tolist()) if missed < 0 else (),
            grids_p=float(judged.grids_p[row]),
            parks_p=tuple(judged.parks_p[part].tolist()) if missed < 0 else (),
            confidence=confidence,
            word="not counted" if missed >= 0 else choose_word(confidence),
        ),
        park_names=tuple(names[held].tolist()),
        stretches=stretches,
        offset_m=float(np.hypot(dx, dy)),
        offset_deg=float(np.degrees(np.arctan2(dx, dy)) % 360.0),
        near=None
        if missed < 0
        else NearMiss(
            str(ids[missed]), str(names[missed]), float(found.near_m[row]), float(found.near_deg[row])
        ),
        notes=_make_notes(found, row, corner is not None, len(locators), len(stretches)),
    )


def _make_notes(found: FoundPlaces, row: int, at_corner: bool, cells: int, stretches: int) -> tuple[str, ...]:
    notes = []
    if found.near_park[row] >= 0:
        return ("Outside every park; no station here counts for one.",)
    if at_corner and cells == 3:
        notes.append("Three cells: with the corner itself in the station, too much of it would lie outside.")
    if at_corner and stretches:
        notes.append(f"{stretches} stretch{'es' if stretches > 1 else ''} of line end at this corner.")
    return tuple(notes)


def _collect_stretches(
    result: SearchResult, order: Ints, ids: Any, level: int
) -> dict[int, tuple[Stretch, ...]]:
    """The stretches of each of some rows, by its place among them."""
    place = np.full(len(result.found.i) + 1, -1)
    place[order] = np.arange(len(order))
    by_row: dict[int, list[Stretch]] = {}
    for pieces, owner in (
        (result.meridians, result.meridian_owner),
        (result.parallels, result.parallel_owner),
    ):
        mine = np.flatnonzero(place[owner] >= 0)
        for row, stretch in zip(
            place[owner[mine]].tolist(), _make_stretches(pieces.take(mine), ids, level), strict=True
        ):
            by_row.setdefault(row, []).append(stretch)
    return {row: tuple(stretches) for row, stretches in by_row.items()}


def _make_stretches(pieces: EdgePieces, ids: Any, level: int) -> list[Stretch]:
    n = len(pieces.line)
    start, end = (locate_on_pieces(pieces, np.full(n, f), level) for f in (0.0, 1.0))
    if pieces.axis == "meridian":
        pair = (
            make_locator(pieces.line - 1, pieces.cell, level),
            make_locator(pieces.line, pieces.cell, level),
        )
    else:
        pair = (
            make_locator(pieces.cell, pieces.line, level),
            make_locator(pieces.cell, pieces.line - 1, level),
        )
    columns = [np.asarray(c).tolist() for c in (*start, *end, measure_pieces(pieces, level), *pair)]
    first = pieces.sets.first
    parks = [tuple(ids[pieces.sets.park[first[k] : first[k + 1]]].tolist()) for k in range(n)]
    return [
        Stretch(pieces.axis, (x0, y0), (x1, y1), size, (one, two), held)
        for x0, y0, x1, y1, size, one, two, held in zip(*columns, parks, strict=True)
    ]
