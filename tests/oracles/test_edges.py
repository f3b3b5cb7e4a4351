"""At the edge find and check say the same: which parks hold a place, which just miss it, and by how much."""

from __future__ import annotations

import re

import numpy as np
import pytest
import shapely
from strategies import as_parks

from oracles import metric
from scout.app.find import SearchOptions, find_spots
from scout.io.places import NamedPlace
from scout.model import Parks, Spot
from scout.output.report import convert_to_json
from scout.search.check import CheckOptions, check_places

CORNER = (-112.0, 45.0)
REACH_M = 32.0  # five metres of station and 4.5 sigmas of 6.06 m, by the errors a user sees
NOTE = re.compile(
    r"Not claimed: .* \(P(\d+)\), (on the boundary|[\d.]+ m (?:inside|outside)), probability (.*)\."
)


def beside(spot: Spot) -> dict[int, str]:
    """Parks that a spot mentions without claiming them."""
    found = (NOTE.fullmatch(note) for note in spot.notes)
    return {int(match[1]): match[2] for match in found if match}


def about_the_corner(seed: int) -> list[shapely.Geometry]:
    """Boxes with an edge or a corner within some metres of the corner, or on it."""
    rng = np.random.default_rng(seed)
    per_lon, per_lat = metric.degree_lengths(CORNER[1])
    parks = []
    for _ in range(rng.integers(2, 6)):
        near = rng.choice([0.0, rng.uniform(-30, 30)], 2) / [per_lon, per_lat]
        far = rng.uniform(100, 3000, 2) * rng.choice([-1, 1], 2) / [per_lon, per_lat]
        if rng.random() < 0.5:  # an edge passes the corner, whose ends are far
            axis = rng.integers(2)
            near[axis] = -far[axis]
        west, south = np.minimum(near, far) + CORNER
        east, north = np.maximum(near, far) + CORNER
        parks.append(shapely.box(west, south, east, north))
    return parks


@pytest.mark.parametrize("seed", range(60))
def test_each_says_of_a_place_what_the_other_says(seed):
    parks = as_parks(about_the_corner(seed))
    spots = [ranked.spot for ranked in find_spots(parks, SearchOptions(min_confidence=0.0)).spots]
    results = check_places(parks, [s.lon for s in spots], [s.lat for s in spots], CheckOptions(moves=False))
    for spot, result in zip(spots, results, strict=True):
        near = {int(park.park[1:]): park for park in result.parks}
        there = {number: park for number, park in near.items() if abs(park.clearance_m) < REACH_M}
        claimed = {int(name[1:]) for name in spot.verdict.parks}
        missed = {int(spot.near.park[1:])} if spot.near is not None else set()
        mentioned = beside(spot)
        assert there.keys() <= claimed | missed | mentioned.keys()
        assert not claimed & mentioned.keys()
        for number, clearance_m in zip(
            [int(name[1:]) for name in spot.verdict.parks], spot.verdict.clearances_m, strict=True
        ):
            if number in there:
                assert clearance_m == pytest.approx(there[number].clearance_m, abs=1e-3)
        for number, where in mentioned.items():
            clearance_m = near[number].clearance_m
            if abs(clearance_m) < 0.04:
                assert where == "on the boundary"
            elif abs(clearance_m) > 0.06:
                size, side = where.split(" m ")
                assert float(size) == pytest.approx(abs(clearance_m), abs=0.051)
                assert side == ("inside" if clearance_m > 0 else "outside")


def corner_of(parks: Parks) -> Spot:
    (spot,) = [r.spot for r in find_spots(parks, SearchOptions()).spots if r.spot.kind == "corner"]
    return spot


def test_a_boundary_six_metres_from_a_corner_is_mentioned():
    wide = shapely.box(-112.5, 44.5, -111.5, 45.5)
    six = 6.0 / metric.degree_lengths(45.0)[0]
    spot = corner_of(as_parks([wide, shapely.box(-112.0 + six, 44.9, -111.8, 45.1)]))
    assert spot.verdict.parks == ("P0",)
    assert beside(spot) == {1: "6.0 m outside"}


def test_a_corner_on_a_boundary_is_on_the_boundary_for_both():
    wide, touching = shapely.box(-112.5, 44.5, -111.5, 45.5), shapely.box(-112.0, 44.9, -111.8, 45.1)
    parks = as_parks([wide, touching])
    spot = corner_of(parks)
    assert spot.verdict.parks == ("P0",)
    assert beside(spot) == {1: "on the boundary"}
    (result,) = check_places(parks, *CORNER, CheckOptions(moves=False))
    said = convert_to_json(NamedPlace("here", *CORNER, "decimal degrees"), result)["near_parks"]
    assert [(park["park"], park["inside"]) for park in said] == [("P0", True), ("P1", False)]
