"""Stretches along which some parks hold, where other parks part them into worse pieces."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np

from scout.outlines import Ints
from scout.spots.edges import Corners, Pieces, Sets
from scout.spots.found import Found, grade, join
from scout.spots.parted import Wanted, Wider, fewer, kept, surer
from scout.spots.stretches import along_pieces, corners_at, rows
from scout.verdict import FOUR, Ground

__all__ = ["Long", "long_stretches"]


class Long(NamedTuple):
    """Stretches found besides the pieces, and the pieces that are no stretches of their own."""

    pieces: tuple[Pieces, Pieces]
    spots: Found  # of the pieces, one axis after the other
    gone: Ints  # numbers of the pieces taken in, one axis after the other


class _Line(NamedTuple):
    """Pieces of both axes as one list, along which runs are sought."""

    start: Ints  # corner where each begins, -1 for none
    end: Ints
    joins: np.ndarray  # whether the next piece goes on where this one ends
    sets: dict[int, frozenset[int]]
    pieces: tuple[Pieces, Pieces]
    corner_parks: Found
    grades: Ints

    def parks(self, piece: int) -> frozenset[int]:
        """The parks of a piece."""
        held = self.sets.get(piece)
        if held is None:
            n = len(self.pieces[0].line)
            some, row = (self.pieces[0].sets, piece) if piece < n else (self.pieces[1].sets, piece - n)
            held = frozenset(some.park[some.first[row] : some.first[row + 1]].tolist())
            self.sets[piece] = held
        return held

    def opened(self, wanted: Sequence[Wanted]) -> list[Wider | Sequence[Wanted]]:
        """The run about each piece along which all of the parks hold."""
        return [self._run(one) for one in wanted]

    def _run(self, one: Wanted) -> Wider:
        mine, low, high = frozenset(one.parks), one.at, one.at
        covered = int(self.grades[one.at])
        while covered > 0 and low > 0 and self.joins[low - 1] and mine <= self.parks(low - 1):
            low -= 1
            covered = min(covered, int(self.grades[low]))
        while covered > 0 and self.joins[high] and mine <= self.parks(high + 1):
            high += 1
            covered = min(covered, int(self.grades[high]))
        for corner in (int(self.start[low]), int(self.end[high])):
            if corner >= 0 and covered > 0:
                covered = min(covered, self._at_corner(corner, mine))
        return Wider(one.parks, (low, high), one.at, covered)

    def _at_corner(self, corner: int, mine: frozenset[int]) -> int:
        claims = self.corner_parks.claims
        held = claims.park[claims.first[corner] : claims.first[corner + 1]]
        if claims.grid[corner] != FOUR or not mine <= set(held.tolist()):
            return 2
        return int(grade(self.corner_parks.judged.confidence[corner]))

    def made(self, some: Sequence[Wider]) -> tuple[tuple[Pieces, Pieces], Ints]:
        """Runs as pieces of both axes, and the place of each run among those."""
        n = len(self.pieces[0].line)
        low, high = np.array([one.piece for one in some]).reshape(-1, 2).T
        upright = low < n
        order = np.concatenate([np.flatnonzero(upright), np.flatnonzero(~upright)])
        halves = []
        for mine, pieces, shift in ((upright, self.pieces[0], 0), (~upright, self.pieces[1], n)):
            numbers = np.flatnonzero(mine)
            sizes = np.array([len(some[k].parks) for k in numbers.tolist()], dtype=np.int64)
            park = np.array([p for k in numbers.tolist() for p in some[k].parks], dtype=np.int64)
            sets = Sets(np.append(0, np.cumsum(sizes)), park, np.zeros(len(numbers), dtype=np.uint64))
            a, b = low[mine] - shift, high[mine] - shift
            line, cell, start, end = pieces.line[a], pieces.cell[a], pieces.start[a], pieces.end[b]
            halves.append(Pieces(pieces.axis, line, cell, start, end, sets))
        place = np.empty(len(order), dtype=np.int64)
        place[order] = np.arange(len(order))
        return (halves[0], halves[1]), place


def long_stretches(
    pieces: tuple[Pieces, Pieces],
    grades: Ints,
    weak: tuple[Ints, Found],
    corners: tuple[Corners, Found],
    ground: Ground,
) -> Long:
    """Stretches of fewer parks, or over narrow ones, that are surer than all pieces they run over.

    Parameters
    ----------
    pieces : of both axes
        As `pieces_inside` makes them, in order along each line.
    grades : array of int
        Verdict class that each piece has, itself or by the corner it belongs to, one axis after the other.
    weak : numbers of pieces, and their spots
        Those that were judged; one axis after the other.
    corners : and their spots
    ground : Ground
    """
    joins = np.concatenate([_joins(some) for some in pieces])
    ends = [corners_at(some, corners[0], ground.level) for some in pieces]
    start, end = (np.concatenate(side) for side in zip(*ends, strict=True))
    line = _Line(start, end, joins, {}, pieces, corners[1], grades)
    sizes = np.concatenate([np.diff(some.sets.first) for some in pieces])
    more = np.zeros(len(sizes), dtype=bool)
    more[1:] |= joins[:-1] & (sizes[:-1] > sizes[1:])
    more[:-1] |= joins[:-1] & (sizes[1:] > sizes[:-1])
    number, spots = weak
    asked: list[Wanted] = []
    for row in np.flatnonzero((grades[number] > 0) & (more[number] | (sizes[number] > 1))).tolist():
        part = slice(spots.claims.first[row], spots.claims.first[row + 1])
        parks, at = tuple(spots.claims.park[part].tolist()), int(number[row])
        sets = [parks] if more[at] else []
        asked.extend(Wanted(some, at) for some in (*sets, *fewer(parks, spots.judged.parks_p[part])))

    def judged(some: Sequence[Wider]) -> Found:
        halves, place = line.made(some)
        return along_pieces(halves, ground).rows(place)

    runs, found = surer(asked, line.opened, judged, ground, least=1)
    classes = [int(grade(one.judged.confidence)[0]) for one in found]
    stays = kept(runs, classes, _within(runs))
    if not stays:
        none = np.empty(0, dtype=np.int64)
        return Long((rows(pieces[0], none), rows(pieces[1], none)), spots.rows(none), none)
    gone = [
        piece
        for k in stays
        for piece in range(runs[k].piece[0], runs[k].piece[1] + 1)
        if grades[piece] > classes[k] and line.parks(piece) == frozenset(runs[k].parks)
    ]
    halves, place = line.made([runs[k] for k in stays])
    whole = join([found[k] for k in stays]).rows(np.argsort(place))
    return Long(halves, whole, np.unique(np.array(gone, dtype=np.int64)))


def _joins(pieces: Pieces) -> np.ndarray:
    """Whether each piece is followed by one that goes on where it ends, on the same edge of a cell."""
    joins = np.zeros(len(pieces.line), dtype=bool)
    joins[:-1] = (
        (np.diff(pieces.line) == 0) & (np.diff(pieces.cell) == 0) & (pieces.end[:-1] == pieces.start[1:])
    )
    return joins


def _within(runs: Sequence[Wider]) -> list[tuple[int, int]]:
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
