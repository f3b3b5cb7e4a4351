"""Locators: behaviour; agreement with published values is in tests/published."""

import contextlib
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scout.errors import LocatorError, PlaceError
from scout.geo.locator import (
    LEVELS,
    count_columns,
    count_rows,
    decode,
    encode,
    get_column_number,
    get_edge_lat,
    get_edge_lon,
    get_index,
    get_level_number,
    get_row_number,
    make_locator,
    parse,
)

LEVEL = st.integers(1, 5)


@st.composite
def cells(draw):
    level = draw(LEVEL)
    return draw(st.integers(0, count_columns(level) - 1)), draw(st.integers(0, count_rows(level) - 1)), level


@settings(deadline=None, max_examples=300)
@given(cells())
def test_text_and_numbers_of_a_cell_go_both_ways(cell):
    i, j, level = cell
    text = make_locator(i, j, level)
    assert parse(text) == (i, j, level)
    assert parse(text.swapcase()) == (i, j, level)
    assert encode(decode(text).lon, decode(text).lat, level) == text


@settings(deadline=None, max_examples=300)
@given(cells())
def test_the_south_west_corner_is_in_the_cell_and_the_other_edges_are_not(cell):
    i, j, level = cell
    box = decode(make_locator(i, j, level))
    assert get_index(box.west, box.south, level) == (i, j)
    assert get_index(box.east, box.south, level) == ((i + 1) % count_columns(level), j)
    assert get_index(box.west, box.north, level) == (i, min(j + 1, count_rows(level) - 1))


@settings(deadline=None)
@given(st.floats(-180, 180), st.floats(-90, 90))
def test_a_finer_locator_begins_with_the_coarser_one(lon, lat):
    texts = [encode(lon, lat, level) for level in range(1, 6)]
    assert all(fine.startswith(coarse) for coarse, fine in pairwise(texts))


@pytest.mark.parametrize("level", range(1, 6))
def test_arrays_agree_with_scalars_in_any_shape(level):
    rng = np.random.default_rng(level)
    lon, lat = rng.uniform(-180, 180, (3, 4)), rng.uniform(-90, 90, (3, 4))
    texts = encode(lon, lat, level)
    assert texts.shape == (3, 4)
    assert texts[2, 1] == encode(float(lon[2, 1]), float(lat[2, 1]), level)
    box = decode(texts)
    assert box.west.shape == (3, 4)
    assert np.all((box.west <= lon) & (lon < box.east) & (box.south <= lat) & (lat < box.north))


def test_no_points_give_no_locators():
    assert encode(np.empty(0), np.empty(0), 3).shape == (0,)


def test_every_edge_of_every_level_up_to_extended_starts_its_cell():
    for level in range(1, 5):
        k = np.arange(count_columns(level))
        i, j = get_index(get_edge_lon(k, level), get_edge_lat(k, level), level)
        assert np.array_equal(i, k)
        assert np.array_equal(j, k)


def test_longitudes_past_180_wrap():
    assert encode(181.5, 10.0, 2) == encode(-178.5, 10.0, 2)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("JO2!ab", "character 4 is '!'; it must be a digit 0 to 9"),
        ("SS99", "character 1 is 'S'; it must be a letter A to R"),
        ("RR99xz", "character 6 is 'z'; it must be a letter A to X"),
        ("JO22a", "it has 5 characters"),
        ("", "it has 0 characters"),
        ("JO22ab33cd44", "it has 12 characters"),
        ("ЯO22", "character 1 is 'Я'"),
        ("J\u212a22", "character 2"),
    ],
)
def test_a_malformed_locator_names_the_character_and_its_position(text, says):
    with pytest.raises(LocatorError) as caught:
        decode(text)
    assert says in str(caught.value)


def test_locators_of_mixed_levels_are_refused():
    with pytest.raises(LocatorError, match="different levels"):
        decode(np.array(["JO22", "JO22ab"]))


@pytest.mark.parametrize(("lon", "lat"), [(0, 90.0001), (541, 0), (np.nan, 0), (0, np.inf)])
def test_a_place_off_the_globe_is_refused(lon, lat):
    with pytest.raises(PlaceError, match="not on the globe"):
        encode(lon, lat)


def test_levels_go_by_name_and_number():
    assert [get_level_number(name) for name in LEVELS] == [1, 2, 3, 4, 5]
    assert get_level_number("3") == 3
    with pytest.raises(LocatorError, match="use one of field, square"):
        get_level_number("cell")


def said_of(call, *args):
    with pytest.raises((LocatorError, PlaceError)) as caught:
        call(*args)
    return str(caught.value)


@pytest.mark.parametrize("level", ["0", "6", "-1", "1.5", "", "squares"])
def test_a_level_that_is_none_is_refused_with_those_there_are(level):
    assert said_of(get_level_number, level) == (
        f"level {level}: there is no such level; use one of field, square, subsquare, extended, fifth"
    )


def test_a_level_is_read_in_any_case_and_with_blanks_around():
    assert [get_level_number(text) for text in (" Square", "FIFTH ", " 5 ", 1)] == [2, 5, 5, 1]


def test_what_is_not_on_the_globe_is_named():
    assert said_of(encode, 541.0, 10.0) == (
        "lat 10.0, lon 541.0: longitude is not on the globe; give degrees, latitude first"
    )
    assert said_of(encode, 541.0, -91.0) == (
        "lat -91.0, lon 541.0: latitude is not on the globe; give degrees, latitude first"
    )
    assert [encode(*bound, 1) for bound in ((540.0, 90.0), (-540.0, -90.0))] == ["AR", "AA"]
    one_bad = np.array([4.0, 600.0])
    assert "longitude is not on the globe" in said_of(encode, one_bad, np.array([52.0, 52.0]))


