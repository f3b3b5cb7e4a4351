import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.errors import InputError, PlaceError
from scout.geo import coordinates
from scout.geo.coordinates.forms import format_decimal, format_degrees_minutes, format_iso6709, format_seconds
from scout.geo.coordinates.parse import parse_area, parse_place, read_place
from scout.geo.locator import LEVELS, decode, encode

DMS = (-(34 + 54 / 60 + 36 / 3600), -(56 + 12 / 60 + 42 / 3600))  # latitude first, as in the texts

SPELLINGS = {  # one text a line; the value is latitude, longitude
    (45.5, -89.25): """45.5,-89.25 | 45.5 , -89.25 | 45.5 -89.25 | 45.5;-89.25 | 45.5/-89.25 | +45.50,-89.25
        45.5\t-89.25 | 45.5\u00a0\u221289.25 | 45.5N 89.25W | 45.5 N, 89.25 W | N45.5 W89.25 | N 45.5, W 89.25
        89.25W 45.5N | W89.25/N45.5 | 45.5n89.25w | 45.5° -89.25° | 45.5°N 089.25°W | -89.25W,+45.5N
        45 30 N 89 15 W | 45 30.0N,89 15.0W | 45°30'N 89°15'W | 45º30′N, 89º15′W | 45° 30.00’ -89° 15.00’
        45d30m, -89d15m | 45 deg 30 min N 89 deg 15 min W | 45:30 -89:15 | 45:30N/89:15W | 45 30, -89 15
        45 30 -89 15 | 45°30´N 89°15´W | N 45° 30.0' W 089° 15.0' | 45 30 0 -89 15 0 | 45 30 00N 089 15 00W
        45°30'00"N 89°15'0.0"W | 45°30'0''N 89°15'0''W | 45°30′0″,-89°15′0″ | 45°30’0”N;89°15’0”W
        45d30m0sN 89d15m0sW | 45d30m0s -89d15m0s | 45:30:00,-89:15:00 | 45 30' -89 15' | 45°30' -89.25°
        89 15W 45 30N | 45°30'N 89.25°W | 45 degrees 30 minutes 0 seconds N 89 degrees 15 minutes W""",
    DMS: """-34 54 36 -56 12 42 | 34 54 36 S 56 12 42 W | 34 54 36s 56 12 42w | S34°54'36" W56°12'42"
        34d54m36sS 56d12m42sW | 34d54m36S 56d12m42W | 34 d 54 m 36 s S 56 d 12 m 42 s W | -34:54:36 -56:12:42
        56°12'42"W 34°54'36"S | -34°54'36" -56°12'42" | 34 54.6 S 56 12.7 W | -345436-0561242/""",
    (-12.575, 170.0): "12 34.5S 170 0.0E | 12 34.5 S 170 E | -12 34.5 170 0.0 | -12:34.5,170:0",
    (45.0, -89.0): "45N 89W | 45 -89 | +45-089/ | 89W45N | geo:45,-89",
    (45.0, 5.0): "45,5 | 45 5 | 45°,5° | 45;5 | 5E 45N",
    (
        10 + 20 / 60,
        30 + 40 / 60,
    ): "10 20, 30 40 | 10:20 30:40 | 10°20 30°40 | 10 20.0 30 40.0 | 10 20' 30 40'",
    (-0.5, -0.25): "-0 30, -0 15 | 0 30S 0 15W | -00 30 -000 15 | -0.5 -0.25",
    (90.0, 0.0): "90,0 | 90 0 0N 0 0 0E | +90+000/ | geo:90,0",
}
CASES = [
    (place, text) for place, block in SPELLINGS.items() for text in re.split(r" \| |\n *", block)
]  # fmt: skip


@pytest.mark.parametrize(("place", "text"), CASES)
def test_a_place_is_read_as_people_write_it(place, text):
    lon, lat = parse_place(f" {text} ")
    assert (lat, lon) == pytest.approx(place, abs=1e-14)


def test_sums_of_minutes_land_on_the_lattice_line():
    """41 23' N, 2 11' E is a corner of extended squares; a sum of doubles falls a hair short of it."""
    assert parse_place("41 23 N 2 11 E") == (float(np.float64(131) / 60), float(np.float64(2483) / 60))


def test_what_was_understood_is_told():
    place = read_place("34 54.6 S 56 12.7 W")
    assert place.understood.startswith("-34.910000, -56.211667   34° 54.6000' S 056° 12.7000' W")
    assert place.understood.endswith("read as degrees and minutes")
    assert (place.form, place.uncertainty_m, place.cell) == ("degrees and minutes", None, None)
    forms = {"45,5": "decimal degrees", "45 30 15N 89 15W": "degrees, minutes and seconds", "EN55": "locator"}
    forms |= {"33TWG0049": "MGRS", "33T 500000 4649776": "UTM", "geo:1,2": "geo URI", "+40-075/": "ISO 6709"}
    assert {text: read_place(text).form for text in forms} == forms
    assert all(read_place(text).understood.count(f"read as {form}") == 1 for text, form in forms.items())


