"""Lattice lines and corners inside bounds, against a count of every line there is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies import levels

from oracles import exact
from scout.geo import lattice

quick = settings(deadline=None, derandomize=True, max_examples=150)


@st.composite
def spans(draw: st.DrawFn, longitudes: bool) -> tuple[float, float, int]:
    """A span some cells long, its ends on a line to the last bit or clear of every line, and its level."""
    level = draw(levels)
    n = exact.columns(level)
    edge = exact.edge_lon if longitudes else exact.edge_lat
    first = draw(st.integers(0, n - 1))
    last = min(first + draw(st.integers(0, 5)), 2 * n if longitudes else n - 1)
    ends = []
    for k in (first, last):
        share = draw(st.sampled_from([0.0, 0.0, 0.001, 0.5, 0.999]))
        ends.append(edge(k, level) + share * (edge(1, level) - edge(0, level)))
    return min(ends), max(ends), level


@given(spans(longitudes=True))
@quick
def test_meridians_are_all_lines_between_west_and_east_ends_included(span):
    west, east, level = span
    around = range(2 * exact.columns(level) + 2) if level < 3 else _near(west, east, exact.width(level), 180)
    assert list(lattice.list_meridians(west, east, level)) == [
        k for k in around if west <= exact.edge_lon(k, level) <= east
    ]


@given(spans(longitudes=False))
@quick
def test_parallels_are_all_lines_between_south_and_north_but_no_pole(span):
    south, north, level = span
    around = range(exact.rows(level)) if level < 3 else _near(south, north, exact.height(level), 90)
    assert list(lattice.list_parallels(south, north, level)) == [
        k for k in around if south <= exact.edge_lat(k, level) <= north and 0 < k < exact.rows(level)
    ]


def _near(low, high, step, origin):
    return range(int((low + origin) / step) - 3, int((high + origin) / step) + 4)


@given(spans(longitudes=True), spans(longitudes=False))
@quick
def test_corners_are_every_meridian_with_every_parallel(across, upward):
    west, east, level = across
    south, north, _ = upward
    assume(north - south <= 6 * float(exact.height(level)))
    lon, lat = lattice.list_corners((west, south, east, north), level)
    expected = {
        (exact.edge_lon(int(i) % exact.columns(level), level), exact.edge_lat(int(j), level))
        for i in lattice.list_meridians(west, east, level)
        for j in lattice.list_parallels(south, north, level)
    }
    assert len(lon) == len(expected)
    assert set(zip(lon.tolist(), lat.tolist(), strict=True)) == expected


@pytest.mark.parametrize("level", [1, 2])
def test_the_whole_globe_has_every_corner_once_and_none_at_a_pole(level):
    lon, lat = lattice.list_corners((-180.0, -90.0, 180.0, 90.0), level)
    assert len(lon) == exact.columns(level) * (exact.rows(level) - 1)
    assert len(set(zip(lon.tolist(), lat.tolist(), strict=True))) == len(lon)
    assert np.all(np.abs(lat) < 90)
    assert lon.min() == -180.0
    assert lon.max() == 180.0 - float(exact.width(level))


def test_over_the_antimeridian_line_numbers_run_on():
    assert list(lattice.list_meridians(179.0, 183.0, 2)) == [180, 181]
    lon, lat = lattice.list_corners((179.0, 0.5, 183.0, 1.5), 2)
    assert sorted(zip(lon.tolist(), lat.tolist(), strict=True)) == [(-180.0, 1.0), (-178.0, 1.0)]
