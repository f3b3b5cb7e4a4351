"""Where a station should stand for its claim: a compass search for the surest centre nearby."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scout import confidence
from scout.containment import contained_among, reach_m
from scout.outlines import Floats, Ints, ragged
from scout.verdict.claims import Claims, Ground, Judged, estimate, product, spread_m, touch_p
from scout.verdict.nearby import Nearby

__all__ = ["BENT", "SURE", "settle", "stand"]

BENT = 0.04  # what other edges nearby may take from an estimate before the last steps go by the judge
SURE = 0.996  # parks held this surely are not worth moving for
_GAIN = 1e-5  # a move that gains less, of what there is, is not worth making
_FAR = 6.0  # sigmas; beyond the disc and these an edge takes 1e-9 from a probability
_SHRINK = 0.5
_ROUNDS = 32  # shrinks a first step of a kilometre to a decimetre, with moves between
_CLAIMS = 1000  # settled together: their edges nearby are held, and looked at from eight places
_WAYS = np.array(
    [[(1, 0), (0, 1), (-1, 0), (0, -1)], np.sqrt(0.5) * np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)])]
)

Bools = NDArray[np.bool_]
Box = tuple[Floats, Floats]
Measure = Callable[[Ints, Floats], tuple[Floats, Floats]]


def settle(
    claims: Claims,
    ground: Ground,
    low: tuple[Floats, Floats],
    high: tuple[Floats, Floats],
    exact: bool = False,
) -> tuple[Floats, Floats]:
    """Offset of the station centre from the reference point that makes each claim surest: see `stand`."""
    return stand(claims, ground, low, high, exact)[:2]


def stand(
    claims: Claims,
    ground: Ground,
    low: tuple[Floats, Floats],
    high: tuple[Floats, Floats],
    exact: bool = False,
    quick: Judged | None = None,
) -> tuple[Floats, Floats, Judged]:
    """Where the station should stand for each claim, and the estimate there.

    A compass search from the point itself: four ways, then the four between, then a shorter step when none
    is better. Claims that are sure where they stand are left there.

    Parameters
    ----------
    low, high : (east, north) arrays, shape (n,)
        Bounds of the offset in metres.
    exact : bool
        Whether the last steps go by `judge`; ten times the work, worth it for the few.
    quick : Judged, optional
        The estimate at the start, the place in the box nearest to the point, where it is known.

    Returns
    -------
    dx_m, dy_m : arrays, shape (n,)
    estimate : Judged
    """
    box = np.stack(low, axis=1), np.stack(high, axis=1)
    at = np.clip(0.0, *box)
    if quick is None:
        quick = estimate(claims, at[:, 0], at[:, 1], ground)
    blurred = _blurred(ground)
    rows = np.flatnonzero(_unsure(claims, quick, blurred, exact) & (box[1] > box[0]).any(axis=1))
    if len(rows):
        start = at[rows].copy()
        for first in range(0, len(rows), _CLAIMS):
            some = rows[first : first + _CLAIMS]
            at[some] = _surest(claims, some, at, box, quick, blurred, exact)
        moved = rows[(at[rows] != start).any(axis=1)]
        again = estimate(claims.rows(moved), at[moved, 0], at[moved, 1], ground)
        quick = quick.replaced(claims.first, moved, again)
    return at[:, 0], at[:, 1], quick


def _unsure(claims: Claims, quick: Judged, ground: Ground, exact: bool) -> Bools:
    """Claims that a move might make surer; where the exact value counts, all with an edge in reach."""
    radius, spread = ground.station.radius_m, spread_m(claims, ground)
    held = confidence.inside(quick.clearance_m, radius, spread, 0.0)
    unsure = (product(claims.first, np.ones(len(quick.lon)), held) < SURE) | (quick.grids_p <= 0.0)
    if exact and len(held):
        beside = np.abs(quick.clearance_m) < reach_m(radius, spread)
        unsure |= np.logical_or.reduceat(beside, claims.first[:-1])
    return unsure


def _surest(
    claims: Claims, rows: Ints, at: Floats, box: Box, quick: Judged, ground: Ground, exact: bool
) -> Floats:
    """The surest centre of some claims."""
    radius = ground.station.radius_m
    finest = max(radius, 1.0) / 16
    some, place, size = claims.rows(rows), at[rows], (box[0][rows], box[1][rows])
    _, members = ragged(claims.first[rows], np.diff(claims.first)[rows])
    hill = _Hill(some, size, quick.clearance_m[members], ground)
    step = np.maximum(8 * finest, (size[1] - size[0]) / 16)
    place = _climbed(place, size, (step, finest), hill.quick)
    if exact:
        place = _climbed(place, size, (np.full_like(place, 4 * finest), finest), hill.exact)
    return place


class _Hill:
    """How sure claims are at centres in their boxes, from the edges near each box alone."""

    def __init__(self, claims: Claims, box: Box, clearance_m: Floats, ground: Ground) -> None:
        self._claims, self._ground = claims, ground
        self._radius = ground.station.radius_m
        self._spread = spread_m(claims, ground)
        row, _ = ragged(claims.first[:-1], np.diff(claims.first))
        least, most = box[0][row], box[1][row]
        # From outside, the way to the park counts, however small the probability is there.
        outside = np.hypot(*(most - least).T) - np.minimum(clearance_m, 0.0)
        far = self._radius + _FAR * self._spread
        reach = np.where(clearance_m < 0.0, np.maximum(outside, far), far)
        pairs = claims.park, claims.lon[row], claims.lat[row]
        self._near = Nearby.of(ground.boundaries, pairs, (least, most), reach)

    def quick(self, rows: Ints, place: Floats) -> tuple[Floats, Floats]:
        """Confidence of some claims at a centre each and the parks' share in it, by straight edges."""
        clearance, _, pair, first = self._clearance(rows, place)
        held = confidence.inside(clearance, self._radius, self._spread[pair], 0.0)
        return self._whole(rows, place, pair, first, held)

    def exact(self, rows: Ints, place: Floats) -> tuple[Floats, Floats]:
        """The same by every boundary's own shape."""
        clearance, seen_from, pair, first = self._clearance(rows, place)
        spread = self._spread[pair]

        def edges(some: Ints) -> tuple[Ints, Floats, Floats]:
            seen = self._near.seen(pair[some], seen_from[some])
            close = seen.away_m <= reach_m(self._radius, spread[some])[seen.row]
            return seen.row[close], seen.start[close], seen.end[close]

        held = contained_among(edges, clearance, self._radius, spread)
        return self._whole(rows, place, pair, first, held)

    def _clearance(self, rows: Ints, place: Floats) -> tuple[Floats, Floats, Ints, Ints]:
        sizes = np.diff(self._claims.first)[rows]
        row, pair = ragged(self._claims.first[rows], sizes)
        first = np.concatenate([[0], np.cumsum(sizes)])
        return self._near.clearance(pair, place[row]), place[row], pair, first

    def _whole(
        self, rows: Ints, place: Floats, pair: Ints, first: Ints, held: Floats
    ) -> tuple[Floats, Floats]:
        whole = self._claims
        some = Claims(whole.lon[rows], whole.lat[rows], whole.grid[rows], first, whole.park[pair])
        grids_p = touch_p(some, place[:, 0], place[:, 1], self._ground)
        return product(first, grids_p, held), product(first, (grids_p > 0.0).astype(float), held)


