"""Walking pace beside published values.

Tobler 1993, NCGIA Technical Report 93-1 (R2: quoted with the formula in many papers): about 5 km/h on level
ground, 6 km/h on a slope of -0.05, 0.6 of it off paths. Naismith 1892, Scottish Mountaineering Club Journal
2:136 (R2): an hour for three miles and one more for every 2,000 ft of climb. Pandolf, Givoni and Goldman
1977, J. Appl. Physiol. 43:577 (M: the equation from memory).
"""

import numpy as np
import pytest

from scout.walk.terrain import OFF_PATH, compute_load_factor, compute_tobler_kmh

# Computed from the formula (R) and the table by angle that an encyclopaedia prints (R2).
BY_SLOPE = {-0.5: 1.2420, -0.2: 3.5493, -0.1: 5.0367, -0.05: 6.0, 0.0: 5.0367, 0.1: 3.5493, 0.3: 1.7625}
BY_ANGLE = {
    -20: 2.00,
    -10: 3.86,
    -5: 5.26,
    -2.8624: 6.00,
    0: 5.04,
    1: 4.74,
    5: 3.71,
    10: 2.72,
    20: 1.41,
    30: 0.67,
}


def test_tobler_by_slope():
    assert compute_tobler_kmh(np.array([*BY_SLOPE])) == pytest.approx([*BY_SLOPE.values()], abs=5e-5)


def test_tobler_by_angle():
    slope = np.tan(np.radians([*BY_ANGLE]))
    assert compute_tobler_kmh(slope) == pytest.approx([*BY_ANGLE.values()], abs=5.1e-3)


def test_a_kilometre_of_level_ground_takes_12_minutes_on_a_path_and_20_off_it():
    on_path = 60 / float(compute_tobler_kmh(np.array(0.0)))
    assert on_path == pytest.approx(11.912, abs=5e-4)
    assert on_path / OFF_PATH == pytest.approx(19.854, abs=1e-3)


def test_tobler_is_fastest_gently_downhill_and_slows_to_both_sides():
    slope = np.linspace(-1, 1, 401)
    speed = compute_tobler_kmh(slope)
    assert slope[speed.argmax()] == pytest.approx(-0.05)
    assert (np.diff(speed[slope <= -0.05]) > 0).all()
    assert (np.diff(speed[slope >= -0.05]) < 0).all()


@pytest.mark.parametrize(
    ("slope", "share"), [(0.05, 0.82), (0.10, 0.76), (0.15, 0.74), (0.20, 0.75), (0.30, 0.81)]
)
def test_on_a_long_steady_climb_tobler_takes_a_fifth_to_a_quarter_less_than_naismith(slope, share):
    km = 5.0
    naismith_h = km / (3 * 1.609344) + slope * km * 1000 / (2000 * 0.3048)
    tobler_h = km / float(compute_tobler_kmh(np.array(slope)))
    assert tobler_h / naismith_h == pytest.approx(share, abs=0.006)


def test_a_load_costs_the_same_power_by_pandolfs_equation():
    def watts(load, speed, body=80.0):
        both = body + load
        return 1.5 * body + 2.0 * both * (load / body) ** 2 + both * 1.5 * speed**2

    free = float(compute_tobler_kmh(np.array(0.0))) / 3.6
    for load in (5.0, 15.0, 30.0):
        assert watts(load, free * compute_load_factor(load)) == pytest.approx(watts(0.0, free))
    assert compute_load_factor(0.0) == 1.0
    assert compute_load_factor(20.0) < compute_load_factor(10.0) < 1.0
