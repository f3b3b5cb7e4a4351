"""What an error of so many metres means.

FGDC-STD-007.3-1998 (NSSDA), appendix 3-A, after Greenwalt and Schultz 1968: 95 % radius = 2.4477 sigma per
axis = 1.7308 RMSE_r, 90 % = 2.1460 sigma (R2: quoted in several places). US National Map Accuracy
Standards, 1947: 90 % of well-defined points of a 1:24,000 map within 40 ft = 12.2 m (R). GPS.gov:
"typically within 4.9 m", without a percentage (R2), which we take as 95 %. The table of probabilities:
scipy (R).
"""

from __future__ import annotations

from math import hypot, log, sqrt

import pytest

from scout.geo import probability
from scout.model import Station

# 4.9 m taken as: divisor, sigma, corner at d = 0 2 4 6 m, line at the same
READINGS = [
    (2.4477, 2.0018, (0.95581, 0.87880, 0.60563, 0.24619), (0.98750, 0.93278, 0.69130, 0.30870)),
    (None, 3.2339, (0.69737, 0.63083, 0.46149, 0.26532), (0.87792, 0.80800, 0.61873, 0.37824)),
    (None, 4.1617, (0.51409, 0.47505, 0.37401, 0.24938), (0.77042, 0.71822, 0.57966, 0.40095)),
]


def test_sigma_is_the_95_percent_radius_over_2_4477():
    assert probability.compute_sigma(4.9) == pytest.approx(2.0018, abs=1e-4)
    assert probability.compute_sigma(2.4477) == pytest.approx(1.0, abs=1e-4)
    assert probability.compute_corner_p(0.0, 4.9, probability.compute_sigma(4.9)) == pytest.approx(
        0.95, abs=1e-5
    )


def test_the_factors_of_the_standard_follow_from_the_circular_normal():
    assert sqrt(-2 * log(0.05)) == pytest.approx(2.4477, abs=5e-5)
    for radius, share in (
        (2.4477, 0.95),
        (2.1460, 0.90),
        (1.7308 * hypot(1, 1), 0.95),
        (1.5175 * hypot(1, 1), 0.90),
    ):
        assert probability.compute_corner_p(0.0, radius, 1.0) == pytest.approx(share, abs=3e-5)


def test_the_default_boundary_error_is_that_of_a_1_24000_map_rounded_up():
    at_95 = 12.2 * 2.4477 / 2.1460
    assert at_95 == pytest.approx(13.9, abs=0.05)
    assert at_95 <= Station().boundary_error_m < at_95 + 0.2
    assert probability.compute_sigma(Station().boundary_error_m) == pytest.approx(5.68, abs=0.05)


def test_the_default_fix_error_is_the_published_one():
    assert Station().fix_error_m == 4.9
    assert Station().radius_m == 5.0


@pytest.mark.parametrize(("divisor", "sigma_m", "corner", "line"), READINGS)
def test_what_the_percentage_of_4_9_m_does(divisor, sigma_m, corner, line):
    sigma = probability.compute_sigma(4.9) if divisor else sigma_m
    tolerance = 6e-6 if divisor else 2e-5  # sigma is printed with four digits
    for d, p_corner, p_line in zip((0.0, 2.0, 4.0, 6.0), corner, line, strict=True):
        assert probability.compute_corner_p(d, 5.0, sigma) == pytest.approx(p_corner, abs=tolerance)
        assert probability.compute_line_p(d, 5.0, sigma) == pytest.approx(p_line, abs=tolerance)


def test_a_68_percent_radius_is_1_5096_sigma():
    """A phone's own radius may be 68 % (Android location API documentation, R2)."""
    assert probability.compute_corner_p(0.0, 1.5096, 1.0) == pytest.approx(0.68, abs=1e-4)
