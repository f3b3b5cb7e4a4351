"""A recording that moves is refused, or its longest standstill is taken and said."""

from __future__ import annotations

from itertools import pairwise
from statistics import median

import numpy as np
import pytest
from recordings import START, fixes_at, noise, off

from scout.errors import InputError
from scout.recording.standstill import find_longest_stay, settle_fixes


def walk(length_m, speed=1.3):
    return np.arange(0, length_m, speed)


def test_a_standstill_after_a_walk_is_found_to_the_second_and_said():
    east = np.concatenate([walk(400) - 400, np.zeros(600)])
    east, north = east + noise(len(east))[0], noise(len(east))[1]
    found = settle_fixes(fixes_at(east, north))
    arrived = len(walk(400))
    assert found.moved
    assert abs(found.start_s - START - arrived) <= 15
    assert found.end_s == START + len(east) - 1
    assert off(found) < 0.5
    assert any(f"of {len(east) - 1} s the longest standstill is taken" in note for note in found.notes)


def test_of_two_standstills_the_longer_is_taken():
    legs = [np.zeros(240), walk(60), np.full(420, 60.0), 60 + walk(100)]
    east = np.concatenate(legs)
    found = settle_fixes(fixes_at(east + noise(len(east))[0], noise(len(east))[1]))
    assert off(found) == pytest.approx(60, abs=0.7)
    assert found.duration_s == pytest.approx(420, abs=30)


@pytest.mark.parametrize("speed", [0.5, 1.3, 8.0])
def test_a_recording_that_moves_all_the_time_is_refused_in_one_line(speed):
    east = speed * np.arange(400)
    with pytest.raises(
        InputError, match=r"^made\.nmea: the receiver moved: at most \d+ of 400 .*; stand still"
    ):
        settle_fixes(fixes_at(east + noise(400)[0], noise(400)[1]))


def test_a_moving_recording_without_times_is_refused():
    with pytest.raises(InputError, match="the receiver moved"):
        settle_fixes(fixes_at(1.3 * np.arange(400), np.zeros(400), time=np.full(400, np.nan)))


def test_a_burst_of_reflections_is_no_walk():
    east, north = noise(900)
    east[400:450] += 30
    found = settle_fixes(fixes_at(east, north))
    assert not found.moved
    assert len(found.outliers) == 50
    assert off(found) < 0.3


def test_a_long_silence_ends_a_standstill():
    time = START + np.concatenate([np.arange(200), 9000 + np.arange(300)])
    found = settle_fixes(fixes_at(*noise(500), time=time))
    assert found.moved
    assert (found.duration_s, found.n_used) == (299, 300)


def test_sparse_fixes_are_no_silence():
    found = settle_fixes(fixes_at(*noise(12), time=START + 400 * np.arange(12)))
    assert (found.moved, found.n_used) == (False, 12)


def test_a_receiver_carried_a_few_metres_leaves_a_wide_circle():
    east, north = noise(600, 0.5)
    east[:300] += 6
    found = settle_fixes(fixes_at(east, north))
    assert found.error_95_m > 7
    assert found.n_effective < 2


def test_the_longest_stay_agrees_with_trying_every_run():
    """Brute force over all runs of spells about all places."""
    rng = np.random.default_rng(6)
    for _ in range(30):
        steps = rng.choice([0.0, 0.0, 0.0, 25.0], (24, 2)) * rng.choice([-1, 1], (24, 2))
        place = np.cumsum(steps, axis=0)
        time, points = 15.0 * np.arange(24), place + rng.normal(0, 0.1, (24, 2))
        best = 0
        for middle in points:
            inside = np.hypot(*(points - middle).T) <= 10
            for a in range(24):
                for b in range(a, 24):
                    if inside[a] and inside[b] and inside[a : b + 1].mean() >= 0.9 - 1e-9:
                        best = max(best, b - a + 1)
        stay = find_longest_stay(time, points, 10.0)
        assert np.count_nonzero(stay.inside) == best
        assert stay.whole == (best == 24)