def _climbed(
    place: Floats,
    box: Box,
    steps: tuple[Floats, float],
    measure: Measure,
) -> Floats:
    """The places moved to where their claims are surest, within the box."""
    at, (least, most), (step, finest) = place.copy(), box, steps
    n = len(at)
    value, held = measure(np.arange(n), at)
    active = np.flatnonzero((held < SURE) & (most > least).any(axis=1))
    turned, failed = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    for _ in range(_ROUNDS):
        if len(active) == 0:
            break
        ways = _WAYS[turned[active]]
        tries = at[active, None] + ways * step[active, None]
        tries = np.clip(tries, least[active, None], most[active, None])
        tried, _ = measure(np.repeat(active, ways.shape[1]), tries.reshape(-1, 2))
        tried = tried.reshape(len(active), -1)
        choice = tried.argmax(axis=1)
        gain = tried[np.arange(len(active)), choice]
        better = gain > value[active] * (1 + _GAIN)
        moved, stuck = active[better], active[~better]
        at[moved] = tries[better, choice[better]]
        value[moved] = gain[better]
        failed[moved] = 0
        # What fails straight may gain aslant, along the ridge between two boundaries.
        failed[stuck] += 1
        turned[stuck] = 1 - turned[stuck]
        step[stuck[failed[stuck] % 2 == 0]] *= _SHRINK
        active = active[(step[active] > finest).any(axis=1)]
    return at


def _blurred(ground: Ground) -> Ground:
    """The same ground with errors of a tenth of the radius at the least: certainty has no slope to climb."""
    least = 2.45 * ground.station.radius_m / 10
    return replace(
        ground,
        boundary_error_m=np.maximum(ground.boundary_error_m, least),
        station=replace(ground.station, fix_error_m=max(ground.station.fix_error_m, least)),
    )
