"""ADIF 3.1.7 (Released 22 March 2026): its data types and examples, by name.

R: read in the specification's own data files (fields and data types), which are the same there in 3.1.6; M:
from memory. `adif_io` 0.6 is an ADIF reader that shares no code with ours.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime

import adif_io
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scout.errors import InputError
from scout.model import Visit
from scout.visits.adi import are_adjacent, format_location, list_grids, parse_location, parse_log
from scout.visits.stamp import find_timing, make_claim, stamp_log

LOCATION = re.compile(r"[EWNS](0\d\d|1[0-7]\d|180) [0-5]\d\.\d{3}")
START, END = datetime(2026, 2, 14, 18, tzinfo=UTC), datetime(2026, 2, 14, 20, tzinfo=UTC)


def visit(lon: float, lat: float, *locators: str, **more) -> Visit:
    return Visit(lon, lat, START, END, **{"error_m": 4.0, "locators": locators, **more})


def one(text: str) -> bytes:
    return f"<CALL:5>Q2AAA <QSO_DATE:8>20260214 <TIME_ON:6>180500 {text}<EOR>".encode("ascii")


@pytest.mark.parametrize(
    ("degrees", "axis", "text"),
    [
        (48.14666, "lat", "N048 08.800"),  # the places of QST January 1989, computed (R)
        (-56.21166, "lon", "W056 12.700"),
        (-72.727260, "lon", "W072 43.636"),
        (41.714775, "lat", "N041 42.886"),
        (44.99999999, "lat", "N045 00.000"),  # minutes end at 59.999 (R)
        (-0.0000001, "lat", "N000 00.000"),
        (-90.0, "lat", "S090 00.000"),
        (180.0, "lon", "W180 00.000"),  # 180 is -180 with us
        (9.999999, "lon", "E010 00.000"),
    ],
)
def test_location_is_eleven_characters_with_leading_and_trailing_zeros(degrees, axis, text):
    assert format_location(degrees, axis) == text
    assert len(text) == 11


@given(st.floats(-180, 180, exclude_max=True), st.sampled_from(["lat", "lon"]))
def test_location_reads_back_within_half_a_thousandth_of_a_minute(degrees, axis):
    degrees = degrees / 2 if axis == "lat" else degrees
    text = format_location(degrees, axis)
    assert LOCATION.fullmatch(text)
    for back in (adif_io.degrees_from_location(text), parse_location(text)):
        apart = abs(back - degrees)
        assert min(apart, abs(apart - 360)) <= 0.5 / 60_000 + 1e-9


@pytest.mark.parametrize(
    "text", ["N048 60.000", "N091 00.000", "E181 00.000", "48.1", "N48 08.800", "X048 08.800"]
)
def test_what_is_no_location_is_not_read_as_one(text):
    assert parse_location(text) is None


def test_grid_square_ext_takes_the_ninth_and_tenth_character_of_the_example():
    # FN01MH42BQ is <MY_GRIDSQUARE:8>FN01MH42 <MY_GRIDSQUARE_EXT:2>BQ (R); case does not matter (R).
    from scout.geo.locator import decode

    cell = decode("FN01MH42BQ")
    values = make_claim(visit(cell.lon, cell.lat, "FN01")).values
    assert values["MY_GRIDSQUARE"].upper() == "FN01MH42"
    assert values["MY_GRIDSQUARE_EXT"].upper() == "BQ"


def test_grid_square_has_eight_characters_at_most_and_none_finer_than_is_known():
    assert len(make_claim(visit(10.3, 45.3, "JN55", error_m=4.0)).values["MY_GRIDSQUARE"]) == 8
    coarse = make_claim(visit(10.3, 45.3, "JN55", error_m=400.0)).values
    assert len(coarse["MY_GRIDSQUARE"]) == 6
    assert "MY_GRIDSQUARE_EXT" not in coarse


def test_grid_square_list_takes_two_or_four_adjacent_grids_of_four_or_six_characters():
    example = ["EM98", "FM08", "EM97", "FM07"]  # the example of MY_VUCC_GRIDS (R)
    assert are_adjacent(example)
    assert list_grids(example) == tuple(example)
    here = visit(-80.0, 38.0, *example)
    assert make_claim(here).values["MY_VUCC_GRIDS"] == "EM98,FM08,EM97,FM07"
    fine = visit(-80.0, 38.0, "EM97xx", "FM07ax")
    assert make_claim(fine).values["MY_VUCC_GRIDS"] == "EM97xx,FM07ax"
    assert not are_adjacent(["EM98", "EM78"])


def test_one_grid_has_no_list_and_three_have_no_form():
    assert "MY_VUCC_GRIDS" not in make_claim(visit(-80.1, 38.0, "EM98")).values
    with pytest.raises(InputError, match="two or four grids, and has no form for three"):
        make_claim(visit(-80.0, 38.0, "EM98", "FM08", "EM97"))


def test_a_string_holds_ascii_32_to_126_only():
    here = visit(-80.1, 38.0, "EM98")
    with pytest.raises(InputError, match="plain ASCII"):
        make_claim(here, sig="Pärke", reference="Q-1")


def test_field_names_do_not_depend_on_case_and_a_type_indicator_stays():
    log = parse_log(one("<my_lat:0:L> <My_Gridsquare:4>em98 "), "a.adi")
    data = stamp_log(log, make_claim(visit(-80.1, 38.0, "EM98")), [1]).data
    assert b"<my_lat:11:L>N038 00.000" in data
    assert b"<My_Gridsquare:4>em98" in data  # says less, and nothing else
    assert data.upper().count(b"MY_GRIDSQUARE:") == 1


def test_a_length_counts_the_value_whatever_stands_in_it():
    note = "in this contact, <EOR> and <CALL:3>abc are words"
    log = parse_log(one(f"<NOTES:{len(note)}>{note}"), "a.adi")
    assert len(log.contacts) == 1
    assert log.contacts[0].value("NOTES") == note
    (record,), _ = adif_io.read_from_string(log.text)
    assert record["NOTES"] == note


def test_a_header_is_what_comes_before_eoh_where_the_file_does_not_open_with_a_tag():
    data = b"Exported <b>today</b>\n<ADIF_VER:5>3.1.7\n<USERDEF1:8:N>SWEATERS <eoh>\n" + one("")
    (contact,) = parse_log(data, "a.adi").contacts
    assert [field.name for field in contact.fields] == ["CALL", "QSO_DATE", "TIME_ON"]


def test_time_off_without_a_date_lies_within_24_hours():
    # The example: from 14 July 2020 23:55 to 15 July 2020 01:00 (R).
    log = parse_log(b"<QSO_DATE:8>20200714 <TIME_ON:4>2355 <TIME_OFF:4>0100<EOR>", "a.adi")
    found = find_timing(log.contacts[0])
    assert found.start == datetime(2020, 7, 14, 23, 55, tzinfo=UTC)
    assert (
        found.end
        == datetime(2020, 7, 15, 1, 0, tzinfo=UTC)
        == adif_io.time_off(adif_io.read_from_string(log.text)[0][0])
    )


@pytest.mark.parametrize(
    ("day", "time"),
    [
        ("20260230", "1800"),
        ("20261301", "1800"),
        ("2026021", "1800"),
        ("20260214", "2460"),
        ("20260214", "180"),
        ("", ""),
    ],
)
def test_what_is_no_date_or_time_is_not_taken_for_one(day, time):
    text = f"<QSO_DATE:{len(day)}>{day}<TIME_ON:{len(time)}>{time}<EOR>"
    assert find_timing(parse_log(text.encode(), "a.adi").contacts[0]) is None


def test_station_callsign_and_operator_are_call_signs():
    values = make_claim(visit(-80.1, 38.0, "EM98", call="q1aaa/p", operator="Q1BBB")).values
    assert (values["STATION_CALLSIGN"], values["OPERATOR"]) == ("Q1AAA/P", "Q1BBB")
    named = make_claim(visit(-80.1, 38.0, "EM98", call="Q1AAA", operator="A. Wren"))
    assert "OPERATOR" not in named.values
    assert "takes a call sign" in named.notes[0]
