"""Planned places judged on parks made by hand; clearances and probabilities are proved by the oracles."""

import builders
import numpy as np
import pytest
import shapely

from scout.app.find import SearchOptions, find_spots
from scout.geo.geodesy import compute_degree_lengths, move_point
from scout.model import ParkReport, Parks, Station
from scout.search.check import CheckOptions, check_places, make_findings

A, B = ("a-1", "Alder Heath"), ("b-2", "Birch Head")
X, Y = (float(v) for v in compute_degree_lengths(45.0))


def parks_of(*parks):
    return Parks(builders.parks_frame(*parks), (), ParkReport())


WIDE = (A, shapely.box(9.5, 44.5, 10.5, 45.5))


def one(parks, lon, lat, options=None, cell=None):
    (answer,) = check_places(parks, [lon], [lat], options or CheckOptions(), [cell])
    return answer


def test_on_a_corner_four_grids_count_firmly():
    answer = one(parks_of(WIDE), 10.0, 45.0)
    assert answer.verdict.locators == ("JN45", "JN55", "JN44", "JN54")
    assert answer.verdict.parks == ("a-1",)
    assert answer.verdict.word == "firm"
    assert answer.verdict.confidence == pytest.approx(0.9558, abs=1e-3)  # references 5 (scipy, R)
    assert answer.move is None


@pytest.mark.parametrize(
    ("east", "north", "grids"),
    [
        (4.0, 4.0, 3),
        (4.0, -4.0, 3),
        (-4.0, 4.0, 3),
        (-4.0, -4.0, 3),
        (2.0, 2.0, 4),
        (3.0, 40.0, 2),
        (30.0, 3.0, 2),
        (30.0, 30.0, 1),
    ],
)
def test_the_disc_counts_what_it_touches(east, north, grids):
    answer = one(parks_of(WIDE), 10.0 + east / X, 45.0 + north / Y)
    assert len(answer.verdict.locators) == grids
    here = "JN" + ("5" if east > 0 else "4") + ("5" if north > 0 else "4")
    assert here in answer.verdict.locators


def test_three_cells_leave_out_the_one_across_the_corner():
    answer = one(parks_of(WIDE), 10.0 + 4.0 / X, 45.0 + 4.0 / Y)
    assert answer.verdict.locators == ("JN45", "JN55", "JN54")


def test_off_the_line_the_move_leads_back_to_it():
    answer = one(parks_of(WIDE), 10.2, 45.0 + 12.3 / Y)
    assert answer.verdict.locators == ("JN55",)
    assert len(answer.move.verdict.locators) == 2
    assert answer.move.verdict.word == "firm"
    assert answer.move.distance_m == pytest.approx(12.3, abs=0.5)
    assert answer.move.bearing_deg == pytest.approx(180.0, abs=3.0)


def test_outside_by_a_little_the_move_leads_inside_and_tells_the_whole_truth():
    park = (A, shapely.box(10.3, 45.3, 10.4, 45.4))
    answer = one(parks_of(park), 10.35, 45.3 - 10 / Y)
    assert answer.verdict.word == "not counted"
    assert answer.verdict.parks == ()
    assert "outside every park; Alder Heath is 10.0 m away" in answer.driver
    again = one(parks_of(park), answer.move.lon, answer.move.lat)
    assert again.verdict.word == "firm"
    assert again.verdict.confidence == pytest.approx(answer.move.verdict.confidence, abs=1e-6)


def test_the_move_is_over_all_conditions_at_once():
    """A line 8 m inside a boundary: standing on it is not the surest, nor is standing far from the edge."""
    station = Station(radius_m=5.0, fix_error_m=2.0, boundary_error_m=4.0)
    park = (A, shapely.box(9.5, 45.0 - 8 / Y, 10.5, 45.5))
    answer = one(parks_of(park), 10.2, 45.0 - 5 / Y, CheckOptions(station=station))
    assert len(answer.move.verdict.locators) == 2
    north = np.linspace(-4.5, 4.5, 91)
    tried = check_places(
        parks_of(park), np.full(91, 10.2), 45.0 + north / Y, CheckOptions(station=station, moves=False)
    )
    best = max(there.verdict.confidence for there in tried)
    on_the_line = one(parks_of(park), 10.2, 45.0, CheckOptions(station=station)).verdict.confidence
    assert answer.move.verdict.confidence >= best - 0.005
    assert best > on_the_line + 0.01


def test_an_inholding_is_named_as_the_nearest_edge():
    hole = shapely.Point(10.2, 45.2).buffer(0.001)
    park = (A, shapely.box(9.5, 44.5, 10.5, 45.5) - hole)
    near_hole = one(parks_of(park), 10.2, 45.2 + 0.0013)
    assert near_hole.parks[0].at_inholding
    assert near_hole.parks[0].edge_deg == pytest.approx(180, abs=2)
    in_hole = one(parks_of(park), 10.2, 45.2)
    assert in_hole.parks[0].clearance_m < 0
    near_rim = one(parks_of(park), 9.501, 44.9)
    assert not near_rim.parks[0].at_inholding


