"""``geo:`` URIs: RFC 5870, "A Uniform Resource Identifier for Geographic Locations", June 2010.

R2: examples read in test suites that quote sections 6.1, 6.2 and 6.4; M: the other examples of sections 1,
6.3 and 6.4 and the grammar of section 3.3, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from scout.errors import PlaceError
from scout.geo.coordinates.forms import format_geo_uri
from scout.geo.coordinates.parse import parse_place, read_place
from scout.geo.geodesy import measure_geodesic

EXAMPLES = [  # text, latitude, longitude, uncertainty
    ("geo:13.4125,103.8667", 13.4125, 103.8667, None),  # R2
    ("geo:48.2010,16.3695,183", 48.2010, 16.3695, None),  # 6.1, R2
    ("geo:48.198634,16.371648;crs=wgs84;u=40", 48.198634, 16.371648, 40),  # 6.2, R2
    ("geo:37.786971,-122.399677", 37.786971, -122.399677, None),  # M
    ("geo:66,30;u=6.500;FOo=this%2dthat", 66, 30, 6.5),  # 6.4, R2
    ("geo:66.0,30;u=6.5;foo=this-that", 66, 30, 6.5),  # 6.4, R2
    ("geo:90,-22.43;crs=WGS84", 90, -22.43, None),  # 6.4, R2
    ("geo:90,46", 90, 46, None),  # 6.4, R2
    ("geo:22.300,-118.44", 22.3, -118.44, None),  # 6.4, M
    ("geo:22.3,-118.4400", 22.3, -118.44, None),  # 6.4, M
    ("geo:47,11;foo=blue;bar=white", 47, 11, None),  # 6.4, M
]
EQUAL = [  # 6.4; the first two R2, the others M
    ("geo:90,-22.43;crs=WGS84", "geo:90,46"),
    ("geo:66,30;u=6.500;FOo=this%2dthat", "geo:66.0,30;u=6.5;foo=this-that"),
    ("geo:22.300,-118.44", "geo:22.3,-118.4400"),
    ("geo:47,11;foo=blue;bar=white", "geo:47,11;bar=white;foo=blue"),
    ("geo:0,180", "geo:0,-180"),  # 3.4.4, R2
]


@pytest.mark.parametrize(("text", "lat", "lon", "uncertainty"), EXAMPLES)
def test_an_example_reads_latitude_first(text, lat, lon, uncertainty):
    place = read_place(text)
    assert (place.lat, place.lon, place.uncertainty_m) == (lat, lon, uncertainty)
    assert place.form == "geo URI"


@pytest.mark.parametrize(("one", "other"), EQUAL)
def test_equal_uris_are_one_place(one, other):
    a, b = read_place(one), read_place(other)
    assert measure_geodesic(a.lon, a.lat, b.lon, b.lat)[0] == pytest.approx(0, abs=1e-6)
    assert a.uncertainty_m == b.uncertainty_m


def test_what_is_left_aside_is_said():
    assert "height of 183 m is not used" in read_place("geo:48.2010,16.3695,183").understood
    said = read_place("geo:66,30;u=6.500;FOo=this%2dthat").understood
    assert "within 6.5 m" in said
    assert "foo is not used" in said


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("geo:37.786971,-122.399677;crs=Moon-2011;u=35", "coordinate system is Moon-2011"),  # 8.3, M
        ("geo:323482,4306480;crs=EPSG:32618;u=20", "latitude 323482 is over 90"),  # 6.3, M
        ("geo:1,2;crs=nad83", "crs=wgs84"),
        ("geo:91,0", "latitude 91 is over 90; latitude comes first"),
        ("geo:0,180.5", "longitude 180.5 is over 180"),
        ("geo:1,2;u=-1", "u=-1 is not a length"),
        ("geo:1,2;u=nan", "u=nan is not a length"),
        ("geo:1,2;u=1e3", "u=1e3 is not a length"),
        ("geo:1,2;u", "u= is not a length"),
        ("geo:1,2;u=1;u=2", "given twice"),
        ("geo:1,2;u=5;crs=wgs84", "crs must come before"),
        ("geo:1,2;a=b;u=5", "u must come before"),
        ("geo:1,2;a=%2", "malformed"),
        ("geo:1,2;", "malformed"),
        ("geo:0,0?q=34.99,-106.61", "is not a geo: URI"),
        ("geo:+1,2", "is not a geo: URI"),
        ("geo:1.,2", "is not a geo: URI"),
        ("geo:.5,2", "is not a geo: URI"),
        ("geo:1;u=5", "is not a geo: URI"),
        ("geo:1,2,3,4", "is not a geo: URI"),
        ("geo:1, 2", "is not a geo: URI"),
        ("geo:1°,2°", "is not a geo: URI"),
        ("geo:", "is not a geo: URI"),
        ("geo:٤,2", "is not a geo: URI"),
    ],
)
def test_what_the_grammar_forbids_is_refused(text, says):
    with pytest.raises(PlaceError) as caught:
        read_place(text)
    assert says in str(caught.value)


def test_ten_thousand_places_come_back_within_the_last_digit():
    rng = np.random.default_rng(5870)
    lats = np.degrees(np.arcsin(rng.uniform(-1, 1, 10_000)))
    lons = rng.uniform(-180, 180, 10_000)
    for lon, lat in zip(lons.tolist(), lats.tolist(), strict=True):
        back = parse_place(format_geo_uri(lon, lat))
        assert abs(back[1] - lat) <= 5.0001e-7
        assert abs((back[0] - lon + 180) % 360 - 180) <= 5.0001e-7


def test_the_edges_of_the_world_are_written_as_the_rfc_has_them():
    """3.4.2 (M): at a pole the longitude is written as 0; longitude 180 and -180 are one."""
    assert format_geo_uri(-22.43, 90) == "geo:90.000000,0.000000"
    assert format_geo_uri(-22.43, -89.9999999) == "geo:-90.000000,0.000000"
    assert (
        format_geo_uri(180, 0)
        == format_geo_uri(-180, -1e-9)
        == format_geo_uri(179.9999999, 0)
        == "geo:0.000000,-180.000000"
    )
