"""Walks in a search: where line spots move to, what is closed, what is warned of, what comes last."""

import math
import re

import numpy as np
import pytest
import shapely
from builders import parks_frame
from plains import Plain

from scout.app.find import SearchOptions, find_spots
from scout.model import ParkReport, Parks, Walking
from scout.walk.reach import AccessSource

PLAIN = Plain(lon=10.0, lat=47.3)  # on a square-level meridian, far from its corners
PARK = shapely.box(-900, -2000, 900, 2000)
ROAD = (shapely.LineString([(-500, 700), (500, 760)]), True, True, False)
NORTH = (shapely.LineString([(-3000, 1500), (3000, 1500)]), True, True, False)
WALKING = Walking()
LEVEL = PLAIN.relief(lambda x, y: 0 * x + 50)


def search(around, shapes=(PARK,), reliefs=(), power_line_m=50.0, walking=WALKING, **options):
    frame = parks_frame(*(((f"Q-{k}", f"Park {k}"), PLAIN.placed(s)) for k, s in enumerate(shapes)))
    asked = []

    def near(boxes):
        asked.extend(boxes)
        return around, reliefs

    options = {"near_m": 0.0, "min_grids": 2} | options
    found = find_spots(
        Parks(frame, (), ParkReport()),
        SearchOptions(**options),
        access=AccessSource(near, walking, {"power": power_line_m}),
    )
    return found, asked


def metres_north(spot):
    return (spot.lat - 47.3) * 111_170


def test_the_line_spot_stands_where_a_road_crosses_the_line():
    found, _ = search(PLAIN.surroundings([ROAD]))
    (one,) = found.spots
    assert one.spot.kind == "line"
    assert one.spot.verdict.word == "firm"
    assert metres_north(one.spot) == pytest.approx(730, abs=8)
    assert one.route.out_min < 0.2
    assert one.spot.lon == pytest.approx(10.0)


def test_without_access_data_the_middle_stays_and_there_is_no_route():
    frame = parks_frame((("Q-0", "Park"), PLAIN.placed(PARK)))
    (one,) = find_spots(Parks(frame, (), ParkReport()), SearchOptions(near_m=0.0, min_grids=2)).spots
    assert abs(metres_north(one.spot)) < 5
    assert one.route is None


def test_where_the_road_crosses_only_the_doubtful_end_the_nearest_firm_place_is_taken():
    edge = (shapely.LineString([(-800, 1995), (800, 1995)]), True, True, False)
    found, _ = search(PLAIN.surroundings([edge]))
    (one,) = found.spots
    assert one.spot.verdict.word == "firm"
    # 95 % needs some 20 m of clearance with the default errors.
    assert 1940 < metres_north(one.spot) < 1985
    assert one.route.out_min > 0.2


def test_the_chosen_place_is_no_further_on_foot_than_any_other_firm_one():
    wood = (shapely.Polygon([(-400, 600), (400, 600), (400, 1420), (-400, 1300)]), "water", "")
    around = PLAIN.surroundings([NORTH], barriers=[wood])
    (one,), _ = search(around)[0].spots, None
    steps = np.linspace(-1900, 1900, 191)
    outside = steps[(steps < 590) | (steps > 1400)]
    nearest = min(abs(1500 - y) for y in outside)
    assert one.route.off_path_m <= nearest + 15


def test_closed_ground_is_left_out_and_counted_and_a_stretch_is_used_beside_it():
    half = (shapely.box(-1000, 0, 1000, 3000), "military range", "Dullmoor")
    found, _ = search(PLAIN.surroundings([ROAD], closed=[half]))
    (one,) = found.spots
    assert metres_north(one.spot) < -4
    whole = (shapely.box(-5000, -5000, 5000, 5000), "military range", "Dullmoor")
    found, _ = search(PLAIN.surroundings([ROAD], closed=[whole]))
    assert len(found.spots) == 0
    assert [(left.reason, left.count) for left in found.left_out] == [
        ("on closed ground (military range)", 1)
    ]


def test_an_overhead_line_is_warned_of_and_nothing_is_dropped():
    wire = (shapely.LineString([(-3000, 760), (3000, 760)]), "power line", "")
    around = PLAIN.surroundings([ROAD], power=[wire])
    (one,) = search(around)[0].spots
    assert len(one.warnings) == 1
    assert re.search(r"\b(29|30|31) m away", one.warnings[0])
    (same,) = search(around, power_line_m=20.0)[0].spots
    assert same.warnings == ()