def test_a_place_has_the_locator_of_its_square_where_no_level_is_given():
    assert encode(4.5, 52.5) == "JO22"
    assert encode(np.array([4.5]), np.array([52.5])).tolist() == ["JO22"]


def test_a_cell_has_its_edges_and_its_middle():
    """A square is 2 degrees by 1 (IARU Region 1 VHF Managers Handbook)."""
    cell = decode(" jo22 ")
    assert (cell.locator, cell.west, cell.south, cell.east, cell.north) == ("JO22", 4.0, 52.0, 6.0, 53.0)
    assert (cell.width, cell.height, cell.lon, cell.lat) == (2.0, 1.0, 5.0, 52.5)
    assert type(cell.west) is type(cell.south) is float


def test_of_many_locators_the_first_bad_one_is_named_with_its_character():
    assert said_of(decode, np.array(["JO22", "JO2X", "J!22"])) == (
        "locator JO2X: character 4 is 'X'; it must be a digit 0 to 9"
    )
    grid = np.array([["JO22", "JO23"], ["JO24", "TO22"]])
    assert said_of(decode, grid) == "locator TO22: character 1 is 'T'; it must be a letter A to R"
    assert said_of(decode, np.array(["JO22", "JO"])) == (
        "JO22 ...: these locators are of different levels; give one level"
    )
    assert said_of(decode, np.array(["JO2", "JO3"])) == (
        "locator JO2: it has 3 characters; a locator has 2, 4, 6, 8 or 10"
    )


@pytest.mark.parametrize(
    ("text", "at", "kind"),
    [
        ("@A00", 1, "a letter A to R"),
        ("A`00", 2, "a letter A to R"),
        ("AA/0", 3, "a digit 0 to 9"),
        ("AA0:", 4, "a digit 0 to 9"),
        ("AA00yx", 5, "a letter A to X"),
        ("AA00aa0x", 8, "a digit 0 to 9"),
        ("AA00aa00a1", 10, "a letter A to X"),
        ("AA00aa00\u00c1a", 9, "a letter A to X"),  # 0xC1 | 32 is past the letters
    ],
)
def test_the_characters_next_to_the_allowed_ones_are_refused(text, at, kind):
    assert said_of(decode, text) == f"locator {text}: character {at} is {text[at - 1]!r}; it must be {kind}"


def test_no_locators_are_no_cells():
    i, j, level = parse(np.empty(0, dtype="<U4"))
    assert (i.shape, j.shape, level) == ((0,), (0,), 1)


@pytest.mark.parametrize("level", range(1, 6))
def test_columns_wrap_and_rows_and_columns_may_be_told_in_a_grid(level):
    count = count_columns(level)
    across, up = np.arange(-1, 2)[None, :], np.arange(3)[:, None]
    texts = make_locator(across, up, level)
    assert texts.shape == (3, 3)
    assert texts[0, 0] == make_locator(count - 1, 0, level) == make_locator(2 * count - 1, 0, level)
    assert texts[2, 1] == make_locator(0, 2, level)


def test_numbers_of_half_the_digits_are_computed_with_all():
    """Places in float32, as some files hold them, are the same places in float64."""
    rng = np.random.default_rng(5)
    lon, lat = rng.uniform(-180, 180, 500).astype(np.float32), rng.uniform(-90, 90, 500).astype(np.float32)
    assert encode(lon, lat, 5).tolist() == encode(lon.astype(float), lat.astype(float), 5).tolist()
    assert encode([4, 6], [52, 53], 2).tolist() == ["JO22", "JO33"]


def test_a_column_of_a_table_holds_locators_as_any_array_does():
    """Columns of text are arrays of objects in a table of geopandas."""
    assert decode(np.array(["JO22", "jn55"], dtype=object)).locator.tolist() == ["JO22", "JN55"]


def test_of_all_characters_only_letters_are_letters_in_either_case():
    """The first thousand codes and some of the others, but for white space."""
    codes = [chr(k) for k in (*range(1, 0x400), *range(0x400, 0xD800, 61)) if not chr(k).isspace()]
    taken = []
    for code in codes:
        with contextlib.suppress(LocatorError):
            taken.append((code, parse(f"{code}A")[0]))
    assert dict(taken) == {
        c: k for k in range(18) for c in ("ABCDEFGHIJKLMNOPQR"[k], "abcdefghijklmnopqr"[k])
    }


def test_columns_are_counted_from_180_west_and_rows_from_the_south_pole():
    """A square is 2 degrees by 1 (IARU Region 1 VHF Managers Handbook); whole numbers are lines."""
    assert [float(get_column_number(lon, 2)) for lon in (-180.0, 0.0, 5.0, 180.0, -181.0)] == [
        0,
        90,
        92.5,
        180,
        -0.5,
    ]
    assert [float(get_row_number(lat, 2)) for lat in (-90.0, 0.0, 52.25, 90.0)] == [0, 90, 142.25, 180]
    lon, lat = np.float32([170.123456, -12.7]), np.float32([45.678901, -33.3])
    for count, half in ((get_column_number, lon), (get_row_number, lat)):
        assert count(half, 5).tolist() == count(half.astype(float), 5).tolist()
