"""ISO 6709:2008, "Standard representation of geographic point location by coordinates", annex H.

R2: read where annex H is quoted; M: from memory of annex H and of the encyclopaedia's table of examples.
"""

from __future__ import annotations

import numpy as np
import pytest

from scout.errors import PlaceError
from scout.geo.coordinates.forms import format_iso6709
from scout.geo.coordinates.parse import parse_place, read_place

EXAMPLES = [  # text, latitude, longitude
    ("+40.20361-075.00417/", 40.20361, -75.00417),  # M
    ("+4012.22-07500.25/", 40 + 12.22 / 60, -75 - 0.25 / 60),  # M
    ("+401213.1-0750015.1/", 40 + 12 / 60 + 13.1 / 3600, -75 - 15.1 / 3600),  # M
    ("+27.5916+086.5640+8850/", 27.5916, 86.564),  # R2
    ("+27.5916+086.5640+8850CRSWGS_84/", 27.5916, 86.564),  # R2
    ("+90+000/", 90, 0),  # R2
    ("-90+000+2800/", -90, 0),  # R2
    ("-90+000+2800CRSWGS_84/", -90, 0),  # M
    ("+40.6894-074.0447/", 40.6894, -74.0447),  # R2
    ("+48.8577+002.295/", 48.8577, 2.295),  # R2
    ("+35.3621+138.7274+3776/", 35.3621, 138.7274),  # M
    ("+35.658632+139.745411/", 35.658632, 139.745411),  # M
    ("+40-075/", 40, -75),
    ("+40-075CRSWGS_84/", 40, -75),
    ("+00-025/", 0, -25),  # M
    ("+46+002/", 46, 2),  # M
    ("+48.52+002.20/", 48.52, 2.2),  # M
    ("+00-160/", 0, -160),  # M
    ("+38-097/", 38, -97),  # M
    ("+40.75-074.00/", 40.75, -74),  # M
]


@pytest.mark.parametrize(("text", "lat", "lon"), EXAMPLES)
def test_an_example_reads(text, lat, lon):
    place = read_place(text)
    assert (place.lat, place.lon) == pytest.approx((lat, lon), abs=1e-13)
    assert place.form == "ISO 6709"
    assert ("height" in place.understood) == ("+8850" in text or "+2800" in text or "+3776" in text)


def test_three_spellings_of_one_place_agree_within_their_digits():
    """The first three examples name one place, to 1e-5 deg, 0.01' and 0.1", each rounded by itself (M)."""
    degrees, minutes, seconds = (parse_place(text) for text, _, _ in EXAMPLES[:3])
    assert degrees == pytest.approx(minutes, abs=0.01 / 60)
    assert degrees == pytest.approx(seconds, abs=0.2 / 3600)


def test_the_180th_meridian_is_west():
    """-180 is the 180th meridian (R2)."""
    assert parse_place("+00-180/") == parse_place("+00+180/") == (-180.0, 0.0)
    assert format_iso6709(180, 0, digits=0) == format_iso6709(179.9999, 0, digits=0) == "+00-180/"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("+40-75/", "two and three digits"),
        ("+040-075/", "two and three digits"),
        ("+40-0750/", "two and three digits"),
        ("+4012-075/", "different parts"),
        ("+4060-07500/", "60 minutes is 60 or more"),
        ("+401260-0750000/", "60 seconds is 60 or more"),
        ("+91-075/", "latitude 91 is over 90"),
        ("+9000.1-07500.0/", "is over 90"),
        ("+40-181/", "longitude 181 is over 180"),
        ("+40.5-075.5CRSNAD27/", "coordinate system is NAD27"),
        ("+40.5-075.5CRS/", "give a place in WGS 84"),
        ("+40,5-075,5/", "is not as ISO 6709 has it"),
        ("+40.-075./", "is not as ISO 6709 has it"),
        ("+40 -075/", "is not as ISO 6709 has it"),
        ("+40.5/", "is not as ISO 6709 has it"),
        ("+/", "is not as ISO 6709 has it"),
        ("+40-075+1+2/", "is not as ISO 6709 has it"),
        ("+٤٠-٠٧٥/", "is not as ISO 6709 has it"),
        ("+40.5-075.5", "end ISO 6709 with /"),
        ("40.5-075.5/", "end ISO 6709 with /"),
        ("+40-075//", "is not as ISO 6709 has it"),
    ],
)
def test_what_annex_h_forbids_is_refused(text, says):
    with pytest.raises(PlaceError) as caught:
        read_place(text)
    assert says in str(caught.value)


@pytest.mark.parametrize("digits", [0, 4, 6, 9])
def test_ten_thousand_places_come_back_within_the_last_digit(digits):
    rng = np.random.default_rng(6709 + digits)
    lats = np.degrees(np.arcsin(rng.uniform(-1, 1, 10_000)))
    lons = rng.uniform(-180, 180, 10_000)
    half = 0.50001 * 10.0**-digits
    for lon, lat in zip(lons.tolist(), lats.tolist(), strict=True):
        back = parse_place(format_iso6709(lon, lat, digits))
        assert abs(back[1] - lat) <= half
        assert abs((back[0] - lon + 180) % 360 - 180) <= half
