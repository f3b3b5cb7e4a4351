"""Station positions judged, many at once: does it touch those cells, does it lie in those parks, how surely.

A claim is made at a reference point: a corner, a point on a line, or just a place. The station centre may
stand off from it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Any

import numpy as np
from scipy.special import ndtr

from scout.geo import probability
from scout.geo.boundaries import Boundaries, Floats, Ints
from scout.geo.geodesy import compute_degree_lengths, wrap_lon
from scout.geo.joint import NOTHING, Errors, UnsureConditions, join_contained, join_parts
from scout.geo.locator import count_rows, get_column_number, get_row_number
from scout.geo.probability import compute_contained_p
from scout.model import Station
from scout.table import IN_LISTS, Offsets, Table, expand_ranges

# What a station claims: one cell, both sides of a line, all four cells of a corner, or three of them (one
# code for each middle cell: north-east, north-west, south-west, south-east of the corner).
ONE, MERIDIAN, PARALLEL, FOUR = 1, 2, 3, 4
THREE = (5, 6, 7, 8)
_MIDDLE = np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)])


@dataclass(frozen=True)
class JudgingContext:
    """What stations are judged on: the boundaries, each park's boundary error, the lattice level."""

    boundaries: Boundaries
    boundary_error_m: Floats  # 95 %, per park, datum error included
    level: int
    station: Station
    error_range_m: tuple[float, float] | None = None  # of all parks, where these are a part of them
    listed_from: float = 0.0  # confidence; of overlaps surely under it only that is told

    @property
    def least_error_m(self) -> float:
        """The least boundary error of any park."""
        known = self.error_range_m
        return float(self.boundary_error_m.min(initial=np.inf)) if known is None else known[0]

    @property
    def most_error_m(self) -> float:
        """The greatest boundary error of any park."""
        known = self.error_range_m
        return float(self.boundary_error_m.max(initial=0.0)) if known is None else known[1]


@dataclass(frozen=True, slots=True)
class Claims(Table):
    """Claims at reference points, one per row; park lists end to end."""

    lon: Floats
    lat: Floats
    grid: Ints
    first: Offsets
    park: Annotated[Ints, IN_LISTS]


@dataclass(frozen=True, slots=True)
class JudgedClaims(Table):
    """Claims judged at a station centre each; ``clearance_m`` and ``parks_p`` are per park of the claim."""

    lon: Floats
    lat: Floats
    grids_p: Floats
    first: Offsets  # that of the claims
    clearance_m: Annotated[Floats, IN_LISTS]
    parks_p: Annotated[Floats, IN_LISTS]
    confidence: Floats


def judge_claims(claims: Claims, dx_m: Floats, dy_m: Floats, ground: JudgingContext) -> JudgedClaims:
    """Judge claims with the station centre (dx, dy) metres east and north of the reference point.

    Parameters
    ----------
    claims : Claims
        n rows.
    dx_m, dy_m : arrays, shape (n,)

    Returns
    -------
    JudgedClaims
        Confidence is the probability that all of its parts hold: one receiver error moves them all.
    """
    return refine(claims, estimate_claims(claims, dx_m, dy_m, ground), ground)


def refine(
    claims: Claims, quick: JudgedClaims, ground: JudgingContext, from_confidence: float = 0.0
) -> JudgedClaims:
    """An estimate with every boundary's own shape taken into account.

    Claims that come to less than ``from_confidence`` by the estimate and by one of their parks alone are no
    surer by all conditions together: their confidence is the product of the parts, and less than that too.
    """
    row, _ = expand_ranges(claims.first[:-1], np.diff(claims.first))
    parks_p = compute_contained_p(
        ground.boundaries,
        claims.park,
        quick.lon[row],
        quick.lat[row],
        quick.clearance_m,
        ground.station.radius_m,
        compute_spread_m(claims, ground),
    )
    if from_confidence <= 0.0 or len(parks_p) == 0:
        return replace(quick, parks_p=parks_p, confidence=judge_together(claims, quick, parks_p, ground))
    confidence = multiply_parts(claims.first, quick.grids_p, parks_p)
    least = np.minimum.reduceat(parks_p, claims.first[:-1])
    rows = np.flatnonzero((least >= from_confidence) | (quick.confidence >= from_confidence))
    held = parks_p[expand_ranges(claims.first[rows], np.diff(claims.first)[rows])[1]]
    confidence[rows] = judge_together(claims.take(rows), quick.take(rows), held, ground)
    return replace(quick, parks_p=parks_p, confidence=confidence)


def judge_together(claims: Claims, at: JudgedClaims, parks_p: Floats, ground: JudgingContext) -> Floats:
    """Confidence of claims where their stations stand: that all conditions hold, by one receiver error.

    Parameters
    ----------
    at : JudgedClaims
        Where the stations stand, how far from the boundaries, and how surely they touch their cells.
    parks_p : array
        How surely they lie in each park of their claims.
    """
    row, _ = expand_ranges(claims.first[:-1], np.diff(claims.first))
    fix = float(probability.compute_sigma(ground.station.fix_error_m))

    def join(some: UnsureConditions) -> Floats:
        pair, claim = some.pair, some.claim
        park = claims.park[pair]
        cell = lay_out_cells(claims, claim, some.cells, (at.lon[claim], at.lat[claim]), ground.level)
        place = park, at.lon[row[pair]], at.lat[row[pair]]
        sigma = probability.compute_sigma(ground.boundary_error_m[park])
        errors = Errors(ground.station.radius_m, fix, sigma)
        return join_contained(ground.boundaries, some, cell, place, errors, at.clearance_m[pair])

    return join_parts(claims.first, at.grids_p, parks_p, join)


