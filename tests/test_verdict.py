"""Claims judged many at once: where stations stand, what they touch, what holds them, each found another way.

Parks are wide boxes with one straight edge near a station, so that `scipy.stats` has every probability.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
import shapely
from oracles import budget, metric
from scipy.stats import norm

from scout.geo.boundaries import Boundaries
from scout.model import Station
from scout.search.verdict import (
    FOUR,
    MERIDIAN,
    ONE,
    PARALLEL,
    THREE,
    Claims,
    JudgingContext,
    compute_touch_p,
    estimate_claims,
    judge_claims,
    multiply_parts,
)

RADIUS_M, FIX_M = 5.0, 4.9
SIGMA = FIX_M / 2.4477468306808166  # 95 % of a circular normal error (FGDC-STD-007.3-1998)
MIDDLE = dict(zip(THREE, [(1, 1), (-1, 1), (-1, -1), (1, -1)], strict=True))


def judging(parks, errors, level=2, **station) -> JudgingContext:
    shapes = np.empty(len(parks), dtype=object)
    shapes[:] = parks
    return JudgingContext(
        Boundaries(shapes), np.array(errors, dtype=float), level, Station(RADIUS_M, FIX_M, **station)
    )


def claims_of(lon, lat, grid, parks) -> Claims:
    """Claims at one place each, with a list of parks for each."""
    first = np.cumsum([0, *(len(some) for some in parks)])
    held = np.array([park for some in parks for park in some], dtype=np.int64)
    n = len(parks)
    return Claims(*(np.broadcast_to(v, n).astype(float) for v in (lon, lat)), np.array(grid), first, held)


def put(lon, lat, west, south, east, north) -> shapely.Polygon:
    """A box in metres about a place."""
    per_lon, per_lat = metric.degree_lengths(lat)
    return shapely.box(
        lon + west / per_lon, lat + south / per_lat, lon + east / per_lon, lat + north / per_lat
    )


def touch_by_scipy(grid: int, x: float, y: float) -> float:
    if grid in MIDDLE:
        east, north = MIDDLE[grid]
        return float(budget.three_cells(east * x, north * y, RADIUS_M, SIGMA))
    if grid == FOUR:
        return float(budget.four_cells(x, y, RADIUS_M, SIGMA))
    return float(budget.line(abs(x if grid == MERIDIAN else y), RADIUS_M, SIGMA))


@pytest.mark.parametrize("place", [(10.0, 45.0), (-180.0, -17.0), (24.0, 66.0)])
def test_each_claim_of_many_is_estimated_at_its_own_centre_for_its_own_parks(place):
    """All kinds of claims in one table, with one to three parks; metres by geographiclib (R)."""
    rng = np.random.default_rng(6)
    parks = [
        put(*place, -9, -3000, 3000, 3000),
        put(*place, -3000, -14, 3000, 3000),
        put(*place, *[-4000] * 2, 4000, 11),
    ]
    errors = [14.0, 1.0, 30.0]
    grid = [MERIDIAN, PARALLEL, FOUR, *THREE, FOUR, PARALLEL, MERIDIAN]
    held = [[0], [1], [2], [0, 1], [1, 2], [0, 2], [2, 1], [0, 1, 2], [0], [2]]
    dx, dy = rng.uniform(-6, 6, (2, len(grid)))
    told = estimate_claims(claims_of(*place, grid, held), dx, dy, judging(parks, errors))
    assert np.all((told.lon >= -180.0) & (told.lon < 180.0))
    for k, (code, some) in enumerate(zip(grid, held, strict=True)):
        end = metric.moved(*place, np.degrees(np.arctan2(dx[k], dy[k])), np.hypot(dx[k], dy[k]))
        assert metric.distance_m(told.lon[k], told.lat[k], *end) < 1e-3
        assert told.grids_p[k] == pytest.approx(touch_by_scipy(code, dx[k], dy[k]), abs=1e-5)
        mine = slice(told.first[k], told.first[k + 1])
        clear = np.array([metric.clearance_m(parks[n], told.lon[k], told.lat[k]) for n in some])
        assert told.clearance_m[mine] == pytest.approx(clear, abs=0.02)
        spread = np.hypot(SIGMA, np.array([errors[n] for n in some]) / 2.4477468306808166)
        assert told.parks_p[mine] == pytest.approx(norm.cdf((clear - RADIUS_M) / spread), abs=0.003)
        assert told.confidence[k] == pytest.approx(told.grids_p[k] * np.prod(told.parks_p[mine]), rel=1e-12)


def test_what_one_claim_is_judged_does_not_depend_on_the_others():
    rng = np.random.default_rng(8)
    place = (10.0, 45.0)
    parks = [
        put(*place, -10, -3000, 3000, 3000),
        put(*place, -3000, -9, 3000, 3000),
        put(*place, -8, -9, 20, 25),
    ]
    ground = judging(parks, [14.0, 2.0, 1.0])
    grid = [*THREE, FOUR, MERIDIAN, PARALLEL, ONE] * 3
    held = [sorted(rng.choice(3, rng.integers(1, 4), replace=False).tolist()) for _ in grid]
    dx, dy = rng.uniform(-5, 5, (2, len(grid)))
    together = judge_claims(claims_of(*place, grid, held), dx, dy, ground)
    assert np.ptp(together.confidence) > 0.3
    for k, code in enumerate(grid):
        alone = judge_claims(claims_of(*place, [code], [held[k]]), dx[k : k + 1], dy[k : k + 1], ground)
        mine = slice(together.first[k], together.first[k + 1])
        for name in ("lon", "lat", "grids_p", "confidence"):
            assert getattr(together, name)[k] == pytest.approx(getattr(alone, name)[0], abs=1e-12)
        for name in ("clearance_m", "parks_p"):
            assert getattr(together, name)[mine] == pytest.approx(getattr(alone, name), abs=1e-12)


@pytest.mark.parametrize(("level", "cell"), [(2, (2.0, 1.0)), (3, (5 / 60, 2.5 / 60))])
@pytest.mark.parametrize(
    ("east", "north"), [(3.0, 900.0), (-2.0, -700.0), (600.0, 0.5), (-800.0, -4.0), (2.0, -1.0)]
)
def test_a_station_beside_a_line_touches_the_cell_it_stands_in(level, cell, east, north):
    """Unless the receiver errs by more than the way to the line and the radius; sizes as published."""
    corner = 10.0 + 3 * cell[0], 45.0  # of cells of the level
    lat = corner[1] + north / metric.degree_lengths(corner[1])[1]
    at = corner[0] + east / metric.degree_lengths(lat)[0], lat
    for fix_m in (FIX_M, 60.0):
        ground = judging([shapely.box(-20, 40, 40, 50)], [14.0], level)
        ground = replace(ground, station=Station(RADIUS_M, fix_m))
        judged = judge_claims(claims_of(*at, [ONE], [[0]]), np.zeros(1), np.zeros(1), ground)
        spare = RADIUS_M + np.abs([east, north])
        expected = np.prod(norm.cdf(spare / (SIGMA * fix_m / FIX_M)))
        assert judged.grids_p[0] == pytest.approx(expected, abs=1e-5)
        assert judged.confidence[0] == pytest.approx(expected, abs=1e-5)


def test_only_the_claims_of_a_kind_are_reckoned_as_that_kind():
    """A claim of one cell stands in the cell's middle, far from any line: it is sure, wherever others are."""
    grid, dx = [FOUR, ONE, THREE[2], ONE], np.array([50.0, 0.0, 50.0, 0.0])
    lon = np.array([10.0, 11.0, 10.0, 11.0])
    claims = claims_of(lon, np.array([45.0, 45.5, 45.0, 45.5]), grid, [[0]] * 4)
    touched = compute_touch_p(claims, dx, dx, judging([shapely.box(9, 44, 12, 46)], [14.0]))
    assert touched == pytest.approx([0.0, 1.0, 0.0, 1.0], abs=1e-12)


