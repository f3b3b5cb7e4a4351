"""What is held at once does not grow with how finely outlines are drawn."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
import shapely

from scout.geo.boundaries import Boundaries
from scout.geo.probability import compute_contained_p
from scout.model import Station
from scout.search.optimize import optimize_position
from scout.search.verdict import ONE, Claims, JudgingContext

MOST_MB = 250.0


@pytest.fixture
def most_mb(two_threads):
    """A function that says what has been held at the most since the test began, on two cores."""
    tracemalloc.start()
    yield lambda: tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()


def round_park(vertices: int, radius_deg: float) -> shapely.Polygon:
    turn = np.linspace(0, 2 * np.pi, vertices, endpoint=False)
    return shapely.Polygon(np.stack([radius_deg * np.cos(turn), radius_deg * np.sin(turn)], axis=1))


def test_a_place_with_a_hundred_edges_in_reach_takes_no_gigabytes(most_mb):
    """A city park drawn every two metres: 500 places in it, all edges in reach of each."""
    boundaries = Boundaries(np.array([round_park(100, 2e-4)], dtype=object))
    n = 500
    park, lon, lat = np.zeros(n, dtype=np.int64), np.linspace(-1e-5, 1e-5, n), np.zeros(n)
    clearance = boundaries.clearance(park, lon, lat)
    p = compute_contained_p(boundaries, park, lon, lat, clearance, 5.0, np.full(n, 6.06))
    assert 0.5 < p.min() <= p.max() < 1.0
    assert most_mb() < MOST_MB


def test_settling_in_large_outlines_takes_no_gigabytes(most_mb):
    """2,000 places beside the boundary of a forest of 50,000 vertices: only their own edges are held."""
    boundaries = Boundaries(np.array([round_park(50_000, 0.2)], dtype=object))
    n = 2000
    claims = Claims(
        np.full(n, 0.2 - 5e-5), np.zeros(n), np.full(n, ONE), np.arange(n + 1), np.zeros(n, dtype=np.int64)
    )
    ground = JudgingContext(boundaries, np.array([14.0]), 2, Station())
    reach = np.full(n, 10.0)
    east, _ = optimize_position(claims, ground, (-reach, -reach), (reach, reach))
    assert np.all(east < -5.0)
    assert most_mb() < MOST_MB
