"""The whole job on parks made by hand, their numbers visible; the oracles prove the search itself."""

from dataclasses import fields, replace

import builders
import numpy as np
import pytest
import shapely

from scout.app.find import SearchOptions, cut_to_best, find_spots
from scout.geo.boundaries import Boundaries
from scout.model import DATUM_ERROR, ParkReport, Parks, Station
from scout.search.found import KINDS, make_empty, make_found
from scout.search.verdict import Claims, JudgingContext

A, B, C = ("a-1", "Alder Heath"), ("b-2", "Birch Head"), ("c-3", "Cedar Holm")


def parks_of(*parks):
    return Parks(builders.parks_frame(*parks), (), ParkReport(records=len(parks), parks=len(parks)))


def rows_of(findings, kind):
    return [r for r in findings.spots if r.spot.kind == kind]


def test_a_corner_in_two_parks_counts_eight_pairs_and_takes_its_stretches_in():
    found = find_spots(
        parks_of((A, shapely.box(9.9, 44.9, 10.1, 45.1)), (B, shapely.box(9.9, 44.9, 10.2, 45.1))),
        SearchOptions(),
    )
    top = found.spots[0]
    assert (top.spot.kind, top.n_grids, top.n_parks, top.grid_park_pairs) == ("corner", 4, 2, 8)
    assert top.spot.corner == (10.0, 45.0)
    assert top.spot.verdict.locators == ("JN45", "JN55", "JN44", "JN54")
    assert top.spot.verdict.parks == ("a-1", "b-2")
    assert top.spot.verdict.word == "firm"
    assert {s.line for s in top.spot.stretches} == {"meridian", "parallel"}
    assert len(top.spot.stretches) == 4
    # The part of the parallel that only B holds is a line of its own.
    (line,) = rows_of(found, "line")
    assert line.spot.verdict.parks == ("b-2",)
    assert line.spot.verdict.locators == ("JN55", "JN54")
    assert line.spot.stretch_m == pytest.approx(0.1 * 78846.835, rel=1e-6)


def test_a_park_away_from_lines_gives_nothing_and_two_that_overlap_give_an_overlap():
    assert find_spots(parks_of((A, shapely.box(10.3, 45.3, 10.4, 45.4))), SearchOptions()).spots[:] == ()
    found = find_spots(
        parks_of((A, shapely.box(10.3, 45.3, 10.5, 45.5)), (B, shapely.box(10.4, 45.4, 10.6, 45.6))),
        SearchOptions(),
    )
    (row,) = found.spots
    assert (row.spot.kind, row.n_grids, row.n_parks, row.grid_park_pairs) == ("overlap", 1, 2, 2)
    assert row.spot.verdict.locators == ("JN55",)
    assert (
        find_spots(
            parks_of((A, shapely.box(10.3, 45.3, 10.5, 45.5)), (B, shapely.box(10.4, 45.4, 10.6, 45.6))),
            SearchOptions(min_grids=2),
        ).spots[:]
        == ()
    )


def test_a_near_miss_tells_how_far_and_which_way():
    gap = 200 / 111131.777
    found = find_spots(parks_of((A, shapely.box(10.3, 45.0 + gap, 10.4, 45.2))), SearchOptions())
    (row,) = found.spots
    assert (row.spot.kind, row.n_grids, row.n_parks, row.grid_park_pairs) == ("near-miss", 2, 0, 0)
    assert row.spot.near.distance_m == pytest.approx(200, abs=0.1)
    assert row.spot.near.bearing_deg == pytest.approx(0, abs=0.01)
    assert row.spot.near.park == "a-1"
    assert row.spot.verdict.parks == ()
    assert row.spot.verdict.word == "not counted"
    assert (
        find_spots(parks_of((A, shapely.box(10.3, 45.0 + gap, 10.4, 45.2))), SearchOptions(near_m=150)).spots[
            :
        ]
        == ()
    )


def test_a_park_that_holds_a_corner_by_too_little_is_dropped_from_the_claim():
    hair = 3 / 78846.8
    found = find_spots(
        parks_of((A, shapely.box(9.5, 44.5, 10.5, 45.5)), (B, shapely.box(10 - hair, 44.9, 10.2, 45.1))),
        SearchOptions(),
    )
    (corner,) = rows_of(found, "corner")
    assert corner.spot.verdict.parks == ("a-1",)
    assert corner.spot.verdict.word == "firm"
    assert any(
        note.startswith("Not claimed: Birch Head") and "(b-2), 3.0 m inside" in note
        for note in corner.spot.notes
    )


