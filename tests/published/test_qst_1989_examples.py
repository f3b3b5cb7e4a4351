"""E. T. Tyson, "Conversion between geodetic and grid locator systems", QST January 1989, pp. 29-30, 43.

R2: several public converters carry the four rows and say that they come from the article. The extended
squares are not the source's: computed in exact fractions (R). Row 1 lies 0.25 m west of an extended-square
edge.
"""

from __future__ import annotations

import pytest

from scout.geo import locator

ROWS = [  # latitude, longitude, locator, with extended square
    (48.14666, 11.60833, "JN58td", "JN58td25"),
    (-34.91, -56.21166, "GF15vc", "GF15vc41"),
    (38.92, -77.065, "FM18lw", "FM18lw20"),
    (-41.28333, 174.745, "RE78ir", "RE78ir92"),
]


@pytest.mark.parametrize(("lat", "lon", "six", "eight"), ROWS)
def test_the_worked_examples_encode(lat, lon, six, eight):
    assert locator.encode(lon, lat, 3) == six
    assert locator.encode(lon, lat, 4) == eight
