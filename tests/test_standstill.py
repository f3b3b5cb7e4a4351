"""A recording becomes one position: its middle, its outliers, its error and what the receiver says of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recordings import LAT, LON, START, fixes_at, noise, off

from scout.errors import InputError
from scout.recording.standstill import settle_fixes
from scout.recording.values import FLOOR_M

quick = settings(deadline=None, derandomize=True, max_examples=60)


def test_the_centre_is_the_mean_of_good_fixes():
    east, north = noise(600)
    found = settle_fixes(fixes_at(east + 3, north - 2))
    assert off(found) == pytest.approx(np.hypot(3 + east.mean(), north.mean() - 2), abs=1e-3)
    assert (found.n_fixes, found.n_used, found.outliers, found.moved) == (600, 600, (), False)


def test_outliers_are_named_with_their_place_time_distance_and_bearing():
    east, north = noise(300)
    east[17], north[203] = 40.0, -90.0
    found = settle_fixes(fixes_at(east, north))
    assert [outlier.index for outlier in found.outliers] == [17, 203]
    assert [outlier.time_s - START for outlier in found.outliers] == [17, 203]
    assert [outlier.distance_m for outlier in found.outliers] == pytest.approx([40, 90], abs=0.5)
    assert [outlier.bearing_deg for outlier in found.outliers] == pytest.approx([90, 180], abs=3)
    assert not found.used[[17, 203]].any()
    assert found.used.sum() == 298
    assert any("2 fixes, by 90 m" in note for note in found.notes)


def test_many_outliers_are_remarked():
    east, north = noise(400)
    east[::6] += 100
    found = settle_fixes(fixes_at(east, north))
    assert off(found) < 0.3
    assert len(found.outliers) == 67
    assert any("may have been moved" in note for note in found.notes)


def test_good_noise_has_no_outliers_and_small_excursions_are_none():
    assert not settle_fixes(fixes_at(*noise(2000, 2.0))).outliers
    east, north = np.zeros(50), np.zeros(50)
    east[7] = 4.5
    assert not settle_fixes(fixes_at(east, north)).outliers


def test_the_error_joins_the_floor_and_the_random_part():
    found = settle_fixes(fixes_at(*noise(900)))
    assert found.floor_95_m == FLOOR_M == 4.9
    assert max(found.floor_95_m, found.random_95_m) < found.error_95_m
    assert found.error_95_m <= np.hypot(found.floor_95_m, found.random_95_m) + 1e-6
    assert settle_fixes(fixes_at(*noise(900)), floor_m=0.0).error_95_m == pytest.approx(found.random_95_m)


def test_no_recording_however_long_and_quiet_beats_the_floor():
    assert settle_fixes(fixes_at(*noise(3600, 0.05))).error_95_m > FLOOR_M


def test_a_single_fix_gets_the_floor_and_the_scatter_it_cannot_show():
    """About the 8 m at 95 % of the GPS SPS Performance Standard, 5th ed., section 3 (R2)."""
    found = settle_fixes(fixes_at([0.0], [0.0]))
    assert 7 < found.error_95_m < 8
    assert np.isnan(found.scatter_95_m)
    assert found.n_effective == 1
    assert off(found) < 1e-6


def test_few_quiet_fixes_narrow_the_circle_and_few_scattered_ones_do_not():
    quiet = [settle_fixes(fixes_at(*noise(n, 0.1))).error_95_m for n in (1, 2, 3, 10)]
    assert quiet == sorted(quiet, reverse=True)
    wide = settle_fixes(fixes_at([-4.0, 4.0], [0.0, 0.0])).error_95_m
    assert wide > quiet[0]


@pytest.mark.parametrize("lon", [LON, -89.1234567, 179.9999999])
def test_one_place_repeated_counts_as_one_fix(lon):
    zeros = np.zeros(501)
    held = settle_fixes(fixes_at(zeros, zeros, lon=lon, hdop=np.linspace(0.8, 1.9, 501)))
    single = settle_fixes(fixes_at([0.0], [0.0]))
    assert held.error_95_m == pytest.approx(single.error_95_m, rel=1e-6)
    assert held.n_effective == 1
    assert any("one place" in note for note in held.notes)


@pytest.mark.parametrize("time", [np.nan, START])
@pytest.mark.parametrize("spread_m", [2.0, 794.0])
def test_without_times_that_differ_nothing_shows_a_standstill(time, spread_m):
    east, north = noise(400, spread_m)
    with pytest.raises(
        InputError, match="no times that differ, so whether the receiver moved cannot be told"
    ):
        settle_fixes(fixes_at(east, north, time=np.full(400, time)))


@pytest.mark.parametrize("count", [1, 30])
def test_a_single_place_without_a_time_is_one_fix(count):
    found = settle_fixes(fixes_at(np.zeros(count), np.zeros(count), time=np.full(count, np.nan)))
    assert found.n_effective == 1
    assert np.isnan([found.duration_s, found.start_s, found.end_s]).all()


def test_six_waypoints_kilometres_apart_are_no_standstill():
    east, north = 8000.0 * np.arange(6) / 5, 1000.0 * np.arange(6)
    for time in (np.full(6, np.nan), START + np.arange(6), START + 3600.0 * np.arange(6)):
        with pytest.raises(InputError, match=r"moved|scatters so"):
            settle_fixes(fixes_at(east, north, time=time))


def test_a_scatter_that_no_receiver_at_rest_has_is_refused():
    # 45 m is three times the worst site of the GPS SPS Performance Standard, 15 m at 95 %
    assert settle_fixes(fixes_at(*noise(300, 15.0))).scatter_95_m == pytest.approx(36.7, rel=0.1)
    with pytest.raises(
        InputError, match=r"95 % of the fixes lie within \d\d m, .*; stand still for ten minutes"
    ):
        settle_fixes(fixes_at(*noise(300, 25.0)))
    # whatever the receiver says of itself: a hike does not become rest by a poor HDOP or a large error
    hike = 400.0 * np.arange(10)
    for said in ({"hdop": np.full(10, 40.0)}, {"stated_error_m": np.full(10, 5000.0)}):
        with pytest.raises(InputError, match="no receiver at rest scatters so"):
            settle_fixes(fixes_at(hike, np.zeros(10), **said))


def test_few_fixes_without_a_time_are_left_out_and_said():
    time = START + np.arange(100.0)
    time[[3, 50]] = np.nan
    found = settle_fixes(fixes_at(*noise(100), time=time))
    assert found.n_used == 98
    assert any("want of a time: 2 fixes" in note for note in found.notes)


def test_the_order_of_the_file_does_not_matter():
    fixes = fixes_at(*noise(200))
    mixed = np.random.default_rng(3).permutation(200)
    shuffled = replace(fixes, **{name: getattr(fixes, name)[mixed] for name in ("time_s", "lon", "lat")})
    first, second = settle_fixes(fixes), settle_fixes(shuffled)
    assert (first.lon, first.lat, first.error_95_m) == pytest.approx(
        (second.lon, second.lat, second.error_95_m)
    )
    assert (second.start_s, second.end_s, second.duration_s) == (START, START + 199, 199)


def test_a_poor_hdop_raises_the_floor_in_proportion():
    east, north = noise(300)
    usual = settle_fixes(fixes_at(east, north, hdop=np.full(300, 1.2)))
    poor = settle_fixes(fixes_at(east, north, hdop=np.full(300, 4.0)))
    assert usual.floor_95_m == 4.9
    assert poor.floor_95_m == pytest.approx(9.8)
    assert any("HDOP 4.0 is poor" in note for note in poor.notes)


def test_a_larger_error_stated_by_the_receiver_replaces_the_floor_and_a_smaller_one_does_not():
    east, north = noise(300)
    large = settle_fixes(fixes_at(east, north, stated_error_m=np.full(300, 12.0)))
    assert large.floor_95_m == 12.0
    assert any("states an error of 12.0 m" in note for note in large.notes)
    assert settle_fixes(fixes_at(east, north, stated_error_m=np.full(300, 1.0))).floor_95_m == 4.9


def test_a_large_error_stated_for_some_of_the_fixes_is_not_passed_over():
    # Errors of one direction add up in a mean: a third of them at 30 m and the others at 1 m make 10.7 m.
    stated = np.where(np.arange(300) % 3, 1.0, 30.0)
    found = settle_fixes(fixes_at(*noise(300), stated_error_m=stated))
    assert found.floor_95_m == pytest.approx((100 * 30 + 200) / 300)
    assert found.error_95_m > 10.6


def test_fixes_of_a_poor_hdop_weigh_less():
    east = np.repeat([0.0, 3.0], 300)
    north = np.zeros(600)
    found = settle_fixes(fixes_at(east, north, hdop=np.repeat([1.0, 2.0], 300)))
    assert off(found) == pytest.approx(3 * (1 / 4) / (1 + 1 / 4), abs=1e-3)


def test_fixes_that_satellites_did_not_give_are_left_out_and_said():
    east, north = noise(300)
    quality = np.ones(300, dtype=np.int64)
    quality[:100], east[:100] = 6, 500.0
    found = settle_fixes(fixes_at(east, north, quality=quality))
    assert (found.n_used, found.outliers) == (200, ())
    assert found.fix_types == (("autonomous", 200),)
    assert "Left out as dead reckoning: 100 fixes." in found.notes


def test_corrections_few_satellites_and_two_dimensions_are_remarked():
    found = settle_fixes(
        fixes_at(
            *noise(100),
            quality=np.full(100, 2),
            satellites=np.full(100, 3.0),
            dimensions=np.full(100, 2),
            dated=False,
        )
    )
    told = " ".join(found.notes)
    for part in ("had corrections", "Only 3 satellites", "two dimensions", "no date"):
        assert part in told


@pytest.mark.parametrize(
    ("lon", "lat"),
    [(180.0, 52.0), (-180.0, 0.0), (179.99999, -17.0), (12.0, 89.9999), (0.0, -89.9), (0.0, 0.0)],
)
def test_the_antimeridian_and_the_poles_are_places_like_others(lon, lat):
    east, north = noise(300, 2.0)
    east[40] = 70.0
    here = settle_fixes(fixes_at(east, north, lon=lon, lat=lat))
    there = settle_fixes(fixes_at(east, north))
    assert -180 <= here.lon < 180
    assert off(here, lon, lat) == pytest.approx(off(there), abs=0.002)
    assert here.error_95_m == pytest.approx(there.error_95_m, abs=0.002)
    assert [outlier.index for outlier in here.outliers] == [40]


def test_fixes_on_the_other_side_of_the_earth_are_outliers():
    fixes = fixes_at(*noise(100))
    fixes.lon[0], fixes.lat[0] = LON + 180, -LAT
    fixes.lon[50], fixes.lat[50] = 0.0, 0.0
    found = settle_fixes(fixes)
    assert [outlier.index for outlier in found.outliers] == [0, 50]
    assert found.outliers[0].distance_m > 1.9e7
    assert off(found) < 0.5


@quick
@given(
    st.lists(
        st.tuples(st.floats(-300, 300), st.floats(-300, 300), st.one_of(st.just(np.nan), st.floats(0, 4000))),
        min_size=1,
        max_size=30,
    ),
    st.floats(0, 20),
)
def test_any_recording_gives_a_finite_circle_or_one_line(rows, floor):
    east, north, time = np.array(rows).T
    try:
        found = settle_fixes(fixes_at(east, north, time=time), floor_m=floor)
    except InputError:
        return
    assert np.isfinite([found.lon, found.lat, found.error_95_m]).all()
    assert found.error_95_m > floor
    assert 1 <= found.n_effective <= found.n_used <= len(rows)
    assert found.n_used + len(found.outliers) <= len(rows)
    assert all(note.endswith(".") and note.isprintable() for note in found.notes)


def test_no_fix_of_satellites_is_one_line():
    with pytest.raises(
        InputError, match=r"made\.nmea: holds no fix of satellites; stand still for ten minutes"
    ):
        settle_fixes(fixes_at([0.0], [0.0], quality=np.array([8])))


@pytest.mark.parametrize("floor", [-1.0, np.nan, np.inf])
def test_a_floor_that_is_no_distance_is_one_line(floor):
    with pytest.raises(InputError, match="is no error in metres"):
        settle_fixes(fixes_at([0.0], [0.0]), floor_m=floor)


def circle(count, radius_m=1.0):
    """Fixes all round a place, at one distance from it."""
    angle = 2 * np.pi * np.arange(count) / count
    return radius_m * np.sin(angle), radius_m * np.cos(angle)


def test_every_fix_is_placed_from_the_centre_and_those_it_rests_on_are_marked():
    east, north = circle(60)
    east[7], north[30] = 80.0, 300.0
    found = settle_fixes(fixes_at(east, north, hdop=np.full(60, 1.1), satellites=np.full(60, 9.0)))
    used = np.delete(np.arange(60), [7, 30])
    assert np.flatnonzero(found.used).tolist() == used.tolist()
    assert found.east_m == pytest.approx(east - east[used].mean(), abs=1e-3)
    assert found.north_m == pytest.approx(north - north[used].mean(), abs=1e-3)
    assert (found.n_fixes, found.n_used, found.dated) == (60, 58, True)
    assert (found.hdop, found.satellites) == (1.1, 9.0)
    assert (found.start_s - START, found.end_s - START, found.duration_s) == (0, 59, 59)
    assert found.sigma.east_m == pytest.approx(np.std(east[used], ddof=1), abs=1e-4)
    assert found.scatter_95_m == pytest.approx(2.4477 * np.std(east[used], ddof=1), rel=0.03)


def test_notes_are_the_sentences_and_a_good_recording_has_none():
    good = fixes_at(*noise(1200), hdop=np.full(1200, 0.9), satellites=np.full(1200, 4.0))
    assert settle_fixes(good).notes == ()


def test_what_was_left_out_is_counted_in_words():
    east, north = circle(100)
    quality, time = np.ones(100, dtype=np.int64), START + np.arange(100.0)
    quality[3], quality[5:7], time[[20, 21, 22]], east[50] = 8, 0, np.nan, 60.0
    found = settle_fixes(fixes_at(east, north, quality=quality, time=time))
    assert [str(note) for note in found.notes if "out" in note or "off" in note] == [
        "Left out as no fix: 2 fixes.",
        "Left out as simulator: 1 fix.",
        "Left out for want of a time: 3 fixes.",
        "Dropped as far off: 1 fix, by 60 m at most.",
    ]
    assert found.n_used == 93


@pytest.mark.parametrize(("far", "said"), [(10, False), (11, True)])
def test_more_than_a_tenth_far_off_is_many(far, said):
    east, north = circle(100)
    east[:: 100 // far][:far] += 200.0
    found = settle_fixes(fixes_at(east, north))
    assert len(found.outliers) == far
    sentence = "So many are far off that the receiver may have been moved a little, or heard reflections."
    assert (sentence in found.notes) == said


def test_a_standstill_cut_out_of_a_recording_is_said_by_its_seconds():
    east = np.concatenate([np.zeros(300), 500.0 + np.zeros(150)])
    found = settle_fixes(fixes_at(east + noise(450)[0], noise(450)[1]))
    assert found.moved
    assert found.notes[0] == (
        "The receiver moved or the recording broke off: of 449 s the longest standstill is taken, "
        "from 0 s to 299 s."
    )


@pytest.mark.parametrize(("satellites", "said"), [(4.0, False), (3.0, True)])
def test_a_position_in_three_dimensions_takes_four_satellites(satellites, said):
    """Four unknowns: three coordinates and the clock (GPS SPS Performance Standard)."""
    found = settle_fixes(fixes_at(*noise(900), satellites=np.full(900, satellites)))
    assert ("Only 3 satellites were used." in found.notes) == said


def test_one_flat_fix_is_enough_to_speak_of_the_height():
    dimensions = np.full(300, 3)
    dimensions[40] = 2
    flat = settle_fixes(fixes_at(*noise(300), dimensions=dimensions)).notes
    assert (
        "Some fixes have two dimensions: a wrong height moves them all without showing in the scatter."
        in flat
    )
    dimensions[40] = 0  # not stated
    assert not [n for n in settle_fixes(fixes_at(*noise(300), dimensions=dimensions)).notes if "two" in n]


def notes_of(*where, **said):
    return [str(note) for note in settle_fixes(fixes_at(*where, **said)).notes]


def test_what_little_scatter_means_is_said_once():
    assert notes_of([0.0], [0.0]) == [
        "A single fix shows no scatter: one of a metre or so per axis is assumed."
    ]
    assert notes_of(np.zeros(30), np.zeros(30)) == [
        "All fixes are one place, held or repeated by the receiver: they count as one."
    ]
    (few,) = notes_of(*noise(60))
    assert few.startswith("All fixes are worth ")
    assert few.endswith(" independent ones: a longer stand would help.")
    assert float(few.split()[4]) == pytest.approx(settle_fixes(fixes_at(*noise(60))).n_effective, abs=0.05)
    assert notes_of(*noise(900)) == []


def test_a_recording_without_a_date_says_so_only_where_it_has_times():
    assert notes_of(*noise(900), dated=False) == ["The recording has no date, only the time of day."]
    assert not [n for n in notes_of([0.0], [0.0], time=[np.nan], dated=False) if "date" in n]


def test_what_raises_the_floor_is_said_with_both_errors():
    assert notes_of(*noise(900), stated_error_m=np.full(900, 12.0)) == [
        "The receiver itself states an error of 12.0 m (95 %), which replaces the 4.9 m that averaging does "
        "not remove."
    ]
    assert notes_of(*noise(900), hdop=np.full(900, 3.0)) == [
        "HDOP 3.0 is poor: the 4.9 m that averaging does not remove are raised to 7.4 m."
    ]
    assert notes_of(*noise(900), hdop=np.full(900, 2.0)) == []  # an open sky, common practice
    assert notes_of(*noise(900), quality=np.full(900, 4)) == [
        "The receiver had corrections; the floor of 4.9 m is not lowered for them."
    ]


def test_the_kinds_of_fixes_are_listed_the_most_frequent_first():
    quality = np.repeat([2, 1, 9, -1], [20, 50, 10, 5])
    found = settle_fixes(fixes_at(*circle(85), quality=quality))
    assert found.fix_types == (("autonomous", 50), ("differential", 20), ("type 9", 10), ("not stated", 5))


@pytest.mark.parametrize(("timed", "n_used"), [(10, 10), (9, None)])
def test_times_count_where_at_least_half_of_the_fixes_have_one(timed, n_used):
    time = np.where(np.arange(20) < timed, START + np.arange(20.0), np.nan)
    fixes = fixes_at(*circle(20), time=time)
    if n_used is None:
        with pytest.raises(InputError, match="no times that differ"):
            settle_fixes(fixes)
    else:
        assert settle_fixes(fixes).n_used == n_used


def test_a_fix_without_a_place_is_none():
    fixes = fixes_at(*circle(40))
    fixes.lon[3], fixes.lat[9] = np.nan, np.nan
    found = settle_fixes(fixes)
    assert (found.n_used, found.n_fixes) == (38, 40)
    assert off(found) < 0.2


def test_a_fix_that_does_not_state_its_hdop_weighs_as_the_usual_one():
    east, hdop = np.repeat([0.0, 3.0], 300), np.repeat([1.0, 2.0], 300)
    hdop[100:200] = np.nan  # the median of the others, 200 of 1 and 300 of 2, is 2
    found = settle_fixes(fixes_at(east, np.zeros(600), hdop=hdop))
    assert off(found) == pytest.approx(3 * 300 / 4 / (200 + 100 / 4 + 300 / 4), abs=1e-3)
    assert off(settle_fixes(fixes_at(east, np.zeros(600)))) == pytest.approx(1.5, abs=1e-3)


def test_no_single_fix_carries_the_centre_away_by_an_hdop_of_nothing():
    hdop = np.ones(100)
    hdop[0] = 0.0
    east, north = circle(100, 0.5)
    east[0], north[0] = 4.0, 0.0
    assert off(settle_fixes(fixes_at(east, north, hdop=hdop))) < 0.6


def test_the_error_is_that_of_the_wider_side_of_an_elongated_scatter():
    """A line of the same total variance: its 95 % are 1.96 sqrt(2) sigmas, a circle's 2.4477."""
    a, b = noise(900, seed=3)
    round_, flat = settle_fixes(fixes_at(a, b)), settle_fixes(fixes_at(np.sqrt(2) * a, 0 * a))
    assert flat.random_95_m / round_.random_95_m == pytest.approx(1.96 * np.sqrt(2) / 2.4477, rel=0.05)


