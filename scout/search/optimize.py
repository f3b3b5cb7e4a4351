"""Where the centre of a station should stand: the few edges near each claim, and the climb over them.

The few edges that matter while a station centre is sought: laid out once, looked at from many places.

Centres are tried within a box of metres about each claim's point. Positions are degrees times their length
there, so what is straight in longitude and latitude stays straight; seen from a centre, differences are
stretched to the lengths of degrees at its own latitude.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout import kernels
from scout.geo import probability
from scout.geo.boundaries import Boundaries, Floats, Ints
from scout.geo.geodesy import compute_degree_lengths
from scout.geo.joint import FEW_POINTS, ROUGH, Errors, UnsureConditions, join_edges, join_parts, make_errors
from scout.geo.probability import RAYS, compute_contained_among, compute_reach_m, integrate_rays
from scout.kernels import CompiledEdges
from scout.search.verdict import (
    Claims,
    JudgedClaims,
    JudgingContext,
    compute_spread_m,
    compute_touch_p,
    estimate_claims,
    lay_out_cells,
    locate_centres,
    multiply_parts,
)
from scout.table import expand_ranges

_WIDER = 1.03  # degrees shrink towards the far end of a box


class SeenEdges(NamedTuple):
    """Edges seen from places: which place, both ends in metres from it, and how far off the edge is."""

    row: Ints
    start: Floats  # shape (m, 2)
    end: Floats
    away_m: Floats
    stretch: Floats  # per place: its degrees' lengths by those at the claim's point, shape (n, 2)


class NearbyEdges(NamedTuple):
    """Edges near a box each, for pairs of a claim and a park; edge lists end to end."""

    lat: Floats  # of the claim's point
    per: Floats  # metres per degree of longitude and latitude there, shape (pairs, 2)
    first: Ints  # where a pair's edges begin; one more entry at the end
    start: Floats  # metres east and north of the claim's point, shape (m, 2)
    end: Floats
    known: Floats  # a place in the box, shape (pairs, 2)
    inside: NDArray[np.bool_]  # whether it lies in the park
    compiled: CompiledEdges | None  # the same for the compiled loops

    @classmethod
    def of(
        cls,
        boundaries: Boundaries,
        pairs: tuple[Ints, Floats, Floats],
        box: tuple[Floats, Floats],
        reach_m: Floats,
    ) -> NearbyEdges:
        """Edges of parks within reach of a box.

        Parameters
        ----------
        pairs : park, lon, lat
            Arrays, shape (n,).
        box : least, most
            Metres east and north of each point, shape (n, 2).
        reach_m : array, shape (n,)
        """
        park, lon, lat = pairs
        lon = boundaries.near_side(park, lon)
        per = np.stack(compute_degree_lengths(lat), axis=1)
        at = np.stack([lon, lat], axis=1)
        low, high = at + box[0] / per, at + box[1] / per
        room = _WIDER * reach_m / per[:, 1]
        furthest = np.minimum(np.maximum(np.abs(low[:, 1] - room), np.abs(high[:, 1] + room)), 89.99)
        room = np.stack([_WIDER * reach_m / compute_degree_lengths(furthest)[0], room], axis=1)
        pair, vertex = boundaries.edges_in_box(park, low - room, high + room)
        lines = boundaries.outlines
        start, end = (
            (np.stack([lines.lon[v], lines.lat[v]], axis=1) - at[pair]) * per[pair]
            for v in (vertex, vertex + 1)
        )
        # Any place would do but one on an edge: shares that no one draws on purpose.
        known = box[0] + (box[1] - box[0]) * np.array([0.41421356, 0.57735027])
        there = at + known / per
        inside = boundaries.clearance(park, there[:, 0], there[:, 1]) > 0.0
        first = np.searchsorted(pair, np.arange(len(park) + 1))
        compiled = None if kernels.LIBRARY is None else CompiledEdges(first, start, end, known, inside)
        return cls(lat, per, first, start, end, known, inside, compiled)

    def seen(self, pair: Ints, place: Floats) -> SeenEdges:
        """The edges of pairs, seen from a place each: metres from the claim's point, shape (n, 2)."""
        row, edge = expand_ranges(self.first[pair], self.first[pair + 1] - self.first[pair])
        stretch = self._stretch(pair, place)
        start, end = ((ends[edge] - place[row]) * stretch[row] for ends in (self.start, self.end))
        step = end - start
        size = np.maximum(step[:, 0] ** 2 + step[:, 1] ** 2, 1e-12)
        along = np.clip(-(start[:, 0] * step[:, 0] + start[:, 1] * step[:, 1]) / size, 0.0, 1.0)
        foot = start + along[:, None] * step
        return SeenEdges(row, start, end, np.hypot(foot[:, 0], foot[:, 1]), stretch)

    def clearance(self, pair: Ints, place: Floats) -> Floats:
        """Signed distance from places to the edges of pairs, positive inside; infinite where none is near."""
        if self.compiled is not None:
            return self.compiled.measure(pair, place, self._stretch(pair, place))
        seen = self.seen(pair, place)
        n = len(pair)
        away = np.full(n, np.inf)
        heads = np.flatnonzero(np.diff(seen.row, prepend=-1))
        if len(heads):
            away[seen.row[heads]] = np.minimum.reduceat(seen.away_m, heads)
        known = (self.known[pair] - place) * seen.stretch
        met = seen.row[_is_between(seen, known[seen.row])]
        inside = self.inside[pair] ^ (np.bincount(met, minlength=n) % 2 == 1)
        return np.where(inside, away, -away)

    def integrate(
        self, pair: Ints, place: Floats, inside: NDArray[np.bool_], radius_m: float, sigma_m: Floats
    ) -> Floats:
        """Probability that a disc at each place lies inside the park of its pair."""
        if self.compiled is not None:
            stretch = self._stretch(pair, place)
            return self.compiled.integrate(pair, place, stretch, _know(inside), radius_m, sigma_m, RAYS)
        seen = self.seen(pair, place)
        close = seen.away_m <= compute_reach_m(radius_m, sigma_m)[seen.row]
        edges = seen.row[close], seen.start[close], seen.end[close]
        return integrate_rays(edges, inside, radius_m, sigma_m)

    def join(
        self,
        some: UnsureConditions,
        cell: Floats,
        where: tuple[Ints, Floats, NDArray[np.bool_]],
        errors: Errors,
    ) -> Floats:
        """Probability that conditions hold together, as `scout.geo.joint.join_contained` gives it.

        ``where`` has the pair, the place and whether it lies inside, for each pair of the conditions.
        """
        pair, place, inside = where
        if self.compiled is not None:
            stretch, words = self._stretch(pair, place), make_errors(some, _know(inside), errors)
            return self.compiled.join(some.first, cell, pair, place, stretch, words)
        seen = self.seen(pair, place)
        reach = compute_reach_m(errors.radius_m, np.hypot(errors.sigma_fix_m, errors.sigma_m))
        close = seen.away_m <= reach[seen.row]
        return join_edges(some, cell, (seen.row[close], seen.start[close], seen.end[close]), inside, errors)

    def _stretch(self, pair: Ints, place: Floats) -> Floats:
        per = self.per[pair]
        here = compute_degree_lengths(self.lat[pair] + place[:, 1] / per[:, 1])
        stretch: Floats = np.stack(here, axis=1) / per
        return stretch