def spells_by_hand(time, points):
    """Spells as they are defined, by plain loops: numbers of the fixes of each, and a piece for each."""
    total = time[-1] - time[0]
    length = max(15.0, total / 240)
    usual = median(b - a for a, b in pairwise(time))
    spells, piece = [], 0
    for k, t in enumerate(time):
        broken = k > 0 and t - time[k - 1] > max(300.0, 10 * usual)
        piece += broken
        slot = (piece, int((t - time[0]) // length))
        if not spells or spells[-1][0] != slot:
            spells.append((slot, []))
        spells[-1][1].append(k)
    places = [np.array([median(points[ks, 0]), median(points[ks, 1])]) for _, ks in spells]
    return [ks for _, ks in spells], [slot[0] for slot, _ in spells], places


def longest_by_hand(time, points, within_m):
    """Seconds of the longest run of spells, about any of their places."""
    spells, pieces, places = spells_by_hand(time, points)
    best = 0.0
    for middle in places:
        inside = [np.hypot(*(place - middle)) <= within_m for place in places]
        for a in range(len(spells)):
            for b in range(a, len(spells)):
                if pieces[a] != pieces[b] or not (inside[a] and inside[b]):
                    continue
                if sum(inside[a : b + 1]) >= 0.9 * (b - a + 1) - 1e-9:
                    best = max(best, time[spells[b][-1]] - time[spells[a][0]])
    return best, len(spells)


@pytest.mark.parametrize("seed", range(24))
def test_the_longest_stay_of_uneven_fixes_agrees_with_trying_every_run(seed):
    """Steps of 1 to 40 s, some silences, single fixes that jump, walks between."""
    rng = np.random.default_rng(seed)
    step = rng.choice([1.0, 4.0, 7.0, 40.0], 60, p=[0.3, 0.4, 0.2, 0.1])
    if seed % 3 == 0:
        step[rng.integers(5, 55)] = 301.0 + 100.0 * rng.random()
    elif seed % 3 == 1:
        step[rng.integers(5, 55)] = 300.0
    time = np.cumsum(step)
    walks = np.where(rng.random(60) < 0.06, 25.0, 0.0)
    points = np.column_stack([np.cumsum(walks), np.zeros(60)]) + rng.normal(0, 1.0, (60, 2))
    points[rng.random(60) < 0.1] += 60.0
    expected, _ = longest_by_hand(time, points, 10.0)
    stay = find_longest_stay(time, points, 10.0)
    assert np.ptp(time[stay.inside]) == pytest.approx(expected)
    numbers = np.flatnonzero(stay.inside)
    assert np.all(np.diff(numbers) == 1)
    assert stay.whole == (len(numbers) == 60)


def test_a_recording_of_hours_is_looked_at_in_240_spells():
    """Two hours are spells of 30 s, so a visit of 20 s elsewhere within one is not seen."""
    time = np.arange(0.0, 7200.5, 10.0)
    points = np.zeros((len(time), 2))
    points[time % 30 == 10] += 90.0  # one fix of three, always
    assert find_longest_stay(time, points, 10.0).whole
    expected, count = longest_by_hand(time[:200], points[:200], 10.0)
    assert (count, expected) == (133, 10.0)  # of spells of 15 s, many are that fix alone
    assert np.ptp(time[:200][find_longest_stay(time[:200], points[:200], 10.0).inside]) == expected


def test_slow_fixes_are_silent_after_ten_of_their_own_steps():
    for gap, whole in ((600.0, True), (601.0, False)):
        time = START + np.concatenate([60.0 * np.arange(10), 540.0 + gap + 60.0 * np.arange(15)])
        assert settle_fixes(fixes_at(*noise(25), time=time)).moved == (not whole)


@pytest.mark.parametrize(("there", "after", "kept"), [(48, 12, True), (47, 13, False), (61, 60, True)])
def test_a_short_standstill_counts_if_it_is_four_fifths_of_the_recording_or_a_minute(there, after, kept):
    """A fix every 15 s is a spell of its own: in fixes, not in seconds."""
    time = START + np.concatenate([np.arange(there) * 55.0 / there, 60.0 + 15.0 * np.arange(after)])
    if there > 60:
        time[:there] = START + np.arange(there)
        time[there:] = time[there - 1] + 15.0 + 15.0 * np.arange(after)
    east = np.concatenate([np.zeros(there), 100.0 + 40.0 * np.arange(after)])
    fixes = fixes_at(east + noise(len(east), 0.3)[0], noise(len(east), 0.3)[1], time=time)
    if kept:
        assert settle_fixes(fixes).n_used == there
    else:
        with pytest.raises(InputError, match=rf"at most {there} of {there + after} fixes in a row for 54 s"):
            settle_fixes(fixes)
