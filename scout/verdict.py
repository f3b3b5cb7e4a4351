"""Station positions judged, many at once: does it touch those cells, does it lie in those parks, how surely.

The search and the check of one planned place both come here, so that they cannot disagree. A claim is made
at a reference point (a corner, a point on a line, or just a place); the station centre may stand off from
it, and `settle` finds how far it should.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from scipy.special import ndtr

from scout import confidence
from scout.clearance import Boundaries
from scout.containment import contained_p
from scout.geodesy import degree_lengths, wrap_lon
from scout.locator import column_number, row_number, rows
from scout.model import Station
from scout.outlines import Floats, Ints, ragged

__all__ = [
    "FOUR",
    "MERIDIAN",
    "ONE",
    "PARALLEL",
    "SURE",
    "THREE",
    "Claims",
    "Ground",
    "Judged",
    "estimate",
    "judge",
    "settle",
    "sharpened",
    "touch_p",
]

# What a station claims: one cell, both sides of a line, all four cells of a corner, or three of them (one
# code for each middle cell: north-east, north-west, south-west, south-east of the corner).
ONE, MERIDIAN, PARALLEL, FOUR = 1, 2, 3, 4
THREE = (5, 6, 7, 8)
_MIDDLE = ((1, 1), (-1, 1), (-1, -1), (1, -1))

SURE = 0.996  # parks held this surely are not worth moving for
_GAIN = 1e-5  # a move that gains less, of what there is, is not worth making
_SHRINK = 0.5
_ROUNDS = 32  # shrinks a first step of a kilometre to a decimetre, with moves between
_WAYS = np.array(
    [[(1, 0), (0, 1), (-1, 0), (0, -1)], np.sqrt(0.5) * np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)])]
)


@dataclass(frozen=True)
class Ground:
    """What stations are judged on: the boundaries, each park's boundary error, the lattice level."""

    boundaries: Boundaries
    boundary_error_m: Floats  # 95 %, per park, datum error included
    level: int
    station: Station


class Claims(NamedTuple):
    """Claims at reference points, one per row; park lists end to end."""

    lon: Floats
    lat: Floats
    grid: Ints
    first: Ints
    park: Ints

    def rows(self, keep: Ints) -> Claims:
        """Some of the claims; a number may come again."""
        sizes = np.diff(self.first)[keep]
        _, members = ragged(self.first[keep], sizes)
        first = np.concatenate([[0], np.cumsum(sizes)])
        return Claims(self.lon[keep], self.lat[keep], self.grid[keep], first, self.park[members])


class Judged(NamedTuple):
    """Claims judged at a station centre each; ``clearance_m`` and ``parks_p`` are per park of the claim."""

    lon: Floats
    lat: Floats
    grids_p: Floats
    clearance_m: Floats
    parks_p: Floats
    confidence: Floats


def judge(claims: Claims, dx_m: Floats, dy_m: Floats, ground: Ground) -> Judged:
    """Judge claims with the station centre (dx, dy) metres east and north of the reference point.

    Parameters
    ----------
    claims : Claims
        n rows.
    dx_m, dy_m : arrays, shape (n,)

    Returns
    -------
    Judged
        Confidence is the product of its parts: independence is an assumption.
    """
    return sharpened(claims, estimate(claims, dx_m, dy_m, ground), ground)


def sharpened(claims: Claims, quick: Judged, ground: Ground) -> Judged:
    """An estimate with every boundary's own shape taken into account."""
    row, _ = ragged(claims.first[:-1], np.diff(claims.first))
    station = ground.station
    spread = np.hypot(
        confidence.sigma(station.fix_error_m), confidence.sigma(ground.boundary_error_m[claims.park])
    )
    parks_p = contained_p(
        ground.boundaries,
        claims.park,
        quick.lon[row],
        quick.lat[row],
        quick.clearance_m,
        station.radius_m,
        spread,
    )
    return quick._replace(parks_p=parks_p, confidence=_product(claims, quick.grids_p, parks_p))


def estimate(claims: Claims, dx_m: Floats, dy_m: Floats, ground: Ground) -> Judged:
    """As `judge`, with each boundary taken as one straight edge: quick, too kind at tips and in necks."""
    lon, lat = _centre(claims, dx_m, dy_m)
    row, _ = ragged(claims.first[:-1], np.diff(claims.first))
    clearance = ground.boundaries.clearance(claims.park, lon[row], lat[row])
    station = ground.station
    fix = confidence.sigma(station.fix_error_m)
    parks_p = confidence.inside(
        clearance, station.radius_m, fix, confidence.sigma(ground.boundary_error_m[claims.park])
    )
    grids_p = touch_p(claims, dx_m, dy_m, ground)
    return Judged(lon, lat, grids_p, clearance, parks_p, _product(claims, grids_p, parks_p))


def _product(claims: Claims, grids_p: Floats, parks_p: Floats) -> Floats:
    if len(parks_p) == 0:
        return grids_p
    product: Floats = grids_p * np.multiply.reduceat(parks_p, claims.first[:-1])
    return product