def test_a_corner_a_metre_inside_a_tip_counts_three_cells_where_four_cannot_be_had():
    """The corner lies in the south-west tip of a park: the station cannot hold it and stay inside."""
    hair_x, hair_y = 1 / 78846.8, 1 / 111131.8
    sharp = Station(radius_m=5.0, fix_error_m=0.5, boundary_error_m=0.5)
    found = find_spots(
        parks_of((A, shapely.box(10 - hair_x, 45 - hair_y, 10.2, 45.2))), SearchOptions(station=sharp)
    )
    (corner,) = rows_of(found, "corner")
    assert corner.n_grids == 3
    assert corner.spot.verdict.locators == ("JN45", "JN55", "JN54")
    assert corner.spot.verdict.confidence > 0.5
    assert corner.spot.corner == (10.0, 45.0)


def test_the_centre_moves_inward_near_a_boundary_and_says_how_far():
    edge = 12 / 111131.8
    found = find_spots(parks_of((A, shapely.box(9.5, 45 - edge, 10.5, 45.5))), SearchOptions())
    (corner,) = rows_of(found, "corner")
    assert corner.spot.lat > 45.0
    assert corner.spot.offset_m == pytest.approx((corner.spot.lat - 45) * 111131.8, abs=0.05)
    assert corner.spot.offset_deg == pytest.approx(0, abs=30)


def test_a_datum_error_joins_the_boundary_error():
    park = (A, shapely.box(9.5, 45 - 25 / 111131.8, 10.5, 45.5))
    plain, shaky = parks_of(park), parks_of(park)
    shaky.frame[DATUM_ERROR] = 20.0
    with_none, with_some = (
        rows_of(find_spots(p, SearchOptions()), "corner")[0].spot.verdict for p in (plain, shaky)
    )
    assert with_some.confidence < with_none.confidence - 0.02


def test_home_radius_area_and_park_filters_keep_what_lies_in_them_and_count_the_rest():
    parks = parks_of((A, shapely.box(9.9, 44.9, 10.1, 45.1)), (B, shapely.box(11.9, 44.9, 12.1, 45.1)))
    assert len(rows_of(find_spots(parks, SearchOptions()), "corner")) == 2
    near = find_spots(parks, SearchOptions(home=(10.01, 45.01), within_km=50))
    assert [r.spot.verdict.parks for r in rows_of(near, "corner")] == [("a-1",)]
    assert near.spots[0].home_km == pytest.approx(1.364, abs=0.01)
    inside = find_spots(parks, SearchOptions(bbox=(11.0, 44.0, 13.0, 46.0)))
    assert {r.spot.verdict.parks for r in inside.spots} == {("b-2",)}
    chosen = find_spots(parks, SearchOptions(park_ids=("b-2",)))
    assert {r.spot.verdict.parks for r in chosen.spots} == {("b-2",)}
    assert [left.reason for left in chosen.left_out] == ["in none of the parks asked for"]


def test_a_window_gives_the_same_spots_as_a_search_of_the_whole():
    park = (A, shapely.box(9.5, 44.5, 10.5, 45.5))
    whole = find_spots(parks_of(park), SearchOptions(level=3, bbox=(9.8, 44.8, 10.2, 45.2)))
    everything = find_spots(parks_of(park), SearchOptions(level=3))
    inside = [r.spot for r in everything.spots if 9.8 <= r.spot.lon <= 10.2 and 44.8 <= r.spot.lat <= 45.2]
    assert {(s.kind, s.lon, s.lat) for s in inside} == {
        (r.spot.kind, r.spot.lon, r.spot.lat) for r in whole.spots
    }


def test_a_radius_over_the_antimeridian_finds_both_sides():
    parks = parks_of(
        (A, shapely.box(179.9, -17.1, 180.1, -16.9)), (B, shapely.box(-178.1, -17.1, -177.9, -16.9))
    )
    found = find_spots(parks, SearchOptions(home=(179.99, -17.0), within_km=400))
    corners = {r.spot.corner for r in rows_of(found, "corner")}
    assert corners == {(-180.0, -17.0), (-178.0, -17.0)}


