"""Tours against every order of every set of stops, with the break everywhere it can be."""

import itertools

import numpy as np
import pytest

from scout.tours.plan import FIRST, Problem, Stop, find_overrun, make_timetable
from scout.tours.solve import find_tours

CASES = 1000


def draw_problem(rng):
    """Up to eight stops on a plain: shared pairs, windows, musts, breaks, one day or two, ways not there."""
    n = int(rng.integers(1, 9))
    days = 1 if rng.random() < 0.75 or n > 6 else 2
    at = rng.uniform(0, 100, (n + 2, 2))
    if rng.random() < 0.5:
        at[1] = at[0]
    if n > 2 and rng.random() < 0.3:
        at[2 + int(rng.integers(n))] = at[2 + int(rng.integers(n))]
    away = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) * rng.uniform(1.0, 1.3, (n + 2, 1))
    # No drive is longer than one past a third place, as along the fastest roads.
    for k in range(n + 2):
        away = np.minimum(away, away[:, [k]] + away[[k], :])
    drive = np.ceil(away).astype(np.int64)
    spans = [(int(start := rng.integers(0, 60)), int(start + rng.integers(120, 600))) for _ in range(days)]
    if rng.random() < 0.1:
        lonely = 2 + int(rng.integers(n))
        drive[lonely, :] = drive[:, lonely] = -1
    stops = []
    for _ in range(n):
        grids = rng.choice(list("ABCD"), int(rng.integers(0, 4)), replace=False)
        parks = rng.choice(list("uvwx"), int(rng.integers(1, 3)), replace=False)
        windows = []
        for first, last in spans:
            windows.append(((first, last),))
            if rng.random() < 0.35:
                a, b = sorted(int(t) for t in rng.integers(first, last + 1, 2))
                middle = (a + b) // 2
                windows[-1] = (
                    ((a, b),) if rng.random() < 0.6 else ((a, middle), (min(middle + 20, last), last))
                )
        pairs = frozenset((str(g), str(p)) for g in grids for p in parks)
        stops.append(Stop(pairs, int(rng.integers(20, 120)), tuple(windows), bool(rng.random() < 0.08)))
    rest = 0 if rng.random() < 0.5 else int(rng.integers(10, 60))
    return Problem(tuple(stops), drive, tuple(spans), int(rng.integers(1, 5)), rest)


def list_days(problem, day, names):
    """The least driving of each set of stops that a day has time for."""
    best = {frozenset(): 0}
    for count in range(1, problem.most_stops + 1):
        for order in itertools.permutations(names, count):
            drive = add_up(problem, order)
            if drive is None:
                continue
            if any(runs(problem, day, order, at) for at in range(count)):
                key = frozenset(order)
                best[key] = min(best.get(key, drive), drive)
    return best


def add_up(problem, order):
    legs = itertools.pairwise([0, *(one + 2 for one in order), 1])
    minutes = [int(problem.drive_min[a, b]) for a, b in legs]
    return None if min(minutes) < 0 else sum(minutes)


def runs(problem, day, order, pause_after):
    clock, end = problem.days[day]
    here = 0
    for number, one in enumerate(order):
        clock += int(problem.drive_min[here, one + 2])
        stay = problem.stops[one].stay_min
        fits = [max(a, clock) for a, b in problem.stops[one].windows[day] if max(a, clock) + stay <= b]
        if not fits:
            return False
        clock = min(fits) + stay + (problem.break_min if number == pause_after else 0)
        here = one + 2
    return clock + int(problem.drive_min[here, 1]) <= end


def rate(problem, chosen):
    pairs = set().union(*(problem.stops[one].pairs for one in chosen)) if chosen else set()
    return len(pairs), len({g for g, _ in pairs}), len({p for _, p in pairs})


def list_tours(problem):
    """Worth of every set of stops that adds nothing in vain, the best first."""
    names = range(len(problem.stops))
    days = [list_days(problem, day, names) for day in range(len(problem.days))]
    found = {}
    for parts in itertools.product(*(day.items() for day in days)):
        sets = [some for some, _ in parts]
        chosen = frozenset().union(*sets)
        if not chosen or len(chosen) < sum(map(len, sets)):
            continue
        if any(problem.stops[i].must and i not in chosen for i in names):
            continue
        if any(
            not problem.stops[one].must
            and problem.stops[one].pairs
            <= set().union(*(problem.stops[k].pairs for k in chosen - {one}), set())
            for one in chosen
        ):
            continue
        worth = (*rate(problem, chosen), -sum(drive for _, drive in parts))
        found[chosen] = max(found.get(chosen, worth), worth)
    return sorted(found.values(), reverse=True)


@pytest.mark.parametrize("seed", range(4))
def test_the_best_tours_are_those_of_all_orders(seed):
    rng = np.random.default_rng(20_000 + seed)
    several = refused = 0
    for number in range(CASES // 4):
        problem = draw_problem(rng)
        expected = list_tours(problem)
        over = find_overrun(problem)
        if over is not None:
            assert not expected, (seed, number, over)
            refused += 1
            continue
        count = 3 if number % 2 else 1
        found = find_tours(problem, count)
        got = [(*tour.worth[:3], -tour.worth.drive_min) for tour in found.tours]
        assert got == expected[:count], (seed, number)
        assert all(tour.is_best and tour.most_pairs == tour.worth.pairs for tour in found.tours), (
            seed,
            number,
        )
        for tour in found.tours:
            assert rate(problem, set(itertools.chain(*tour.orders))) == tour.worth[:3]
            for day, order in enumerate(tour.orders):
                check_timetable(problem, day, order)
        several += len(expected) > 2
    assert several > CASES // 20
    assert refused


def check_timetable(problem, day, order):
    if not order:
        return
    table = make_timetable(problem, day, order)
    first, last = problem.days[day]
    assert first <= table.start
    assert table.end <= last
    now, here = table.start, 0
    for timed in table.stops:
        assert timed.arrive == now + problem.drive_min[here, timed.stop + FIRST]
        stop = problem.stops[timed.stop]
        assert timed.begin >= timed.arrive
        assert timed.leave == timed.begin + stop.stay_min
        assert any(a <= timed.begin and timed.leave <= b for a, b in stop.windows[day])
        assert timed.latest >= timed.leave
        now, here = timed.leave + timed.break_min, timed.stop + FIRST
    assert table.stops[0].arrive == table.stops[0].begin
    assert sum(timed.break_min for timed in table.stops) == problem.break_min
    assert table.end == now + problem.drive_min[here, 1]
