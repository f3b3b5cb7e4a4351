"""A recording that moves is refused, or its longest standstill is taken and said."""

from __future__ import annotations

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
