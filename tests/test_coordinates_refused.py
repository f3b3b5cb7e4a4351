"""What is no place, or could be two, is refused in one line; nothing drawn is read wrong in silence."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.errors import PlaceError
from scout.geo.coordinates.angles import read_angles, read_geo, read_iso6709
from scout.geo.coordinates.forms import clean_text
from scout.geo.coordinates.grids import (
    looks_like_locator,
    looks_like_mgrs,
    looks_like_utm,
    read_locator,
    read_mgrs,
    read_utm,
)
from scout.geo.coordinates.parse import parse_place, read_place

# A word of the reason, and the texts it is given for, parted by bars.
REFUSED = {
    "latitude -116 is over 90; latitude comes first: write 34,-116": "-116,34 | -116 34 | -116.0/34.0",
    "is over 90": """91,0 | 90.0000001,0 | -90.1 0 | 95N 10E | N95 E10 | 90 0 1 N 0 0 0 E | 90:00.1,0:0
        120 30, 40 15 | 200,10 | 999 5""",
    "is over 180": "45,181 | 45 -180.0001 | 45N 181E | 181W 45N | 45 0 0N 180 0 1W | 45,360 | 0:0 180:00.01",
    "decimal commas": """45,5 -89,2 | 45,5;-89,2 | 45,5,-89,2 | 45,5 / -89,2 | 45,5N 89,2W | +45,5 +89,2
        45°5,5'N 89°2,5'W | 45,12,89,15 | 45,5°N 89°W""",
    "three numbers": "45,-89,183 | 45.5,-89.25,183 | 1,2,3 | 45;89;10 | 45/30/15",
    "60 or more": """45 60 N 89 15 W | 45 30 N 89 60 W | 45 30 60N 89 15 0W | 45 30 99.9N 89 15 0W
        45°75'N 89°W | 45:60,89:00 | 45 100N 89 0W | 10 20 30 40 50 60 | 45 59.9N 89 60.0W | +4060-08900/""",
    "contradict": "-45N 10E | +45S 10E | 45N -10E | 45N +10W | N-45 E10 | -45 30N 89 15W | S+45 W-9",
    "two latitudes": "45N 46N | 45N 46S | N45 S46 | 45 30 N 89 15 S | 45 30 15s 89 15 30s",
    "two longitudes": "45E 46W | E45 E46 | 45 30 E, 89 15 W | 10W/10W",
    "only one coordinate has": """45N 89 | 45 89W | 45N | N | N45 89 | 45.5,89.25W | 34d54m36s 56d12m42w
        1e5,2 | 45N, | W89.25""",
    "where latitude ends": """10 20 30 40 | 10 20 30 | 45 30 15 89 15 | 10 20 30 40 50 | 45°30' 15 89
        1 2 3 | 10 20 30 40.5 | 45° 30 15 89""",
    "more parts": """45 30, 89 | 45, 30 89 | 45 -89 12 | 45.5 -89 30 | 45 30 15, 89 15 | 45:30 -89
        45° 30, 89° | 45 30 -89 15 20""",
    "run together": """4807.038,N,01131.000,E | 4807.038N 01131.000E | 0007.038N 00001.000E
        481230N 0113000E | 4807,N,01131,E | 4807.038N01131.000E | 481230.5S, 0113000.5W""",
    "too many digits": """0730 1130 | 4530N 8915W | 45.5,0890.5 | 500000 4649776 | 33 500000 4649776 | 1234
        33N 500000 4649776 WGS84 | 2026-11-25 | 0045.5,0 | 12:34:5678 1:2:3""",
    "three digits": "089.5,45 | 045 30, 089 15 | -045.5,10",
    "sign or a dash": """45-89 | 45.5-89.25 | 45-30-15N 89-15-00W | +40.6-075.0 | 45°-89° | 45+5
        45:-30,5:10""",
    "sign stands alone": "45 - 89 | 45.5, - 89.25 | -,- | + 45 89 | --45,89 | 45,-",
    "lacks a digit": ".5,.5 | 45.,89. | 45 .5 89 .25 | 45..5,89 | .,. | 45.5.5,10 | 4 5 . 5 , 1 0",
    "one number": "45.5 | 45° | -89.25 | 45.5, | ,45.5 | 45:",
    "it is empty": " | \t | \u00a0\u2009",
    "longer than": "4" * 201,
    "is not a locator": """JO2 | JO2O | JS22 | SO22 | JO22ay | JO22a1 | JO22ab1 | JO22ab12cy | JO-22 | NW | ZZ
        JO22ab12cd34 | JO22ab12CZ | SW12 | inf,0 | nan,0 | JO22! | JO22,JO23 | ab12cd34ef56gh78 | DM79,5
        QQ000 | Infinity,5""",
    "is not understood": """nowhere at all | hello | nan,nan | NaN NaN | J022 | 1e1N 2e1W | 45.5e-1,10 | 1_0,2
        ٤٥,١٠ | ４５,１０ | 45\u200e,10 | 45\x00,10 | 45\u2013 10 | 0x10,2 | 45,5,-89,2 foo | 45.5,-89.25 12.5
        45.5,-89.25 foo | (45.5,-89.25) | [45.5, -89.25] | lat 45.5 lon -89.25 | 45.5N 89.25W 12 | N45 10E
        45N W89 | 45.5,,-89.25 | 45.5,-89.25, | ,45.5,-89.25 | 45.5;,-89.25 | 45°30"N 89°15"W | 45'30°N 89°W
        45 30.5 15N 89 0 0W | 45.5 30N 89W | N S | 45 NE 89 SW | 45NN 89W | N45W N89W | 45N30 89W15
        '45' 89 | 45:30:15:10 89 | : | , | ; | / | ° | ' | " | ½,2 | ²,3 | 45% 89% | 45\u00b7 89 | #45 89
        JO 22 | JO22 ab | ZAH | B AY | 33T | 33TII1111 | 33T W G 1 1 | 33TWG1.5 2.5 | 𝟒𝟓,10 | 45,10\u202e
        45ſ 10E | 45K 10 | 1 2 3 4 5 6 7 | 12 34 56 78 90 12 34 56 | 45N 89W / | / 45N 89W | 45° ° 89
        45 30 -89 15 20 7 | 45d30m sS 89d15m sN""",
}
BAD = [(says, text) for says, block in REFUSED.items() for text in re.split(r" \| |\n +", block)]


