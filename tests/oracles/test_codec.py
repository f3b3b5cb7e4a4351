"""The codec against exact fractions of the very doubles it is given."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import cells, levels, points

from oracles import exact
from scout.errors import LocatorError, PlaceError
from scout.geo import locator

quick = settings(deadline=None, derandomize=True, max_examples=200)
LEVEL_4_CELLS = 43200


def test_the_oracle_knows_cells_by_hand():
    assert exact.text(9 * 10 + 0, 9 * 10 + 0, 2) == "JJ00"
    assert exact.cell(-179.99999, -89.99999, 5) == (0, 0)
    assert exact.text(*exact.cell(180.0, 90.0, 3), 3) == "AR09ax"
    assert exact.edge_lon(1, 3) == pytest.approx(-180 + 5 / 60, abs=1e-12)
    just_below = float(np.nextafter(0.0, -1.0))
    assert exact.cell(just_below, just_below, 1) == (8, 8)
    assert exact.cells_allowed(just_below, just_below, 1) == {(9, 9)}
    assert exact.cells_allowed(-1e-9, 1e-9, 1) == {(8, 9), (9, 9)}


@given(points, levels)
@quick
def test_encode_names_the_cell_of_the_exact_double(point, level):
    allowed = {exact.text(i, j, level) for i, j in exact.cells_allowed(*point, level)}
    got = locator.encode(*point, level)
    assert any(exact.same(got, text) for text in allowed), f"{point}: {got}, not {allowed}"


@given(points, levels)
@quick
def test_index_and_encode_name_the_same_cell(point, level):
    i, j = locator.get_index(*point, level)
    assert exact.same(locator.encode(*point, level), exact.text(int(i), int(j), level))


@given(points)
@quick
def test_a_longer_locator_starts_with_the_shorter_one(point):
    texts = [locator.encode(*point, level) for level in exact.LEVELS]
    for short, long in pairwise(texts):
        assert long.startswith(short)


@given(cells())
@quick
def test_a_cell_has_the_text_the_edges_and_the_size_that_fractions_give(cell):
    i, j, level = cell
    text = locator.make_locator(i, j, level)
    assert exact.same(text, exact.text(i, j, level))
    got = locator.decode(text)
    assert (got.west, got.south) == (exact.edge_lon(i, level), exact.edge_lat(j, level))
    assert got.width == pytest.approx(float(exact.width(level)), rel=1e-12)
    assert got.height == pytest.approx(float(exact.height(level)), rel=1e-12)
    assert got.east == pytest.approx(float(exact.width(level) * (i + 1) - 180), abs=1e-12)
    assert got.north == pytest.approx(float(exact.height(level) * (j + 1) - 90), abs=1e-12)
    assert got.lon == pytest.approx(float(exact.width(level) * (i + Fraction(1, 2)) - 180), abs=1e-12)
    assert got.lat == pytest.approx(float(exact.height(level) * (j + Fraction(1, 2)) - 90), abs=1e-12)


@given(cells())
@quick
def test_the_centre_and_the_south_west_corner_of_a_cell_encode_to_it(cell):
    i, j, level = cell
    text = locator.make_locator(i, j, level)
    got = locator.decode(text)
    assert locator.encode(got.lon, got.lat, level) == text
    assert locator.encode(got.west, got.south, level) == text


@given(st.lists(points, min_size=1, max_size=30), levels)
@quick
def test_an_array_gives_what_its_members_give(drawn, level):
    lon, lat = np.array(drawn).T
    texts = locator.encode(lon, lat, level)
    assert list(texts) == [locator.encode(*point, level) for point in drawn]
    whole = locator.decode(texts)
    for k, text in enumerate(texts):
        one = locator.decode(str(text))
        assert (whole.lon[k], whole.lat[k], whole.west[k], whole.south[k]) == (
            one.lon,
            one.lat,
            one.west,
            one.south,
        )


@given(cells(), st.data())
@quick
def test_any_case_reads_the_same(cell, data):
    text = locator.make_locator(*cell)
    shouted = "".join(c.upper() if data.draw(st.booleans()) else c.lower() for c in text)
    assert locator.decode(shouted).locator == text


@pytest.mark.parametrize("axis", ["lon", "lat"])
def test_every_edge_down_to_the_extended_square_starts_its_own_cell(axis):
    k = np.arange(LEVEL_4_CELLS)
    edge, reference = (
        (locator.get_edge_lon, exact.edge_lon) if axis == "lon" else (locator.get_edge_lat, exact.edge_lat)
    )
    edges = np.array([edge(int(n), 4) for n in k])
    assert np.array_equal(edges, [reference(int(n), 4) for n in k])
    zeros = np.zeros(LEVEL_4_CELLS)
    for nudged in (edges, np.nextafter(edges, -np.inf), np.nextafter(edges, np.inf)):
        at = np.clip(nudged, -180 if axis == "lon" else -90, None)
        found = locator.get_index(at, zeros, 4)[0] if axis == "lon" else locator.get_index(zeros, at, 4)[1]
        assert np.array_equal(found, k)


@pytest.mark.parametrize("axis", ["lon", "lat"])
def test_a_point_a_microdegree_short_of_an_edge_stays_in_the_cell_before(axis):
    k = np.arange(1, LEVEL_4_CELLS)
    edge = exact.edge_lon if axis == "lon" else exact.edge_lat
    near = np.array([edge(int(n), 4) for n in k]) - 1e-6
    zeros = np.zeros(near.size)
    found = locator.get_index(near, zeros, 4)[0] if axis == "lon" else locator.get_index(zeros, near, 4)[1]
    assert np.array_equal(found, k - 1)


@given(st.integers(0, exact.columns(5) - 1))
@settings(deadline=None, derandomize=True, max_examples=2000)
def test_edges_of_the_fifth_pair_are_the_nearest_doubles_and_start_their_cells(k):
    assert locator.get_edge_lon(k, 5) == exact.edge_lon(k, 5)
    assert locator.get_edge_lat(k, 5) == exact.edge_lat(k, 5)
    assert tuple(locator.get_index(locator.get_edge_lon(k, 5), locator.get_edge_lat(k, 5), 5)) == (k, k)


@pytest.mark.parametrize("level", exact.LEVELS)
def test_the_lattice_has_as_many_columns_and_rows_as_the_bases_give(level):
    assert locator.count_columns(level) == exact.columns(level)
    assert locator.count_rows(level) == exact.rows(level)


MALFORMED = [
    ("SS99", "S", 1),
    ("JS99", "S", 2),
    ("JOA2", "A", 3),
    ("JO2A", "A", 4),
    ("JO22yb", "y", 5),
    ("RR99xz", "z", 6),
    ("JO22abA1", "A", 7),
    ("JO22ab00zz", "z", 9),
    ("JO-2", "-", 3),
    ("jö22", "ö", 2),
    ("JO２2", "２", 3),
]


@pytest.mark.parametrize(("text", "character", "position"), MALFORMED)
def test_a_malformed_locator_is_refused_with_its_bad_character_and_position(text, character, position):
    with pytest.raises(LocatorError) as caught:
        locator.decode(text)
    line = str(caught.value)
    assert "\n" not in line
    said = line.replace(text, "", 1)
    assert character in said
    assert str(position) in said


@pytest.mark.parametrize("text", ["", " ", "J", "JO2", "JO22abc", "JO22ab00AA00", "JO22ab00AA0", "JO 22"])
def test_a_text_of_wrong_length_is_refused(text):
    with pytest.raises(LocatorError):
        locator.decode(text)


@given(st.text(max_size=12))
@quick
def test_any_text_is_a_locator_or_a_locator_error(text):
    try:
        got = locator.decode(text)
    except LocatorError:
        return
    assert exact.same(got.locator, locator.encode(got.lon, got.lat, len(got.locator) // 2))


@pytest.mark.parametrize("point", [(0.0, 90.001), (0.0, -91.0), (float("nan"), 0.0), (0.0, float("inf"))])
def test_a_point_off_the_globe_is_refused(point):
    with pytest.raises(PlaceError):
        locator.encode(*point, 2)


@given(points, st.sampled_from([-360.0, 360.0]))
@quick
def test_a_longitude_past_180_folds_round_the_globe(point, turn):
    lon, lat = point[0] + turn, point[1]
    allowed = exact.cells_allowed(lon, lat, 2)
    assert tuple(locator.get_index(lon, lat, 2)) in allowed
