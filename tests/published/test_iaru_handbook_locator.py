"""IARU Region 1 VHF Managers Handbook, locator chapter: origin, order and sizes of the pairs (R2: read in an
encyclopaedia article that cites it). The fifth pair: ADIF 3.1.6, characters 9 and 10 are letters A-X (R).
"""

from __future__ import annotations

import pytest

from scout.errors import LocatorError
from scout.geo import locator

SIZES_DEG = {
    1: (20, 10),
    2: (2, 1),
    3: (5 / 60, 2.5 / 60),
    4: (30 / 3600, 15 / 3600),
    5: (1.25 / 3600, 0.625 / 3600),
}


@pytest.mark.parametrize("level", SIZES_DEG)
def test_cells_have_the_sizes_of_the_handbook(level):
    cell = locator.decode(locator.encode(4.1, 52.2, level))
    assert (cell.width, cell.height) == pytest.approx(SIZES_DEG[level], rel=1e-12)


def test_counting_starts_at_180_west_90_south_with_longitude_first():
    first = locator.decode("AA00aa00AA")
    assert (first.west, first.south) == (-180.0, -90.0)
    assert locator.decode("BA").west == -160.0
    assert locator.decode("AB").south == -80.0
    assert locator.decode("AA10").west == -178.0
    assert locator.decode("AA01").south == -89.0


def test_the_last_letters_are_r_and_x():
    assert locator.decode("RR99xx99XX").east == pytest.approx(180.0, abs=1e-12)
    for text in ("SA", "AS", "AA00ya", "AA00ay", "AA00aa00YA"):
        with pytest.raises(LocatorError):
            locator.decode(text)


def test_upper_case_then_lower_case_is_written_and_any_case_is_read():
    assert locator.encode(4.1, 52.2, 3) == "JO22be"
    for text in ("jo22BE", "JO22BE", "jo22be"):
        assert locator.decode(text).locator == "JO22be"
