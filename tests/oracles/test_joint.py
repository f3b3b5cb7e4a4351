"""Confidence where one receiver error moves all conditions, against draws of the same errors by brute force.

Each draw has one error of the receiver and one of every boundary (one for both where two parks are drawn from
the same vertices); shapely says whether the disc lies inside, plain distances whether it touches the cells.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pytest
import shapely
from scipy.integrate import quad
from scipy.stats import norm
from shapely import affinity

from scout import kernels
from scout.geo.boundaries import Boundaries
from scout.geo.geodesy import compute_degree_lengths
from scout.geo.joint import join_parts
from scout.model import Station
from scout.search.verdict import FOUR, MERIDIAN, ONE, PARALLEL, THREE, Claims, JudgingContext, judge_claims

LAT, LON = 45.0, 10.0  # a corner of squares
PER_LON, PER_LAT = (float(v) for v in compute_degree_lengths(LAT))
SIGMAS = 2.4477468306808166  # in a 95 % radius (FGDC-STD-007.3-1998)
MIDDLE = {5: (1, 1), 6: (-1, 1), 7: (-1, -1), 8: (1, -1)}
FAR = 900.0
DRAWS = 200_000


@dataclass
class Case:
    """A station of this radius at (x, y) metres from the corner, what it claims, and the errors."""

    radius: float
    fix_error: float
    grid: int
    x: float
    y: float
    parks: list = field(default_factory=list)  # in metres about the corner
    errors: list = field(default_factory=list)  # 95 %, of each boundary
    error_of: list = field(default_factory=list)  # number of the boundary error of each park


def draw_case(rng) -> Case:
    radius = float(rng.choice([1.0, 3.0, 5.0, 8.0, 15.0]))
    fix_error = float(rng.choice([1.0, 3.0, 4.9, 4.9, 8.0, 20.0, 50.0]))
    grid = int(rng.choice([ONE, MERIDIAN, PARALLEL, FOUR, *THREE]))
    x, y = rng.normal(0, 0.4 * radius, 2)
    if grid == ONE:
        x, y = rng.choice([-1, 1], 2) * (radius + rng.exponential(fix_error, 2)) * [1, 1.5]
    elif grid in THREE:
        x, y = np.abs(rng.normal(0.4 * radius, 0.3 * radius, 2)) * MIDDLE[grid]
    case = Case(radius, fix_error, grid, float(x), float(y))
    while len(case.parks) < rng.integers(1, 5):
        error = float(rng.choice([1.0, 1.0, 2.0, 5.0, 14.0, 14.0, 30.0, 50.0]))
        number = max(case.error_of, default=-1) + 1
        spread = float(np.hypot(fix_error, error) / SIGMAS)
        shapes = draw_shapes(rng, radius, spread)
        for shape in shapes:
            case.parks.append(affinity.translate(shape, case.x, case.y))
            case.errors.append(error)
            case.error_of.append(number)
    return case


def draw_shapes(rng, radius: float, spread: float) -> list:
    """One park about a station at the origin, or two that share a boundary."""
    room = radius + spread * rng.uniform(0.0, 3.0)
    turn = float(rng.choice([0.0, 90.0, 180.0, 270.0, rng.uniform(0, 360)]))
    kind = rng.choice(["edge", "tip", "bay", "needle", "strip", "hole", "ragged", "same", "beside", "twice"])
    if kind in ("same", "beside"):
        coast = draw_coast(rng, room, spread)
        left = shapely.Polygon([*coast, (FAR, FAR), (-FAR, FAR)])
        other = [(FAR, 0.5 * FAR), (-0.5 * FAR, FAR)] if kind == "same" else [(FAR, -FAR), (-FAR, -FAR)]
        return [affinity.rotate(s, turn, (0, 0)) for s in (left, shapely.Polygon([*coast, *other]))]
    if kind == "edge":
        shape = shapely.box(-FAR, -room, FAR, FAR)
    elif kind == "tip":
        half = np.radians(rng.uniform(10, 80))
        apex = -room / np.sin(half)
        shape = shapely.Polygon(
            [(0, apex), (FAR, apex + FAR / np.tan(half)), (-FAR, apex + FAR / np.tan(half))]
        )
    elif kind == "bay":
        shape = shapely.box(-FAR, -FAR, FAR, FAR) - shapely.box(-FAR, -FAR, -room / 2, -room / 2)
    elif kind == "needle":
        shape = shapely.Polygon([(-room * 3, -0.1), (room * 8, -1.5 * room), (room * 8, 1.5 * room)])
    elif kind == "strip":
        shape = shapely.box(-FAR, -room, FAR, radius + spread * rng.uniform(0.2, 3.0))
    elif kind == "hole":
        way = rng.uniform(0.8, 2.0) * room
        shape = shapely.box(-FAR, -FAR, FAR, FAR) - shapely.Point(way, 0).buffer(
            rng.uniform(0.1, 0.8) * room, 4
        )
    elif kind == "ragged":
        angle = np.sort(rng.uniform(0, 2 * np.pi, 12))
        away = room * rng.uniform(0.8, 3.0, 12)
        shape = shapely.Polygon(np.stack([away * np.cos(angle), away * np.sin(angle)], axis=1)).buffer(0)
        shape = max(shapely.get_parts(shape), key=lambda part: part.area)
    else:
        coast = draw_coast(rng, room, spread)
        shape = shapely.Polygon([*coast, (FAR, FAR), (-FAR, FAR)])
        return [affinity.rotate(shape, turn, (0, 0))] * 2
    return [affinity.rotate(shape, turn, (0, 0))]


def draw_coast(rng, room: float, spread: float) -> list:
    """A ragged line from west to east, some way south of the origin."""
    x = np.concatenate([[-FAR], np.sort(rng.uniform(-5, 5, 6)) * (room + spread), [FAR]])
    return list(zip(x.tolist(), (-room - rng.exponential(0.4 * spread, 8)).tolist(), strict=True))


def count_draws(case: Case, draws: int, rng) -> float:
    """Share of the draws in which every condition holds."""
    fix = case.fix_error / SIGMAS
    e = rng.normal(0.0, fix, (draws, 2)) + np.array([case.x, case.y])
    e = e[is_touching(case, e)]
    shift = {}
    for shape, error, number in zip(case.parks, case.errors, case.error_of, strict=True):
        if number not in shift:
            shift[number] = rng.normal(0.0, error / SIGMAS, e.shape)
        room = shapely.intersection(shape, shapely.box(-400, -400, 400, 400)).buffer(
            -case.radius, quad_segs=32
        )
        if room.is_empty:
            return 0.0
        shapely.prepare(room)
        at = e + shift[number]
        kept = shapely.contains_xy(room, at[:, 0], at[:, 1])
        e = e[kept]
        shift = {n: b[kept] for n, b in shift.items()}
    return len(e) / draws


def is_touching(case: Case, e):
    x, y = e.T
    r, grid = case.radius, case.grid
    if grid == ONE:  # of the quadrant that the stated centre lies in
        out = np.hypot(np.maximum(-np.sign(case.x) * x, 0), np.maximum(-np.sign(case.y) * y, 0))
        return out <= r
    if grid == MERIDIAN:
        return np.abs(x) <= r
    if grid == PARALLEL:
        return np.abs(y) <= r
    quadrants = [(1, 1), (-1, 1), (-1, -1), (1, -1)]
    if grid in THREE:
        sx, sy = MIDDLE[grid]
        quadrants.remove((-sx, -sy))
    touched = [np.hypot(np.maximum(-sx * x, 0), np.maximum(-sy * y, 0)) <= r for sx, sy in quadrants]
    return np.all(touched, axis=0)


def judge_case(case: Case):
    globe = [
        shapely.transform(s, lambda xy: np.array([LON, LAT]) + xy / [PER_LON, PER_LAT]) for s in case.parks
    ]
    station = Station(radius_m=case.radius, fix_error_m=case.fix_error)
    ground = JudgingContext(Boundaries(np.array(globe, dtype=object)), np.array(case.errors), 2, station)
    n = len(case.parks)
    lon, lat, dx, dy = (np.array([v]) for v in (LON, LAT, case.x, case.y))
    if case.grid == ONE:
        lon, lat, dx, dy = lon + dx / PER_LON, lat + dy / PER_LAT, 0 * dx, 0 * dy
    claims = Claims(lon, lat, np.array([case.grid]), np.array([0, n]), np.arange(n))
    return judge_claims(claims, dx, dy, ground)


@pytest.mark.parametrize("first", range(0, 100, 10))
def test_it_agrees_with_draws_of_the_same_errors(first):
    """Within 0.003 and four standard deviations of the draws."""
    for k in range(first, first + 10):
        rng = np.random.default_rng([20261127, k])
        case = draw_case(rng)
        drawn = count_draws(case, DRAWS, rng)
        noise = 4 * np.sqrt(max(drawn * (1 - drawn), 1e-4) / DRAWS)
        assert float(judge_case(case).confidence[0]) == pytest.approx(drawn, abs=0.003 + noise), (k, case)


def test_one_condition_alone_is_what_it_was():
    for k in range(200):
        rng = np.random.default_rng([20261128, k])
        case = draw_case(rng)
        case.grid, case.x, case.y = ONE, 2000.0, 2000.0
        case.parks = [affinity.translate(case.parks[0], rng.normal(0, 5) + 2000, rng.normal(0, 5) + 2000)]
        judged = judge_case(case)
        assert judged.grids_p[0] == pytest.approx(1.0, abs=1e-9)
        assert judged.confidence[0] == pytest.approx(judged.parks_p[0] * judged.grids_p[0], abs=1e-6)


@pytest.mark.usefixtures("loops")
@pytest.mark.parametrize("fix_error", [0.0, 4.9])
@pytest.mark.parametrize("error", [0.0, 1.0, 14.0])
def test_neighbours_that_share_their_boundary_cannot_both_hold_a_station(error, fix_error):
    south, north = shapely.box(-300, -300, 300, 0), shapely.box(-300, 0, 300, 300)
    beside = Case(5.0, fix_error, FOUR, 0.0, 0.5, [south, north], [error, error], [0, 0])
    assert judge_case(beside).confidence[0] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.usefixtures("loops")
@pytest.mark.parametrize("off", np.linspace(-0.06, 0.06, 13).tolist())
def test_within_centimetres_of_a_boundary_the_side_is_the_right_one(off):
    """A parallel is no straight line: between vertices a kilometre apart it runs 0.03 m off their chord."""
    lat = 60.0
    per_lon, per_lat = (float(v) for v in compute_degree_lengths(lat))
    parks = [shapely.box(10.0, lat - 0.1, 10.1, lat), shapely.box(10.0, lat, 10.1, lat + 0.1)]
    ground = JudgingContext(Boundaries(np.array(parks, dtype=object)), np.full(2, 14.0), 2, Station())
    at = 10.0 + 500.0 / per_lon, lat + off / per_lat
    claims = Claims(*(np.array([v]) for v in at), np.array([ONE]), np.array([0, 2]), np.arange(2))
    judged = judge_claims(claims, np.zeros(1), np.zeros(1), ground)
    spread = np.hypot(4.9, 14.0) / SIGMAS
    assert judged.parks_p == pytest.approx(norm.cdf((np.array([-off, off]) - 5.0) / spread), abs=0.003)
    assert judged.confidence[0] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.usefixtures("loops")
@pytest.mark.parametrize("turn", [0.0, 37.0])
def test_on_the_tip_of_a_notch_three_quarters_are_inside(turn):
    """A station of a point's size on a vertex, to the last bit: which side that is must not matter."""
    park = affinity.rotate(shapely.box(-300, -300, 300, 300) - shapely.box(0, 0, 300, 300), turn, (0, 0))
    judged = judge_case(Case(0.001, 4.9, MERIDIAN, 0.0, 0.0, [park], [1.0], [0]))
    assert judged.parks_p[0] == pytest.approx(0.75, abs=0.003)


