"""Edges of the world and of cells: half-open cells, latitude 90 in the topmost row, 180 = -180 (C: no
source says; common libraries disagree, some wrap the north pole to the south). The points are the rows of a
comparison of those libraries (R); the expected locators are our convention, save where all of them agree.
"""

from __future__ import annotations

import numpy as np
import pytest

from scout.geo import locator

ROWS = [  # latitude, longitude, locator
    (90.0, 0.0, "JR09ax"),
    (90.0, 179.9999, "RR99xx"),
    (-90.0, -180.0, "AA00aa"),
    (0.0, 180.0, "AJ00aa"),
    (0.0, -180.0, "AJ00aa"),
    (0.0, 0.0, "JJ00aa00"),
    (45.0, -90.0, "EN55aa"),
    (-1e-6, -1e-6, "II99xx99"),
]


@pytest.mark.parametrize(("lat", "lon", "text"), ROWS)
def test_the_point_lands_in_the_half_open_cell(lat, lon, text):
    assert locator.encode(lon, lat, len(text) // 2) == text


def test_an_array_of_edges_gives_the_same():
    lat, lon = np.array([row[0] for row in ROWS]), np.array([row[1] for row in ROWS])
    assert [text[:4] for text in locator.encode(lon, lat, 2)] == [row[2][:4] for row in ROWS]


@pytest.mark.parametrize("level", [1, 2, 3, 4, 5])
def test_the_pole_is_in_the_topmost_row_and_never_off_the_lattice(level):
    _, top = locator.get_index(12.3, 90.0, level)
    assert top == locator.count_rows(level) - 1
    assert locator.decode(locator.encode(12.3, 90.0, level)).north == pytest.approx(90.0, abs=1e-12)
