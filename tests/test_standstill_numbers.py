"""The robust middle, the ellipse, and what a mean of correlated fixes is worth, each found another way."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recordings import fixes_at, noise
from scipy.integrate import quad
from scipy.stats import chi2, multivariate_t, norm

from scout.geo import probability
from scout.recording.standstill import (
    compute_geometric_median,
    compute_radius_95,
    find_far_off,
    fit_ellipse,
    settle_fixes,
)
from scout.recording.wander import bound_independent, estimate_mean_error

quick = settings(deadline=None, derandomize=True, max_examples=60)


@pytest.mark.parametrize("share", [0.2, 0.35, 0.45])
def test_nearly_half_of_the_fixes_may_be_wrong_without_carrying_the_centre_away(share):
    points = np.column_stack(noise(400))
    wrong = np.random.default_rng(2).random(400) < share
    points[wrong] += (200, 50)
    middle = compute_geometric_median(points)
    assert np.hypot(*middle) < 2.5
    assert find_far_off(points, middle).tolist() == wrong.tolist()


@quick
@given(st.lists(st.tuples(st.floats(-9, 9), st.floats(-9, 9)), min_size=1, max_size=40), st.floats(0, 6.28))
def test_the_geometric_median_turns_with_the_points_and_is_no_worse_than_any_of_them(points, angle):
    points = np.array(points)
    middle = compute_geometric_median(points)

    def summed(centre):
        return np.hypot(*(points - centre).T).sum()

    nearby = [middle + 0.05 * np.array([np.sin(a), np.cos(a)]) for a in np.linspace(0, 6, 7)]
    assert summed(middle) <= min(summed(c) for c in [*points, *nearby]) + 0.01 * len(points)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    turned = compute_geometric_median(points @ turn.T)
    assert np.hypot(*(points @ turn.T - turned).T).sum() == pytest.approx(
        summed(middle), abs=0.01 * len(points)
    )


def test_far_off_means_six_median_distances():
    """The median distance of a circular normal is 1.1774 sigmas."""
    points = np.column_stack(noise(4001, 2.0, seed=5))
    points[0], points[1] = (6 * 2.3548 - 0.5, 0.0), (6 * 2.3548 + 0.5, 0.0)
    assert np.flatnonzero(find_far_off(points, np.zeros(2))).tolist() == [1]
    along_a_line = np.column_stack([noise(4000, 3.0)[0], np.zeros(4000)])
    assert np.count_nonzero(find_far_off(along_a_line, np.zeros(2))) <= 1


def test_the_ellipse_is_that_of_the_points():
    along, across = noise(20000)
    turn = np.radians(30)
    east = 4 * along * np.sin(turn) + across * np.cos(turn)
    north = 4 * along * np.cos(turn) - across * np.sin(turn)
    found = fit_ellipse(np.column_stack([east, north]))
    assert found.major_m == pytest.approx(4, rel=0.03)
    assert found.minor_m == pytest.approx(1, rel=0.03)
    assert found.bearing_deg == pytest.approx(30, abs=1)
    assert found.east_m == pytest.approx(np.std(east, ddof=1))
    assert found.covariance_m2 == pytest.approx(np.cov(east, north)[0, 1])


@pytest.mark.parametrize("ratio", [0.0, 0.1, 0.3, 0.6, 0.9, 1.0])
def test_the_95_percent_radius_holds_95_of_100_draws(ratio):
    x, y = noise(400_000, seed=7)
    held = np.mean(np.hypot(2 * x, 2 * ratio * y) <= compute_radius_95(2.0, 2.0 * ratio))
    assert held == pytest.approx(0.95, abs=0.0015)


def test_the_95_percent_radius_agrees_with_the_standard_where_that_holds():
    """NSSDA: 2.4477 times the mean of both sigmas for ratios from 0.6 (FGDC-STD-007.3-1998, R2)."""
    assert compute_radius_95(1.0, 1.0) == pytest.approx(2.4477, abs=1e-4)
    assert compute_radius_95(1.0, 0.0) == pytest.approx(1.9600, abs=1e-4)
    for ratio, within in ((0.6, 0.065), (0.8, 0.025)):
        assert compute_radius_95(1.0, ratio) == pytest.approx(2.4477 * 0.5 * (1 + ratio), rel=within)


def test_white_noise_is_worth_a_fix_a_minute_and_no_more():
    found = settle_fixes(fixes_at(*noise(600)))
    assert found.n_effective == pytest.approx(bound_independent(600, 599), rel=0.01)
    assert bound_independent(600, 599) == pytest.approx(1 + 599 / 60)
    assert bound_independent(3, 599) == 3
    assert bound_independent(600, np.nan) == 1


@pytest.mark.parametrize("tau", [60, 120])
def test_wandering_fixes_are_worth_about_what_their_correlation_time_says(tau):
    """A stationary Gauss-Markov process over T is worth about T / 2 tau independent values."""
    rng, found = np.random.default_rng(8), []
    for _ in range(40):
        wander = np.zeros((1800, 2))
        wander[0] = rng.standard_normal(2)
        keep = np.exp(-1 / tau)
        for k in range(1, 1800):
            wander[k] = keep * wander[k - 1] + np.sqrt(1 - keep**2) * rng.standard_normal(2)
        found.append(settle_from_metres(wander))
    assert np.median(found) == pytest.approx(1800 / (2 * tau), rel=0.25)


def settle_from_metres(points):
    """Effective number of fixes, without the detour over the globe."""
    error = estimate_mean_error(np.arange(float(len(points))), points, np.ones(len(points)))
    return points.var(axis=0, ddof=1).mean() / error.usual_variance()


def by_matrices(time, points, weight):
    """The mixture from its definition: the covariance of all fixes, then of the means over 48 spells."""
    spell = np.minimum((time - time[0]) / max(time[-1] - time[0], 1e-9) * 48, 47).astype(int)
    _, spell = np.unique(spell, return_inverse=True)
    take = np.zeros((spell.max() + 1, len(time)))
    take[spell, np.arange(len(time))] = weight
    total = take.sum(axis=1)
    take /= total[:, None]
    values, freedom = (take @ (points - points.mean(axis=0))).T, 2 * len(take)
    log_odds, variances = [], []
    for tau in 30.0 * 2.0 ** np.arange(6):
        wander = take @ np.exp(-np.abs(time[:, None] - time) / tau) @ take.T
        for share in (0.0, 0.03, 0.1, 0.3, 0.6, 0.85, 0.95, 0.99, 0.999):
            cov = share * wander + (1 - share) * np.diag(1 / total)
            inverse = np.linalg.inv(cov)
            one = inverse.sum()
            squares = sum(v @ inverse @ v - (inverse @ v).sum() ** 2 / one for v in values)
            log_odds.append(-np.linalg.slogdet(cov)[1] - np.log(one) - freedom / 2 * np.log(2 + squares))
            variances.append((2 + squares) / freedom * (total @ cov @ total) / total.sum() ** 2)
    odds = np.exp(np.array(log_odds) - max(log_odds))
    return odds / odds.sum(), np.array(variances), freedom


@pytest.mark.parametrize(
    "time",
    [
        np.arange(2.0),
        np.arange(30.0),
        np.arange(700.0),
        np.arange(0.0, 40000.0, 25.0),
        np.concatenate([np.arange(90.0), np.arange(400.0, 520.0)]),
        np.array([0.0, 0.0, 1.0, 1.0, 2.0]),
    ],
    ids=["two", "half a minute", "minutes", "hours", "with a gap", "twice a second"],
)
def test_the_likelihood_is_that_of_the_whole_covariance(time):
    """The filter against the matrices: what the mixture of Student t leaves beyond the stated radius."""
    rng = np.random.default_rng(9)
    points = np.cumsum(rng.normal(0, 0.2, (len(time), 2)), axis=0) + rng.normal(0, 0.5, (len(time), 2))
    weight = np.ones(len(time))
    odds, variances, freedom = by_matrices(time, points, weight)
    radius = estimate_mean_error(time, points, weight).radius_95()
    assert odds @ (1 + radius**2 / (freedom * variances)) ** (-freedom / 2) == pytest.approx(0.05, abs=0.0015)


def test_one_value_leaves_a_bivariate_student_t():
    """2 degrees of freedom, a metre per axis; `scipy.stats.multivariate_t` draws."""
    drawn = multivariate_t(shape=np.eye(2), df=2, seed=3).rvs(200_000)
    radius = estimate_mean_error(np.zeros(1), np.zeros((1, 2)), np.ones(1)).radius_95()
    assert np.mean(np.hypot(*drawn.T) > radius) == pytest.approx(0.05, abs=0.002)


def test_a_normal_floor_alone_gives_its_own_radius_back():
    error = estimate_mean_error(np.arange(600.0), np.column_stack(noise(600, 1e-3)), np.ones(600))
    quiet = type(error)(error.odds, np.full_like(error.variance_m2, 1e-12))
    assert quiet.radius_95(2.0) == pytest.approx(2.0 * np.sqrt(chi2.ppf(0.95, 2)), rel=1e-6)
    assert quiet.radius_95(float(probability.compute_sigma(4.9))) == pytest.approx(4.9, rel=1e-6)


@pytest.mark.parametrize(
    ("points", "middle"),
    [
        ([(0, 0), (10, 0), (5, 75**0.5)], (5, 75**0.5 / 3)),  # equal sides: the centroid
        ([(0, 0), (10, 1), (-10, 1)], (0, 0)),  # an angle of 120 degrees or more: that corner
        ([(0, 0), (4, 0), (9, 0)], (4, 0)),  # on a line: the middle one
        ([(0, 0), (8, 0), (8, 6), (0, 6)], (4, 3)),  # where the diagonals of four corners meet
        ([(-3, 0), (1, 0), (0, -2), (0, 7)], (0, 0)),
        ([(0, 0), (10, 0), (5, 8), (5, 3)], (5, 3)),  # one of four lies within the triangle of the others
        ([(2, 2)] * 5, (2, 2)),
        ([(1, 7)], (1, 7)),
    ],
)
def test_the_geometric_median_of_few_points_is_where_it_is_known_to_be(points, middle):
    """Fermat's point of three, and Fagnano's of four (1775); far from the origin as well."""
    for shift in (0.0, 5e4):
        found = compute_geometric_median(np.array(points, dtype=float) + shift)
        assert found == pytest.approx(np.array(middle, dtype=float) + shift, abs=2e-4)


def test_no_fix_within_five_metres_is_far_off_and_five_are_within():
    points = np.array([(0.0, 0.0)] * 9 + [(0.0, 5.0), (3.0, 4.001)])
    assert np.flatnonzero(find_far_off(points, np.zeros(2))).tolist() == [10]


@pytest.mark.parametrize("bearing", [0.0, 30.0, 90.0, 150.0, 179.0])
def test_two_fixes_have_an_ellipse_that_is_a_line(bearing):
    """Standard deviations with n - 1: two values d apart have d / sqrt(2)."""
    way = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    found = fit_ellipse(np.array([-3.0 * way, 3.0 * way]) + np.array([7.0, -2.0]))
    assert found.major_m == pytest.approx(6 / np.sqrt(2))
    assert found.minor_m == pytest.approx(0.0, abs=1e-6)
    assert (found.bearing_deg + 90.0 - bearing) % 180.0 == pytest.approx(90.0)
    assert 0.0 <= found.bearing_deg < 180.0
    assert (found.east_m, found.north_m) == pytest.approx(np.abs(way) * 6 / np.sqrt(2), abs=1e-9)
    assert found.covariance_m2 == pytest.approx(18 * way[0] * way[1], abs=1e-9)


def test_fixes_along_any_line_have_no_width_and_one_fix_has_no_ellipse():
    for bearing in range(0, 180, 7):
        way = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
        assert fit_ellipse(noise(50, seed=bearing)[0][:, None] * way).minor_m < 1e-6
    assert len(fit_ellipse(np.zeros((1, 2)))) == 6
    assert np.isnan(fit_ellipse(np.zeros((1, 2)))).all()


def test_the_95_percent_radius_of_a_line_and_of_a_circle_are_the_quantiles():
    """1.959964 of a normal, sqrt(-2 ln 0.05) of a circular one (Rayleigh's); nothing has no radius."""
    assert compute_radius_95(3.0, 0.0) == pytest.approx(3 * norm.ppf(0.975), rel=1e-6)
    assert compute_radius_95(3.0, 3.0) == pytest.approx(3 * np.sqrt(-2 * np.log(0.05)), rel=1e-9)
    assert compute_radius_95(0.0, 0.0) == 0.0
    assert np.isnan(compute_radius_95(np.nan, np.nan))


@pytest.mark.parametrize("ratio", [0.05, 0.5, 0.75])
def test_the_95_percent_radius_is_that_of_the_weighted_chi_squares(ratio):
    """P(x^2 + y^2 <= r^2) by adaptive quadrature over x, of the normal distribution function of y."""
    r = compute_radius_95(1.0, ratio)
    held, _ = quad(lambda x: norm.pdf(x) * (2 * norm.cdf(np.sqrt(r * r - x * x) / ratio) - 1), -r, r)
    assert held == pytest.approx(0.95, abs=1e-8)


@pytest.mark.parametrize("corners", [3, 4, 7])
def test_a_scatter_alike_in_all_directions_is_not_widened(corners):
    """Corners of a regular polygon, one an hour: no fewer than all of them count as independent."""
    turn, time = 2 * np.pi * np.arange(corners) / corners, 3600.0 * np.arange(corners)
    points = 2.0 * np.stack([np.sin(turn), np.cos(turn)], axis=1)
    found = settle_fixes(fixes_at(*points.T, time=1.7e9 + time))
    variance = 2.0 * corners / (corners - 1)  # of one axis: 2.0 ** 2 / 2, with n - 1
    error = estimate_mean_error(time, points, np.ones(corners))
    assert found.random_95_m == pytest.approx(error.at_least(variance / corners).radius_95(), rel=1e-4)
    assert found.scatter_95_m == pytest.approx(2.4477468 * np.sqrt(variance), rel=1e-4)
