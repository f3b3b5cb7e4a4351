"""Probabilities against seeded Monte Carlo, quadrature and `scipy.stats`, which the core does not use.

The disc is tried cell by cell: it touches a quadrant when its centre is no further from it than the radius.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oracles import budget
from scout.geo import probability

quick = settings(deadline=None, derandomize=True, max_examples=200)
DRAWS = 200_000
radii = st.floats(0.5, 30)
sigmas = st.floats(0.2, 30)
away = st.floats(-60, 60)

CASES = [  # dx, dy, radius, sigma in metres: on the corner, in each quadrant, on an axis, far, wide, narrow
    (0.0, 0.0, 5.0, 2.0018),
    (4.0, 4.0, 5.0, 2.0018),
    (4.5, 4.0, 5.0, 0.8),
    (3.0, -2.0, 5.0, 2.0),
    (-2.0, 3.0, 5.0, 3.2339),
    (-3.0, -3.0, 5.0, 2.0),
    (5.0, 0.0, 5.0, 1.0),
    (0.0, 6.0, 5.0, 4.1617),
    (8.0, 8.0, 5.0, 4.0),
    (1.0, 2.0, 10.0, 12.0),
    (7.0, 7.0, 10.0, 0.5),
]


def touched(dx, dy, radius, sigma):
    """Share of draws in which the disc touches quadrants (+,+), (-,+), (+,-) and (-,-): shape (4, draws)."""
    rng = np.random.default_rng(20240611)
    x = dx + sigma * rng.standard_normal(DRAWS)
    y = dy + sigma * rng.standard_normal(DRAWS)
    return np.array(
        [
            np.hypot(np.maximum(-sx * x, 0), np.maximum(-sy * y, 0)) <= radius
            for sx, sy in ((1, 1), (-1, 1), (1, -1), (-1, -1))
        ]
    )


def agrees(p: float, hits: np.ndarray) -> None:
    spread = max(np.sqrt(p * (1 - p) / hits.size), 1 / hits.size)
    assert abs(hits.mean() - p) <= 4 * spread, f"said {p}, drew {hits.mean()}"


@pytest.mark.parametrize("case", CASES)
def test_four_cells_is_how_often_the_disc_touches_all_four(case):
    agrees(float(probability.compute_four_cells_p(*case)), touched(*case).all(axis=0))


@pytest.mark.parametrize("case", CASES)
def test_three_cells_is_how_often_the_disc_touches_the_middle_one_and_its_neighbours(case):
    agrees(float(probability.compute_three_cells_p(*case)), touched(*case)[:3].all(axis=0))


@pytest.mark.parametrize("case", CASES)
def test_corner_is_how_often_the_disc_holds_the_corner(case):
    dx, dy, radius, sigma = case
    agrees(float(probability.compute_corner_p(np.hypot(dx, dy), radius, sigma)), touched(*case).all(axis=0))


@pytest.mark.parametrize("case", CASES)
def test_line_is_how_often_the_disc_touches_both_sides(case):
    dx, _, radius, sigma = case
    x = dx + sigma * np.random.default_rng(7).standard_normal(DRAWS)
    agrees(float(probability.compute_line_p(abs(dx), radius, sigma)), np.abs(x) <= radius)


@pytest.mark.parametrize(
    ("clearance", "sigma_boundary"), [(5.0, 5.7), (18.0, 5.7), (3.0, 0.4), (12.0, 0.0), (-4.0, 5.7)]
)
def test_inside_is_how_often_the_disc_stays_clear_of_a_boundary_that_errs_too(clearance, sigma_boundary):
    rng = np.random.default_rng(11)
    drawn = clearance + 2.0 * rng.standard_normal(DRAWS) - sigma_boundary * rng.standard_normal(DRAWS)
    agrees(float(probability.compute_inside_p(clearance, 5.0, 2.0, sigma_boundary)), drawn >= 5.0)


@given(away, away, radii, sigmas)
@quick
def test_three_and_four_cells_agree_with_quadrature(dx, dy, radius, sigma):
    four = budget.four_cells(dx, dy, radius, sigma)
    assert probability.compute_four_cells_p(dx, dy, radius, sigma) == pytest.approx(four, abs=2e-6)
    assert probability.compute_corner_p(np.hypot(dx, dy), radius, sigma) == pytest.approx(four, abs=2e-6)
    reference = budget.three_cells(dx, dy, radius, sigma)
    # the quadrature is good to 1e-12; a confidence is shown with two or three digits
    assert probability.compute_three_cells_p(dx, dy, radius, sigma) == pytest.approx(reference, abs=1e-4)


@given(st.floats(0, 60), radii, sigmas, st.floats(0, 20), st.floats(-50, 200))
@quick
def test_line_and_inside_agree_with_scipy_stats(d, radius, sigma, sigma_boundary, clearance):
    assert probability.compute_line_p(d, radius, sigma) == pytest.approx(
        budget.line(d, radius, sigma), abs=1e-9
    )
    expected = budget.inside(clearance, radius, sigma, sigma_boundary)
    assert probability.compute_inside_p(clearance, radius, sigma, sigma_boundary) == pytest.approx(
        expected, abs=1e-9
    )


@given(away, away, radii, sigmas)
@quick
def test_fewer_cells_are_never_less_likely(dx, dy, radius, sigma):
    four = probability.compute_four_cells_p(dx, dy, radius, sigma)
    three = probability.compute_three_cells_p(dx, dy, radius, sigma)
    two = probability.compute_line_p(abs(dx), radius, sigma)
    assert four <= three + 1e-4
    assert three <= two + 1e-4
    assert four >= -1e-12
    assert two <= 1 + 1e-12


@given(st.floats(0, 60), st.floats(0, 20), radii, sigmas)
@quick
def test_confidence_falls_with_distance_and_grows_with_radius_and_clearance(d, more, radius, sigma):
    for share in (probability.compute_line_p, probability.compute_corner_p):
        assert share(d + more, radius, sigma) <= share(d, radius, sigma) + 1e-6
        assert share(d, radius + more, sigma) >= share(d, radius, sigma) - 1e-6
    assert probability.compute_inside_p(d + more, radius, sigma, 5.0) >= probability.compute_inside_p(
        d, radius, sigma, 5.0
    )
    assert probability.compute_inside_p(d, radius + more, sigma, 5.0) <= probability.compute_inside_p(
        d, radius, sigma, 5.0
    )


@given(radii, sigmas, st.floats(0, 10))
@quick
def test_on_the_line_or_corner_a_better_fix_never_hurts_but_out_of_reach_it_can(radius, sigma, more):
    for share in (probability.compute_line_p, probability.compute_corner_p):
        assert share(0.0, radius, sigma + more) <= share(0.0, radius, sigma) + 1e-6
    far = radius * 1.5
    assert probability.compute_corner_p(far, radius, radius / 8) < probability.compute_corner_p(
        far, radius, radius / 2
    )


@given(radii, sigmas)
@quick
def test_on_the_corner_the_rice_form_is_the_closed_form(radius, sigma):
    assert probability.compute_corner_p(0.0, radius, sigma) == pytest.approx(
        1 - np.exp(-(radius**2) / (2 * sigma**2)), abs=1e-9
    )


def test_arrays_give_what_their_members_give():
    dx, dy = np.array([0.0, 3.0, -2.0]), np.array([1.0, 4.0, 5.0])
    for share in (probability.compute_four_cells_p, probability.compute_three_cells_p):
        got = share(dx, dy, 5.0, 2.0)
        assert got == pytest.approx(
            [float(share(x, y, 5.0, 2.0)) for x, y in zip(dx, dy, strict=True)], abs=1e-12
        )


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (1.0, "firm"),
        (0.95, "firm"),
        (0.9499, "doubtful"),
        (0.5, "doubtful"),
        (0.4999, "not counted"),
        (0.0, "not counted"),
    ],
)
def test_the_words_change_at_95_and_50_percent(p, said):
    assert probability.choose_word(p) == said


@pytest.mark.parametrize(
    ("dx", "dy", "four", "three"),
    [
        (2.0, 2.0, 1, 1),
        (4.0, 4.0, 0, 1),
        (4.9, 4.9, 0, 1),
        (5.1, 1.0, 0, 0),
        (-1.0, -1.0, 1, 1),
        (-4.0, -4.0, 0, 0),
        (-4.9, 0.5, 1, 1),
        (-4.0, 3.5, 0, 0),
        (3.0, -4.5, 0, 0),
    ],
)
def test_a_certain_receiver_touches_the_cells_or_does_not(dx, dy, four, three):
    """A disc of 5 m: the corner lies in it, or both lines do and the centre is in the middle cell."""
    assert float(probability.compute_four_cells_p(dx, dy, 5.0, 0.0)) == four
    assert float(probability.compute_three_cells_p(dx, dy, 5.0, 0.0)) == pytest.approx(three, abs=1e-9)
    assert float(probability.compute_line_p(abs(dx), 5.0, 0.0)) == (abs(dx) < 5.0)
    for clearance in (-6.0, 4.99, 5.01):
        assert float(probability.compute_inside_p(clearance, 5.0, 0.0, 0.0)) == (clearance > 5.0)
