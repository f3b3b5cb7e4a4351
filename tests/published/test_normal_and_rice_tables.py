"""Normal and Rice probabilities: scipy.stats 1.17 (computed, R; the formulas stand in any handbook)."""

from __future__ import annotations

import numpy as np
import pytest

from scout.geo import probability

CENTRED = [  # R / sigma, P(e < R)
    (0.5, 0.117503),
    (1.0, 0.393469),
    (1.177410, 0.5),
    (1.5, 0.675348),
    (2.0, 0.864665),
    (2.145966, 0.9),
    (2.447747, 0.95),
    (3.0, 0.988891),
    (3.034854, 0.99),
]
REACH = (0.5, 1.0, 2.0, 3.0, 4.0)  # R / sigma of the columns
RICE = [  # d / sigma, P for each column
    (0.0, (0.117503, 0.393469, 0.864665, 0.988891, 0.999665)),
    (0.5, (0.104491, 0.357286, 0.830859, 0.982156, 0.999263)),
    (1.0, (0.073473, 0.267120, 0.730988, 0.956284, 0.997110)),
    (2.0, (0.017931, 0.081892, 0.396499, 0.785638, 0.965865)),
    (3.0, (0.001700, 0.010829, 0.113279, 0.432520, 0.803488)),
]
LINE = [  # d / sigma, P for R / sigma = 1, 2, 3
    (0.0, (0.682689, 0.954500, 0.997300)),
    (1.0, (0.477250, 0.839995, 0.977218)),
    (2.0, (0.157305, 0.499968, 0.841344)),
]
SIGMAS = (1.0, 2.0018, 7.5)


@pytest.mark.parametrize("sigma", SIGMAS)
@pytest.mark.parametrize(("reach", "p"), CENTRED)
def test_on_the_corner(reach, p, sigma):
    assert probability.compute_corner_p(0.0, reach * sigma, sigma) == pytest.approx(p, abs=1e-6)


@pytest.mark.parametrize("sigma", SIGMAS)
@pytest.mark.parametrize(("d", "row"), RICE)
def test_off_the_corner(d, row, sigma):
    got = probability.compute_corner_p(d * sigma, np.array(REACH) * sigma, sigma)
    assert got == pytest.approx(row, abs=1e-6)


@pytest.mark.parametrize("sigma", SIGMAS)
@pytest.mark.parametrize(("d", "row"), RICE)
def test_four_cells_in_any_direction_off_the_corner(d, row, sigma):
    for turn in (0.0, 0.7, 2.0, 4.0):
        dx, dy = d * sigma * np.cos(turn), d * sigma * np.sin(turn)
        got = [float(probability.compute_four_cells_p(dx, dy, reach * sigma, sigma)) for reach in REACH]
        assert got == pytest.approx(row, abs=1e-6)


@pytest.mark.parametrize("sigma", SIGMAS)
@pytest.mark.parametrize(("d", "row"), LINE)
def test_off_a_line(d, row, sigma):
    assert [
        float(probability.compute_line_p(d * sigma, r * sigma, sigma)) for r in (1.0, 2.0, 3.0)
    ] == pytest.approx(row, abs=1e-6)