def lay_out_cells(claims: Claims, rows: Ints, cells: Any, place: tuple[Floats, Floats], level: int) -> Floats:
    """What stations at places touch, as `scout.geo.joint.join_conditions` takes it; shape (n, 3)."""
    lon, lat = place
    grid = np.where(cells, claims.grid[rows], NOTHING)
    per_lon, per_lat = compute_degree_lengths(claims.lat[rows])
    x = wrap_lon(lon - claims.lon[rows]) * per_lon
    y = (lat - claims.lat[rows]) * per_lat
    one = np.flatnonzero(grid == ONE)
    x[one], y[one] = _lead_to_lines(lon[one], lat[one], level)
    return np.stack([grid, x, y], axis=1)


def compute_spread_m(claims: Claims, ground: JudgingContext) -> Floats:
    """Standard deviation per axis of the error between station and boundary, per park of the claims."""
    fix = probability.compute_sigma(ground.station.fix_error_m)
    spread: Floats = np.hypot(fix, probability.compute_sigma(ground.boundary_error_m[claims.park]))
    return spread


def estimate_claims(claims: Claims, dx_m: Floats, dy_m: Floats, ground: JudgingContext) -> JudgedClaims:
    """As `judge_claims`, each boundary taken as one straight edge: quick, optimistic at tips and in necks."""
    lon, lat = locate_centres(claims, dx_m, dy_m)
    row, _ = expand_ranges(claims.first[:-1], np.diff(claims.first))
    clearance = ground.boundaries.clearance(claims.park, lon[row], lat[row])
    return estimate_known(claims, dx_m, dy_m, clearance, ground)


def estimate_known(
    claims: Claims, dx_m: Floats, dy_m: Floats, clearance_m: Floats, ground: JudgingContext
) -> JudgedClaims:
    """An estimate where the clearances, per park of each claim, are known already."""
    parks_p = probability.compute_inside_p(
        clearance_m, ground.station.radius_m, compute_spread_m(claims, ground), 0.0
    )
    grids_p = compute_touch_p(claims, dx_m, dy_m, ground)
    lon, lat = locate_centres(claims, dx_m, dy_m)
    return JudgedClaims(
        lon=lon,
        lat=lat,
        grids_p=grids_p,
        first=claims.first,
        clearance_m=clearance_m,
        parks_p=parks_p,
        confidence=multiply_parts(claims.first, grids_p, parks_p),
    )


def multiply_parts(first: Ints, grids_p: Floats, parks_p: Floats) -> Floats:
    """Confidence of each claim from its parts."""
    if len(parks_p) == 0:
        return grids_p
    whole: Floats = grids_p * np.multiply.reduceat(parks_p, first[:-1])
    return whole


def compute_touch_p(claims: Claims, dx: Floats, dy: Floats, ground: JudgingContext) -> Floats:
    """Probability that the station at (dx, dy) metres from each reference point touches the cells claimed."""
    radius, s = ground.station.radius_m, float(probability.compute_sigma(ground.station.fix_error_m))
    p = np.ones(len(dx))
    for code in np.unique(np.minimum(claims.grid, THREE[0])).tolist():
        mine = np.flatnonzero(claims.grid >= code if code in THREE else claims.grid == code)
        x, y = dx[mine], dy[mine]
        if code == ONE:
            p[mine] = _compute_one_cell_p(*locate_centres(claims, dx, dy, mine), ground.level, radius, s)
        elif code == FOUR:
            p[mine] = probability.compute_four_cells_p(x, y, radius, s)
        elif code in THREE:
            east, north = _MIDDLE[claims.grid[mine] - THREE[0]].T
            p[mine] = probability.compute_three_cells_p(east * x, north * y, radius, s)
        else:
            p[mine] = probability.compute_line_p(x if code == MERIDIAN else y, radius, s)
    return p


def locate_centres(claims: Claims, dx: Floats, dy: Floats, rows: Any = slice(None)) -> tuple[Floats, Floats]:
    """Longitude and latitude of the station centres."""
    lat = claims.lat[rows]
    per_lon, per_lat = compute_degree_lengths(lat)
    lon: Floats = wrap_lon(claims.lon[rows] + dx[rows] / per_lon)
    return lon, lat + dy[rows] / per_lat


def _compute_one_cell_p(lon: Floats, lat: Floats, level: int, radius: float, s: float) -> Floats:
    """Probability that the disc reaches into the cell its stated centre lies in."""
    dx, dy = (np.abs(way) for way in _lead_to_lines(lon, lat, level))
    s = max(s, 1e-9)
    p: Floats = ndtr((radius + dx) / s) * ndtr((radius + dy) / s)
    return p


def _lead_to_lines(lon: Floats, lat: Floats, level: int) -> tuple[Floats, Floats]:
    """Metres east and north from places to the nearest lines of the cells they lie in."""
    ways = []
    numbers = get_column_number(lon, level), get_row_number(lat, level)
    for x, metres, turn in zip(numbers, compute_degree_lengths(lat), (360, 180), strict=True):
        back, ahead = x - np.floor(x), np.ceil(x) - x
        ways.append(np.where(back < ahead, -back, ahead) * (metres * turn / count_rows(level)))
    return ways[0], ways[1]