@pytest.mark.usefixtures("loops")
@pytest.mark.parametrize("error", [1.0, 14.0])
def test_one_boundary_drawn_for_two_parks_counts_once(error):
    park = shapely.box(-300, -9, 300, 300)
    one = Case(5.0, 4.9, MERIDIAN, 0.0, 0.0, [park], [error], [0])
    two = Case(5.0, 4.9, MERIDIAN, 0.0, 0.0, [park, park], [error, error], [0, 0])
    assert judge_case(two).confidence[0] == pytest.approx(judge_case(one).confidence[0], abs=1e-6)


@pytest.mark.usefixtures("loops")
def test_a_receiver_off_to_the_north_is_off_for_both_boundaries():
    """Two parks end 9 m south, and errors of boundaries are small: both are lost at once."""
    parks = [shapely.box(-300, -9, 300, 300), shapely.box(-400, -9.5, 200, 290)]
    judged = judge_case(Case(5.0, 4.9, FOUR, 0.0, 0.0, parks, [1.0, 1.0], [0, 1]))
    assert judged.confidence[0] > judged.grids_p[0] * np.prod(judged.parks_p) + 0.005


@pytest.mark.usefixtures("loops")
def test_without_errors_it_is_the_plain_question():
    park = shapely.box(-300, -5.1, 300, 300)
    assert judge_case(Case(5.0, 0.0, PARALLEL, 0.0, 0.0, [park], [0.0], [0])).confidence[0] == 1.0
    assert judge_case(Case(5.0, 0.0, PARALLEL, 0.0, -0.2, [park], [0.0], [0])).confidence[0] == 0.0


