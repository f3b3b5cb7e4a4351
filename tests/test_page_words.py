"""Numbers and places as the page words them."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from builders import (
    QUIET_COVE,
    TERN_MARSH,
    bay,
    corner_spot,
    line_spot,
    overlap_spot,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.output import text as wording

quick = settings(deadline=None, derandomize=True, max_examples=60)


@given(st.floats(0, 1))
@quick
def test_percent_never_shows_more_than_there_is(share: float):
    text = wording.format_probability(share)
    number = float(re.search(r"[\d.]+", text)[0]) / 100
    assert text.startswith("under") or number <= share + 1e-9
    assert share <= number + 0.001 + 1e-9


@given(st.floats(-180, 180), st.floats(-90, 90))
@quick
def test_degrees_and_minutes_name_the_same_place(lon: float, lat: float):
    text = wording.format_degrees_minutes(lon, lat)
    found = re.findall(r"(\d+)° (\d\d\.\d{4})' ([NSEW])", text)
    (d1, m1, side1), (d2, m2, side2) = found
    assert float(m1) < 60
    assert float(m2) < 60
    back_lat = (int(d1) + float(m1) / 60) * (-1 if side1 == "S" else 1)
    back_lon = (int(d2) + float(m2) / 60) * (-1 if side2 == "W" else 1)
    # 180 degrees east are written as 180 west.
    assert (back_lon - lon + 180) % 360 - 180 == pytest.approx(0, abs=0.00005 / 60 + 1e-12)
    assert back_lat == pytest.approx(lat, abs=0.00005 / 60 + 1e-12)


@pytest.mark.parametrize(
    ("degrees", "text"),
    [
        # ADIF 3.1.6's own cases of carry, one digit finer: 44.99999999 is never 60 minutes.
        (44.99999999, "45° 00.0000' N"),
        (-0.00000001, "00° 00.0000' N"),
        (48.14666, "48° 08.7996' N"),
        (-56.21166, "56° 12.6996' S"),
    ],
)
def test_minutes_carry(degrees: float, text: str):
    assert wording.format_degrees_minutes(0.0, degrees).startswith(f"{text} 000°")


@pytest.mark.parametrize(
    ("bearing", "text"),
    [
        (0, "north (0°)"),
        (22.4, "north (22°)"),
        (22.6, "north-east (23°)"),
        (359.7, "north (0°)"),
        (270, "west (270°)"),
    ],
)
def test_bearings_in_words(bearing: float, text: str):
    assert wording.format_bearing(bearing) == text


def test_where_to_stand_says_how_far_from_what():
    corner = ["HN95", "IN05", "HN94", "IN04"]
    on = corner_spot(-20.0, 45.0, corner, [QUIET_COVE])
    moved = replace(on, lon=-19.99997, offset_m=2.4, offset_deg=90.0)
    assert wording.describe_standing(on) == "Centre the station on the corner itself."
    assert wording.describe_standing(moved) == "Centre the station 2.4 m east (90°) of the corner."
    line = line_spot(-20.0, 45.2, corner[:2], TERN_MARSH)
    assert wording.describe_standing(line) == "Centre the station on the meridian."
    both = overlap_spot(-19.95, 45.05, "IN05", [QUIET_COVE, TERN_MARSH])
    assert "the parks overlap here" in wording.describe_standing(both)
    assert "outside every park" in wording.describe_standing(bay().spots[-1].spot)