@pytest.mark.parametrize("level", [1, 2, 3, 4, 5])
def test_a_locator_stands_for_its_centre_and_brings_its_cell(level):
    text = "jo22AB34Cd"[: 2 * level]
    place, cell = read_place(text), decode(text)
    assert (place.lon, place.lat, place.cell) == (cell.lon, cell.lat, cell.locator)
    assert cell.locator in place.understood
    assert place.uncertainty_m is None
    assert LEVELS[level - 1] in place.understood or level == 5


def test_longitude_180_is_minus_180():
    for text in ("0,180", "0,-180", "0N 180E", "180W 0N", "geo:0,180", "+00+180/", "0 0, 180 0"):
        assert read_place(text).lon == -180


def one_line(error):
    assert str(error).isprintable()


@settings(deadline=None)
@given(st.text(max_size=30))
def test_no_area_gives_a_traceback(text):
    try:
        west, south, east, north = parse_area(text)
    except InputError as error:
        one_line(error)
    else:
        assert -90 <= south < north <= 90
        assert west != east


def test_an_area_is_a_locator_or_south_west_north_east():
    assert parse_area("EN55") == (-90.0, 45.0, -88.0, 46.0)
    assert parse_area("-10,170,10,-170") == (170.0, -10.0, -170.0, 10.0)
    for bad in ("10,0,5,1", "0,0,1,0", "0,0,1", "a,b,c,d", "0,0,95,1", "٠,٠,١,١", "EN55\x00"):
        with pytest.raises(InputError):
            parse_area(bad)


def drawn_places(seed, count=10_000):
    """Places all over the globe, a tenth of them a hair beside whole minutes, poles and the antimeridian."""
    rng = np.random.default_rng(seed)
    lats = np.degrees(np.arcsin(rng.uniform(-1, 1, count)))
    lons = rng.uniform(-180, 180, count)
    odd = count // 10
    hair = rng.choice([0, 1e-9, -1e-9, 1e-7, -1e-7, 4e-6, -4e-6], odd)
    lats[:odd] = np.clip(rng.choice([0, 90, -90, 45, -12.5, 1 / 60, 89 + 59 / 60], odd) + hair, -90, 90)
    lons[:odd] = np.clip(rng.choice([0, 180, -180, 90, -7.25, 179 + 59 / 60], odd) + hair, -180, 180)
    return list(zip(lons.tolist(), lats.tolist(), strict=True))


@pytest.mark.parametrize(
    ("write", "half_deg"),
    [
        (format_decimal, 5e-7),
        (lambda lon, lat: format_decimal(lon, lat, 9), 5e-10),
        (lambda lon, lat: format_degrees_minutes(lon, lat, 3), 0.0005 / 60),
        (lambda lon, lat: format_degrees_minutes(lon, lat, 5), 0.000005 / 60),
        (format_seconds, 0.005 / 3600),
        (lambda lon, lat: format_seconds(lon, lat, 0), 0.5 / 3600),
        (lambda lon, lat: format_iso6709(lon, lat, 7), 5e-8),
        (lambda lon, lat: encode(lon, lat, 5), None),
    ],
    ids=["decimal", "decimal 9", "minutes", "minutes 5", "seconds", "seconds 0", "iso6709 7", "locator"],
)
def test_ten_thousand_places_come_back_within_the_last_digit(write, half_deg):
    for lon, lat in drawn_places(3):
        text = write(lon, lat)
        back_lon, back_lat = parse_place(text)
        up = half_deg or 180 / 43200 / 24 / 2 + 1e-9
        across = half_deg or 360 / 43200 / 24 / 2 + 1e-9
        assert abs(back_lat - lat) <= up * 1.00001 + 1e-13, text
        assert abs((back_lon - lon + 180) % 360 - 180) <= across * 1.00001 + 1e-13, text


def test_rounding_carries_into_the_degrees_and_over_the_antimeridian():
    assert format_degrees_minutes(9.99999999, 44.99999999, 3) == "45° 00.000' N 010° 00.000' E"
    assert format_seconds(-9.9999999, -44.9999999) == "45° 00' 00.00\" S 010° 00' 00.00\" W"
    assert format_degrees_minutes(179.99999999, 89.99999999, 3) == "90° 00.000' N 180° 00.000' W"
    assert format_seconds(180, -90) == "90° 00' 00.00\" S 180° 00' 00.00\" W"
    assert format_degrees_minutes(-1e-9, -1e-9, 3) == "00° 00.000' N 000° 00.000' E"
    assert format_decimal(-1e-9, -1e-9, 2) == "0.00, 0.00"
    assert format_decimal(190, 1, 1) == "1.0, -170.0"
    for lon, lat in drawn_places(4, 2000):
        for text in (
            format_degrees_minutes(lon, lat),
            format_seconds(lon, lat),
            format_degrees_minutes(lon, lat, 0),
        ):
            assert not re.search(r" 60(\.0*)?['\"]", text)


@pytest.mark.parametrize(
    "name", ["decimal", "geo_uri", "iso6709", "mgrs", "degrees_minutes", "seconds", "utm"]
)
def test_what_is_off_the_globe_is_not_written(name):
    for lon, lat in ((0.0, 90.1), (0.0, math.nan), (math.nan, 0.0), (math.inf, 0.0), (541.0, 0.0)):
        with pytest.raises(PlaceError, match="not on the globe"):
            getattr(coordinates, f"format_{name}")(lon, lat)