def along_one_axis(low, high, fix, clear):
    """P(low < e < high, and the boundaries clear) over the receiver's error along one axis."""
    held, _ = quad(
        lambda e: norm.pdf(e / fix) / fix * clear(e), max(low, -9 * fix), min(high, 9 * fix), limit=200
    )
    return held


@pytest.mark.usefixtures("loops")
@pytest.mark.parametrize("fix_error", [2.0, 9.0])
@pytest.mark.parametrize("errors", [(1.0, 1.0), (14.0, 14.0), (5.0, 20.0)])
@pytest.mark.parametrize("turn", [0, 270])
def test_it_is_the_integral_over_the_receiver_s_error_where_sides_are_straight(turn, errors, fix_error):
    """Sides that run east and north, and a line to stand on: one integral an axis (scipy.integrate.quad)."""
    radius, fix = 5.0, fix_error / SIGMAS
    one, two = (e / SIGMAS for e in errors)
    a, b = radius + 1.2 * fix + 0.5 * one, radius + 0.8 * fix + 0.4 * two

    def told(grid, *parks, error_of=(0, 1)):
        """Everything turned by quarters; claims turn along."""
        east, north = (1.0, 0.5) if grid in (MERIDIAN, PARALLEL) else (0.0, 0.0)
        turned = [affinity.rotate(affinity.translate(s, east, north), turn, (0, 0)) for s in parks]
        x, y = affinity.rotate(shapely.Point(east, north), turn, (0, 0)).coords[0]
        if turn % 180 and grid in (MERIDIAN, PARALLEL):
            grid = PARALLEL if grid == MERIDIAN else MERIDIAN
        case = Case(radius, fix_error, grid, x, y, turned, [errors[k] for k in error_of], list(error_of))
        return judge_case(case).confidence[0]

    west, south = shapely.box(-a, -FAR, FAR, FAR), shapely.box(-FAR, -b, FAR, FAR)
    corner = shapely.box(-a, -b, FAR, FAR)

    def beyond(d, s):
        return lambda e: norm.cdf((d + e - radius) / s)

    def always(_):
        return 1.0

    on_line = along_one_axis(-radius - 1.0, radius - 1.0, fix, beyond(a, one))
    assert told(MERIDIAN, west, error_of=(0,)) == pytest.approx(on_line, abs=0.003)
    across = along_one_axis(-radius - 1.0, radius - 1.0, fix, always) * along_one_axis(
        -99, 99, fix, beyond(b, two)
    )
    assert told(MERIDIAN, south, error_of=(1,)) == pytest.approx(across, abs=0.003)
    both = on_line * along_one_axis(-99, 99, fix, beyond(b, two))
    assert told(MERIDIAN, west, south) == pytest.approx(both, abs=0.003)
    # A corner of one park: one error to either axis.
    tip = on_line * along_one_axis(-99, 99, fix, beyond(b, one))
    assert told(MERIDIAN, corner, error_of=(0,)) == pytest.approx(tip, abs=0.003)
    lower = along_one_axis(-radius - 0.5, radius - 0.5, fix, beyond(b, one)) * along_one_axis(
        -99, 99, fix, beyond(a, one)
    )
    assert told(PARALLEL, corner, error_of=(0,)) == pytest.approx(lower, abs=0.003)