def test_what_is_no_error_is_refused_whole():
    with pytest.raises(InputError) as caught:
        settle_fixes(fixes_at([0.0], [0.0]), floor_m=-1.0)
    assert str(caught.value) == "floor: -1.0 is no error in metres; give a number from 0 up, such as 4.9"


def refusal_of(*where, **said):
    with pytest.raises(InputError) as caught:
        settle_fixes(fixes_at(*where, **said))
    return str(caught.value)


def test_a_recording_that_cannot_be_used_is_refused_in_one_whole_line():
    again = "; stand still for ten minutes and record again"
    assert refusal_of([0.0], [0.0], quality=np.array([8])) == f"made.nmea: holds no fix of satellites{again}"
    assert refusal_of([0.0, 9.0], [0.0, 0.0], time=[START, START]) == (
        "made.nmea: its fixes have no times that differ, so whether the receiver moved cannot be told" + again
    )
    # Two fixes of 95 % within the floor are 2.15 of it apart 999 times in 1000, 10 m at the least.
    hike = 30.0 * np.arange(40)
    assert refusal_of(hike, 0 * hike, time=START + 20.0 * np.arange(40), stated_error_m=np.full(40, 6.0)) == (
        f"made.nmea: the receiver moved: at most 1 of 40 fixes in a row for 0 s stay within 13 m{again}"
    )
    assert refusal_of([-4000.0, 4000.0], [0.0, 0.0], stated_error_m=np.full(2, 5000.0)) == (
        f"made.nmea: no receiver at rest scatters so: 95 % of the fixes lie within 11,087 m, at rest within "
        f"45 m at most{again}"
    )