def test_steep_ground_is_noted():
    steep = PLAIN.relief(lambda x, y: 1000 + math.tan(math.radians(22)) * x)
    (one,) = search(PLAIN.surroundings([ROAD]), reliefs=[steep])[0].spots
    assert one.slope_deg == pytest.approx(22, abs=0.5)
    assert any("22°" in note for note in one.spot.notes)
    (flat,) = search(PLAIN.surroundings([ROAD]), reliefs=[LEVEL])[0].spots
    assert flat.slope_deg == pytest.approx(0, abs=0.1)
    assert not any("deg" in note for note in flat.spot.notes)


def test_out_of_reach_comes_last_with_its_reason():
    lake = (shapely.box(-300, -2100, 300, 2100), "water", "Long Mere")
    far = shapely.box(-900, 4000, 900, 4400)
    two = shapely.box(-800, -1900, 800, 1900)
    road = (shapely.LineString([(-600, 4100), (600, 4150)]), True, True, False)
    found, _ = search(PLAIN.surroundings([road], barriers=[lake]), shapes=[PARK, two, far])
    best, *rest = found.spots
    assert best.route.state == "walked"
    assert {r.route.reason for r in rest} == {"in water: Long Mere"}
    assert max(r.grid_park_pairs for r in rest) > best.grid_park_pairs


def test_over_the_longest_walk_is_out_of_reach():
    found, _ = search(PLAIN.surroundings([NORTH]), shapes=[shapely.box(-900, -900, 900, 300)])
    (one,) = found.spots
    assert one.route.state == "walked"
    limit = one.route.out_min / 2
    (none,) = search(
        PLAIN.surroundings([NORTH]),
        shapes=[shapely.box(-900, -900, 900, 300)],
        walking=Walking(limit_min=limit),
    )[0].spots
    assert none.route.state == "out of reach"
    assert none.route.out_min is None


def test_a_load_slows_the_walk():
    shapes = [shapely.box(-900, -900, 900, 300)]
    (light,) = search(PLAIN.surroundings([NORTH]), shapes=shapes)[0].spots
    (heavy,) = search(PLAIN.surroundings([NORTH]), shapes=shapes, walking=Walking(load_kg=20.0))[0].spots
    assert heavy.route.out_min > 1.1 * light.route.out_min


def test_heights_that_do_not_cover_the_spot_give_no_time():
    beside = Plain(lon=10.1, lat=47.3).relief(lambda x, y: 0 * x + 50, half_m=1000)
    (one,) = search(PLAIN.surroundings([NORTH]), reliefs=[beside])[0].spots
    assert one.route.state == "unknown"
    assert one.route.reason == "the heights do not cover it"
    assert one.route.out_min is None


def test_access_data_without_any_start_says_so():
    footpath = (shapely.LineString([(-500, 700), (500, 760)]), True, False, False)
    (one,) = search(PLAIN.surroundings([footpath]))[0].spots
    assert (one.route.state, one.route.reason) == ("unknown", "the access data holds no parking and no road")


def test_only_ground_near_the_places_found_is_asked_for():
    _, boxes = search(PLAIN.surroundings([ROAD]))
    west, south, east, north = np.array(boxes).T
    assert west.min() == pytest.approx(10 - 3000 / 75_560, abs=0.003)
    assert east.max() == pytest.approx(10 + 3000 / 75_560, abs=0.003)
    assert north.max() == pytest.approx(47.3 + 5000 / 111_170, abs=0.003)
    assert south.min() == pytest.approx(47.3 - 5000 / 111_170, abs=0.003)


def test_near_misses_are_not_walked_to():
    beside = shapely.box(60, -900, 900, 300)
    found, _ = search(PLAIN.surroundings([NORTH]), shapes=[beside], near_m=500.0, min_grids=1)
    assert [r.spot.kind for r in found.spots] == ["near-miss"]
    assert found.spots[0].route is None


# --- starts further than 3 km -------------------------------------------------------------------------------


def far_ground(metres, barriers=()):
    """A road on the other side of the line so far south, and what lies in the way."""
    road = (shapely.LineString([(-800, -metres), (800, -metres)]), True, True, False)
    return PLAIN.surroundings([road], barriers=barriers)


SMALL = shapely.box(-60, -60, 60, 60)


