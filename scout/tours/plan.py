"""A day's choice of places as a problem in whole minutes, and the timetable of one order of places.

Minutes count from the midnight a day begins with. Durations are rounded up, so that a tour which fits here
fits on the road: the sum of two rounded drives is never less than the rounded drive past the place between.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Pair = tuple[str, str]  # grid, park
Window = tuple[int, int]
Order = tuple[int, ...]  # numbers of stops

START, END, FIRST = 0, 1, 2  # rows of the matrix of drives: where a day begins, where it ends, the stops


@dataclass(frozen=True, slots=True)
class Stop:
    """A place that a tour may go to."""

    pairs: frozenset[Pair]  # that it would add
    stay_min: int  # from where the car stays, and back there
    windows: tuple[tuple[Window, ...], ...]  # of each day: the whole stay lies in one of them
    must: bool = False


@dataclass(frozen=True, slots=True)
class Problem:
    """What may be chosen. ``days`` are from leaving the start to being at the end."""

    stops: tuple[Stop, ...]
    drive_min: NDArray[np.int64]  # (n + 2, n + 2), from row to column; under 0 where there is no way
    days: tuple[Window, ...]
    most_stops: int  # a day
    break_min: int = 0  # once a day with a stop, before a drive

    def can_drive(self, start: int, end: int) -> bool:
        """Whether there is a way from a row of the matrix to a column."""
        return bool(self.drive_min[start, end] >= 0)


class Worth(NamedTuple):
    """What tours are compared by, the first that differs counts."""

    pairs: int
    grids: int
    parks: int
    drive_min: int  # the less the better

    @property
    def key(self) -> tuple[int, int, int, int]:
        """Greater for the better tour."""
        return (self.pairs, self.grids, self.parks, -self.drive_min)


class Timed(NamedTuple):
    """One stop of a timetable. ``latest`` is when it may be left without losing anything after it."""

    stop: int
    arrive: int
    begin: int  # later than ``arrive`` where a window opens later
    leave: int  # where the car stays
    break_min: int  # before the drive that follows
    latest: int


class Timetable(NamedTuple):
    """One day in order. Nothing is waited for at the first stop: the start is left later instead."""

    start: int
    stops: tuple[Timed, ...]
    end: int  # at the end of the day's way
    drive_min: int


def make_timetable(problem: Problem, day: int, order: Sequence[int]) -> Timetable | None:
    """The timetable of an order of stops that ends first, its break near the middle; None if none fits."""
    first, last = problem.days[day]
    best: tuple[tuple[int, float], Timetable] | None = None
    for at in range(len(order)) if problem.break_min and order else [-1]:
        made = _run_day(problem, day, order, at)
        if made is None or made.end > last:
            continue
        taken = made.stops[at].leave if at >= 0 else first
        key = (made.end, abs(taken - (made.start + made.end) / 2))
        if best is None or key < best[0]:
            best = key, made
    return None if best is None else _add_slack(problem, day, best[1])


def _run_day(problem: Problem, day: int, order: Sequence[int], break_at: int) -> Timetable | None:
    """Everything as early as it can be; the end may lie after the day's."""
    now, here, drive, stops = problem.days[day][0], START, 0, []
    for number, one in enumerate(order):
        if not problem.can_drive(here, one + FIRST):
            return None
        minutes = int(problem.drive_min[here, one + FIRST])
        stop = problem.stops[one]
        arrive, drive = now + minutes, drive + minutes
        opening = (max(arrive, a) for a, b in stop.windows[day] if max(arrive, a) + stop.stay_min <= b)
        begin = min(opening, default=None)
        if begin is None:
            return None
        if not number:
            arrive = begin
        rest = problem.break_min if number == break_at else 0
        stops.append(Timed(one, arrive, begin, begin + stop.stay_min, rest, 0))
        now, here = begin + stop.stay_min + rest, one + FIRST
    if not order or not problem.can_drive(here, END):
        return None
    minutes = int(problem.drive_min[here, END])
    start = stops[0].arrive - int(problem.drive_min[START, order[0] + FIRST])
    return Timetable(start, tuple(stops), now + minutes, drive + minutes)


def _add_slack(problem: Problem, day: int, table: Timetable) -> Timetable:
    """The timetable with the latest time at which each stop may be left."""
    due, there = problem.days[day][1], END
    stops = []
    for timed in reversed(table.stops):
        stop = problem.stops[timed.stop]
        latest = due - int(problem.drive_min[timed.stop + FIRST, there]) - timed.break_min
        windows = ((a, b) for a, b in stop.windows[day] if a <= timed.begin and timed.leave <= b)
        latest = min(latest, max((b for _, b in windows), default=latest))
        stops.append(timed._replace(latest=latest))
        due, there = latest - stop.stay_min, timed.stop + FIRST
    return table._replace(stops=tuple(reversed(stops)))


def weigh_tour(problem: Problem, orders: Sequence[Order]) -> Worth:
    """What a tour is worth: a pair counts once however many stops give it."""
    pairs = {pair for order in orders for one in order for pair in problem.stops[one].pairs}
    drive = sum(
        int(problem.drive_min[a, b])
        for order in orders
        if order
        for a, b in itertools.pairwise((START, *(one + FIRST for one in order), END))
    )
    return Worth(len(pairs), len({grid for grid, _ in pairs}), len({park for _, park in pairs}), drive)


