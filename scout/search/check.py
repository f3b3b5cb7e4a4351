"""Planned places judged: which grids and parks count there, what holds that down, which move helps.

The verdict is `scout.search.verdict`'s, the same as the search gives.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from scout.cautions import list_entry_notes, warn_of_outline
from scout.geo.boundaries import Boundaries, Floats, Ints
from scout.geo.geodesy import measure_geodesic, wrap_lon
from scout.geo.locator import decode
from scout.geo.probability import DOUBTFUL, FIRM, choose_word
from scout.model import (
    DATUM_ERROR,
    ENTRY,
    PARK_ID,
    PARK_NAME,
    Checked,
    CoarseOutline,
    Findings,
    LineAt,
    Move,
    NearMiss,
    ParkAt,
    Parks,
    Ranked,
    Spot,
    Station,
    Verdict,
    collect_credits,
)
from scout.parks.sources import name_parks
from scout.quantities import (
    Length,
    MeasuredText,
    format_bearing,
    format_count,
    format_probability,
    format_verdict,
)
from scout.search.describe import find_coarse_outlines, make_locators
from scout.search.found import FoundPlaces
from scout.search.places import (
    NearestLattice,
    NearPairs,
    compute_cell_shares,
    compute_reaches,
    find_best_moves,
    find_candidates,
    find_feet,
    find_near_pairs,
    find_touched_cells,
    judge_conditions,
    locate_lattice,
)
from scout.search.verdict import JudgingContext


@dataclass(frozen=True)
class Answers:
    """What is known of some places, in arrays and lists by place."""

    ids: NDArray[Any]  # of the parks that the pairs number
    lon: Floats
    lat: Floats
    pairs: NearPairs
    parks: list[ParkAt]  # of each pair
    first: Ints  # where each place's pairs begin
    locators: list[tuple[str, ...]]
    grids_p: Floats
    confidence: Floats  # of the grids with the parks that count, or with the surest
    coarse: list[CoarseOutline | None]  # by the numbers of the parks

    def verdict(self, row: int) -> Verdict:
        """The grids touched, the parks that count there and how sure that is."""
        mine = self._rows(row)
        counted = mine[self.pairs.p[mine] >= DOUBTFUL]
        confidence = float(self.confidence[row])
        return Verdict(
            locators=self.locators[row],
            parks=tuple(self.ids[self.pairs.park[counted]].tolist()),
            clearances_m=tuple(self.pairs.clearance_m[counted].tolist()),
            grids_p=float(self.grids_p[row]),
            parks_p=tuple(self.pairs.p[counted].tolist()),
            confidence=confidence,
            word=choose_word(confidence) if len(counted) else "not counted",
            coarse=self._list_coarse(self.pairs.park[counted]),
        )

    def _list_coarse(self, parks: Ints) -> tuple[CoarseOutline, ...]:
        some = (self.coarse[park] for park in parks.tolist())
        return tuple(one for one in some if one is not None)

    def parks_at(self, row: int) -> tuple[ParkAt, ...]:
        """Every park near, the surest first."""
        return tuple(self.parks[self.first[row] : self.first[row + 1]])

    def _rows(self, row: int) -> Ints:
        return np.arange(self.first[row], self.first[row + 1])

    def driver(self, row: int, verdict: Verdict) -> str:
        """What holds the confidence down, in words."""
        mine = self._rows(row)
        if len(mine) == 0:
            return "no park is near"
        if not verdict.parks:
            park = self.parks[mine[0]]
            if park.clearance_m < 0:
                outside = f"outside every park; {_name_park(park)} is "
                return MeasuredText(outside, Length(park.edge_m, "fine"), " away")
            return MeasuredText("only ", Length(park.clearance_m, "fine"), f" inside {_name_park(park)}")
        least = int(np.argmin(verdict.parks_p))
        if verdict.grids_p <= verdict.parks_p[least]:
            return f"reaching {len(verdict.locators)} grids" if len(verdict.locators) > 1 else "the receiver"
        name = next(_name_park(p) for p in self.parks_at(row) if p.park == verdict.parks[least])
        return MeasuredText(f"the boundary of {name}, ", Length(verdict.clearances_m[least], "fine"), " away")

    def move(self, row: int, found: FoundPlaces, at: int, level: int) -> Move:
        """The better centre in a row of ``found``."""
        part = slice(found.claims.first[at], found.claims.first[at + 1])
        one = np.array([at])
        lon, lat = float(found.judged.lon[at]), float(found.judged.lat[at])
        distance, bearing = measure_geodesic(self.lon[row], self.lat[row], lon, lat)
        ids = self.ids[found.claims.park[part]]
        confidence = float(found.judged.confidence[at])
        verdict = Verdict(
            locators=make_locators(found.claims.grid[one], found.i[one], found.j[one], level)[0],
            parks=tuple(ids.tolist()),
            clearances_m=tuple(found.judged.clearance_m[part].tolist()),
            grids_p=float(found.judged.grids_p[at]),
            parks_p=tuple(found.judged.parks_p[part].tolist()),
            confidence=confidence,
            word=choose_word(confidence),
            coarse=self._list_coarse(found.claims.park[part]),
        )
        return Move(float(distance), float(bearing), lon, lat, verdict)


def count_pairs(verdict: Verdict) -> tuple[int, int]:
    """Pairs of grid and park that a verdict counts firmly, and at least doubtfully."""
    pairs = len(verdict.locators) * len(verdict.parks)
    return (pairs * (verdict.confidence >= FIRM), pairs * (verdict.confidence >= DOUBTFUL))


def _name_park(park: ParkAt) -> str:
    return park.park_name or park.park


def _list_parks(
    known: tuple[NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any], list[CoarseOutline | None]],
    pairs: NearPairs,
    share: Floats,
    places: tuple[Floats, Floats],
) -> list[ParkAt]:
    """What to say of the park of each pair; ``known`` has ids, names, entry, shapes and outlines of parks."""
    *texts, geometries, coarse = known
    ids, names, entry = ([str(one) for one in column.tolist()] for column in texts)
    lon, lat = (column[pairs.place] for column in places)
    edge_m, edge_deg = measure_geodesic(lon, lat, pairs.edge_lon, pairs.edge_lat)
    columns = (
        pairs.park,
        pairs.clearance_m,
        pairs.edge_lon,
        pairs.edge_lat,
        edge_m,
        edge_deg,
        _find_holes(geometries, pairs.park, pairs.edge_lon, pairs.edge_lat),
        pairs.p,
        share,
    )
    return [
        ParkAt(
            park=ids[park],
            park_name=names[park],
            clearance_m=clearance_m,
            edge=(x, y),
            edge_m=metres,
            edge_deg=bearing,
            at_inholding=inholding,
            p=p,
            word=choose_word(p),
            cell_share=None if math.isnan(part) else part,
            entry=entry[park],
            coarse=coarse[park],
        )
        for park, clearance_m, x, y, metres, bearing, inholding, p, part in zip(
            *(column.tolist() for column in columns), strict=True
        )
    ]


def _find_holes(geometries: NDArray[Any], park: Ints, lon: Floats, lat: Floats) -> NDArray[np.bool_]:
    """Which boundary points of parks lie on a hole: an inholding."""
    found = np.zeros(len(park), dtype=bool)
    parts, of = shapely.get_parts(geometries, return_index=True)
    order = np.argsort(park, kind="stable")
    for one in np.unique(of[shapely.get_num_interior_rings(parts) > 0]):
        rings, part = shapely.get_rings(parts[of == one], return_index=True)
        first, last = np.searchsorted(park[order], [one, one + 1])
        middle, step = shapely.bounds(geometries[one])[[0, 2]].mean(), max(_DISTANCES // len(rings), 1)
        for begin in range(first, last, step):
            rows = order[begin : min(begin + step, last)]
            turn = 360.0 * np.rint((middle - lon[rows]) / 360.0)
            points = shapely.points(lon[rows] + turn, lat[rows])
            nearest = shapely.distance(rings[:, None], points).argmin(axis=0)
            found[rows] = (nearest > 0) & (part[nearest] == part[nearest - 1])
    return found


_KINDS: tuple[Literal["meridian", "parallel", "corner"], ...] = ("meridian", "parallel", "corner")
_CHUNK = 20_000  # places held at once
_DISTANCES = 100_000  # between boundary points and rings


@dataclass(frozen=True, slots=True)
class CheckOptions:
    """How to judge places."""

    level: int = 2
    station: Station = field(default_factory=Station)
    near_m: float = 1000.0  # parks further outside are ignored
    moves: bool = True


def check_places(
    parks: Parks,
    lon: ArrayLike,
    lat: ArrayLike,
    options: CheckOptions,
    cells: Sequence[str | None] | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Iterator[Checked]:
    """Judge places one after the other.

    Parameters
    ----------
    parks : Parks
        As `scout.parks.build.build_parks` makes them.
    lon, lat : arrays, shape (n,)
        Degrees.
    options : Check
    cells : sequence of str or None, optional
        Locators of the places that were given as such: the whole cell is then judged.

    Yields
    ------
    Checked
        One per place, in order; memory is bounded whatever their number.
    """
    x, y = wrap_lon(np.atleast_1d(lon)), np.atleast_1d(np.asarray(lat, dtype=float))
    names: Sequence[str | None] = cells if cells is not None else [None] * len(x)
    tree = shapely.STRtree(parks.frame.geometry.to_numpy())
    for first in range(0, len(x), _CHUNK):
        rows = slice(first, first + _CHUNK)
        progress(f"checking places {first + 1:,} to {min(first + _CHUNK, len(x)):,} of {len(x):,}")
        yield from _check_batch(parks, tree, x[rows], y[rows], names[rows], options)


def _check_batch(
    parks: Parks,
    tree: shapely.STRtree,
    lon: Floats,
    lat: Floats,
    cells: Sequence[str | None],
    options: CheckOptions,
) -> list[Checked]:
    frame, level = parks.frame, options.level
    geometry = frame.geometry.to_numpy()
    reach = compute_reaches(cells, options.near_m)
    place, park = find_candidates(tree, lon, lat, reach)
    numbers, park = np.unique(park, return_inverse=True)
    error = options.station.boundary_error_m + frame[DATUM_ERROR].to_numpy(dtype=float)[numbers]
    ground = JudgingContext(Boundaries(geometry[numbers]), error, level, options.station)
    pairs = find_near_pairs(place, park, lon, lat, reach, ground)
    share = compute_cell_shares(pairs, cells, geometry[numbers])
    pairs = replace(pairs, p=np.where(np.isnan(share), pairs.p, share))
    # Of a cell, what it does not touch counts as near only where its centre is.
    near = (pairs.clearance_m >= -options.near_m) | (share > 0)
    pairs, share = pairs.take(near), share[near]
    order = np.lexsort((-pairs.clearance_m, -pairs.p, pairs.place))
    pairs, share = pairs.take(order), share[order]
    lattice = locate_lattice(lon, lat, level)
    claims, i, j, grids_p = find_touched_cells(lon, lat, lattice, ground)
    locators = make_locators(claims.grid, i, j, level)
    for row, cell in enumerate(cells):
        if cell is not None:
            locators[row], grids_p[row] = _claim_of_cell(cell, level)
    first = np.searchsorted(pairs.place, np.arange(len(lon) + 1))
    ids, names = (frame[column].to_numpy()[numbers] for column in (PARK_ID, PARK_NAME))
    entry = frame[ENTRY].to_numpy()[numbers] if ENTRY in frame else np.full(len(numbers), "", dtype=object)
    coarse = find_coarse_outlines(frame.iloc[numbers], options.station)
    exact = np.array([cell is None for cell in cells], dtype=bool)
    sure = judge_conditions(claims, (lon, lat), grids_p, pairs, exact, ground)
    known = ids, names, entry, geometry[numbers], coarse
    near_parks = _list_parks(known, pairs, share, (lon, lat))
    answers = Answers(ids, lon, lat, pairs, near_parks, first, locators, grids_p, sure, coarse)
    verdicts = [answers.verdict(row) for row in range(len(lon))]
    moves = _find_moves(answers, lattice, verdicts, cells, ground) if options.moves else {}
    lines = find_feet(lon, lat, lattice, level)
    return [
        Checked(
            float(lon[row]),
            float(lat[row]),
            verdicts[row],
            answers.parks_at(row),
            tuple(
                LineAt(kind, *(float(column[row]) for column in foot))
                for kind, foot in zip(_KINDS, lines, strict=True)
            ),
            answers.driver(row, verdicts[row]),
            moves.get(row),
        )
        for row in range(len(lon))
    ]


def _find_moves(
    answers: Answers,
    lattice: NearestLattice,
    verdicts: list[Verdict],
    cells: Sequence[str | None],
    ground: JudgingContext,
) -> dict[int, Move]:
    """The move that makes a place better, by place; a cell has no one place to move."""
    now = np.array([count_pairs(v) for v in verdicts], dtype=float).reshape(-1, 2)
    pairs = answers.pairs
    exact = np.array([cell is None for cell in cells], dtype=bool)
    pairs = pairs.take(exact[pairs.place])
    rows, found = find_best_moves(answers.lon, answers.lat, lattice, pairs, now, ground)
    return {row: answers.move(row, found, at, ground.level) for at, row in enumerate(rows.tolist())}


def _claim_of_cell(cell: str, level: int) -> tuple[tuple[str, ...], float]:
    """The grid a cell lies in; a cell larger than the level's names none."""
    if len(cell) // 2 < level:
        return (), 0.0
    return (decode(cell).locator[: 2 * level],), 1.0