def _know(inside: NDArray[np.bool_]) -> Floats:
    """The sides of places as `Boundaries.know_side` gives them; here edges are straight in degrees."""
    return np.stack([np.zeros(len(inside)), np.zeros(len(inside)), inside], axis=1)


def _is_between(seen: SeenEdges, known: Floats) -> NDArray[np.bool_]:
    """Whether an edge crosses the straight way from the place to the one that is known."""
    (ax, ay), (bx, by), (rx, ry) = seen.start.T, seen.end.T, known.T
    apart = (rx * ay - ry * ax > 0.0) != (rx * by - ry * bx > 0.0)
    side = ax * by - ay * bx
    there = side + (bx - ax) * ry - (by - ay) * rx
    crossed: NDArray[np.bool_] = apart & ((side > 0.0) != (there > 0.0))
    return crossed


# Where a station should stand for its claim: a compass search for the surest centre nearby.
BENT = 0.04  # what other edges nearby may take from an estimate before the last steps go by the judge
SURE = 0.996  # parks held this surely are not worth moving for
_GAIN = 1e-5  # a move that gains less, of what there is, is not worth making
_FAR = 6.0  # sigmas; beyond the disc and these an edge takes 1e-9 from a probability
_SHRINK = 0.5
_ROUNDS = 32  # shrinks a first step of a kilometre to a decimetre, with moves between
_CLAIMS = 1000  # optimized together: their edges nearby are held, and looked at from eight places
_WAYS = np.array(
    [[(1, 0), (0, 1), (-1, 0), (0, -1)], np.sqrt(0.5) * np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)])]
)

Bools = NDArray[np.bool_]
Box = tuple[Floats, Floats]
Measure = Callable[[Ints, Floats], tuple[Floats, Floats]]


