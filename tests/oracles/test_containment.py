"""The probability to lie inside a boundary of any shape, against a million draws laid over it by shapely."""

import numpy as np
import pytest
import shapely
from scipy.stats import ncx2, norm

from scout.geo import probability
from scout.geo.boundaries import Boundaries
from scout.geo.geodesy import compute_degree_lengths
from scout.geo.probability import RAYS, compute_contained_p, integrate_rays

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


def write_down(x, y, radius, s):
    """Shapes about a station at the origin and how surely they hold it, in closed form.

    Sides run east and north, with independent errors; round ones are noncentral chi-squares.
    """

    def beyond(d):  # the boundary is so far off, inwards
        return norm.cdf((d - radius) / s)

    far, d = 900.0, np.hypot(x, y)
    yield shapely.box(-x, -far, far, far), beyond(x)
    yield shapely.box(-x, -y, far, far), beyond(x) * beyond(y)
    yield shapely.box(-far, -x, far, y), max(beyond(x) + beyond(y) - 1.0, 0.0)
    yield shapely.Point(x, y).buffer(d + radius, 24), ncx2.cdf((d / s) ** 2, 2, (d / s) ** 2)
    hole = shapely.Point(x, y).buffer(0.4 * d, 24)
    yield shapely.box(-far, -far, far, far) - hole, ncx2.sf(((0.4 * d + radius) / s) ** 2, 2, (d / s) ** 2)


@pytest.mark.usefixtures("loops")
def test_it_is_the_normal_distribution_where_that_can_be_written_down(monkeypatch):
    """Many pairs in one call, each with its own park, place and error; 160 rays are good to 0.0025."""
    monkeypatch.setattr(probability, "_PAIRS", 16)
    monkeypatch.setattr(probability, "_EDGES", 100)
    rng = np.random.default_rng(31)
    for radius in (0.01, 2.0, 5.0):
        shapes, expected, sigma, place = [], [], [], []
        for _ in range(5):
            s, at = rng.uniform(0.5, 9.0), rng.uniform(-200, 200, 2)
            x, y = radius + s * rng.uniform(-1.0, 3.0, 2)
            for shape, p in write_down(abs(x) + 0.1, abs(y) + 0.1, radius, s):
                shapes.append(on_the_globe(shapely.affinity.translate(shape, *at)))
                expected.append(p), sigma.append(s), place.append(at)
        order = rng.permutation(len(shapes))
        at, sigma = np.array(place)[order], np.array(sigma)[order]
        ground = Boundaries(np.array(shapes, dtype=object))
        lon, lat = 10.0 + at[:, 0] / PER_LON, LAT + at[:, 1] / PER_LAT
        clearance = ground.clearance(order, lon, lat)
        told = compute_contained_p(ground, order, lon, lat, clearance, radius, sigma)
        assert told == pytest.approx(np.array(expected)[order], abs=0.003)


@pytest.mark.usefixtures("loops")
@pytest.mark.parametrize(("away", "p"), [(5.2, 1.0), (4.8, 0.0), (-5.2, 0.0), (40.0, 1.0), (-40.0, 0.0)])
def test_far_from_a_boundary_or_without_error_it_is_certain(away, p):
    assert by_scout(shapely.box(-away, -500, 500, 500), (0.0, 0.0), 5.0, 0.0) == p
    assert by_scout(shapely.box(-away, -500, 500, 500), (0.0, 0.0), 5.0, 0.01) == pytest.approx(p, abs=1e-9)
    if abs(away) > 30:
        assert by_scout(shapely.box(-away, -500, 500, 500), (0.0, 0.0), 5.0, 6.0) == p


def by_rays(ring, radius, s):
    """A station at the origin, within a ring of edges in metres."""
    edges = np.zeros(len(ring), dtype=np.int64), ring, np.roll(ring, -1, axis=0)
    return float(integrate_rays(edges, np.array([True]), radius, np.array([s]))[0])


@pytest.mark.parametrize("k", [0, 3, 57, 119])
@pytest.mark.parametrize(("a", "b"), [(7.0, 12.0), (3.0, 64.0), (-2.0, 30.0)])
def test_edges_that_run_along_a_ray_hold_as_others_do(k, a, b):
    """A strip in the direction of a ray, the station between its edges or beside it, in closed form."""
    u, radius, s = RAYS[:, k], 2.0, 6.0
    n = np.array([-u[1], u[0]])
    ring = [b * n - 128 * u, b * n + 128 * u, -a * n + 128 * u, -a * n - 128 * u]
    edges = np.zeros(2, dtype=np.int64), np.array(ring[::2]), np.array(ring[1::2])
    told = float(integrate_rays(edges, np.array([a > 0]), radius, np.array([s]))[0])
    expected = norm.cdf((b - radius) / s) - norm.cdf((radius - a) / s)
    assert told == pytest.approx(expected, abs=0.003)


@pytest.mark.parametrize("step", [1, 10, 53])
def test_a_vertex_that_lies_on_a_ray_is_crossed_once(step):
    """Corners at exact powers of two along rays; turned by a millionth none is on a ray."""
    turn = 1e-6
    ring = (np.where(np.arange(160) % 2, 16.0, 8.0) * RAYS).T[::step]
    turned = ring @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    for way in (1, -1):
        assert by_rays(ring[::way], 1.0, 6.0) == pytest.approx(by_rays(turned[::way], 1.0, 6.0), abs=1e-4)
