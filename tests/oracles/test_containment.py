"""The probability to lie inside a boundary of any shape, against a million draws laid over it by shapely."""

import numpy as np
import pytest
import shapely

from scout.geo.boundaries import Boundaries
from scout.geo.geodesy import compute_degree_lengths
from scout.geo.probability import compute_contained_p

LAT = 45.0
PER_LON, PER_LAT = (float(v) for v in compute_degree_lengths(LAT))
DRAWS = 1_000_000
SPREAD_M = 6.06  # the default errors together

SHAPES = {
    "long edge": shapely.box(-500, 0, 500, 900),
    "right-angled tip": shapely.box(0, 0, 900, 900),
    "tip of 30 degrees": shapely.Polygon([(0, 0), (900, 0), (900, 520)]),
    "bay": shapely.box(-900, -900, 900, 900) - shapely.box(-900, -900, 0, 0),
    "neck": shapely.box(-500, -14, 500, 14),
    "inholding": shapely.box(-900, -900, 900, 900) - shapely.Point(12, 0).buffer(3),
    "two parts": shapely.MultiPolygon([shapely.box(-900, 0, 900, 900), shapely.box(-900, -60, 900, -8)]),
    "island of 18 m": shapely.box(-9, -9, 9, 9),
    "saw": shapely.Polygon(
        [(-100, 300), *((x, k % 2 * 15) for k, x in enumerate(range(-100, 101, 8))), (100, 300)]
    ),
}


def on_the_globe(shape):
    return shapely.transform(shape, lambda xy: np.array([10.0, LAT]) + xy / [PER_LON, PER_LAT])


def by_draws(shape, centre, radius, spread, rng):
    """Brute force: shift the station by the joint error, ask shapely whether the whole disc is inside."""
    at = rng.normal(0.0, spread, (DRAWS, 2)) + centre
    room = shape.buffer(-radius, quad_segs=64)
    if room.is_empty:
        return 0.0
    shapely.prepare(room)
    return float(shapely.contains_xy(room, at[:, 0], at[:, 1]).mean())


def by_scout(shape, centre, radius, spread):
    ground = Boundaries(np.array([on_the_globe(shape)], dtype=object))
    park, lon, lat = (
        np.array([0]),
        np.array([10.0 + centre[0] / PER_LON]),
        np.array([LAT + centre[1] / PER_LAT]),
    )
    clearance = ground.clearance(park, lon, lat)
    return float(compute_contained_p(ground, park, lon, lat, clearance, radius, np.array([spread]))[0])


@pytest.mark.parametrize("name", SHAPES)
def test_it_agrees_with_a_million_draws_within_three_thousandths(name):
    rng = np.random.default_rng(7)
    for centre in [(8.0, 8.0), *rng.uniform(-20, 25, (3, 2))]:
        expected = by_draws(SHAPES[name], centre, 5.0, SPREAD_M, rng)
        assert by_scout(SHAPES[name], centre, 5.0, SPREAD_M) == pytest.approx(expected, abs=0.003)


def test_many_pairs_at_once_agree_with_one_at_a_time():
    rng = np.random.default_rng(8)
    shapes = np.array([on_the_globe(s) for s in SHAPES.values()], dtype=object)
    ground = Boundaries(shapes)
    n = 1200
    park = rng.integers(0, len(shapes), n)
    lon, lat = 10 + rng.uniform(-40, 40, n) / PER_LON, LAT + rng.uniform(-40, 40, n) / PER_LAT
    spread = rng.uniform(0.5, 8.0, n)
    clearance = ground.clearance(park, lon, lat)
    many = compute_contained_p(ground, park, lon, lat, clearance, 5.0, spread)
    for k in range(0, n, 100):
        one = slice(k, k + 1)
        alone = compute_contained_p(ground, park[one], lon[one], lat[one], clearance[one], 5.0, spread[one])
        assert many[k] == alone[0]
    assert np.all((many >= 0) & (many <= 1))


def test_without_error_it_is_the_plain_question():
    assert by_scout(SHAPES["right-angled tip"], (5.1, 5.1), 5.0, 0.0) == 1.0
    assert by_scout(SHAPES["right-angled tip"], (4.9, 9.0), 5.0, 0.0) == 0.0