@pytest.mark.usefixtures("loops")
@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("along", ["east", "north"])
def test_one_cell_is_left_on_the_side_of_its_line(along, side):
    """A metre into its cell from a line, four into a park that ends beyond the line: one integral (scipy)."""
    radius, fix, s = 2.0, 9.0 / SIGMAS, 5.0 / SIGMAS
    park = shapely.box(-3.0, -FAR, FAR, FAR) if side == 1 else shapely.box(-FAR, -FAR, 3.0, FAR)
    at = [side * 1.0, 300.0]
    if along == "north":
        park, at = shapely.transform(park, lambda xy: xy[:, ::-1]), at[::-1]
    expected = along_one_axis(-radius - 1.0, 99, fix, lambda e: norm.cdf((4.0 + e - radius) / s))
    case = Case(radius, 9.0, ONE, *at, [park], [5.0], [0])
    assert judge_case(case).confidence[0] == pytest.approx(expected, abs=0.003)


@pytest.mark.usefixtures("loops")
def test_beyond_three_edges_it_is_outside():
    """A station of a point's size in two parks: 3 m east a slit a metre wide, at 6 and 7 m their ends."""
    fix = 9.0 / SIGMAS
    slit = shapely.box(-FAR, -FAR, 6.0, FAR) - shapely.box(3.0, -FAR + 100, 4.0, FAR - 100)
    parks = [affinity.translate(some, 300, 300) for some in (slit, shapely.box(-FAR, 1 - FAR, 7.0, FAR))]
    judged = judge_case(Case(0.001, 9.0, ONE, 300.0, 300.0, parks, [0.1, 0.1], [0, 1]))
    expected = norm.cdf(3.0 / fix) + norm.cdf(6.0 / fix) - norm.cdf(4.0 / fix)  # the second holds the first
    assert judged.confidence[0] == pytest.approx(expected, abs=0.003)


