"""What a search finds: one row per place, in arrays, whatever its kind."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.geo.boundaries import Floats, Ints, expand_ranges
from scout.geo.probability import DOUBTFUL, FIRM
from scout.model import SpotKind
from scout.search.verdict import Claims, JudgedClaims, JudgingContext, judge_claims

KINDS: tuple[SpotKind, ...] = ("corner", "line", "overlap", "near-miss")


class FoundPlaces(NamedTuple):
    """Places found, one per row; park lists end to end.

    ``i, j`` number the corner, or the line and the cell along it, or the cell, as ``claims.grid`` says.
    """

    kind: Ints  # index into KINDS
    i: Ints
    j: Ints
    claims: Claims
    judged: JudgedClaims
    dx_m: Floats  # station centre, metres east and north of the reference point
    dy_m: Floats
    near_park: Ints  # -1 but for near misses
    near_m: Floats
    near_deg: Floats
    dropped: Ints  # parks that hold a corner but not the station, and were left out of the claim

    def parks_of(self, keep: Ints) -> Ints:
        """Numbers of all parks that some of the places name, ascending."""
        listed = np.zeros(len(self.i), dtype=bool)
        listed[keep] = True
        park = self.claims.park[np.repeat(listed, np.diff(self.claims.first))]
        near = self.near_park[listed & (self.near_park >= 0)]
        named = np.zeros(max(park.max(initial=-1), near.max(initial=-1)) + 1, dtype=bool)
        named[park] = named[near] = True
        return np.flatnonzero(named)

    def rows(self, keep: Ints) -> FoundPlaces:
        """Some of the places."""
        _, members = expand_ranges(self.claims.first[keep], np.diff(self.claims.first)[keep])
        return FoundPlaces(
            self.kind[keep],
            self.i[keep],
            self.j[keep],
            self.claims.rows(keep),
            self.judged.rows(keep, members),
            self.dx_m[keep],
            self.dy_m[keep],
            self.near_park[keep],
            self.near_m[keep],
            self.near_deg[keep],
            self.dropped[keep],
        )


def judge_found(
    kind: str, i: Ints, j: Ints, claims: Claims, offset: tuple[Floats, Floats], ground: JudgingContext
) -> FoundPlaces:
    """Places of one kind, judged at their offsets."""
    return make_found(kind, i, j, claims, offset, judge_claims(claims, *offset, ground))


def make_found(
    kind: str, i: Ints, j: Ints, claims: Claims, offset: tuple[Floats, Floats], verdicts: JudgedClaims
) -> FoundPlaces:
    """Places of one kind with their verdicts."""
    n = len(i)
    return FoundPlaces(
        np.full(n, KINDS.index(kind), dtype=np.int8),
        i,
        j,
        claims,
        verdicts,
        *offset,
        near_park=np.full(n, -1),
        near_m=np.zeros(n),
        near_deg=np.zeros(n),
        dropped=np.zeros(n, dtype=np.int32),
    )


def make_empty(ground: JudgingContext) -> FoundPlaces:
    """No rows."""
    no, zero = np.empty(0, dtype=np.int64), np.empty(0)
    claims = Claims(zero, zero, no, np.zeros(1, dtype=np.int64), no)
    return judge_found("line", no, no, claims, (zero, zero), ground)


def join_found(parts: Sequence[FoundPlaces]) -> FoundPlaces:
    """All rows of several finds."""
    return join_and_release([*parts])


def join_and_release(parts: list[FoundPlaces]) -> FoundPlaces:
    """All rows of several finds, whose list is emptied: each column goes as soon as it has been joined."""
    sizes = [len(p.claims.park) for p in parts]
    shifts = np.cumsum([0, *sizes[:-1]])
    first = np.concatenate(
        [*(p.claims.first[:-1] + s for p, s in zip(parts, shifts, strict=True)), [sum(sizes)]]
    )
    columns = [_list_columns(part) for part in parts]
    parts.clear()
    return _make_of_columns(join_columns(columns), first)


def join_columns(parts: list[list[NDArray[Any]]]) -> list[NDArray[Any]]:
    """The columns of several parts end to end; the list is emptied, so that each goes once it is joined."""
    columns = [list(column) for column in zip(*parts, strict=True)]
    parts.clear()
    joined = []
    for column in columns:
        joined.append(np.concatenate(column))
        column.clear()
    return joined


def _list_columns(found: FoundPlaces) -> list[NDArray[Any]]:
    claims = found.claims
    flat = [found.kind, found.i, found.j, claims.lon, claims.lat, claims.grid, claims.park]
    return [*flat, *found.judged, *found[5:]]


def _make_of_columns(columns: list[NDArray[Any]], first: Ints) -> FoundPlaces:
    kind, i, j, lon, lat, grid, park, *rest = columns
    judged_columns = len(JudgedClaims._fields)
    return FoundPlaces(
        kind,
        i,
        j,
        Claims(lon, lat, grid, first, park),
        JudgedClaims(*rest[:judged_columns]),
        *rest[judged_columns:],
    )


def replace_rows(found: FoundPlaces, rows: Ints, new: FoundPlaces) -> FoundPlaces:
    """The places with some rows replaced."""
    order = np.arange(len(found.i))
    order[rows] = len(order) + np.arange(len(rows))
    return join_found([found, new]).rows(order)


def grade_confidence(confidence: Floats) -> Ints:
    """Verdict class of confidences: 0 firm, 1 doubtful, 2 not counted."""
    return 2 - (confidence >= DOUBTFUL).astype(np.int64) - (confidence >= FIRM)
