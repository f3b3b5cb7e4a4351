"""The oracle itself on cases a pencil solves, so that its agreement means something."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from strategies import Place

from oracles import arrangement, budget, exact, metric

SQUARE = shapely.box(-0.5, -0.5, 2.5, 1.5)  # over corners (0, 0), (2, 0), (0, 1), (2, 1) of level 2
HOLED = shapely.Polygon(SQUARE.exterior.coords, [[(-0.1, -0.1), (0.1, -0.1), (0.1, 0.1), (-0.1, 0.1)]])


def test_four_corners_in_a_box_and_three_when_a_hole_takes_one():
    found = arrangement.corners([SQUARE, HOLED], 2)
    assert found == {
        (90, 90): frozenset({0}),
        (91, 90): frozenset({0, 1}),
        (90, 91): frozenset({0, 1}),
        (91, 91): frozenset({0, 1}),
    }


def test_a_corner_on_an_edge_a_vertex_or_a_hole_is_not_inside():
    on_edge, on_vertex = shapely.box(0, -0.5, 1, 0.5), shapely.box(0, 0, 1, 0.5)
    assert arrangement.corners([on_edge], 2) == {}
    assert arrangement.corners([on_vertex], 2) == {}
    assert not arrangement.is_inside(arrangement.segments(HOLED), 0.1, 0.1)
    third = shapely.Polygon([(-1, -3), (1, 3), (2, 3), (2, -3)])  # its west edge passes through (0, 0)
    assert arrangement.corners([third], 1) == {}


def test_the_last_bit_decides_a_corner_beside_an_edge():
    hair = float(np.nextafter(0.0, -1.0))
    beside = shapely.box(hair, -0.5, 1, 0.5)
    assert arrangement.corners([beside], 2) == {(90, 90): frozenset({0})}


def test_intervals_break_at_corners_boundaries_and_other_parks():
    other = shapely.box(-0.2, 0.25, 0.2, 0.75)
    along = [
        i for i in arrangement.intervals([SQUARE, other], 2) if i.meridian and i.line == 90 and i.cell == 90
    ]
    both, alone = frozenset({0, 1}), frozenset({0})
    assert [(i.start_deg, i.end_deg, i.parks) for i in along] == [
        (0.0, 0.25, alone),
        (0.25, 0.75, both),
        (0.75, 1.0, alone),
    ]


def test_an_edge_along_a_line_gives_no_interval_there():
    on_line = shapely.box(0.0, 0.2, 1.0, 0.8)
    assert arrangement.intervals([on_line], 2) == []


def test_over_the_antimeridian_both_ways_of_writing_meet():
    past, before = shapely.box(179.5, 0.5, 181.0, 1.5), shapely.box(-180.0, 0.5, -179.0, 1.5)
    assert arrangement.corners([past, before], 2) == {(0, 91): frozenset({0})}
    both = [i for i in arrangement.intervals([past, before], 2) if len(i.parks) == 2]
    assert [(i.meridian, i.line, i.cell, i.start_deg, i.end_deg) for i in both] == [
        (False, 91, 0, -180.0, -179.0)
    ]
    (face,) = arrangement.faces([past, before])
    assert face.polygon.bounds == (180.0, 0.5, 181.0, 1.5)


def test_faces_of_three_boxes_come_apart_by_their_parks():
    drawn = [shapely.box(0, 0, 4, 1), shapely.box(1, -1, 2, 2), shapely.box(3, -1, 3.5, 2)]
    found = sorted((sorted(f.parks), f.polygon.area) for f in arrangement.faces(drawn))
    assert found == [([0, 1], pytest.approx(1.0)), ([0, 2], pytest.approx(0.5))]


def test_no_line_and_no_corner_at_a_pole():
    cap = shapely.box(-30, 70, 30, 90)
    assert set(arrangement.corners([cap], 1)) == {(8, 17), (9, 17), (10, 17)}
    assert all(i.meridian or i.line < 18 for i in arrangement.intervals([cap], 1))


def test_metres_close_by_and_far_agree():
    park = shapely.box(9.9, 44.99, 10.1, 45.0)  # the north edge is a parallel, not a geodesic
    _, north = metric.degree_lengths(45.0)
    assert metric.clearance_m(park, 10.0, 45.0 - 100 / north) == pytest.approx(100, abs=0.01)
    close = metric.clearances_close_by(park, 10.0, 45.0, np.zeros(2), np.array([-60.0, 20.0]))
    assert close == pytest.approx([60.0, -20.0], abs=0.01)
    assert metric.clearance_m(park, 10.0, 45.03) == pytest.approx(-0.03 * north, rel=1e-5)


def test_drawn_places_put_whole_cells_on_lines_to_the_last_bit():
    park = Place(0, exact.rows(3) // 2, 3).on_globe(shapely.box(-1, -2, 1, 1.5))
    west, south, east, _ = park.bounds
    n = exact.columns(3)
    assert (west, east) == (exact.edge_lon(n - 1, 3), exact.edge_lon(n + 1, 3))
    assert south == exact.edge_lat(n // 2 - 2, 3)
    assert east > 180


def test_three_cells_by_quadrature_meets_the_limits_a_pencil_gives():
    assert budget.three_cells(0.0, 0.0, 5.0, 0.01) == pytest.approx(1.0, abs=1e-6)
    assert budget.three_cells(4.9, 4.9, 5.0, 0.01) == pytest.approx(
        1.0, abs=1e-6
    )  # out of the disc, in the square
    assert budget.four_cells(4.9, 4.9, 5.0, 0.01) == pytest.approx(0.0, abs=1e-6)
    assert budget.three_cells(-4.9, -4.9, 5.0, 0.01) == pytest.approx(0.0, abs=1e-6)
