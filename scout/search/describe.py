"""Rows of a search become the objects that leave the core, when they are looked at."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from itertools import chain, pairwise
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar, overload

import numpy as np
from numpy.typing import NDArray

from scout.cautions import list_entry_notes, warn_of_outline
from scout.geo.boundaries import Floats, Ints, side_of
from scout.geo.coarseness import measure_generalisation
from scout.geo.locator import get_edge_lat, get_edge_lon, make_locator
from scout.geo.probability import choose_word
from scout.model import (
    DATUM_ERROR,
    PARK_ID,
    PARK_NAME,
    CoarseOutline,
    Horizon,
    NearMiss,
    New,
    Ranked,
    Route,
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


T = TypeVar("T")

_CHUNK = 5000
_KINDS = np.array(KINDS, dtype=object)

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
    spacing, error = measure_generalisation(frame.geometry.to_numpy(), taken)
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


@dataclass(frozen=True, slots=True)
class StretchColumns:
    """Stretches side by side, as they stand in `Stretch`."""

    line: list[Any]
    start: tuple[Floats, Floats]
    end: tuple[Floats, Floats]
    length_m: Floats
    locators: list[tuple[str, ...]]
    parks: list[tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class SpotColumns:
    """Some listed spots side by side, as they stand in `Ranked`; what a number does not know is NaN.

    ``stretches`` has those of all spots, ``stretch_row`` the row of each one's spot, ascending.
    """

    rank: list[int]
    kind: list[Any]
    lon: Floats
    lat: Floats
    corner: tuple[Floats, Floats]
    locators: list[tuple[str, ...]]
    parks: list[tuple[str, ...]]
    clearances_m: list[tuple[float, ...]]
    grids_p: Floats
    parks_p: list[tuple[float, ...]]
    confidence: Floats
    coarse: list[tuple[CoarseOutline, ...]]
    park_names: list[tuple[str, ...]]
    stretches: StretchColumns
    stretch_row: Ints
    offset_m: Floats
    offset_deg: Floats
    near: list[NearMiss | None]
    notes: list[tuple[str, ...]]
    n_grids: list[int]
    n_parks: list[int]
    grid_park_pairs: list[int]
    home_km: Floats
    route: list[Route | None]
    slope_deg: list[float | None]
    warnings: list[tuple[str, ...]]
    new: list[New | None]
    horizon: list[Horizon | None]
    clearance_m: Floats
    word: list[Any]


def tabulate_spots(spots: Sequence[Ranked]) -> Iterator[SpotColumns]:
    """Give listed spots as columns, some thousands at a time; of a `Listing` no row becomes an object."""
    if isinstance(spots, Listing):
        yield from spots.columns()
        return
    for first in range(0, len(spots), _CHUNK):
        yield _tabulate_objects(spots[first : first + _CHUNK])


def _tabulate_objects(ranked: Sequence[Ranked]) -> SpotColumns:
    spots = [one.spot for one in ranked]
    verdicts = [spot.verdict for spot in spots]
    stretches = [one for spot in spots for one in spot.stretches]
    return SpotColumns(
        rank=[one.rank for one in ranked],
        kind=[spot.kind for spot in spots],
        lon=_make_numbers([spot.lon for spot in spots]),
        lat=_make_numbers([spot.lat for spot in spots]),
        corner=_make_pairs([spot.corner or (None, None) for spot in spots]),
        locators=[verdict.locators for verdict in verdicts],
        parks=[verdict.parks for verdict in verdicts],
        clearances_m=[verdict.clearances_m for verdict in verdicts],
        grids_p=_make_numbers([verdict.grids_p for verdict in verdicts]),
        parks_p=[verdict.parks_p for verdict in verdicts],
        confidence=_make_numbers([verdict.confidence for verdict in verdicts]),
        coarse=[verdict.coarse for verdict in verdicts],
        park_names=[spot.park_names for spot in spots],
        stretches=StretchColumns(
            [one.line for one in stretches],
            _make_pairs([one.start for one in stretches]),
            _make_pairs([one.end for one in stretches]),
            _make_numbers([one.length_m for one in stretches]),
            [one.locators for one in stretches],
            [one.parks for one in stretches],
        ),
        stretch_row=np.repeat(np.arange(len(spots)), [len(spot.stretches) for spot in spots]),
        offset_m=_make_numbers([spot.offset_m for spot in spots]),
        offset_deg=_make_numbers([spot.offset_deg for spot in spots]),
        near=[spot.near for spot in spots],
        notes=[spot.notes for spot in spots],
        n_grids=[one.n_grids for one in ranked],
        n_parks=[one.n_parks for one in ranked],
        grid_park_pairs=[one.grid_park_pairs for one in ranked],
        home_km=_make_numbers([one.home_km for one in ranked]),
        route=[one.route for one in ranked],
        slope_deg=[one.slope_deg for one in ranked],
        warnings=[one.warnings for one in ranked],
        new=[one.new for one in ranked],
        horizon=[one.horizon for one in ranked],
        clearance_m=_make_numbers([spot.clearance_m for spot in spots]),
        word=[verdict.word for verdict in verdicts],
    )


def _make_numbers(values: Sequence[float | None]) -> Floats:
    return np.array(values, dtype=float)  # None becomes NaN


def _make_pairs(values: Sequence[tuple[Any, Any]]) -> tuple[Floats, Floats]:
    pairs = np.array(values, dtype=float).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


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
    horizons : mapping, optional
        By row, where heights were given, of those best placed.
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
        horizons: Mapping[int, Horizon | None] | None = None,
    ) -> None:
        self._result, self._order, self._terms = result, order, terms
        self._ids, self._names, self._level = ids, names, level
        self._reached, self._new, self._beside, self._entry = reached, new, beside, entry
        self._coarse, self._horizons = coarse, horizons or {}
        self._known_beside: dict[bytes, ParksBeside] = {}

    def __len__(self) -> int:
        return len(self._order)

    def __iter__(self) -> Iterator[Ranked]:
        for some in self.columns():
            yield from _make_ranked(some)

    @overload
    def __getitem__(self, place: int) -> Ranked: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[Ranked, ...]: ...
    def __getitem__(self, place: int | slice) -> Ranked | tuple[Ranked, ...]:
        if isinstance(place, slice):
            return tuple(self.take(range(len(self))[place]))
        return self.take([range(len(self))[place]])[0]

    def take(self, places: Sequence[int]) -> list[Ranked]:
        """Return some of them by their places in the list, from 0."""
        return _make_ranked(self._tabulate(np.asarray(places, dtype=np.int64)))

    def columns(self) -> Iterator[SpotColumns]:
        """Return all of them as columns, some thousands at a time."""
        for first in range(0, len(self), _CHUNK):
            yield self._tabulate(np.arange(first, min(first + _CHUNK, len(self))))

    def bare(self) -> Listing:
        """Return the same without the parks beside each spot, which have to be loaded and judged."""
        bare = copy(self)
        bare._beside = None
        return bare

    def _tabulate(self, places: Ints) -> SpotColumns:
        order = self._order[places]
        found, level = self._result.found.take(order), self._level
        judged, missed = found.judged, found.near_park >= 0
        pieces, together, row = _collect_pieces(self._result, order)
        texts = _ParkTexts(
            [found.claims.park, found.near_park[missed], *(some.sets.park for some in pieces)],
            self._ids,
            self._names,
        )
        sizes = np.where(missed, 0, np.diff(found.claims.first))  # a near miss is in no park
        held = np.repeat(~missed, np.diff(found.claims.first))
        park, ends = found.claims.park[held], np.cumsum(sizes).tolist()
        four_or_three = np.isin(found.claims.grid, [FOUR, *THREE])
        corner = np.where(four_or_three, [get_edge_lon(found.i, level), get_edge_lat(found.j, level)], np.nan)
        locators = make_locators(found.claims.grid, found.i, found.j, level)
        coarse, walks = self._list_coarse(found), self._list_walks(order, missed)
        warned = {one: warn_of_outline(one) for one in set(chain(*coarse))}  # most are of many spots
        notes = [
            [[warned[one] for one in some] for some in coarse],
            _list_notes(found, ~np.isnan(corner[0]), np.bincount(row, minlength=len(order))),
            self._list_entry(park, ends, texts),
            self._list_beside(order, found),
            walks.notes,
        ]
        n_grids, pairs = self._terms.n_grids[order], self._terms.n_grids[order] * sizes
        new = self._new
        return SpotColumns(
            rank=(places + 1).tolist(),
            kind=_KINDS[found.kind].tolist(),
            lon=judged.lon,
            lat=judged.lat,
            corner=(corner[0], corner[1]),
            locators=locators,
            parks=_split_list(texts.ids_of(park), ends),
            clearances_m=_split_list(judged.clearance_m[held].tolist(), ends),
            grids_p=judged.grids_p,
            parks_p=_split_list(judged.parks_p[held].tolist(), ends),
            confidence=judged.confidence,
            coarse=coarse,
            park_names=_split_list(texts.names_of(park), ends),
            stretches=_tabulate_stretches(pieces, together, texts, level),
            stretch_row=row,
            offset_m=np.hypot(found.dx_m, found.dy_m),
            offset_deg=np.degrees(np.arctan2(found.dx_m, found.dy_m)) % 360.0,
            near=_list_missed(found, texts),
            notes=[tuple(chain(*some)) for some in zip(*notes, strict=True)],
            n_grids=n_grids.tolist(),
            n_parks=sizes.tolist(),
            grid_park_pairs=pairs.tolist(),
            home_km=self._terms.home_km[order],
            route=walks.route,
            slope_deg=walks.slope_deg,
            warnings=walks.warnings,
            new=[None] * len(order)
            if new is None
            else [*map(New, *(column[order].tolist() for column in new))],
            horizon=[self._horizons.get(row) for row in order.tolist()],
            clearance_m=self._terms.clearance_m[order],
            word=[
                "not counted" if outside else choose_word(p)
                for outside, p in zip(missed.tolist(), judged.confidence.tolist(), strict=True)
            ],
        )

    def _list_coarse(self, found: FoundPlaces) -> list[tuple[CoarseOutline, ...]]:
        """The outlines that look generalised of the parks each row claims, or of the one it misses."""
        coarse: list[tuple[CoarseOutline, ...]] = [()] * len(found)
        if self._coarse is None:
            return coarse
        parks = found.parks_of(np.arange(len(found)))
        measured = self._coarse(parks)
        outlines = np.array([measured.get(park) for park in parks.tolist()], dtype=object)
        sizes, inside = np.diff(found.claims.first), found.near_park < 0
        held = np.repeat(np.arange(len(found)), np.where(inside, sizes, 0))
        row = np.concatenate([held, np.flatnonzero(~inside)])
        park = np.concatenate([found.claims.park[np.repeat(inside, sizes)], found.near_park[~inside]])
        for k, one in zip(row.tolist(), outlines[np.searchsorted(parks, park)].tolist(), strict=True):
            if one is not None:
                coarse[k] += (one,)
        return coarse

    def _list_beside(self, order: Ints, found: FoundPlaces) -> list[list[str]]:
        """What to note of the parks that rows do not claim and whose boundaries errors may reach."""
        notes: list[list[str]] = [[] for _ in range(len(found))]
        if self._beside is None:
            return notes
        # Each output asks for the same rows again, and these parks have to be loaded and judged.
        key = order.tobytes()
        pairs = self._known_beside.get(key)
        if pairs is None:
            pairs = self._known_beside[key] = self._beside(found)
        texts = _ParkTexts([pairs.park], self._ids, self._names)
        texts_of = texts.ids_of(pairs.park), texts.names_of(pairs.park)
        columns = (column.tolist() for column in (pairs.row, pairs.clearance_m, pairs.p))
        for ref, name, row, clearance_m, p in zip(*texts_of, *columns, strict=True):
            called, side = f"{name} ({ref})" if name else ref, side_of(clearance_m)
            away = () if side.startswith("on") else (Length(abs(clearance_m), "fine"), " ")
            ending = f", probability {format_probability(p)}."
            notes[row].append(MeasuredText(f"Not claimed: {called}, ", *away, side, ending))
        return notes

    def _list_entry(self, park: Ints, ends: list[int], texts: _ParkTexts) -> list[list[str]]:
        """What to note of the parks of rows that may not be open to everyone."""
        if self._entry is None:
            return [[]] * len(ends)
        called = [name or ref for name, ref in zip(texts.names_of(park), texts.ids_of(park), strict=True)]
        said = [*zip(called, self._entry[park].tolist(), strict=True)]
        return [list_entry_notes(some) for some in _split_list(said, ends)]

    def _list_walks(self, order: Ints, missed: NDArray[np.bool_]) -> _Walks:
        reached, count = self._reached, len(order)
        if reached is None:
            return _Walks([None] * count, [None] * count, [()] * count, [()] * count)
        rows = [
            None if outside else row for row, outside in zip(order.tolist(), missed.tolist(), strict=True)
        ]
        return _Walks(
            [None if row is None else reached.route(row) for row in rows],
            [None if row is None else reached.slope_deg.get(row) for row in rows],
            [() if row is None else reached.warnings.get(row, ()) for row in rows],
            [() if row is None else reached.notes(row) for row in rows],
        )


class _Walks(NamedTuple):
    """Of each row, nothing where no access data was given or nothing counts."""

    route: list[Route | None]
    slope_deg: list[float | None]
    warnings: list[tuple[str, ...]]
    notes: list[tuple[str, ...]]


class _ParkTexts:
    """Ids and names of some parks by their numbers: texts of all, one by one, are slow to look up."""

    def __init__(self, parks: Sequence[Ints], ids: Any, names: Any) -> None:
        self.numbers = np.unique(np.concatenate(parks))
        self.ids, self.names = (np.asarray(some[self.numbers], dtype=object) for some in (ids, names))

    def ids_of(self, parks: Ints) -> list[str]:
        found: list[str] = self.ids[np.searchsorted(self.numbers, parks)].tolist()
        return found

    def names_of(self, parks: Ints) -> list[str]:
        found: list[str] = self.names[np.searchsorted(self.numbers, parks)].tolist()
        return found


def _split_list(values: list[T], ends: list[int]) -> list[tuple[T, ...]]:
    return [tuple(values[first:end]) for first, end in pairwise([0, *ends])]


def _make_ranked(some: SpotColumns) -> list[Ranked]:
    """The rows of columns as objects."""
    line = some.stretches
    stretches = [
        Stretch(*columns)
        for columns in zip(
            line.line,
            _pair(line.start),
            _pair(line.end),
            line.length_m.tolist(),
            line.locators,
            line.parks,
            strict=True,
        )
    ]
    ends = np.cumsum(np.bincount(some.stretch_row, minlength=len(some.rank))).tolist()
    verdicts = map(
        Verdict,
        some.locators,
        some.parks,
        some.clearances_m,
        some.grids_p.tolist(),
        some.parks_p,
        some.confidence.tolist(),
        some.word,
        some.coarse,
    )
    corners = [None if math.isnan(lon) else (lon, lat) for lon, lat in _pair(some.corner)]
    spots = map(
        Spot,
        some.kind,
        some.lon.tolist(),
        some.lat.tolist(),
        corners,
        verdicts,
        some.park_names,
        _split_list(stretches, ends),
        some.offset_m.tolist(),
        some.offset_deg.tolist(),
        some.near,
        some.notes,
    )
    home_km = [None if math.isnan(km) else km for km in some.home_km.tolist()]
    ranked = map(
        Ranked,
        some.rank,
        spots,
        some.n_grids,
        some.n_parks,
        some.grid_park_pairs,
        home_km,
        some.route,
        some.slope_deg,
        some.warnings,
        some.new,
        some.horizon,
    )
    return [*ranked]


def _pair(lon_lat: tuple[Floats, Floats]) -> list[tuple[float, float]]:
    return [*zip(lon_lat[0].tolist(), lon_lat[1].tolist(), strict=True)]


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


def _list_missed(found: FoundPlaces, texts: _ParkTexts) -> list[NearMiss | None]:
    missed: list[NearMiss | None] = [None] * len(found)
    rows = np.flatnonzero(found.near_park >= 0)
    park = found.near_park[rows]
    columns = found.near_m[rows].tolist(), found.near_deg[rows].tolist()
    for row, *values in zip(rows.tolist(), texts.ids_of(park), texts.names_of(park), *columns, strict=True):
        missed[row] = NearMiss(*values)
    return missed


def _list_notes(found: FoundPlaces, at_corner: NDArray[np.bool_], stretches: Ints) -> list[list[str]]:
    """What to note of the kind of each place, and of the stretches that end there."""
    notes: list[list[str]] = [[] for _ in range(len(found))]
    inside = found.near_park < 0
    for row in np.flatnonzero(~inside).tolist():
        notes[row].append("Outside every park; no station here counts for one.")
    for row in np.flatnonzero(inside & at_corner & (count_cells(found.claims.grid) == 3)).tolist():
        notes[row].append(
            "Three cells: with the corner itself in the station, too much of it would lie outside."
        )
    for row in np.flatnonzero(inside & at_corner & (stretches > 0)).tolist():
        count = int(stretches[row])
        notes[row].append(f"{count} stretch{'es' if count > 1 else ''} of line end at this corner.")
    return notes


def _collect_pieces(result: SearchResult, order: Ints) -> tuple[list[EdgePieces], Ints, Ints]:
    """The stretches of some rows: pieces of meridians, then of parallels; those of a row together.

    Gives the pieces, the order that brings those of each row together, and in that order the places of rows.
    """
    place = np.full(len(result.found.i) + 1, -1)
    place[order] = np.arange(len(order))
    pieces, rows = [], []
    for some, owner in (
        (result.meridians, result.meridian_owner),
        (result.parallels, result.parallel_owner),
    ):
        mine = np.flatnonzero(place[owner] >= 0)
        pieces.append(some.take(mine))
        rows.append(place[owner[mine]])
    row = np.concatenate(rows)
    together = np.argsort(row, kind="stable")
    return pieces, together, row[together]


def _tabulate_stretches(
    pieces: Sequence[EdgePieces], together: Ints, texts: _ParkTexts, level: int
) -> StretchColumns:
    lines: list[Any] = []
    numbers, cells, parks = [], [], []
    for some in pieces:
        count = len(some)
        lines += [some.axis] * count
        ends = [locate_on_pieces(some, np.full(count, f), level) for f in (0.0, 1.0)]
        numbers.append(np.stack([*ends[0], *ends[1], measure_pieces(some, level)]))
        other = (some.line - 1, some.cell), (some.cell, some.line - 1)
        one, two = (
            (other[0], (some.line, some.cell))
            if some.axis == "meridian"
            else ((some.cell, some.line), other[1])
        )
        cells.append(np.stack([make_locator(*one, level), make_locator(*two, level)]))
        parks += _split_list(texts.ids_of(some.sets.park), some.sets.first[1:].tolist())
    order = together.tolist()
    lon0, lat0, lon1, lat1, length = np.concatenate(numbers, axis=1)[:, together]
    locators = np.concatenate(cells, axis=1)[:, together].tolist()
    return StretchColumns(
        [lines[k] for k in order],
        (lon0, lat0),
        (lon1, lat1),
        length,
        [*zip(*locators, strict=True)],
        [parks[k] for k in order],
    )
