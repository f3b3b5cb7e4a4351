"""Stretches and regions where some parks hold, and narrow other parks part them into worse pieces."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, pairwise
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.geo.boundaries import Ints
from scout.search.found import FoundPlaces, grade_confidence
from scout.search.optimize import SURE
from scout.search.overlaps import (
    OverlapRegions,
    PairGround,
    keep_areas,
    list_wide_polygons,
    place_in_regions,
    turn_parks,
    turn_shapes,
)
from scout.search.parted import Parks, PartedTerms, WiderSets, find_surer, keep_best, list_fewer
from scout.search.scan import EdgePieces, FoundCorners, ParkSets
from scout.search.stretches import find_end_corners, place_along_pieces
from scout.search.verdict import FOUR, JudgingContext
from scout.table import expand_ranges, make_offsets
from scout.threads import map_rows


class LongStretches(NamedTuple):
    """Stretches found besides the pieces, and the pieces that are no stretches of their own."""

    pieces: tuple[EdgePieces, EdgePieces]
    spots: FoundPlaces  # of the pieces, one axis after the other
    gone: Ints  # numbers of the pieces taken in, one axis after the other


class _LineParts(NamedTuple):
    """Pieces of both axes as one list, along which runs are sought."""

    start: Ints  # corner where each begins, -1 for none
    end: Ints
    joins: np.ndarray  # whether the next piece goes on where this one ends
    sets: dict[int, frozenset[int]]
    pieces: tuple[EdgePieces, EdgePieces]
    corner_parks: FoundPlaces
    grades: Ints

    def get_parks(self, piece: int) -> frozenset[int]:
        """Return the parks of a piece."""
        held = self.sets.get(piece)
        if held is None:
            n = len(self.pieces[0].line)
            some, row = (self.pieces[0].sets, piece) if piece < n else (self.pieces[1].sets, piece - n)
            held = frozenset(some.park[some.first[row] : some.first[row + 1]].tolist())
            self.sets[piece] = held
        return held

    def find_ground(self, wanted: Sequence[PartedTerms]) -> list[WiderSets | Sequence[PartedTerms]]:
        """Find the run about each piece along which all of the parks hold."""
        return [self._find_run(one) for one in wanted]

    def _find_run(self, one: PartedTerms) -> WiderSets:
        mine, low, high = frozenset(one.parks), one.at, one.at
        covered = int(self.grades[one.at])
        while covered > 0 and low > 0 and self.joins[low - 1] and mine <= self.get_parks(low - 1):
            low -= 1
            covered = min(covered, int(self.grades[low]))
        while covered > 0 and self.joins[high] and mine <= self.get_parks(high + 1):
            high += 1
            covered = min(covered, int(self.grades[high]))
        for corner in (int(self.start[low]), int(self.end[high])):
            if corner >= 0 and covered > 0:
                covered = min(covered, self._grade_corner(corner, mine))
        return WiderSets(one.parks, (low, high), one.at, covered)

    def _grade_corner(self, corner: int, mine: frozenset[int]) -> int:
        claims = self.corner_parks.claims
        held = claims.park[claims.first[corner] : claims.first[corner + 1]]
        if claims.grid[corner] != FOUR or not mine <= set(held.tolist()):
            return 2
        return int(grade_confidence(self.corner_parks.judged.confidence[corner]))

    def make_pieces(self, some: Sequence[WiderSets]) -> tuple[tuple[EdgePieces, EdgePieces], Ints]:
        """Make pieces of both axes of runs; also return the place of each run among those."""
        n = len(self.pieces[0].line)
        low, high = np.array([one.piece for one in some]).reshape(-1, 2).T
        upright = low < n
        order = np.concatenate([np.flatnonzero(upright), np.flatnonzero(~upright)])
        halves = []
        for mine, pieces, shift in ((upright, self.pieces[0], 0), (~upright, self.pieces[1], n)):
            numbers = np.flatnonzero(mine)
            sizes = np.array([len(some[k].parks) for k in numbers.tolist()], dtype=np.int64)
            park = np.array([p for k in numbers.tolist() for p in some[k].parks], dtype=np.int64)
            sets = ParkSets(make_offsets(sizes), park)
            a, b = low[mine] - shift, high[mine] - shift
            line, cell, start, end = pieces.line[a], pieces.cell[a], pieces.start[a], pieces.end[b]
            halves.append(EdgePieces(pieces.axis, line, cell, start, end, sets))
        place = np.empty(len(order), dtype=np.int64)
        place[order] = np.arange(len(order))
        return (halves[0], halves[1]), place


def find_long_stretches(
    pieces: tuple[EdgePieces, EdgePieces],
    grades: Ints,
    weak: tuple[Ints, FoundPlaces],
    corners: tuple[FoundCorners, FoundPlaces],
    ground: JudgingContext,
) -> LongStretches:
    """Stretches of fewer parks, or over narrow ones, that are surer than all pieces they run over.

    Parameters
    ----------
    pieces : of both axes
        As `cut_pieces` makes them, in order along each line.
    grades : array of int
        Verdict class that each piece has, itself or by the corner it belongs to, one axis after the other.
    weak : numbers of pieces, and their spots
        Those that were judged; one axis after the other.
    corners : and their spots
    ground : JudgingContext
    """
    joins = np.concatenate([_find_joins(some) for some in pieces])
    ends = [find_end_corners(some, corners[0], ground.level) for some in pieces]
    start, end = (np.concatenate(side) for side in zip(*ends, strict=True))
    line = _LineParts(start, end, joins, {}, pieces, corners[1], grades)
    sizes = np.concatenate([np.diff(some.sets.first) for some in pieces])
    more = np.zeros(len(sizes), dtype=bool)
    more[1:] |= joins[:-1] & (sizes[:-1] > sizes[1:])
    more[:-1] |= joins[:-1] & (sizes[1:] > sizes[:-1])
    number, spots = weak
    asked: list[PartedTerms] = []
    for row in np.flatnonzero((grades[number] > 0) & (more[number] | (sizes[number] > 1))).tolist():
        part = slice(spots.claims.first[row], spots.claims.first[row + 1])
        parks, at = tuple(spots.claims.park[part].tolist()), int(number[row])
        sets = [parks] if more[at] else []
        asked.extend(
            PartedTerms(some, at) for some in (*sets, *list_fewer(parks, spots.judged.parks_p[part]))
        )

    def judge(some: Sequence[WiderSets]) -> FoundPlaces:
        halves, place = line.make_pieces(some)
        return place_along_pieces(halves, ground).take(place)

    runs, found = find_surer(asked, line.find_ground, judge, ground, least=1)
    classes = [int(grade_confidence(one.judged.confidence)[0]) for one in found]
    stays = keep_best(runs, classes, _keep_within_line(runs))
    if not stays:
        none = np.empty(0, dtype=np.int64)
        return LongStretches((pieces[0].take(none), pieces[1].take(none)), spots.take(none), none)
    gone = [
        piece
        for k in stays
        for piece in range(runs[k].piece[0], runs[k].piece[1] + 1)
        if grades[piece] > classes[k] and line.get_parks(piece) == frozenset(runs[k].parks)
    ]
    halves, place = line.make_pieces([runs[k] for k in stays])
    whole = FoundPlaces.concat(found[k] for k in stays).take(np.argsort(place))
    return LongStretches(halves, whole, np.unique(np.array(gone, dtype=np.int64)))


def _find_joins(pieces: EdgePieces) -> np.ndarray:
    """Whether each piece is followed by one that goes on where it ends, on the same edge of a cell."""
    joins = np.zeros(len(pieces.line), dtype=bool)
    joins[:-1] = (
        (np.diff(pieces.line) == 0) & (np.diff(pieces.cell) == 0) & (pieces.end[:-1] == pieces.start[1:])
    )
    return joins


def _keep_within_line(runs: Sequence[WiderSets]) -> list[tuple[int, int]]:
    """Pairs of runs, the second of which lies in the first; runs share a piece only on one edge of a cell."""
    at: dict[int, list[int]] = {}
    for k, run in enumerate(runs):
        for piece in range(run.piece[0], run.piece[1] + 1):
            at.setdefault(piece, []).append(k)
    pairs = {(a, b) for some in at.values() for one in combinations(some, 2) for a, b in (one, one[::-1])}
    return [
        (a, b)
        for a, b in pairs
        if runs[a].piece[0] <= runs[b].piece[0] and runs[b].piece[1] <= runs[a].piece[1]
    ]


# What sets of parks share whatever other parks do there, where those others part it into worse pieces.
Geometries = NDArray[Any]
_Turned = tuple[tuple[int, int], ...]  # parks, and how many turns round the globe each of them is moved


def place_in_wide_regions(
    regions: OverlapRegions, pairs: PairGround, geometries: Geometries, ground: JudgingContext
) -> FoundPlaces:
    """One spot per region; where that is not firm, one for what fewer parks share there if that is surer.

    Parameters
    ----------
    regions, pairs : OverlapRegions, PairGround
        As `find_regions` gives them.
    geometries : array of (multi)polygons
        The parks that regions and ground number.
    ground : JudgingContext
    """
    found = place_in_regions(regions, ground)
    grades, sizes = grade_confidence(found.judged.confidence), np.diff(regions.first)
    weak = np.flatnonzero((grades > 0) & ((sizes > 2) | regions.parted)).tolist()
    if not weak:
        return found
    shared = _SharedGround(regions, pairs, found, geometries, ground)
    wanted: list[PartedTerms] = []
    for row in weak:
        part = slice(regions.first[row], regions.first[row + 1])
        unsure = regions.park[part][found.judged.parks_p[part] < SURE].tolist()
        if sizes[row] > 2:
            wanted.extend(PartedTerms(pair, row) for pair in combinations(unsure, 2))
    sets = [PartedTerms(shared.get_parks(row), row) for row in weak]
    wide, spots = find_surer(wanted, shared.find_ground, shared.judge, ground, least=2)
    more, others = find_surer(sets, shared.find_ground, shared.judge, ground, least=2)
    known = {(one.parks, one.piece) for one in wide}
    for one, spot in zip(more, others, strict=True):
        if (one.parks, one.piece) not in known:
            wide.append(one)
            spots.append(spot)
    classes = [int(grade_confidence(one.judged.confidence)[0]) for one in spots]
    stays = keep_best(wide, classes, shared.find_within(wide, spots))
    gone = [row for k in stays for row in shared.own[wide[k].piece] if grades[row] > classes[k]]
    left = np.setdiff1d(np.arange(len(grades)), np.array(gone, dtype=np.int64))
    return FoundPlaces.concat([found.take(left), *(spots[k] for k in stays)])


class _SharedGround:
    """Connected pieces of what sets of parks share, by number, each set's worked out once."""

    def __init__(
        self,
        regions: OverlapRegions,
        pairs: PairGround,
        found: FoundPlaces,
        geometries: Geometries,
        ground: JudgingContext,
    ) -> None:
        self._regions, self._found, self._geometries, self._ground = regions, found, geometries, ground
        self._grades = grade_confidence(found.judged.confidence)
        bounds = shapely.bounds(regions.shape).reshape(-1, 4)
        turns = np.rint((bounds[:, [0, 2]].mean(axis=1) - found.judged.lon) / 360.0)
        self._points = shapely.points(found.judged.lon + 360.0 * turns, found.judged.lat)
        self._tree = shapely.STRtree(self._points)
        row, _ = expand_ranges(regions.first[:-1], np.diff(regions.first))
        self._members = np.sort(row * len(geometries) + regions.park)
        self._middle = shapely.bounds(geometries).reshape(-1, 4)[:, [0, 2]].mean(axis=1)
        both = zip(pairs.low.tolist(), pairs.high.tolist(), strict=True)
        self._common: dict[_Turned, shapely.Geometry] = {
            ((low, 0), (high, 0)): shape for (low, high), shape in zip(both, pairs.shape, strict=True)
        }
        self._at: dict[Parks, tuple[Ints, Ints]] = {}  # regions in a set's pieces, ascending, and the pieces
        self._pairs: dict[tuple[Parks, int], int] = {}  # the piece of a pair at a region
        self.shapes: list[shapely.Geometry] = []
        self.own: list[list[int]] = []  # regions of the very set in each piece
        self._best: list[int] = []  # grade of what is known in each piece with all of its set
        self._whole: list[int] = []  # the region that a piece is, -1 for none

    def get_parks(self, region: int) -> Parks:
        """Return the parks of a region."""
        first = self._regions.first
        return tuple(self._regions.park[first[region] : first[region + 1]].tolist())

    def find_ground(self, wanted: Sequence[PartedTerms]) -> list[WiderSets | Sequence[PartedTerms]]:
        """Find the piece of each set about a region; of sets with a pair without room, smaller sets."""
        found: list[WiderSets | Sequence[PartedTerms]] = []
        by_set: dict[Parks, list[int]] = {}
        for one in wanted:
            apart = self._find_narrow_pair(one)
            if apart is None:
                by_set.setdefault(one.parks, []).append(one.at)
            else:
                found.append([PartedTerms(tuple(p for p in one.parks if p != out), one.at) for out in apart])
        self._intersect_sets(
            [PartedTerms(parks, at[0]) for parks, at in by_set.items() if parks not in self._at]
        )
        for parks, at in by_set.items():
            for region, piece in self._find_pieces(parks, at):
                if len(parks) == 2:
                    self._pairs[parks, region] = piece
                found.append(WiderSets(parks, piece, region, self._best[piece]))
        return found

    def _find_narrow_pair(self, one: PartedTerms) -> Parks | None:
        if len(one.parks) < 3:
            return None
        for pair in combinations(one.parks, 2):
            piece = self._pairs.get((pair, one.at))
            if piece is not None and self._best[piece] == 2:
                return pair
        return None

    def _find_pieces(self, parks: Parks, regions: list[int]) -> list[tuple[int, int]]:
        held, piece = self._at[parks]
        if not len(held):
            return []
        at = np.minimum(np.searchsorted(held, regions), len(held) - 1)
        met = held[at] == regions
        return [(n, int(k)) for n, k, there in zip(regions, piece[at], met, strict=True) if there]

    def _intersect_sets(self, wanted: list[PartedTerms]) -> None:
        """Work out what sets share, all at once: one park more of each at a time.

        Sets that begin alike have that in common: it is worked out once.
        """
        if not wanted:
            return
        near = shapely.get_x(self._points[[one.at for one in wanted]])
        sets: list[_Turned] = []
        for one, lon in zip(wanted, near, strict=True):
            turns = np.rint((lon - self._middle[list(one.parks)]) / 360.0).astype(int)
            sets.append(tuple(zip(one.parks, turns.tolist(), strict=True)))
        for size in range(1, max(map(len, sets)) + 1):
            begun = dict.fromkeys(one[:size] for one in sets if len(one) >= size)
            new = [part for part in begun if part not in self._common]
            if not new:
                continue
            shapes = turn_parks(self._geometries, *np.array([part[-1] for part in new]).T)
            if size > 1:
                before = _make_array([self._common[part[:-1]] for part in new])
                shapes = keep_areas(map_rows(shapely.intersection, before, shapes))
            self._common.update(zip(new, shapes, strict=True))
        parts, of = list_wide_polygons(_make_array([self._common[one] for one in sets]))
        first = len(self.shapes)
        self.shapes.extend(parts)
        piece, region = self._grade_pieces(parts, [wanted[k].parks for k in of.tolist()])
        cuts = np.searchsorted(of[piece], np.arange(len(sets) + 1)).tolist()
        for one, (i, j) in zip(wanted, pairwise(cuts), strict=True):
            order = np.argsort(region[i:j], kind="stable")
            self._at[one.parks] = region[i:j][order], first + piece[i:j][order]

    def _find_contained(self, parts: Geometries) -> tuple[Ints, Ints]:
        """Find the pairs of a piece and a region with its spot in it, on any turn of the globe."""
        west, _, east, _ = shapely.bounds(parts).reshape(-1, 4).T
        lon = shapely.get_x(self._points)
        pairs = []
        for turns in (-1, 0, 1):
            by = 360.0 * turns
            some = np.flatnonzero((west + by <= lon.max()) & (east + by >= lon.min()))
            moved = turn_shapes(parts[some], turns) if turns else parts[some]
            piece, region = self._tree.query(moved, predicate="contains")
            pairs.append((some[piece], region))
        found, where = (np.concatenate(column) for column in zip(*pairs, strict=True))
        order = np.lexsort((where, found))
        return found[order], where[order]

    def _grade_pieces(self, parts: Geometries, sets: list[Parks]) -> tuple[Ints, Ints]:
        """Note what is known in new pieces: the best grade, and regions of the very sets.

        Gives the pairs of a piece and a region in it that has all of its parks, piece after piece.
        """
        piece, region = self._find_contained(parts)
        sizes = np.array([len(parks) for parks in sets], dtype=np.int64)
        park = np.array([p for parks in sets for p in parks], dtype=np.int64)
        row, member = expand_ranges((np.cumsum(sizes) - sizes)[piece], sizes[piece])
        key = region[row] * len(self._geometries) + park[member]
        at = np.minimum(np.searchsorted(self._members, key), len(self._members) - 1)
        held = np.bincount(row[self._members[at] == key], minlength=len(piece)) == sizes[piece]
        piece, region = piece[held], region[held]
        best = np.full(len(parts), 2)
        np.minimum.at(best, piece, self._grades[region])
        count = np.bincount(piece, minlength=len(parts))
        exact = np.diff(self._regions.first)[region] == sizes[piece]
        own: list[list[int]] = [[] for _ in sets]
        for k, n in zip(piece[exact].tolist(), region[exact].tolist(), strict=True):
            own[k].append(n)
        self._best.extend(best.tolist())
        self.own.extend(own)
        self._whole.extend(o[0] if c == 1 and len(o) == 1 else -1 for o, c in zip(own, count, strict=True))
        return piece, region

    def judge(self, some: Sequence[WiderSets]) -> FoundPlaces:
        """Find one spot for each piece."""
        whole = np.array([self._whole[one.piece] for one in some])
        new = np.flatnonzero(whole < 0)
        sets = [some[k].parks for k in new.tolist()]
        first = make_offsets([len(parks) for parks in sets])
        park = np.array([p for parks in sets for p in parks], dtype=np.int64)
        shapes = np.array([self.shapes[some[k].piece] for k in new.tolist()], dtype=object)
        made = place_in_regions(
            OverlapRegions(shapes, first, park, np.zeros(len(new), dtype=bool)), self._ground
        )
        order = np.empty(len(some), dtype=np.int64)
        order[whole >= 0], order[new] = (
            np.arange(len(some) - len(new)),
            len(some) - len(new) + np.arange(len(new)),
        )
        found = FoundPlaces.concat([self._found.take(whole[whole >= 0]), made]).take(order)
        for one, worth in zip(some, grade_confidence(found.judged.confidence).tolist(), strict=True):
            self._best[one.piece] = min(self._best[one.piece], worth)
        return found

    def find_within(self, wide: Sequence[WiderSets], spots: Sequence[FoundPlaces]) -> list[tuple[int, int]]:
        """Find the pairs of pieces, the second of which has its spot in the first."""
        if not wide:
            return []
        shapes = np.array([self.shapes[one.piece] for one in wide], dtype=object)
        lon = np.array([float(spot.judged.lon[0]) for spot in spots])
        lat = np.array([float(spot.judged.lat[0]) for spot in spots])
        turns = np.rint((shapely.bounds(shapes).reshape(-1, 4)[:, [0, 2]].mean(axis=1) - lon) / 360.0)
        tree = shapely.STRtree(shapely.points(lon + 360.0 * turns, lat))
        outer, inner = tree.query(shapes, predicate="contains")
        return [(int(a), int(b)) for a, b in zip(outer, inner, strict=True) if a != b]


def _make_array(shapes: Sequence[shapely.Geometry]) -> Geometries:
    made: Geometries = np.empty(len(shapes), dtype=object)
    made[:] = shapes
    return made
