"""PyPI `maidenhead` 1.8 (ran it, R), only well inside cells.

It adds half a unit before it divides, so that near an edge it is wrong by up to 1/360 deg at precision 2:
points nearer than a tenth of a cell to an edge are left out.
"""

from __future__ import annotations

import maidenhead
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.geo import locator

inside = st.floats(0.1, 0.9)


@given(st.integers(0, 43199), st.integers(0, 43199), inside, inside)
@settings(deadline=None, derandomize=True, max_examples=300)
def test_points_well_inside_an_extended_square_get_the_same_locator(i, j, east, north):
    lon, lat = -180 + (i + east) / 120, -90 + (j + north) / 240
    assert locator.encode(lon, lat, 4) == maidenhead.to_maiden(lat, lon, 4)


@given(st.integers(0, 179), st.integers(0, 179), inside, inside)
@settings(deadline=None, derandomize=True, max_examples=300)
def test_points_well_inside_a_square_get_the_same_locator(i, j, east, north):
    lon, lat = -180 + (i + east) * 2, -90 + (j + north)
    assert locator.encode(lon, lat, 2) == maidenhead.to_maiden(lat, lon, 2)
