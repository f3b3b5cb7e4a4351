"""What a search finds: one row per place, in arrays, whatever its kind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scout.geo.boundaries import Floats, Ints
from scout.geo.probability import DOUBTFUL, FIRM
from scout.model import SpotKind
from scout.search.verdict import Claims, JudgedClaims, JudgingContext, judge_claims
from scout.table import Table

KINDS: tuple[SpotKind, ...] = ("corner", "line", "overlap", "near-miss")


@dataclass(frozen=True, slots=True)
class FoundPlaces(Table):
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
        dx_m=offset[0],
        dy_m=offset[1],
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


def grade_confidence(confidence: Floats) -> Ints:
    """Verdict class of confidences: 0 firm, 1 doubtful, 2 not counted."""
    return 2 - (confidence >= DOUBTFUL).astype(np.int64) - (confidence >= FIRM)