@pytest.mark.parametrize(
    ("metres", "state"), [(2900, "walked"), (3200, "walked"), (5600, "walked"), (6600, "out")]
)
def test_a_road_beyond_three_kilometres_serves_where_the_longest_walk_leads_there(metres, state):
    """At 3.02 km/h off paths (Tobler, 0.6 of 5.04) two hours make 6.04 km."""
    found, asked = search(far_ground(metres), shapes=[SMALL])
    (one,) = found.spots
    assert one.route.state.startswith(state)
    if state == "walked":
        assert one.route.out_min == pytest.approx((metres + metres_north(one.spot)) / 3021.9 * 60, rel=0.03)
        assert bool(one.route.reason) == (metres > 3000) == any("Long walk" in n for n in one.spot.notes)
    else:
        assert one.route.reason == "the walk takes over 120 min"
    widest = max(north - south for _, south, _, north in asked) * 111_170 / 2
    assert widest == pytest.approx(3000 if metres < 3000 else 12_000, rel=0.05)


def test_a_short_longest_walk_looks_no_further_than_it_leads():
    found, asked = search(far_ground(3100), shapes=[SMALL], walking=Walking(limit_min=45.0))
    (one,) = found.spots
    assert one.route.reason.startswith("the walk takes over 45 min")
    assert max(north - south for _, south, _, north in asked) * 111_170 / 2 == pytest.approx(4500, rel=0.05)
    path = (shapely.LineString([(0, -3100), (0, 0)]), True, False, False)
    around = PLAIN.surroundings(
        [path, (shapely.LineString([(-800, -3100), (800, -3100)]), True, True, False)]
    )
    (one,) = search(around, shapes=[SMALL], walking=Walking(limit_min=45.0))[0].spots
    assert one.route.out_min == pytest.approx((3100 + metres_north(one.spot)) / 5036.5 * 60, rel=0.02)


def test_a_river_near_by_sends_the_walk_to_a_start_further_off():
    river = (shapely.LineString([(-12_000, -500), (12_000, -500)]), "river", "Wend")
    near = (shapely.LineString([(-800, -900), (800, -900)]), True, True, False)
    far = (shapely.LineString([(-800, 4200), (800, 4200)]), True, True, False)
    around = PLAIN.surroundings([near, far], barriers=[river])
    (one,) = search(around, shapes=[SMALL])[0].spots
    assert one.route.state == "walked"
    assert one.route.start[1] > 47.33


def test_where_even_the_longest_walk_finds_no_start_the_reason_names_its_reach():
    around = PLAIN.surroundings([(shapely.LineString([(-800, -14_000), (800, -14_000)]), True, True, False)])
    (one,) = search(around, shapes=[SMALL])[0].spots
    assert one.route.reason == "no parking or road within 12 km"


def test_further_starts_are_looked_for_around_the_best_spots_only(monkeypatch):
    monkeypatch.setattr("scout.walk.reach._MOST", 1)
    found, _ = search(far_ground(3300), shapes=[SMALL, shapely.box(-60, 400, 60, 460)])
    reasons = sorted(one.route.reason for one in found.spots)
    assert [reason.split(", for")[0] for reason in reasons] == [
        "no parking or road within 3 km; starts further away are looked for around the best 1 spots only",
        "worked out on cells of up to 36 m",
    ]


def test_a_wide_window_with_coarse_cells_tells_nearly_the_same_times():
    """Beside cells of 10 m: hills, a wall with a gate, a lake and a path."""
    from scout.walk.routes import WalkTargets, find_walks

    hills = PLAIN.relief(lambda x, y: 300 + 40 * np.sin(x / 260) + 30 * np.cos(y / 190), half_m=5000)
    lake = (shapely.Point(600, 500).buffer(350), "water", "")
    wall = (shapely.LineString([(-1500, 900), (-200, 1000), (300, 1400)]), "wall", "")
    path = (shapely.LineString([(-300, 100), (700, 900), (1100, 1700)]), True, False, False)
    around = PLAIN.surroundings([path], [shapely.Point(0, 0)], [lake, wall], [shapely.Point(-200, 1000)])
    points = [(900, 2000), (-900, 1500), (1700, 600), (200, 1200), (-1600, -700), (1200, -1500)]
    lon, lat = PLAIN.degrees(*points)
    targets = WalkTargets(lon, lat, np.arange(len(points)))
    fine, coarse = (
        np.array([one.route.out_min for one in find_walks(targets, around, [hills], Walking(cell_m=cell))])
        for cell in (10.0, 36.0)
    )
    assert np.abs(coarse / fine - 1).max() < 0.05