@pytest.mark.usefixtures("loops")
@pytest.mark.parametrize("error", [1.0, 14.0])
def test_parks_on_either_side_of_a_strip_of_their_own_boundary_share_its_error(error):
    """Two parks end on the same line, 12 m west; a third, with an error of its own, ends 9 m south."""
    fix, s = 4.9 / SIGMAS, error / SIGMAS
    shared = [shapely.box(-12, -FAR, FAR, FAR), shapely.box(-12, -FAR, FAR, FAR)]
    own = shapely.box(-FAR, -9, FAR, FAR)
    case = Case(5.0, 4.9, MERIDIAN, 0.0, 0.0, [*shared, own], [error] * 3, [0, 0, 1])
    west = along_one_axis(-5, 5, fix, lambda e: norm.cdf((7 + e) / s))
    south = along_one_axis(-99, 99, fix, lambda e: norm.cdf((4 + e) / s))
    assert judge_case(case).confidence[0] == pytest.approx(west * south, abs=0.003)
    twice = along_one_axis(-5, 5, fix, lambda e: norm.cdf((7 + e) / s) ** 2)
    apart = [shared[0], shapely.box(-12, -FAR - 50, FAR + 10, FAR + 50)]  # no vertex in common
    case = Case(5.0, 4.9, MERIDIAN, 0.0, 0.0, apart, [error] * 2, [0, 1])
    assert judge_case(case).confidence[0] == pytest.approx(twice, abs=0.003)


