"""A search in fields finds what one search of everything finds, however the lattice is cut."""

from __future__ import annotations

from dataclasses import fields as columns_of
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from strategies import as_parks, park_sets, without_shrinking

from scout.app.find import SearchOptions, find_spots
from scout.app.outputs import export_findings
from scout.model import Findings, Ranked


class Told(NamedTuple):
    """What there is to compare of some findings."""

    findings: Findings
    spots: list[Ranked]
    exported: bytes


def told(findings: Findings) -> Told:
    return Told(findings, list(findings.spots), export_findings(findings, "spots.geojson"))


def same(one: Findings, other: Told) -> None:
    assert list(one.spots) == other.spots
    assert one.left_out == other.findings.left_out
    assert one.parks.equals(other.findings.parks)
    assert export_findings(one, "spots.geojson") == other.exported


# Where cells are metres wide a set has hundreds of places, each of which climbs for its centre: fewer sets.
@pytest.mark.parametrize(("level", "examples"), [(1, 25), (2, 25), (3, 25), (5, 12)])
def test_however_the_lattice_is_cut_the_same_is_found(level, examples):
    @given(st.data())
    @without_shrinking(examples)
    def holds(data):
        parks = as_parks(data.draw(park_sets(level, most=8)))
        options = SearchOptions(
            level=level,
            near_m=data.draw(st.sampled_from([0.0, 60.0, 500.0])),
            min_grids=data.draw(st.sampled_from([1, 2])),
            min_confidence=0.0,
        )
        whole = told(find_spots(parks, options))
        same(find_spots(parks, options, most=data.draw(st.integers(1, 4))), whole)

    holds()


@given(st.data())
@without_shrinking(25)
def test_a_box_is_cut_like_the_globe(data):
    parks = as_parks(data.draw(park_sets(3, most=8)))
    west, south, east, north = parks.frame.total_bounds
    middle = ((west + east) / 2 + 180) % 360 - 180
    options = SearchOptions(
        level=3,
        home=(middle, (south + north) / 2),
        within_km=data.draw(st.floats(0.5, 40)),
        min_confidence=0.0,
    )
    same(find_spots(parks, options, most=1), told(find_spots(parks, options)))


@pytest.mark.parametrize("most", [1, 1000])
@pytest.mark.parametrize("level", [1, 2, 3])
@pytest.mark.parametrize("south", [-90.0, -30.0])
def test_a_box_all_round_the_globe_ends_nowhere(south: float, level: int, most: int) -> None:
    """Its first line is its last: no park counts there twice, and its corners are corners."""
    wide = {1: 20.0, 2: 2.0, 3: 1 / 12}[level]
    high = wide / 2
    lines = (-180 - wide, -180, -180 + wide, 180 - wide, 180)
    parks = as_parks(
        [
            shapely.box(lon - wide / 5, -high / 6, lon + wide / (5 + k), high / (4 + k))
            for lon in lines
            for k in range(2)
        ]
    )
    options = SearchOptions(level=level, near_m=500.0, min_confidence=0.0)
    boxed = replace(options, bbox=(-180.0, south, 180.0, -south))
    same(find_spots(parks, boxed, most=most), told(find_spots(parks, options)))


def scattered(count: int, size: float, where: tuple[float, float, float, float], seed: int):
    """Many boxes, a good part of them overlapping, with errors of their own."""
    rng = np.random.default_rng(seed)
    lon, lat = rng.uniform(where[0], where[2], count), rng.uniform(where[1], where[3], count)
    wide, high = rng.uniform(size / 10, size, (2, count))
    parks = as_parks(list(shapely.box(lon, lat, lon + wide, lat + high)))
    parks.frame["datum_error_m"] = rng.choice([0.0, 4.0, 60.0], count)
    return parks


@pytest.mark.parametrize("level", [2, 3])
@pytest.mark.parametrize(
    "where", [(-4.0, 50.0, 4.0, 54.0), (176.0, -4.0, 184.0, 1.0), (-20.0, 84.0, 30.0, 89.5)], ids=str
)
def test_hundreds_of_parks_in_many_fields(level, where):
    parks = scattered(400, 0.4, where, level)
    options = SearchOptions(level=level, min_confidence=0.0)
    whole = told(find_spots(parks, options))
    assert {spot.spot.kind for spot in whole.spots} == {"corner", "line", "overlap", "near-miss"}
    for most in (7, 60):
        same(find_spots(parks, options, most=most), whole)


def test_no_field_holds_all_the_parks_of_a_large_search():
    parks = scattered(3000, 0.05, (-10.0, 40.0, 10.0, 50.0), 1)
    from scout.parks.sources import InMemoryParks
    from scout.search.run import SearchTerms, make_tasks

    options = SearchOptions(level=3)
    wanted = SearchTerms(3, options.station, options.near_m, True, None)
    sizes = [len(task.tile.parks) for task in make_tasks(InMemoryParks(parks), wanted, 300)]
    assert len(sizes) >= 8
    assert max(sizes) < 900
    assert {column.name for column in columns_of(SearchTerms)} == {
        "level",
        "station",
        "near_m",
        "overlaps",
        "box",
        "listed_from",
    }
