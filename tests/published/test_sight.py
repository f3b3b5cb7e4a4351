"""Horizons and lines of sight beside handbooks of navigation and geodesy, ITU-R and the Longley-Rice model.

Dip of the sea horizon 1.76' sqrt(h) and its distance 2.08 nautical miles sqrt(h), h in metres, nautical
tables: from memory (M); both take the refraction of light at sea, 0.14 to 0.17 of the Earth's curvature.
Radio horizon 4.12 sqrt(h) km on an Earth of 4/3 its radius: ITU-R P.310 and handbooks of VHF (M). Radius of
the first Fresnel zone 550 sqrt(d1 d2 / ((d1 + d2) f)) m, km and MHz: ITU-R P.526, equation 2 (M). Clearance
of 0.6 of it: ITU-R P.530 (M). Horizon angles of profiles: PyPI `itmlogic`, the horizon routine of Longley and
Rice's model (Hufford, section 48), computed when the test runs (R).
"""

from __future__ import annotations

import math

import numpy as np
import pyproj
import pytest
from itmlogic.preparatory_subroutines.hzns import hzns

from scout.model import Relief
from scout.sight.horizon import LIGHT, RADIO, find_horizons, prepare_ground
from scout.sight.path import compute_zone_radius, measure_path

NAUTICAL_MILE_M = 1852.0
RADIUS_M = 6_371_000.0
NEAR = 0.05  # where level ground meets the line of sight, a twentieth of the way changes no angle that counts


def plane(height_m: float, cell_m: float = 500.0, side_m: float = 220_000.0) -> Relief:
    """The sea all round 45 N 10 E."""
    count = int(side_m / cell_m)
    return metric(np.full((count, count), height_m, dtype=np.float32), cell_m)


def metric(heights: np.ndarray, cell_m: float) -> Relief:
    crs = pyproj.CRS.from_proj4("+proj=aeqd +lat_0=45 +lon_0=10 +ellps=WGS84 +units=m").to_wkt()
    left, top = heights.shape[1] * cell_m / 2, heights.shape[0] * cell_m / 2
    return Relief(heights, (1 / cell_m, 0, left / cell_m, 0, -1 / cell_m, top / cell_m), crs, "x")


def horizon_over_sea(eye_m: float, refraction: float) -> tuple[np.ndarray, np.ndarray]:
    (found,) = find_horizons(
        np.array([10.0]), np.array([45.0]), prepare_ground([plane(0.0)]), eye_m, refraction
    )
    assert found is not None
    return np.array(found.deg), np.array(found.at_m)


@pytest.mark.parametrize("eye_m", [10.0, 50.0, 200.0])
def test_the_sea_horizon_dips_and_lies_as_nautical_tables_have_it(eye_m: float) -> None:
    deg, at_m = horizon_over_sea(eye_m, 0.165)
    assert -60 * deg == pytest.approx(1.76 * math.sqrt(eye_m), rel=0.01)
    assert at_m / NAUTICAL_MILE_M == pytest.approx(2.08 * math.sqrt(eye_m), rel=NEAR)


@pytest.mark.parametrize("eye_m", [10.0, 50.0, 200.0])
def test_the_radio_horizon_over_smooth_earth(eye_m: float) -> None:
    deg, at_m = horizon_over_sea(eye_m, RADIO)
    assert at_m / 1000 == pytest.approx(4.12 * math.sqrt(eye_m), rel=NEAR)
    # Tangent to a sphere of 4/3 the radius: acos(R / (R + h)).
    radius = RADIUS_M * 4 / 3
    assert deg == pytest.approx(-math.degrees(math.acos(radius / (radius + eye_m))), abs=0.002)


def test_light_dips_more_than_radio() -> None:
    assert (horizon_over_sea(100.0, LIGHT)[0] < horizon_over_sea(100.0, RADIO)[0]).all()


@pytest.mark.parametrize("seed", range(12))
def test_horizon_angles_of_profiles_are_those_of_the_longley_rice_model(seed: int) -> None:
    rng = np.random.default_rng(seed)
    step, count = float(rng.choice([50.0, 200.0, 500.0])), 180
    profile = np.abs(np.cumsum(rng.normal(0, step / 25, count))).astype(np.float32)
    mast = float(rng.choice([2.0, 10.0, 40.0]))
    # The profile runs east from the middle; nothing stands west of it, and all rows are alike.
    row = np.concatenate([np.full(count - 1, profile[0], dtype=np.float32), profile])
    relief = metric(np.tile(row, (11, 1)), step)
    lon, lat = pyproj.Transformer.from_crs(relief.crs, "EPSG:4326", always_xy=True).transform([0.0], [0.0])
    (found,) = find_horizons(np.array(lon), np.array(lat), prepare_ground([relief]), mast)
    assert found is not None
    wanted, _ = hzns(
        [count - 1, step, *profile.tolist()], step * (count - 1), [mast, 0.0], (1 - RADIO) / RADIUS_M
    )
    assert found.deg[90] == pytest.approx(math.degrees(math.atan(wanted[0])), abs=0.02)


@pytest.mark.parametrize(
    ("one_km", "other_km", "mhz"), [(5, 5, 145), (1, 49, 433), (20, 30, 14.2), (7, 3, 10_368)]
)
def test_the_first_fresnel_zone_is_that_of_p_526(one_km: float, other_km: float, mhz: float) -> None:
    wanted = 550.0 * math.sqrt(one_km * other_km / ((one_km + other_km) * mhz))
    assert compute_zone_radius(1000 * one_km, 1000 * other_km, mhz) == pytest.approx(wanted, rel=0.005)


def test_a_line_is_free_while_six_tenths_of_the_zone_are() -> None:
    """A wall halfway of a 20 km path: the bulge of 4/3 Earth there is d1 d2 / 2 R' = 5.9 m (P.530)."""
    cell, far, mhz = 50.0, 20_000.0, 145.0
    zone = 550.0 * math.sqrt(10 * 10 / (20 * mhz))
    bulge = 10_000.0 * 10_000.0 / (2 * RADIUS_M * 4 / 3)
    count = int(24_000 / cell) + 1
    states = {}
    for share in (0.65, 0.55, 0.05, -0.05):
        heights = np.zeros((9, count), dtype=np.float32)
        heights[:, count // 2] = 150.0 - bulge - share * zone
        relief = metric(heights, cell)
        back = pyproj.Transformer.from_crs(relief.crs, "EPSG:4326", always_xy=True)
        (lon0, lon1), (lat0, lat1) = back.transform([-far / 2, far / 2], [0.0, 0.0])
        path = measure_path(prepare_ground([relief]), (lon0, lat0, 150.0), (lon1, lat1, 150.0), mhz)
        states[share] = path.state
        assert float(path.share[path.worst]) == pytest.approx(share, abs=0.02)
        assert float(path.at_m[path.worst]) == pytest.approx(far / 2, abs=cell)
    assert states == {0.65: "free", 0.55: "grazed", 0.05: "grazed", -0.05: "blocked"}