def test_the_list_of_bad_texts_is_long():
    assert len({text for _, text in BAD}) >= 200


def one_line_with_a_remedy(error):
    assert str(error).isprintable()
    assert error.remedy


@pytest.mark.parametrize(("says", "text"), BAD)
def test_what_is_not_a_place_is_refused_with_the_form_to_use(says, text):
    with pytest.raises(PlaceError) as caught:
        read_place(text)
    assert says in str(caught.value)
    one_line_with_a_remedy(caught.value)


READERS = [
    (lambda text: text[:4].lower() == "geo:", read_geo),
    (lambda text: text[:1] in ("+", "-"), read_iso6709),
    (looks_like_mgrs, read_mgrs),
    (looks_like_utm, read_utm),
    (looks_like_locator, read_locator),
    (bool, read_angles),
]


def readings(text):
    """What every form that takes the text makes of it."""
    for looks_like, read in READERS:
        try:
            if looks_like(text):
                yield read(text)
        except PlaceError as error:
            one_line_with_a_remedy(error)


def by_hand(text):
    """Latitudes and longitudes that all numbers of a text can make: shares no code with the grammar."""
    text = re.sub("degrees?|deg|minutes?|min|seconds?|sec", " ", text)
    numbers = re.findall(r"([-−]?)(\d+(?:\.\d+)?)", text)
    letters = re.sub("[^NSEW]", "", text.upper())
    for n in range(1, len(numbers)):
        a, b = (sum(float(v) / 60**k for k, (_, v) in enumerate(half)) for half in (numbers[:n], numbers[n:]))
        if letters:
            lat, lon = (b, a) if letters[0] in "EW" else (a, b)
            yield (-lat if "S" in letters else lat, -lon if "W" in letters else lon)
        else:
            yield (-a if numbers[0][0] else a, -b if numbers[n][0] else b)


def same(one, other, tolerance):
    turn = (one[1] - other[1] + 180) % 360 - 180
    return abs(one[0] - other[0]) <= tolerance and abs(turn) <= tolerance


GOOD = """45.5,-89.25 | +45.50 -89.2500 | 45°30'15.5"N 89°15'0"W | N45 30.5 W89 15.25 | 89 15 W, 45 30 N
    12 34.5S 170E | 45:30:15 -89:15:30 | 45 deg 30 min N 89 deg 15 min W | 45d30m15s -89d15m30s | 10 20, 30 40
    34 54 36 S 56 12 42 W | JO22ab | EN55 | 33TWG0000049776 | 33T WG 000 497 | ZAH1212 | 33T 500000 4649776
    17 north 650000 3900000 | 56S 334368 6250948 | geo:48.2010,16.3695,183 | geo:66,30;u=6.5;foo=this
    +40.2-075.1/ | -4012.2+07500.2+88/"""
ALPHABET = "0123456789.,;/:+-−°'\"′″ NSEWnsewdmJOABab geo:u="
CHANGED = st.builds(
    lambda text, at, cut, put: text[: at % (len(text) + 1)] + put + text[at % (len(text) + 1) + cut :],
    st.sampled_from(re.split(r" \| |\n +", GOOD)),
    st.integers(0, 80),
    st.integers(0, 3),
    st.text(ALPHABET, max_size=3),
)


@settings(deadline=None, max_examples=3000)
@given(CHANGED | st.text(ALPHABET, max_size=25) | st.text(max_size=30))
def test_no_text_gives_a_traceback_or_has_two_readings_or_a_number_left_out(text):
    try:
        place = read_place(text)
    except PlaceError as error:
        one_line_with_a_remedy(error)
        return
    assert abs(place.lat) <= 90
    assert -180 <= place.lon < 180
    assert list(readings(clean_text(text))) == [place]
    lon, lat = parse_place(place.understood.partition("   ")[0])
    assert same((lat, lon), (place.lat, place.lon), 5.1e-7)
    if place.form.startswith("de") and not ("m" in text and "s" in text):  # there s may be seconds
        assert any(same(made, (place.lat, place.lon), 1e-9) for made in by_hand(text))
