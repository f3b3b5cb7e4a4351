"""Natural Earth, 1:10m cultural, parks and protected lands (area): 61 US parks, public domain.

Counted on the same file before the search was written (R): 27 square-level corners inside a park, one of
them at 34 N 116 W; 44 parks cross a square-level line. The brute force of `oracles` agrees on which ones.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from oracles import answers, arrangement

from scout.app.find import SearchOptions, find_spots
from scout.io.layers import read_layers
from scout.model import PARK_ID, Findings, Parks
from scout.parks.build import build_parks


@pytest.fixture(scope="module")
def parks(shared_data: Callable[[str], Path]) -> Parks:
    return build_parks(read_layers([shared_data("ne_10m_parks_area.geojson")]))


@pytest.fixture(scope="module")
def findings(parks: Parks) -> Findings:
    return find_spots(parks, SearchOptions(level=2, near_m=0.0, min_confidence=0.0))


def test_61_parks_are_read(parks):
    assert len(parks.frame) == parks.report.parks == 61
    assert parks.frame.geometry.is_valid.all()


def test_27_square_corners_lie_inside_a_park_one_of_them_at_34_north_116_west(findings):
    corners = [spot.corner for spot in answers.of_kind(findings, "corner")]
    assert len(corners) == len(set(corners)) == 27
    assert (-116.0, 34.0) in corners


def test_44_parks_cross_a_square_line(findings):
    spots = [*answers.of_kind(findings, "corner"), *answers.of_kind(findings, "line")]
    crossing = {park for spot in spots for stretch in spot.stretches for park in stretch.parks}
    assert len(crossing) == 44


def test_corners_and_stretches_are_those_of_brute_force(parks, findings):
    ids = list(parks.frame[PARK_ID])
    geometries = list(parks.frame.geometry)
    wanted = {node: {ids[n] for n in held} for node, held in arrangement.corners(geometries, 2).items()}
    got = {answers.node(s.corner, 2): set(s.verdict.parks) for s in answers.of_kind(findings, "corner")}
    assert got == wanted
    spots = [*answers.of_kind(findings, "corner"), *answers.of_kind(findings, "line")]
    found = {where(stretch) for spot in spots for stretch in spot.stretches}
    expected = {
        (i.meridian, round(i.start_deg, 7), round(i.end_deg, 7), tuple(sorted(ids[n] for n in i.parks)))
        for i in arrangement.intervals(geometries, 2)
    }
    assert found == expected


def where(stretch) -> tuple[bool, float, float, tuple[str, ...]]:
    """Ends along the line, south or west first, and the parks."""
    along = 1 if stretch.line == "meridian" else 0
    ends = sorted((round(stretch.start[along], 7), round(stretch.end[along], 7)))
    return along == 1, *ends, tuple(sorted(stretch.parks))
