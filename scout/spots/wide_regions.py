"""What sets of parks share whatever other parks do there, where those others part it into worse pieces."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cores import by_rows
from scout.outlines import Ints, ragged
from scout.spots.found import Found, grade, join
from scout.spots.overlaps import Regions, areas_of, beside, in_regions, turned, wide_polygons
from scout.spots.parted import Parks, Wanted, Wider, kept, surer
from scout.verdict import SURE, Ground

__all__ = ["in_wide_regions"]

Geometries = NDArray[Any]


def in_wide_regions(regions: Regions, geometries: Geometries, ground: Ground) -> Found:
    """One spot per region; where that is not firm, one for what fewer parks share there if that is surer.

    Parameters
    ----------
    regions : Regions
        As `overlap_regions` gives them.
    geometries : array of (multi)polygons
        The parks that regions and ground number.
    ground : Ground
    """
    found = in_regions(regions, ground)
    grades, sizes = grade(found.judged.confidence), np.diff(regions.first)
    weak = np.flatnonzero((grades > 0) & ((sizes > 2) | regions.parted)).tolist()
    if not weak:
        return found
    shared = _Shared(regions, found, geometries, ground)
    pairs: list[Wanted] = []
    for row in weak:
        part = slice(regions.first[row], regions.first[row + 1])
        unsure = regions.park[part][found.judged.parks_p[part] < SURE].tolist()
        if sizes[row] > 2:
            pairs.extend(Wanted(pair, row) for pair in combinations(unsure, 2))
    sets = [Wanted(shared.parks(row), row) for row in weak]
    wide, spots = surer(pairs, shared.opened, shared.judged, ground, least=2)
    more, others = surer(sets, shared.opened, shared.judged, ground, least=2)
    known = {(one.parks, one.piece) for one in wide}
    for one, spot in zip(more, others, strict=True):
        if (one.parks, one.piece) not in known:
            wide.append(one)
            spots.append(spot)
    classes = [int(grade(one.judged.confidence)[0]) for one in spots]
    stays = kept(wide, classes, shared.within(wide, spots))
    gone = [row for k in stays for row in shared.own[wide[k].piece] if grades[row] > classes[k]]
    left = np.setdiff1d(np.arange(len(grades)), np.array(gone, dtype=np.int64))
    return join([found.rows(left), *(spots[k] for k in stays)])


class _Shared:
    """Connected pieces of what sets of parks share, by number, each set's worked out once."""

    def __init__(self, regions: Regions, found: Found, geometries: Geometries, ground: Ground) -> None:
        self._regions, self._found, self._geometries, self._ground = regions, found, geometries, ground
        self._grades = grade(found.judged.confidence)
        bounds = shapely.bounds(regions.shape).reshape(-1, 4)
        turns = np.rint((bounds[:, [0, 2]].mean(axis=1) - found.judged.lon) / 360.0)
        self._points = shapely.points(found.judged.lon + 360.0 * turns, found.judged.lat)
        self._tree = shapely.STRtree(self._points)
        row, _ = ragged(regions.first[:-1], np.diff(regions.first))
        self._members = np.sort(row * len(geometries) + regions.park)
        self._pieces: dict[Parks, Ints] = {}
        self._pairs: dict[tuple[Parks, int], int] = {}  # the piece of a pair at a region
        self.shapes: list[shapely.Geometry] = []
        self.own: list[list[int]] = []  # regions of the very set in each piece
        self._best: list[int] = []  # grade of what is known in each piece with all of its set
        self._whole: list[int] = []  # the region that a piece is, -1 for none

    def parks(self, region: int) -> Parks:
        """The parks of a region."""
        first = self._regions.first
        return tuple(self._regions.park[first[region] : first[region + 1]].tolist())

    def opened(self, wanted: Sequence[Wanted]) -> list[Wider | Sequence[Wanted]]:
        """The piece of each set about a region; of sets with a pair that has no room, the smaller sets."""
        found: list[Wider | Sequence[Wanted]] = []
        by_set: dict[Parks, list[int]] = {}
        for one in wanted:
            apart = self._no_room(one)
            if apart is None:
                by_set.setdefault(one.parks, []).append(one.at)
            else:
                found.append([Wanted(tuple(p for p in one.parks if p != out), one.at) for out in apart])
        self._work_out([Wanted(parks, at[0]) for parks, at in by_set.items() if parks not in self._pieces])
        for parks, at in by_set.items():
            for region, piece in self._about(parks, at):
                if len(parks) == 2:
                    self._pairs[parks, region] = piece
                found.append(Wider(parks, piece, region, self._best[piece]))
        return found

    def _no_room(self, one: Wanted) -> Parks | None:
        if len(one.parks) < 3:
            return None
        for pair in combinations(one.parks, 2):
            piece = self._pairs.get((pair, one.at))
            if piece is not None and self._best[piece] == 2:
                return pair
        return None

    def _about(self, parks: Parks, regions: list[int]) -> list[tuple[int, int]]:
        pieces = self._pieces[parks]
        if not len(pieces):
            return []
        shapes = np.array([self.shapes[k] for k in pieces.tolist()], dtype=object)
        at, of = shapely.STRtree(shapes).query(self._points[regions], predicate="within")
        return [(regions[k], int(pieces[n])) for k, n in zip(at.tolist(), of.tolist(), strict=True)]

    def _work_out(self, wanted: list[Wanted]) -> None:
        """What sets share, all at once: one park more of each at a time."""
        if not wanted:
            return
        sets = [one.parks for one in wanted]
        near = self._points[[one.at for one in wanted]]
        shapes = beside(self._geometries[[parks[0] for parks in sets]], near)
        for turn in range(1, max(len(parks) for parks in sets)):
            rows = np.array([k for k, parks in enumerate(sets) if turn < len(parks)])
            others = beside(self._geometries[[sets[k][turn] for k in rows.tolist()]], near[rows])
            shapes[rows] = areas_of(by_rows(shapely.intersection, shapes[rows], others))
        parts, of = wide_polygons(shapes)
        first = len(self.shapes)
        self.shapes.extend(parts)
        for k, parks in enumerate(sets):
            self._pieces[parks] = first + np.flatnonzero(of == k)
        self._look(parts, [sets[k] for k in of.tolist()])

    def _contained(self, parts: Geometries) -> tuple[Ints, Ints]:
        """Find the pairs of a piece and a region with its spot in it, on any turn of the globe."""
        west, _, east, _ = shapely.bounds(parts).reshape(-1, 4).T
        lon = shapely.get_x(self._points)
        pairs = []
        for turns in (-1, 0, 1):
            by = 360.0 * turns
            some = np.flatnonzero((west + by <= lon.max()) & (east + by >= lon.min()))
            moved = turned(parts[some], turns) if turns else parts[some]
            piece, region = self._tree.query(moved, predicate="contains")
            pairs.append((some[piece], region))
        found, where = (np.concatenate(column) for column in zip(*pairs, strict=True))
        order = np.lexsort((where, found))
        return found[order], where[order]

    def _look(self, parts: Geometries, sets: list[Parks]) -> None:
        """What is known in new pieces: the best grade, and regions of the very sets."""
        piece, region = self._contained(parts)
        sizes = np.array([len(parks) for parks in sets], dtype=np.int64)
        park = np.array([p for parks in sets for p in parks], dtype=np.int64)
        row, member = ragged((np.cumsum(sizes) - sizes)[piece], sizes[piece])
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

    def judged(self, some: Sequence[Wider]) -> Found:
        """One spot for each piece."""
        whole = np.array([self._whole[one.piece] for one in some])
        new = np.flatnonzero(whole < 0)
        sets = [some[k].parks for k in new.tolist()]
        first = np.append(0, np.cumsum([len(parks) for parks in sets])).astype(np.int64)
        park = np.array([p for parks in sets for p in parks], dtype=np.int64)
        shapes = np.array([self.shapes[some[k].piece] for k in new.tolist()], dtype=object)
        made = in_regions(Regions(shapes, first, park, np.zeros(len(new), dtype=bool)), self._ground)
        order = np.empty(len(some), dtype=np.int64)
        order[whole >= 0], order[new] = (
            np.arange(len(some) - len(new)),
            len(some) - len(new) + np.arange(len(new)),
        )
        found = join([self._found.rows(whole[whole >= 0]), made]).rows(order)
        for one, worth in zip(some, grade(found.judged.confidence).tolist(), strict=True):
            self._best[one.piece] = min(self._best[one.piece], worth)
        return found

    def within(self, wide: Sequence[Wider], spots: Sequence[Found]) -> list[tuple[int, int]]:
        """Pairs of pieces, the second of which has its spot in the first."""
        if not wide:
            return []
        shapes = np.array([self.shapes[one.piece] for one in wide], dtype=object)
        lon = np.array([float(spot.judged.lon[0]) for spot in spots])
        lat = np.array([float(spot.judged.lat[0]) for spot in spots])
        turns = np.rint((shapely.bounds(shapes).reshape(-1, 4)[:, [0, 2]].mean(axis=1) - lon) / 360.0)
        tree = shapely.STRtree(shapely.points(lon + 360.0 * turns, lat))
        outer, inner = tree.query(shapes, predicate="contains")
        return [(int(a), int(b)) for a, b in zip(outer, inner, strict=True) if a != b]
