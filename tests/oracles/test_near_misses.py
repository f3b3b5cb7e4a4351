"""Near misses against brute force: which corners and lines, how far, and in which direction."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given
from strategies import as_parks, park_sets, without_shrinking

from oracles import answers, arrangement, exact, metric, near
from scout.app.find import SearchOptions, find_spots
from scout.model import Spot

patient = without_shrinking(15)
REGIONS = (
    "anywhere",
    "south-west",
    "antimeridian",
    "origin",
)  # metres lose their meaning in a pole's last row
NEAR_M = {1: 450.0, 2: 450.0, 3: 450.0, 4: 150.0, 5: 9.0}


def check_spot(spot: Spot, parks: list[shapely.Geometry]) -> None:
    """Not counted, outside, and its distance and bearing lead to the park it names."""
    assert spot.verdict.word == "not counted"
    assert spot.near is not None
    park = parks[int(spot.near.park.removeprefix("P"))]
    assert spot.near.park_name == spot.near.park.replace("P", "Park ")
    assert spot.clearance_m == -spot.near.distance_m
    assert 0 <= spot.near.bearing_deg <= 360
    lands = metric.moved(spot.lon, spot.lat, spot.near.bearing_deg, spot.near.distance_m)
    short_m = metric.nearest(park, *lands)[0]
    assert short_m <= 2 * near.slack(spot.near.distance_m), (
        f"bearing and distance end {short_m} m off the park"
    )


def check_three_apart(spot: Spot) -> None:
    """A corner outside every park may still give three cells from inside one, where that counts."""
    assert len(spot.verdict.locators) == 3
    assert spot.verdict.confidence >= 0.5
    assert min(spot.verdict.clearances_m) > 0


def check_corners(parks, level, spots: list[Spot], apart: set) -> None:
    expected = near.corners(parks, level, NEAR_M[level])
    found = set(apart)
    assert apart <= expected.keys()
    for spot in spots:
        node = answers.node(spot.corner, level)
        assert node in expected, f"corner {spot.corner} is no near miss"
        assert node not in found, f"corner {spot.corner} comes twice"
        found.add(node)
        wanted = expected[node]
        assert abs(spot.near.distance_m - wanted.distance_m) <= near.slack(wanted.distance_m)
        assert int(spot.near.park.removeprefix("P")) in wanted.parks
    missing = {node for node, wanted in expected.items() if wanted.certain} - found
    assert not missing, f"corners {missing} were not reported"


def check_lines(parks, level, spots: list[Spot]) -> None:
    expected = near.lines(parks, level, NEAR_M[level])
    for wanted in expected:
        fits = [spot for spot in spots if fits_line(spot, wanted, level)]
        least, most = int(wanted.certain), int(wanted.possible)
        assert least <= len(fits) <= most, f"{len(fits)} near misses for {wanted}"
    for spot in spots:
        assert any(fits_line(spot, wanted, level) and wanted.possible for wanted in expected), (
            f"extra: {spot}"
        )


def fits_line(spot: Spot, wanted: near.NearLine, level: int) -> bool:
    return (
        spot.near.park == f"P{wanted.park}"
        and near.is_on(wanted, spot.lon, spot.lat, level)
        and abs(spot.near.distance_m - wanted.distance_m) <= near.slack(wanted.distance_m) + 0.1
    )


@pytest.mark.parametrize("level", exact.LEVELS)
def test_near_misses_are_those_that_brute_force_finds(level):
    @given(park_sets(level, REGIONS, most=3))
    @patient
    def agrees(parks):
        findings = find_spots(as_parks(parks), SearchOptions(level=level, near_m=NEAR_M[level]))
        spots = answers.of_kind(findings, "near-miss")
        corners = {answers.node(spot.corner, level): spot for spot in answers.of_kind(findings, "corner")}
        apart = {n: spot for n, spot in corners.items() if not any(arrangement.holding(n, parks, level))}
        for spot in spots:
            check_spot(spot, parks)
        for spot in apart.values():
            check_three_apart(spot)
        check_corners(parks, level, [spot for spot in spots if spot.corner is not None], set(apart))
        check_lines(parks, level, [spot for spot in spots if spot.corner is None])

    agrees()


def test_a_meridian_beside_the_far_end_of_a_tall_park_is_not_overlooked():
    """A degree of longitude is half as long at 60 N as where the outline begins."""
    trail = shapely.Polygon([(1.0, 0.0), (1.2, 0.0), (1.996, 60.0), (1.9, 60.0)])
    (wanted,) = [line for line in near.lines([trail], 2, 300.0) if line.side == "east"]
    assert wanted.certain
    assert 200 < wanted.distance_m < 240
    spots = answers.of_kind(find_spots(as_parks([trail]), SearchOptions(level=2, near_m=300.0)), "near-miss")
    assert [spot for spot in spots if fits_line(spot, wanted, 2)]