def test_a_certain_receiver_makes_touching_the_cell_it_stands_in_certain():
    ground = JudgingContext(
        Boundaries(np.array([shapely.box(9, 44, 12, 46)])), np.array([0.0]), 2, Station(5.0, 0.0, 0.0)
    )
    claims = claims_of(10.00001, 45.00001, [ONE], [[0]])
    assert compute_touch_p(claims, np.zeros(1), np.zeros(1), ground).tolist() == [1.0]


def test_claims_of_no_park_have_the_confidence_of_their_cells():
    ground = judging([], [])
    told = judge_claims(
        claims_of(10.0, 45.0, [FOUR, MERIDIAN], [[], []]), np.zeros(2), np.full(2, 3.0), ground
    )
    assert told.confidence.tolist() == told.grids_p.tolist()
    assert told.grids_p == pytest.approx(
        [touch_by_scipy(FOUR, 0.0, 3.0), touch_by_scipy(MERIDIAN, 0.0, 3.0)], abs=1e-6
    )
    assert multiply_parts(told.first, told.grids_p, np.empty(0)).tolist() == told.grids_p.tolist()


def test_the_least_and_the_greatest_boundary_error_are_those_of_all_parks():
    ground = judging([shapely.box(0, 0, 1, 1)] * 3, [14.0, 2.0, 30.0])
    assert (ground.least_error_m, ground.most_error_m) == (2.0, 30.0)
    part = JudgingContext(ground.boundaries, ground.boundary_error_m, 2, ground.station, (1.0, 45.0))
    assert (part.least_error_m, part.most_error_m) == (1.0, 45.0)
    none = judging([], [])
    assert (none.least_error_m, none.most_error_m) == (np.inf, 0.0)


def test_a_judged_claim_stands_where_its_estimate_stands():
    ground = judging([put(10.0, 45.0, -9, -9, 3000, 3000)], [14.0])
    claims = claims_of(10.0, 45.0, [FOUR], [[0]])
    quick = estimate_claims(claims, np.array([2.0]), np.array([1.0]), ground)
    judged = judge_claims(claims, np.array([2.0]), np.array([1.0]), ground)
    same = [one.name for one in fields(quick) if one.name not in ("parks_p", "confidence")]
    assert all(np.array_equal(getattr(quick, name), getattr(judged, name)) for name in same)
    assert judged.parks_p[0] < quick.parks_p[0] - 0.03  # a corner of a park holds less than its edge
