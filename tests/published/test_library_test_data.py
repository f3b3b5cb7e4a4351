"""Worked locators from the test data and manuals of public converters and libraries.

R: read in their packages (a GPS daemon, ADIF, Python, Perl, Lisp and Dart libraries, a rig-control
library's manual), R2 for the four that later converters add to the QST rows. All rows recomputed in exact
fractions; the extended squares are then ours, not the sources'.
"""

from __future__ import annotations

import pytest

from scout.geo import locator

ENCODE = [  # latitude, longitude, locator
    (41.714775, -72.727260, "FN31pr21"),
    (37.413708, -122.1073236, "CM87wj79"),
    (35.0542, -85.1142, "EM75kb63"),
    (43.686292, -70.549876, "FN43rq44"),
    (48.86471, 2.37305, "JN18eu47"),
    (41.93498, 12.43652, "JN61fw24"),
    (39.9771, -75.1685, "FM29jx94"),
    (-23.4028, -50.9766, "GG46mo23"),
    (35.6812362, 139.7671248, "PM95vq23"),
    (26.2001297, 127.6466452, "PL36te78"),
    (42.7791317, 141.6866364, "QN02us26"),
    # 41 23' N, 2 11' E lies on a corner of extended squares, whose doubles fall a hair short of it
    (41 + 23 / 60, 2 + 11 / 60, "JN11cj22"),
    (45.844271, 15.947917, "JN75xu32SP"),
    (45.845313, 15.946181, "JN75xu32NV"),
]
DECODE = [  # locator, latitude and longitude of the centre, digits given
    ("AA00AA", -89.97917, -179.95833),
    ("RR99XX", 89.97917, 179.95833),
    ("JN48QM", 48.52083, 9.375),
    ("FM18LV", 38.896, -77.042),
]


@pytest.mark.parametrize(("lat", "lon", "text"), ENCODE)
def test_the_point_encodes_at_every_length_up_to_the_one_given(lat, lon, text):
    for level in range(1, len(text) // 2 + 1):
        assert locator.encode(lon, lat, level).upper() == text[: 2 * level].upper()


@pytest.mark.parametrize(("text", "lat", "lon"), DECODE)
def test_the_locator_decodes_to_the_centre(text, lat, lon):
    cell = locator.decode(text)
    assert (cell.lat, cell.lon) == pytest.approx((lat, lon), abs=5e-4 if text == "FM18LV" else 6e-6)


def test_a_square_starts_where_its_subsquare_mm_has_its_centre_cell():
    """A rig-control library decodes `EM19` to the south-west corner of `EM19mm`: the middle of the square."""
    square, middle = locator.decode("EM19"), locator.decode("EM19mm")
    assert (square.lon, square.lat) == pytest.approx((middle.west, middle.south), abs=1e-12)
