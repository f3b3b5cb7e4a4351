import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.coordinates import decimal, geo_uri, minutes, parse_area, parse_place
from scout.errors import InputError, PlaceError


@pytest.mark.parametrize(
    "text", ["45.5,-89.25", " 45.5 , -89.25 ", "45.5 -89.25", "45.5;-89.25", "+45.50,-89.25"]
)
def test_decimal_degrees_come_latitude_first(text):
    assert parse_place(text) == (-89.25, 45.5)


def test_a_locator_stands_for_its_centre():
    assert parse_place("EN55") == (-89.0, 45.5)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("-116,34", "latitude -116 is over 90; latitude comes first"),
        ("45,181", "longitude 181 is over 180"),
        ("45,5,-89,2", "decimal commas"),
        ("nowhere at all", "locator"),
        ("", "is not understood"),
        ("45.5", "is not understood"),
        ("1e5,2", "is not understood"),
    ],
)
def test_what_is_not_a_place_is_refused_with_the_form_to_use(text, says):
    with pytest.raises(InputError) as caught:
        parse_place(text)
    assert says in str(caught.value)


@settings(deadline=None)
@given(st.text(max_size=30))
def test_no_text_gives_anything_but_a_place_or_one_line(text):
    try:
        lon, lat = parse_place(text)
    except InputError as error:
        lines = str(error).splitlines()
    else:
        lines = ["understood"]
        assert abs(lat) <= 90
        assert abs(lon) <= 180
    assert len(lines) == 1


def test_an_area_is_a_locator_or_south_west_north_east():
    assert parse_area("EN55") == (-90.0, 45.0, -88.0, 46.0)
    assert parse_area("-10,170,10,-170") == (170.0, -10.0, -170.0, 10.0)
    for bad in ("10,0,5,1", "0,0,1,0", "0,0,1", "a,b,c,d", "0,0,95,1"):
        with pytest.raises(PlaceError):
            parse_area(bad)


@settings(deadline=None)
@given(st.floats(-180, 180), st.floats(-90, 90))
def test_written_coordinates_read_back_within_their_last_digit(lon, lat):
    back = parse_place(decimal(lon, lat))
    assert back == pytest.approx((lon, lat), abs=5.1e-7)
    south = minutes(lon, lat)
    assert "60.000'" not in south


def test_a_geo_uri_is_latitude_first():
    """RFC 5870, section 6.2 (R2): geo:48.198634,16.371648."""
    assert geo_uri(16.371648, 48.198634) == "geo:48.198634,16.371648"