def test_errors_are_said_to_a_tenth_of_a_metre_and_settings_as_they_are_given():
    fixes = fixes_at(*noise(900), stated_error_m=np.full(900, 12.34), quality=np.full(900, 4))
    assert [str(note) for note in settle_fixes(fixes, floor_m=3.25).notes] == [
        "The receiver itself states an error of 12.3 m (95 %), which replaces the 3.25 m that averaging does "
        "not remove.",
        "The receiver had corrections; the floor of 12.3 m is not lowered for them.",
    ]
    poor = fixes_at(*noise(900), hdop=np.full(900, 8.0))
    assert [str(note) for note in settle_fixes(poor, floor_m=3.25).notes] == [
        "HDOP 8.0 is poor: the 3.25 m that averaging does not remove are raised to 13.0 m."
    ]


def test_fixes_that_satellites_did_not_give_say_nothing_of_how_far_the_others_may_scatter():
    """A poor HDOP widens the circle of a standstill, but not that of fixes from dead reckoning."""
    east, north = noise(500, 0.5)
    east[200:250] += 30.0
    quality, hdop = np.repeat([1, 6], 250), np.repeat([0.9, 40.0], 250)
    found = settle_fixes(fixes_at(east, north, quality=quality, hdop=hdop))
    assert found.moved
    assert 185 <= found.n_used <= 200  # whole spells of 15 s


def test_the_same_hdop_for_all_fixes_changes_nothing_under_an_open_sky():
    alike = [settle_fixes(fixes_at(*noise(60), hdop=np.full(60, hdop))) for hdop in (0.6, 1.0, 1.9)]
    assert len({(one.lon, one.lat) for one in alike}) == 1
    assert [one.error_95_m for one in alike] == pytest.approx([alike[0].error_95_m] * 3, rel=1e-9)


def test_a_few_fixes_that_hardly_scatter_are_worth_one_and_no_less():
    """What they do not show counts as for a single fix."""
    assert settle_fixes(fixes_at([0.0, 0.1], [0.0, 0.0])).n_effective == 1.0