def test_a_flood_of_cells_is_refused_in_words():
    with pytest.raises(Exception, match="million cell edges or corners; narrow the search"):
        find_spots(parks_of((A, shapely.box(0, 0, 40, 40))), SearchOptions(level=5))


def test_a_large_fix_error_is_remarked_on():
    park = (A, shapely.box(9.9, 44.9, 10.1, 45.1))
    assert find_spots(parks_of(park), SearchOptions()).remarks == ()
    (remark,) = find_spots(parks_of(park), SearchOptions(station=Station(fix_error_m=8.0))).remarks
    assert "6.1 m (20 ft)" in remark


def test_the_best_are_kept_with_their_parks_and_the_rest_counted():
    parks = parks_of((A, shapely.box(9.9, 44.9, 10.1, 45.1)), (B, shapely.box(11.95, 44.9, 12.1, 44.99)))
    found = find_spots(parks, SearchOptions())
    cut = cut_to_best(found, 1)
    assert len(cut.spots) == 1
    assert list(cut.parks["park_id"]) == ["a-1"]
    assert cut.left_out[-1].count == len(found.spots) - 1
    assert cut_to_best(found, 10_000) is found


def test_frames_given_are_left_as_they_were():
    parks = parks_of((A, shapely.box(9.9, 44.9, 10.1, 45.1)))
    before = parks.frame.copy()
    find_spots(parks, SearchOptions())
    assert parks.frame.equals(before)


def test_ranks_count_from_one_without_gaps():
    found = find_spots(
        parks_of((A, shapely.box(9.5, 44.5, 12.5, 45.5)), (C, shapely.box(11.0, 44.2, 13.0, 45.2))),
        SearchOptions(),
    )
    assert [r.rank for r in found.spots] == list(range(1, len(found.spots) + 1))
    pairs = np.array([r.grid_park_pairs for r in found.spots])
    assert np.all(np.diff(pairs) <= 0)


def rows_in_parks(kind, *parks):
    """Places of one kind that lie in these parks each, not judged."""
    n = len(parks)
    first = np.cumsum([0, *map(len, parks)])
    park = np.array([number for held in parks for number in held], dtype=np.int64)
    claims = Claims(np.zeros(n), np.zeros(n), np.arange(n), first, park)
    return make_found(kind, np.arange(n), np.arange(n) + 5, claims, (np.ones(n), np.full(n, 2.0)), None)


def test_the_parks_of_some_places_are_all_that_they_name_once_each():
    found = rows_in_parks("line", [7, 2], [], [2, 4], [9])
    assert found.parks_of(np.array([0, 2])).tolist() == [2, 4, 7]
    assert found.parks_of(np.array([1])).tolist() == []
    assert found.parks_of(np.array([3])).tolist() == [9]
    assert found.parks_of(np.arange(4)).tolist() == [2, 4, 7, 9]
    # a near miss names the park that it misses, number 0 among them
    missed = replace(found, near_park=np.array([-1, 0, -1, 11]))
    assert missed.parks_of(np.array([1])).tolist() == [0]
    assert missed.parks_of(np.array([1, 2])).tolist() == [0, 2, 4]
    assert missed.parks_of(np.array([3])).tolist() == [9, 11]


@pytest.mark.parametrize("kind", KINDS)
def test_a_place_that_was_found_stands_where_it_was_judged_and_misses_no_park(kind):
    found = rows_in_parks(kind, [1], [2, 3])
    assert [KINDS[k] for k in found.kind] == [kind] * 2
    assert (found.i.tolist(), found.j.tolist()) == ([0, 1], [5, 6])
    assert (found.dx_m.tolist(), found.dy_m.tolist()) == ([1.0, 1.0], [2.0, 2.0])
    assert (found.near_park.tolist(), found.dropped.tolist()) == ([-1, -1], [0, 0])
    assert found.dropped.dtype.kind == "i"  # a count
    assert found.near_m.tolist() == found.near_deg.tolist() == [0.0, 0.0]


def test_what_was_not_found_has_no_rows_in_any_column():
    shape = shapely.box(9.0, 44.0, 11.0, 46.0)
    none = make_empty(JudgingContext(Boundaries(np.array([shape])), np.array([14.0]), 2, Station()))
    for table in (none, none.claims, none.judged):
        columns = [getattr(table, column.name) for column in fields(table)]
        # where the parks of each row begin has an element more
        assert {len(column) for column in columns if column is not none.claims.first} == {0}
    assert none.claims.first.tolist() == [0]
