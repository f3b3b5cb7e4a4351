"""C. F. F. Karney, "Test set for geodesics", Zenodo 32156, CC0.

Lines read in public test suites that quote it (R2); lengths recomputed with PyPI `geographiclib` 2.1 (R).
First longitude 0 throughout. Azimuths of the 76 m line only to 1e-7 deg.
"""

from __future__ import annotations

import pytest

from scout.geo import geodesy

LINES = [  # lat1, lat2, lon2, length m, forward azimuth at either end
    (
        36.530042355041,
        -48.164270779097768864,
        5.762344694676510456,
        9398502.0434687,
        176.125875162171,
        175.334308316285410561,
    ),
    (
        62.912967770911,
        -23.186512533703375483,
        68.567247430960081525,
        11254667.2007643,
        119.074519410562,
        154.287114123871723086,
    ),
    (
        2.881248229541,
        53.997072295385487038,
        44.520619105667619923,
        6958264.1576889,
        27.763592972746,
        52.159486739947740473,
    ),
    (
        15.543058059808,
        -49.416672064705806337,
        166.82808321068892367,
        16063336.6980200,
        165.300914097354,
        22.033030848248991914,
    ),
    (
        8.226828747671,
        -8.516119211674268968,
        178.688979582629224039,
        19886305.6710041,
        111.1269645725,
        68.98279854495524,
    ),
    (19.707097385334, 19.707739582810257, 0.000260256428101053, 76.1478894, 20.996796804557, 20.996884567489),
    (
        89.997817345644,
        39.575446357285395,
        177.375133897726,
        5619818.6599569,
        2.624783190362,
        179.999870061583,
    ),
]


@pytest.mark.parametrize(("lat1", "lat2", "lon2", "length_m", "azi1", "azi2"), LINES)
def test_the_inverse_problem_gives_length_and_both_azimuths(lat1, lat2, lon2, length_m, azi1, azi2):
    distance_m, bearing = geodesy.measure_geodesic(0.0, lat1, lon2, lat2)
    assert distance_m == pytest.approx(length_m, abs=1e-6)
    assert bearing == pytest.approx(azi1, abs=2e-7)
    _, back = geodesy.measure_geodesic(lon2, lat2, 0.0, lat1)
    assert (back - 180) % 360 == pytest.approx(azi2, abs=2e-7)


@pytest.mark.parametrize(("lat1", "lat2", "lon2", "length_m", "azi1", "azi2"), LINES)
def test_the_direct_problem_ends_at_the_second_point(lat1, lat2, lon2, length_m, azi1, azi2):
    lon, lat = geodesy.move_point(0.0, lat1, azi1, length_m)
    assert geodesy.measure_geodesic(lon, lat, lon2, lat2)[0] < 0.01  # azimuths are given to 1e-12 deg or less