# Checked places as findings, so that the map can show them like any spot.
def make_findings(
    parks: Parks, names: Sequence[str], results: Sequence[Checked], options: CheckOptions
) -> Findings:
    """One spot of kind "place" per answer, in the order they were asked for.

    Parameters
    ----------
    names : sequence of str
        What each place is called.
    """
    seen = {park.park for result in results for park in result.parks}
    frame = parks.frame
    return Findings(
        level=options.level,
        station=options.station,
        spots=tuple(
            _make_ranked(number, name, result)
            for number, (name, result) in enumerate(zip(names, results, strict=True), start=1)
        ),
        left_out=(),
        named=name_parks(frame[frame[PARK_ID].isin(seen)].reset_index(drop=True)),
        sources=parks.sources,
        report=parks.report,
        credits=collect_credits((), parks.sources),
    )


def _make_ranked(number: int, name: str, result: Checked) -> Ranked:
    verdict = result.verdict
    called = {park.park: park.park_name for park in result.parks}
    spot = Spot(
        kind="place",
        lon=result.lon,
        lat=result.lat,
        corner=None,
        verdict=verdict,
        park_names=tuple(called[park] for park in verdict.parks),
        near=None if verdict.parks else _find_nearest_park(result),
        notes=_collect_notes(name, result),
    )
    grids, held = len(verdict.locators), len(verdict.parks)
    return Ranked(number, spot, grids, held, grids * held)