def find_dominated(problem: Problem, spared: int = 0) -> list[int]:
    """Stops without which no better tour is lost.

    One that another can stand in for wherever it stands: no pair less, no longer stay, no longer drive from
    or to anywhere, never closed while the first is open. Of two that can stand in for each other the one
    first in the list stays. With ``spared`` others, a stop goes only where more than that many can stand in
    for it, so that as many next best tours stay as well. Stops that a tour must have stay.
    """
    n = len(problem.stops)
    drive = np.where(problem.drive_min < 0, np.iinfo(np.int64).max, problem.drive_min)
    gone = []
    for i, stop in enumerate(problem.stops):
        if stop.must:
            continue
        others = [k for k in range(n + FIRST) if k != i + FIRST]
        count = 0
        for j, other in enumerate(problem.stops):
            if i == j or not stop.pairs <= other.pairs or other.stay_min > stop.stay_min:
                continue
            kept = [k for k in others if k != j + FIRST]
            near = np.all(drive[j + FIRST, kept] <= drive[i + FIRST, kept]) and np.all(
                drive[kept, j + FIRST] <= drive[kept, i + FIRST]
            )
            if not near or not _is_open_when(other, stop):
                continue
            same = (
                other.pairs == stop.pairs
                and other.stay_min == stop.stay_min
                and np.array_equal(drive[j + FIRST, kept], drive[i + FIRST, kept])
                and np.array_equal(drive[kept, j + FIRST], drive[kept, i + FIRST])
                and _is_open_when(stop, other)
            )
            count += not same or j < i
        if count > spared:
            gone.append(i)
    return gone


def _is_open_when(one: Stop, other: Stop) -> bool:
    """Whether one may be visited whenever the other may."""
    return all(
        all(any(a <= c and d <= b for a, b in mine) for c, d in its)
        for mine, its in zip(one.windows, other.windows, strict=True)
    )


def cut_problem(problem: Problem, kept: Sequence[int]) -> Problem:
    """The problem with some of its stops."""
    rows = [START, END, *(one + FIRST for one in kept)]
    return Problem(
        tuple(problem.stops[one] for one in kept),
        problem.drive_min[np.ix_(rows, rows)],
        problem.days,
        problem.most_stops,
        problem.break_min,
    )


class Overrun(NamedTuple):
    """By how much a wish cannot be had: the fewest minutes that are wanting, on the best day and order."""

    stops: Order
    minutes: int | None  # None: there is no way at all
    needs_min: int | None = None  # from the start to the end, where the day's length is what is wanting


def find_overrun(problem: Problem) -> Overrun | None:
    """The first stop that a tour must have and cannot, else all of them; None where they go together.

    Without the break: with another stop before these it may fall where it is in nobody's way.
    """
    problem = replace(problem, break_min=0)
    musts = [i for i, stop in enumerate(problem.stops) if stop.must]
    for one in musts:
        if (over := _measure_overrun(problem, (one,))).minutes != 0:
            return over
    if len(musts) < 2 or any(True for _ in find_orders(problem, musts)):
        return None
    if len(problem.days) > 1 or len(musts) > 7:
        return Overrun(tuple(musts), None)
    return min(
        (_measure_overrun(problem, order) for order in itertools.permutations(musts)),
        key=lambda over: (over.minutes is None, over.minutes or 0),
    )


def _measure_overrun(problem: Problem, order: Order) -> Overrun:
    """Minutes by which the worst of a day's ends is passed, on the best day, in this order."""
    least: int | None = None
    needs: int | None = None
    for day, (first, last) in enumerate(problem.days):
        now, here, worst = first, START, 0
        reached = True
        for one in order:
            stop = problem.stops[one]
            if not problem.can_drive(here, one + FIRST) or not stop.windows[day]:
                reached = False
                break
            arrive = now + int(problem.drive_min[here, one + FIRST])
            tried = ((max(arrive, a), b - stop.stay_min) for a, b in stop.windows[day])
            late, begin = min((max(begin - due, 0), begin) for begin, due in tried)
            worst, now, here = max(worst, late), begin + stop.stay_min, one + FIRST
        if not reached or not problem.can_drive(here, END):
            continue
        now += problem.break_min + int(problem.drive_min[here, END])
        worst = max(worst, now - last)
        if least is None or worst < least:
            least, needs = worst, now - first
    return Overrun(order, None if least is None else max(least, 0), needs)


def find_orders(problem: Problem, stops: Sequence[int]) -> Iterator[tuple[Order, ...]]:
    """Ways to put a few stops on the days so that each day's timetable fits."""
    days = len(problem.days)
    for split in itertools.product(range(days), repeat=len(stops)):
        parts = [[one for one, at in zip(stops, split, strict=True) if at == day] for day in range(days)]
        if any(len(part) > problem.most_stops for part in parts):
            continue
        chosen: list[Order] = []
        for day, part in enumerate(parts):
            orders = itertools.permutations(part) if part else iter([()])
            fitting = (o for o in orders if not o or make_timetable(problem, day, o) is not None)
            if (order := next(fitting, None)) is None:
                break
            chosen.append(order)
        else:
            yield tuple(chosen)