@pytest.mark.usefixtures("loops")
@pytest.mark.parametrize("first", range(3))
def test_either_loop_agrees_with_draws(first):
    """A few of the geometries above; each loop by itself."""
    for k in range(100 + 3 * first, 103 + 3 * first):
        rng = np.random.default_rng([20261127, k])
        case = draw_case(rng)
        drawn = count_draws(case, 100_000, rng)
        noise = 4 * np.sqrt(max(drawn * (1 - drawn), 1e-4) / 100_000)
        assert float(judge_case(case).confidence[0]) == pytest.approx(drawn, abs=0.003 + noise), (k, case)


@pytest.mark.usefixtures("loops")
@pytest.mark.parametrize(("apart", "edge", "one"), [(0.07, 1.0, True), (0.13, 1.0, False), (0.07, 0.0, True)])
@pytest.mark.parametrize("way", [1, -1])
def test_vertices_within_a_tenth_of_a_metre_are_one_and_make_edges_one(apart, edge, one, way):
    """Two parks end 12 m west, one drawn either way round, their vertices so far apart along that line."""
    fix, s = 4.9 / SIGMAS, 14.0 / SIGMAS
    ring = np.array([(-12.0, -FAR), (FAR, -FAR), (FAR, FAR), (-12.0, FAR)])
    other = np.add(ring, [(0.0, -apart), (edge, -50.0), (edge, 50.0), (0.0, apart)])
    case = Case(
        5.0, 4.9, MERIDIAN, 0.0, 0.0, [shapely.Polygon(ring), shapely.Polygon(other[::way])], [14.0] * 2
    )
    held = along_one_axis(-5, 5, fix, lambda e: norm.cdf((7 + e) / s) ** (1 if one else 2))
    assert judge_case(case).confidence[0] == pytest.approx(held, abs=0.003)


@pytest.mark.usefixtures("loops")
def test_in_a_narrow_neck_a_boundary_that_hardly_errs_is_not_taken_as_straight():
    """0.3 m of room to either side, over 6 m of the way: clearance alone would say 0.004 too much."""
    neck = shapely.box(-FAR, -FAR, FAR, FAR) - shapely.box(-3, 5.3, 3, FAR) - shapely.box(-3, -FAR, 3, -5.3)
    case = Case(5.0, 8.0, MERIDIAN, 0.0, 0.0, [neck], [1.0], [0])
    drawn = count_draws(case, 800_000, np.random.default_rng(6))
    assert judge_case(case).confidence[0] == pytest.approx(drawn, abs=0.0022)


@pytest.mark.usefixtures("loops")
def test_boundaries_are_shared_from_park_to_park_to_park():
    """The first shares one with the third, and the third one with the second: one error for all three."""
    south = [(-FAR, -9.0), (0.0, -9.0), (FAR, -9.0)]
    west = shapely.Polygon([*south[:2], (30.0, -300.0), (400.0, 500.0), (-FAR, FAR)])
    east = shapely.Polygon([*south[1:], (FAR, FAR), (-400.0, 500.0), (-30.0, -300.0)])
    both = shapely.Polygon([*south, (FAR, 2 * FAR), (-FAR, 2 * FAR)])
    alone = shapely.box(-5 * FAR, -9.4, 5 * FAR, 5 * FAR)
    cases = [
        Case(5.0, 4.9, FOUR, 0.0, 0.0, [west, east, both, alone], [5.0] * 4, [0, 0, 0, 1]),
        Case(5.0, 4.9, FOUR, 0.0, 0.0, [alone, west, both, east], [5.0] * 4, [0, 1, 1, 1]),
    ]
    for case in cases:
        drawn = count_draws(case, 50_000, np.random.default_rng(4))
        assert judge_case(case).confidence[0] == pytest.approx(drawn, abs=0.009)
        apart = replace(case, error_of=[0, 1, 2, 3])
        assert drawn > count_draws(apart, 50_000, np.random.default_rng(5)) + 0.02


