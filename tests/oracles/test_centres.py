"""The recommended centre: its confidence told rightly, and no better centre close by.

Parks are drawn some metres to a few hundred across round one corner, where boundaries decide the confidence.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely import affinity
from strategies import Drawn, as_parks, places, without_shrinking

from oracles import answers, arrangement, budget, claims, exact, metric
from oracles.budget import Errors
from oracles.claims import Ground
from scout.app.find import SearchOptions, find_spots
from scout.model import Spot, Station

patient = without_shrinking(15)
FINE_M = 0.25  # raster about one centre: half a metre is 0.01 off in necks of a metre
TOLD = 0.01  # how far a stated probability may be off
LINE_GIVE = 0.03  # along lines by shorter ways, for speed; 0.0203 was drawn once
GIVE = 0.01  # how much better a tried centre may be: 0.005, and as much for the oracle's raster
WORDS = ("not counted", "doubtful", "firm")
STATIONS = [
    Station(),
    Station(boundary_error_m=1.0),
    Station(radius_m=3.0, fix_error_m=10.0, boundary_error_m=4.0),
    Station(radius_m=12.0, fix_error_m=4.9, boundary_error_m=6.0),
    Station(radius_m=5.0, fix_error_m=4.9 * 2.4477 / 1.5096, boundary_error_m=2.0),  # 4.9 m taken as 68 %
]


@st.composite
def small_parks(draw: st.DrawFn, level: int) -> Drawn:
    """One or two parks of 8 to 400 m over or beside a corner."""
    place = draw(places(level, ("anywhere", "south-west", "antimeridian", "origin")))
    east, north = metric.degree_lengths(exact.edge_lat(place.j, level))
    found = Drawn()
    for _ in range(draw(st.integers(1, 2))):
        size_m = draw(st.sampled_from([8.0, 25.0, 60.0] if level == 5 else [8.0, 25.0, 60.0, 150.0, 400.0]))
        vertex = st.tuples(st.floats(-1, 1), st.floats(-1, 1)).map(lambda v: (round(v[0], 3), round(v[1], 3)))
        star = shapely.MultiPoint(draw(st.lists(vertex, min_size=3, max_size=6))).convex_hull
        notch = shapely.MultiPoint(draw(st.lists(vertex, min_size=3, max_size=4))).convex_hull
        shape = shapely.difference(star, affinity.scale(notch, 0.6, 0.6, origin=(0, 0)))
        assume(shape.geom_type in ("Polygon", "MultiPolygon") and shape.area > 0.02)
        over = draw(st.sampled_from([(-1.5, -1.5), (0.0, 0.0), (0.1, -0.2), (-0.3, 0.05)]))
        if over[0] > -1:  # the corner near the middle, else wherever the shape has it
            middle = shape.representative_point()
            shape = affinity.translate(shape, over[0] - middle.x, over[1] - middle.y)
        per_cell = size_m / (
            np.array([east, north]) * (float(exact.width(level)), float(exact.height(level)))
        )
        found.append(place.on_globe(affinity.scale(shape, *per_cell, origin=(0, 0))))
    assume(all(park.is_valid and park.area > 0 for park in found))
    return found


def check_told(spot: Spot, grids_p: float, touch, ground: Ground) -> None:
    """The verdict agrees with itself and with the budget worked out anew at the centre."""
    verdict, ground = spot.verdict, replace(ground, step_m=FINE_M)
    held = [int(name.removeprefix("P")) for name in verdict.parks]
    zero = np.zeros(1)
    clear = [metric.clearances_close_by(ground.parks[n], spot.lon, spot.lat, zero, zero)[0] for n in held]
    assert verdict.clearances_m == pytest.approx(clear, rel=2e-3, abs=0.1)
    together = ground.together(frozenset(held), touch, spot.lon, spot.lat, zero, zero)
    parks_p = [float(ground.inside(n, spot.lon, spot.lat, zero, zero)[0, 0]) for n in held]
    assert verdict.parks_p == pytest.approx(parks_p, abs=TOLD)
    assert verdict.grids_p == pytest.approx(grids_p, abs=5e-3)
    assert verdict.confidence == pytest.approx(float(together[0, 0]), abs=TOLD)
    parts = [verdict.grids_p, *verdict.parks_p]
    assert 1 - sum(1 - p for p in parts) - 1e-9 <= verdict.confidence <= min(parts) + 1e-9
    assert verdict.word == budget.word(verdict.confidence)
    assert spot.park_names == tuple(f"Park {n}" for n in held)
    assert spot.clearance_m == min(verdict.clearances_m)


def check_corner(spot: Spot, ground: Ground, level: int) -> None:
    node = answers.node(spot.corner, level)
    held, _ = arrangement.holding(node, ground.parks, level)
    named = answers.park_numbers(spot.verdict.parks)
    assert named <= held
    x, y = metric.seen_from(*spot.corner, spot.lon, spot.lat)
    kind, quadrant = claims.claimed(spot.verdict.locators, node, level)
    touch = claims.spare_at_corner(kind, quadrant, ground.errors.radius_m, x, y)
    check_told(spot, claims.grids_p(kind, quadrant, x, y, ground.errors), touch, ground)
    assert spot.offset_m == pytest.approx(np.hypot(x, y), abs=0.02)
    if spot.offset_m > 0.1:
        assert (metric.compass(x, y) - spot.offset_deg + 180) % 360 - 180 == pytest.approx(0, abs=10)
    if kind == 4:
        best = claims.best_at_corner(ground, named, node, level)
        assert spot.verdict.confidence >= best - GIVE or best < 0.5  # below it counts for nothing anywhere
    if kind < 4 or named != held:  # claims less than the place might give: that must be needed, and help
        in_all = claims.best_at_corner(ground, held, node, level)
        assert in_all < 0.5 + GIVE, "four cells in all parks were in reach"
        assert spot.verdict.confidence >= 0.5
        assert kind >= 2


def check_line(spot: Spot, ground: Ground, level: int) -> None:
    interval = answers.as_interval(spot.stretches[0], level)
    value = (exact.edge_lon if interval.meridian else exact.edge_lat)(interval.line, level)
    at = (value, spot.lat) if interval.meridian else (spot.lon, value)
    x, y = metric.seen_from(*at, spot.lon, spot.lat)
    off = float(np.hypot(x, y))
    across = (0, 1) if interval.meridian else (1, 0)
    touch = claims.spare_at_corner(2, across, ground.errors.radius_m, x, y)
    check_told(spot, float(budget.line(off, ground.errors.radius_m, ground.errors.fix_m)), touch, ground)
    assert spot.offset_m == pytest.approx(off, abs=0.02)
    along = spot.lat if interval.meridian else spot.lon
    middle = (interval.start_deg + interval.end_deg) / 2
    along += 360 * round((middle - along) / 360) if not interval.meridian else 0
    assert interval.start_deg - 1e-9 <= along <= interval.end_deg + 1e-9
    best = claims.best_on_stretch(ground, interval, level)
    # a stretch that is hopeless on the line need not be searched, though beside the line it may yet count
    assert spot.verdict.confidence >= best - LINE_GIVE or best < 0.5


def check_grouping(spots: list[Spot], ground: Ground, level: int) -> None:
    """A stretch stays alone when no corner at its end has the same parks and as good a word."""
    corners = {answers.node(s.corner, level): s for s in spots if s.kind == "corner"}
    for corner in corners.values():
        for stretch in corner.stretches:
            best = claims.best_on_stretch(ground, answers.as_interval(stretch, level), level)
            assert WORDS.index(corner.verdict.word) >= WORDS.index(budget.word(best - LINE_GIVE))
    for spot in (s for s in spots if s.kind == "line"):
        interval = answers.as_interval(spot.stretches[0], level)
        for corner in (corners[n] for n in ends(interval, level) if n in corners):
            same = answers.park_numbers(corner.verdict.parks) == interval.parks
            as_good = WORDS.index(corner.verdict.word) >= WORDS.index(spot.verdict.word)
            assert not (same and as_good), f"{spot} belongs under the corner {corner.corner}"


def ends(interval: arrangement.Interval, level: int) -> list[tuple[int, int]]:
    """Corners that a stretch reaches."""
    edge = exact.edge_lat if interval.meridian else exact.edge_lon
    found = []
    for n, end in ((interval.cell, interval.start_deg), (interval.cell + 1, interval.end_deg)):
        if abs(edge(n, level) - end) < 1e-9:
            found.append(
                (interval.line, n) if interval.meridian else (n % exact.columns(level), interval.line)
            )
    return found


@pytest.mark.parametrize("level", exact.LEVELS)
def test_no_tried_centre_is_better_and_every_confidence_is_told_rightly(level):
    @given(small_parks(level), st.sampled_from(STATIONS), st.sampled_from([0.0, 2.0, 20.0]))
    @patient
    def holds(parks, station, datum_error_m):
        ground = Ground(parks, Errors.of(station, [datum_error_m] * len(parks)))
        options = SearchOptions(level=level, station=station, near_m=0.0, min_confidence=0.0)
        findings = find_spots(as_parks(parks, datum_error_m), options)
        spots = [ranked.spot for ranked in findings.spots]
        for spot in spots:
            if spot.kind == "corner":
                check_corner(spot, ground, level)
            elif spot.kind == "line":
                check_line(spot, ground, level)
            elif spot.kind == "overlap":
                touch = claims.spare_in_cell(spot.lon, spot.lat, level, station.radius_m)
                in_cell = ground.together(frozenset(), touch, spot.lon, spot.lat, np.zeros(1), np.zeros(1))
                check_told(spot, float(in_cell[0, 0]), touch, ground)
        check_grouping(spots, ground, level)

    holds()


@pytest.mark.parametrize("share", [0.23, 0.41, 0.68, 0.93])
def test_the_one_wide_place_of_a_long_narrow_stretch_is_found(share):
    """Fifty kilometres along a meridian, three metres either side of it, and one clearing of 100 m."""
    east, north = metric.degree_lengths(40.25)
    strip = shapely.box(-3 / east, 40.05, 3 / east, 40.5)
    middle = 40.05 + share * 0.45
    clearing = shapely.box(-50 / east, middle - 50 / north, 50 / east, middle + 50 / north)
    park = shapely.union_all([strip, clearing])
    findings = find_spots(as_parks([park]), SearchOptions(level=2, near_m=0.0))
    (spot,) = answers.of_kind(findings, "line")
    assert spot.verdict.word == "firm"
    assert abs(spot.lat - middle) * north < 50


def test_a_two_park_stretch_is_not_hidden_under_a_corner_that_names_one_park():
    """The corner lies two metres inside the one park: too little for a station; the lines run on in both."""
    parks = [shapely.box(-0.00002, -0.5, 0.5, 0.5), shapely.box(-1, -1, 1, 1)]
    findings = find_spots(as_parks(parks), SearchOptions(level=2, near_m=0.0, min_grids=2, min_parks=2))
    both = [ranked for ranked in findings.spots if ranked.n_parks == 2 and ranked.n_grids == 2]
    assert both, "half a degree of line inside both parks, and no place on it is listed"
    assert both[0].spot.verdict.word == "firm"