def touch_p(claims: Claims, dx: Floats, dy: Floats, ground: Ground) -> Floats:
    """Probability that the station at (dx, dy) metres from each reference point touches the cells claimed."""
    radius, s = ground.station.radius_m, float(confidence.sigma(ground.station.fix_error_m))
    p = np.ones(len(dx))
    for code, off in ((MERIDIAN, dx), (PARALLEL, dy)):
        mine = claims.grid == code
        p[mine] = confidence.line(off[mine], radius, s)
    mine = claims.grid == FOUR
    p[mine] = confidence.four_cells(dx[mine], dy[mine], radius, s)
    for code, (east, north) in zip(THREE, _MIDDLE, strict=True):
        mine = claims.grid == code
        if np.any(mine):
            p[mine] = confidence.three_cells(east * dx[mine], north * dy[mine], radius, s)
    mine = claims.grid == ONE
    p[mine] = _one_cell_p(*_centre(claims, dx, dy, mine), ground.level, radius, s)
    return p


def _centre(claims: Claims, dx: Floats, dy: Floats, rows: Any = slice(None)) -> tuple[Floats, Floats]:
    """Longitude and latitude of the station centres."""
    lat = claims.lat[rows]
    per_lon, per_lat = degree_lengths(lat)
    lon: Floats = wrap_lon(claims.lon[rows] + dx[rows] / per_lon)
    return lon, lat + dy[rows] / per_lat


def _one_cell_p(lon: Floats, lat: Floats, level: int, radius: float, s: float) -> Floats:
    """Probability that the disc reaches into the cell its stated centre lies in."""
    per_lon, per_lat = degree_lengths(lat)
    x, y = column_number(lon, level), row_number(lat, level)
    size_x, size_y = per_lon * 360 / rows(level), per_lat * 180 / rows(level)
    dx = np.minimum(x - np.floor(x), np.ceil(x) - x) * size_x
    dy = np.minimum(y - np.floor(y), np.ceil(y) - y) * size_y
    s = max(s, 1e-9)
    p: Floats = ndtr((radius + dx) / s) * ndtr((radius + dy) / s)
    return p


def settle(
    claims: Claims,
    ground: Ground,
    low: tuple[Floats, Floats],
    high: tuple[Floats, Floats],
    exact: bool = False,
) -> tuple[Floats, Floats]:
    """Offset of the station centre from the reference point that makes each claim surest.

    A compass search from the point itself: four ways, then the four between, then a shorter step when none
    is better. Claims that are sure where they stand are left there.

    Parameters
    ----------
    low, high : (east, north) arrays, shape (n,)
        Bounds of the offset in metres.
    exact : bool
        Whether the last steps go by `judge`; ten times the work, worth it for the few.

    Returns
    -------
    dx_m, dy_m : arrays, shape (n,)
    """
    ground = _blurred(ground)
    least, most = np.stack(low, axis=1), np.stack(high, axis=1)
    at = np.clip(0.0, least, most)
    finest = max(ground.station.radius_m, 1.0) / 16
    step = np.maximum(8 * finest, (most - least) / 16)
    _climb(claims, at, (least, most), (step, finest), estimate, ground)
    if exact:
        _climb(claims, at, (least, most), (np.full_like(at, 4 * finest), finest), judge, ground)
    return at[:, 0], at[:, 1]


def _climb(
    claims: Claims,
    at: Floats,
    box: tuple[Floats, Floats],
    steps: tuple[Floats, float],
    measure: Callable[[Claims, Floats, Floats, Ground], Judged],
    ground: Ground,
) -> None:
    """Move each place of ``at`` to where its claim is surest, within the box, in place."""
    n, (least, most), (step, finest) = len(at), box, steps
    best = measure(claims, at[:, 0], at[:, 1], ground)
    value = best.confidence.copy()
    parks = np.divide(value, best.grids_p, out=np.zeros(n), where=best.grids_p > 0)
    active = np.flatnonzero((parks < SURE) & (most > least).any(axis=1))
    turned, failed = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    for _ in range(_ROUNDS):
        if len(active) == 0:
            break
        ways = _WAYS[turned[active]]
        tries = at[active, None] + ways * step[active, None]
        tries = np.clip(tries, least[active, None], most[active, None])
        many = np.repeat(active, ways.shape[1])
        flat = tries.reshape(-1, 2)
        tried = measure(claims.rows(many), flat[:, 0], flat[:, 1], ground).confidence
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


def _blurred(ground: Ground) -> Ground:
    """The same ground with errors of a tenth of the radius at the least: certainty has no slope to climb."""
    least = 2.45 * ground.station.radius_m / 10
    return replace(
        ground,
        boundary_error_m=np.maximum(ground.boundary_error_m, least),
        station=replace(ground.station, fix_error_m=max(ground.station.fix_error_m, least)),
    )