def test_a_locator_stands_for_its_whole_cell():
    park = (A, shapely.box(10.0, 45.0, 10.5, 45.5))
    whole = one(parks_of(park), 10.2, 45.2, cell="JN55ce")
    assert whole.parks[0].cell_share == 1.0
    assert whole.verdict.word == "firm"
    assert whole.verdict.locators == ("JN55",)
    half = one(parks_of((A, shapely.box(10.0, 45.0, 10.04166666666667, 46))), 10.04, 45.02, cell="JN55aa")
    assert half.parks[0].cell_share == pytest.approx(0.5, abs=1e-6)
    assert half.verdict.word == "doubtful"
    coarse = one(parks_of(park), 11.0, 45.5, CheckOptions(level=3), cell="JN55")
    assert coarse.verdict.locators == ()
    assert coarse.verdict.word == "not counted"


def test_search_and_check_give_the_same_verdict_where_the_search_puts_the_station():
    parks = parks_of(
        (A, shapely.box(9.9998, 44.9, 10.1, 45.1)),
        (B, shapely.box(9.95, 44.9999, 10.2, 45.05)),
        (("c-3", "Cedar Holm"), shapely.box(9.5, 44.5, 10.5, 45.5)),
    )
    spots = [r.spot for r in find_spots(parks, SearchOptions(level=3)).spots if r.spot.near is None]
    assert len(spots) > 50
    answers = check_places(
        parks, [s.lon for s in spots], [s.lat for s in spots], CheckOptions(level=3, moves=False)
    )
    for spot, answer in zip(spots, answers, strict=True):
        if len(answer.verdict.locators) == len(spot.verdict.locators):
            assert answer.verdict.grids_p == pytest.approx(spot.verdict.grids_p, abs=2e-5)
        p = {park.park: park.p for park in answer.parks}
        assert [p[q] for q in spot.verdict.parks] == pytest.approx(spot.verdict.parks_p, abs=2e-5)


@pytest.mark.parametrize("lon", [179.9995, -179.9995, 180.0])
def test_the_antimeridian_is_no_boundary(lon):
    park = (A, shapely.box(179.5, -17.5, 180.5, -16.5))
    answer = one(parks_of(park), lon, -17.0)
    assert answer.parks[0].clearance_m > 50_000
    assert answer.lines[0].distance_m < 60


def test_many_places_agree_with_one_at_a_time():
    rng = np.random.default_rng(4)
    parks = parks_of(WIDE, (B, shapely.box(9.99, 44.99, 10.01, 45.01)))
    lon, lat = move_point(10.0, 45.0, rng.uniform(0, 360, 40), rng.uniform(0, 1500, 40))
    together = list(check_places(parks, lon, lat, CheckOptions(station=Station(8.0, 4.0, 10.0))))
    for k in range(0, 40, 7):
        (alone,) = check_places(
            parks, lon[k : k + 1], lat[k : k + 1], CheckOptions(station=Station(8.0, 4.0, 10.0))
        )
        assert alone == together[k]


def test_far_from_everything_there_is_no_park():
    answer = one(parks_of(WIDE), -120.0, 30.0)
    assert answer.parks == ()
    assert answer.verdict.confidence == 0.0
    assert answer.driver == "no park is near"


def test_answers_become_findings_in_the_order_they_were_asked():
    parks = parks_of(WIDE)
    places = [(10.0, 45.0), (10.2, 45.2), (9.4995, 45.2), (-120.0, 30.0)]
    results = list(check_places(parks, *np.array(places).T, CheckOptions()))
    found = make_findings(parks, ["corner", "within", "beside", "far"], results, CheckOptions())
    assert [r.rank for r in found.spots] == [1, 2, 3, 4]
    assert {r.spot.kind for r in found.spots} == {"place"}
    assert [r.grid_park_pairs for r in found.spots] == [4, 1, 0, 0]
    assert found.spots[2].spot.near.park == "a-1"
    assert found.spots[2].spot.clearance_m == pytest.approx(-results[2].parks[0].edge_m, abs=0.01)
    assert np.isnan(found.spots[3].spot.clearance_m)
    assert list(found.parks["park_id"]) == ["a-1"]


def test_a_large_cell_finds_the_parks_in_it_far_from_its_centre():
    park = (A, shapely.box(10.05, 45.05, 10.25, 45.25))
    answer = one(parks_of(park), 11.0, 45.5, cell="JN55")
    assert answer.parks[0].cell_share == pytest.approx(0.04 / 2.0, rel=1e-6)
    assert answer.verdict.word == "not counted"
    away = one(parks_of((A, shapely.box(12.3, 45.0, 12.4, 45.1))), 11.0, 45.5, cell="JN55")
    assert away.parks == ()