def optimize_position(
    claims: Claims,
    ground: JudgingContext,
    low: tuple[Floats, Floats],
    high: tuple[Floats, Floats],
    exact: bool | Bools = False,
) -> tuple[Floats, Floats]:
    """Find the offset from the reference point that makes each claim surest: see `choose_standing`."""
    return choose_standing(claims, ground, low, high, exact)[:2]


def choose_standing(
    claims: Claims,
    ground: JudgingContext,
    low: tuple[Floats, Floats],
    high: tuple[Floats, Floats],
    exact: bool | Bools = False,
    quick: JudgedClaims | None = None,
    finest: float = 1 / 16,
) -> tuple[Floats, Floats, JudgedClaims]:
    """Where the station should stand for each claim, and the estimate there.

    A compass search from the point itself: four ways, then the four between, then a shorter step when none
    is better. Claims that are sure where they stand are left there.

    Parameters
    ----------
    low, high : (east, north) arrays, shape (n,)
        Bounds of the offset in metres.
    exact : bool or array of bool
        Whether the last steps go by `judge`; ten times the work, worth it for the few. An array says of each
        claim whether they go by one receiver error for all conditions, twice as much again.
    quick : JudgedClaims, optional
        The estimate at the start, the place in the box nearest to the point, where it is known.
    finest : float
        Of the radius: how short the last steps by `judge` get.

    Returns
    -------
    dx_m, dy_m : arrays, shape (n,)
    estimate : JudgedClaims
    """
    box = np.stack(low, axis=1), np.stack(high, axis=1)
    at = np.clip(0.0, *box)
    if quick is None:
        quick = estimate_claims(claims, at[:, 0], at[:, 1], ground)
    blurred = _blur_ground(ground)
    last_steps = exact is not False
    together = np.broadcast_to(np.asarray(exact), len(at))
    rows = np.flatnonzero(_find_unsure(claims, quick, blurred, last_steps) & (box[1] > box[0]).any(axis=1))
    if len(rows):
        start = at[rows].copy()
        for first in range(0, len(rows), _CLAIMS):
            some = rows[first : first + _CLAIMS]
            last = together[some] if last_steps else None
            at[some] = _find_surest_centres(claims, some, at, box, quick, blurred, (last, finest))
        moved = rows[(at[rows] != start).any(axis=1)]
        again = estimate_claims(claims.take(moved), at[moved, 0], at[moved, 1], ground)
        quick = quick.replace(moved, again)
    return at[:, 0], at[:, 1], quick


def _find_unsure(claims: Claims, quick: JudgedClaims, ground: JudgingContext, exact: bool) -> Bools:
    """Claims that a move might make surer; where the exact value counts, all with an edge in reach."""
    radius, spread = ground.station.radius_m, compute_spread_m(claims, ground)
    held = probability.compute_inside_p(quick.clearance_m, radius, spread, 0.0)
    unsure = (multiply_parts(claims.first, np.ones(len(quick.lon)), held) < SURE) | (quick.grids_p <= 0.0)
    if exact and len(held):
        beside = np.abs(quick.clearance_m) < compute_reach_m(radius, spread)
        unsure |= np.logical_or.reduceat(beside, claims.first[:-1])
    return unsure


def _find_surest_centres(
    claims: Claims,
    rows: Ints,
    at: Floats,
    box: Box,
    quick: JudgedClaims,
    ground: JudgingContext,
    last_steps: tuple[Bools | None, float],
) -> Floats:
    """The surest centre of some claims."""
    radius, (last, share) = max(ground.station.radius_m, 1.0), last_steps
    finest = radius / 16
    some, place, size = claims.take(rows), at[rows], (box[0][rows], box[1][rows])
    hill = _ConfidenceHill(some, size, quick.take(rows).clearance_m, ground)
    step = np.maximum(8 * finest, (size[1] - size[0]) / 16)
    place = _climb(place, size, (step, finest), hill.quick)
    for value, mine in () if last is None else ((hill.exact, ~last), (hill.joint, last)):
        here = np.flatnonzero(mine)
        if len(here):
            steps = np.full((len(here), 2), 4 * finest), share * radius
            climbed = _climb(place[here], (size[0][here], size[1][here]), steps, _measure_some(value, here))
            place[here] = climbed
    return place


def _measure_some(measure: Measure, rows: Ints) -> Measure:
    return lambda some, place: measure(rows[some], place)