def _find_nearest_park(result: Checked) -> NearMiss | None:
    """The nearest park of a place where none counts."""
    if not result.parks:
        return None
    park = max(result.parks, key=lambda p: p.clearance_m)
    return NearMiss(park.park, park.park_name, -park.clearance_m, park.edge_deg)


def _collect_notes(name: str, result: Checked) -> tuple[str, ...]:
    notes = [f"Asked for as {name}.", MeasuredText("What holds it down: ", result.driver, ".")]
    if result.move is not None:
        move, verdict = result.move, result.move.verdict
        grids, parks = format_count(len(verdict.locators), "grid"), format_count(len(verdict.parks), "park")
        sure = f"{format_verdict(verdict.word, verdict.coarse)} ({format_probability(verdict.confidence)})"
        then = f" to the {format_bearing(move.bearing_deg)}, then {grids}, {parks}, {sure}."
        notes.append(MeasuredText("Better: ", Length(move.distance_m, "fine"), then))
    counted = result.verdict.coarse  # come first: the map goes by that
    more = [park.coarse for park in result.parks if park.coarse is not None and park.coarse not in counted]
    entry = list_entry_notes(list_entry(result))
    return (*map(warn_of_outline, counted), *notes, *map(warn_of_outline, more), *entry)


def list_outline_warnings(result: Checked) -> list[MeasuredText]:
    """What to say of the outlines near a place that look generalised."""
    return [warn_of_outline(park.coarse) for park in result.parks if park.coarse is not None]


def list_entry(result: Checked) -> list[tuple[str, str]]:
    """Name and `Entry` of the parks that count at a place."""
    here = set(result.verdict.parks)
    return [(_name_park(park), park.entry) for park in result.parks if park.park in here]