@pytest.mark.skipif(kernels.LIBRARY is None, reason="built without a C compiler")
@pytest.mark.parametrize("first", range(0, 60, 6))
def test_the_loops_agree_to_a_millionth_in_any_geometry(first, monkeypatch):
    """Rounding may put a square of a grid on the other side of a bound: 1e-8 was seen."""
    cases = [draw_case(np.random.default_rng([20261129, k])) for k in range(first, first + 6)]
    compiled = [float(judge_case(case).confidence[0]) for case in cases]
    monkeypatch.setattr(kernels, "LIBRARY", None)
    assert [float(judge_case(case).confidence[0]) for case in cases] == pytest.approx(compiled, abs=1e-6)


def test_of_conditions_that_are_sure_or_hopeless_the_product_is_taken():
    """What holds with 0.9995 leaves out less than that; the rest is not joined at all."""
    asked = []

    def join(some):
        asked.extend(some.claim.tolist())
        return np.minimum.reduceat(some.pair_p, some.first[:-1]) * some.cells_p

    first = np.array([0, 1, 2, 4, 5, 7])
    grids = np.array([0.9999, 0.8, 0.7, 0.9, 0.0001])
    parks = np.array([0.6, 0.9999, 0.9, 0.8, 0.0004, 0.9, 0.9])
    told = join_parts(first, grids, parks, join)
    product = grids * [0.6, 0.9999, 0.72, 0.0004, 0.81]
    assert asked == [2]
    assert told[[0, 1, 3, 4]] == pytest.approx(product[[0, 1, 3, 4]], rel=1e-12)
    assert told[2] == pytest.approx(0.7 * 0.8, rel=1e-12)  # what was said to hold together
    assert join_parts(first[:1], grids[:0], parks[:0], join).shape == (0,)
    assert join_parts(np.zeros(6, dtype=int), grids, parks[:0], join).tolist() == grids.tolist()


@pytest.mark.parametrize(("said", "held"), [(0.9, 0.7), (0.1, 0.3), (0.4, 0.4)])
def test_no_claim_is_surer_than_any_condition_nor_less_than_if_each_failed_alone(said, held):
    """Bounds of Frechet: 0.7 at most, and 0.7 + 0.8 + 0.8 - 2 at least."""
    told = join_parts(np.array([0, 2]), np.array([0.7]), np.array([0.8, 0.8]), lambda some: np.array([said]))
    assert told[0] == pytest.approx(held, rel=1e-12)


def test_many_claims_are_joined_some_at_a_time_each_with_its_own_parks():
    rng = np.random.default_rng(17)
    sizes = rng.integers(1, 4, 650)
    first = np.concatenate([[0], np.cumsum(sizes)])
    grids, parks = rng.uniform(0.3, 1.0, 650), rng.uniform(0.3, 1.0, int(first[-1]))
    seen = np.zeros(650, dtype=int)

    def join(some):
        assert len(some.claim) <= 200
        assert some.first[0] == 0
        assert some.first[-1] == len(some.pair) == len(some.pair_p)
        seen[some.claim] += 1
        for k, claim in enumerate(some.claim):
            mine = slice(some.first[k], some.first[k + 1])
            assert np.all((some.pair[mine] >= first[claim]) & (some.pair[mine] < first[claim + 1]))
            assert np.array_equal(some.pair_p[mine], parks[some.pair[mine]])
            assert some.cells_p[k] == (grids[claim] if some.cells[k] else 1.0)
            assert some.cells[k] == (grids[claim] < 0.9995)
        return some.cells_p * np.multiply.reduceat(some.pair_p, some.first[:-1])

    told = join_parts(first, grids, parks, join)
    assert told == pytest.approx(grids * np.multiply.reduceat(parks, first[:-1]), rel=1e-12)
    assert set(seen.tolist()) == {1}