class _ConfidenceHill:
    """How sure claims are at centres in their boxes, from the edges near each box alone."""

    def __init__(self, claims: Claims, box: Box, clearance_m: Floats, ground: JudgingContext) -> None:
        self._claims, self._ground = claims, ground
        self._radius = ground.station.radius_m
        self._spread = compute_spread_m(claims, ground)
        row, _ = expand_ranges(claims.first[:-1], np.diff(claims.first))
        least, most = box[0][row], box[1][row]
        # From outside, the way to the park counts, however small the probability is there.
        outside = np.hypot(*(most - least).T) - np.minimum(clearance_m, 0.0)
        far = self._radius + _FAR * self._spread
        reach = np.where(clearance_m < 0.0, np.maximum(outside, far), far)
        pairs = claims.park, claims.lon[row], claims.lat[row]
        self._near = NearbyEdges.of(ground.boundaries, pairs, (least, most), reach)

    def quick(self, rows: Ints, place: Floats) -> tuple[Floats, Floats]:
        """Confidence of some claims at a centre each and the parks' share in it, by straight edges."""
        clearance, _, pair, first = self._clearance(rows, place)
        held = probability.compute_inside_p(clearance, self._radius, self._spread[pair], 0.0)
        return self._whole(rows, place, pair, first, held)

    def exact(self, rows: Ints, place: Floats) -> tuple[Floats, Floats]:
        """The same by every boundary's own shape."""
        clearance, _, pair, first = self._clearance(rows, place)
        return self._whole(rows, place, pair, first, self._integrate(clearance, pair, place, first))

    def joint(self, rows: Ints, place: Floats) -> tuple[Floats, Floats]:
        """The same by one receiver error for all conditions."""
        clearance, seen_from, pair, first = self._clearance(rows, place)
        held = self._integrate(clearance, pair, place, first)
        some = self._take(rows, pair, first)
        lon, lat = locate_centres(some, place[:, 0], place[:, 1])
        fix = float(probability.compute_sigma(self._ground.station.fix_error_m))

        def join(unsure: UnsureConditions) -> Floats:
            at = unsure.pair
            there = lon[unsure.claim], lat[unsure.claim]
            cell = lay_out_cells(some, unsure.claim, unsure.cells, there, self._ground.level)
            sigma = probability.compute_sigma(self._ground.boundary_error_m[some.park[at]])
            where = pair[at], seen_from[at], clearance[at] > 0
            return self._near.join(unsure, cell, where, Errors(self._radius, fix, sigma, FEW_POINTS, ROUGH))

        grids_p = compute_touch_p(some, place[:, 0], place[:, 1], self._ground)
        touched = (grids_p > 0.0).astype(float)
        return join_parts(first, grids_p, held, join), multiply_parts(first, touched, held)

    def _integrate(self, clearance: Floats, pair: Ints, place: Floats, first: Ints) -> Floats:
        """How surely discs at places lie in the parks of their pairs."""
        spread = np.maximum(self._spread[pair], 1e-6)
        seen_from = np.repeat(place, np.diff(first), axis=0)

        def integrate(some: Ints) -> Floats:
            inside = clearance[some] > 0
            return self._near.integrate(pair[some], seen_from[some], inside, self._radius, spread[some])

        return compute_contained_among(integrate, clearance, self._radius, spread)

    def _clearance(self, rows: Ints, place: Floats) -> tuple[Floats, Floats, Ints, Ints]:
        sizes = np.diff(self._claims.first)[rows]
        row, pair = expand_ranges(self._claims.first[rows], sizes)
        first = np.concatenate([[0], np.cumsum(sizes)])
        return self._near.clearance(pair, place[row]), place[row], pair, first

    def _whole(
        self, rows: Ints, place: Floats, pair: Ints, first: Ints, held: Floats
    ) -> tuple[Floats, Floats]:
        some = self._take(rows, pair, first)
        grids_p = compute_touch_p(some, place[:, 0], place[:, 1], self._ground)
        return multiply_parts(first, grids_p, held), multiply_parts(
            first, (grids_p > 0.0).astype(float), held
        )

    def _take(self, rows: Ints, pair: Ints, first: Ints) -> Claims:
        whole = self._claims
        return Claims(
            lon=whole.lon[rows],
            lat=whole.lat[rows],
            grid=whole.grid[rows],
            first=first,
            park=whole.park[pair],
        )


def _climb(
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
        # What fails straight may gain diagonally, along the ridge between two boundaries.
        failed[stuck] += 1
        turned[stuck] = 1 - turned[stuck]
        step[stuck[failed[stuck] % 2 == 0]] *= _SHRINK
        active = active[(step[active] > finest).any(axis=1)]
    return at


def _blur_ground(ground: JudgingContext) -> JudgingContext:
    """The same ground with errors of a tenth of the radius at the least: certainty has no slope to climb."""
    least = 2.45 * ground.station.radius_m / 10
    return replace(
        ground,
        boundary_error_m=np.maximum(ground.boundary_error_m, least),
        station=replace(ground.station, fix_error_m=max(ground.station.fix_error_m, least)),
    )
