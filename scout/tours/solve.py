"""The best tours of a day or several, by OR-Tools' CP-SAT: an orienteering problem whose prizes are shared.

Arcs of a circuit a day with optional stops, times along them, and a prize for each group of pairs that the
same stops give. What tours are compared by makes one number: found twice as fast as pairs first and the rest
after them. The search is one worker's, with a limit by its own measure of work, so that the same input gives
the same tour; seconds end it only on a machine far slower than usual.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from scout.errors import InputError
from scout.tours.plan import (
    END,
    FIRST,
    START,
    Order,
    Pair,
    Problem,
    Worth,
    cut_problem,
    find_dominated,
    find_orders,
    make_timetable,
    weigh_tour,
)

_SHARE_OF_BEST = 0.6  # of the work; the other tours share the rest
_WORK_FOR_BOUND = 5.0
_SECONDS_A_UNIT = 4.0  # of work, on a machine so slow that its clock ends the search


class Tour(NamedTuple):
    """One choice of stops in order, a day after the other."""

    orders: tuple[Order, ...]
    worth: Worth
    most_pairs: int  # no tour that differs from those before it gives more
    is_best: bool  # whether it is proved that none of these is better in anything


class Tours(NamedTuple):
    """The best tour, then those that differ from each before in at least one place, and what was cut."""

    tours: tuple[Tour, ...]
    dominated: tuple[int, ...]  # stops that others stand in for


def find_tours(
    problem: Problem, count: int = 1, work: float = 16.0, progress: Callable[[str], None] = lambda _: None
) -> Tours:
    """The best tours, the best first.

    Parameters
    ----------
    problem : Problem
        Wishes of which none is in the way of another; see `scout.tours.plan.find_overrun`.
    count : int
        How many; fewer come where there are no more. Each differs from all others in a stop at least, and
        has no stop that adds nothing but those that it must have.
    work : float
        Limit of all searching, in about a second of a processor each.

    Returns
    -------
    Tours
        No tour where nothing fits.

    Raises
    ------
    InputError
        The solver is not installed.
    """
    gone = find_dominated(problem, count - 1)
    out = set(gone)
    kept = [i for i in range(len(problem.stops)) if i not in out]
    cut = cut_problem(problem, kept)
    found: list[Tour] = []
    good = list_good_tours(cut)
    for number in range(count):
        what = "other tours" if number else f"the best tour among {len(kept)} places"
        progress(f"looking for {what}")
        barred = [frozenset(itertools.chain(*tour.orders)) for tour in found]
        share = 1.0 if count == 1 else _SHARE_OF_BEST if not number else (1 - _SHARE_OF_BEST) / (count - 1)
        tour = _find_tour(cut, barred, good, share * work)
        if tour is None:
            break
        found.append(tour)
    if not all(tour.is_best for tour in found):
        cap = _bound_pairs(cut)
        found = [tour._replace(most_pairs=max(tour.worth.pairs, min(tour.most_pairs, cap))) for tour in found]
    # A search cut short may find a better one later.
    found.sort(key=lambda tour: tour.worth.key, reverse=True)
    named = tuple(
        tour._replace(orders=tuple(tuple(kept[i] for i in order) for order in tour.orders)) for tour in found
    )
    return Tours(named, tuple(gone))


def _find_tour(
    problem: Problem, barred: Sequence[frozenset[int]], good: Sequence[tuple[Order, ...]], work: float
) -> Tour | None:
    model = _Model(problem, barred)
    hint = next((tour for tour in good if frozenset(itertools.chain(*tour)) not in barred), None)
    orders, bound = model.solve(work, hint)
    known = [some for some in (orders, hint) if some is not None]
    if not known:
        return None
    best = max(known, key=lambda some: weigh_tour(problem, some).key)
    worth = weigh_tour(problem, best)
    if bound is None:
        return Tour(best, worth, len({pair for stop in problem.stops for pair in stop.pairs}), False)
    is_best = bound <= model.value(worth)
    return Tour(best, worth, worth.pairs if is_best else max(worth.pairs, bound // model.pair_value), is_best)


def _bound_pairs(problem: Problem) -> int:
    """No tour gives more pairs: stops by time alone, each by the shortest drive to it, no pair shared."""
    cp_model = _import_solver()
    model, n = cp_model.CpModel(), len(problem.stops)
    drive = np.where(problem.drive_min < 0, np.iinfo(np.int64).max // 2, problem.drive_min)
    np.fill_diagonal(drive, np.iinfo(np.int64).max // 2)
    to = np.delete(drive, END, axis=0).min(axis=0)[FIRST:].tolist()
    back = int(drive[FIRST:, END].min())
    visits = [model.new_bool_var("") for _ in range(n)]
    days = []
    for first, last in problem.days:
        on = [model.new_bool_var("") for _ in range(n)]
        days.append(on)
        spent = [(stop.stay_min + to[i]) * on[i] for i, stop in enumerate(problem.stops) if to[i] <= last]
        model.add(sum(spent) <= max(last - first - back - problem.break_min, 0))
        model.add(sum(on) <= problem.most_stops)
        model.add_bool_and([~on[i] for i in range(n) if to[i] > last])
    for i, visit in enumerate(visits):
        model.add(sum(on[i] for on in days) == visit)
    model.maximize(sum(len(stop.pairs) * visit for stop, visit in zip(problem.stops, visits, strict=True)))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers, solver.parameters.max_deterministic_time = 1, _WORK_FOR_BOUND
    status = solver.solve(model)
    every = len({pair for stop in problem.stops for pair in stop.pairs})
    return every if status == cp_model.UNKNOWN else min(round(solver.best_objective_bound), every)


def _group_pairs(problem: Problem) -> dict[tuple[int, ...], list[Pair]]:
    """Pairs by the stops that give them."""
    givers: dict[Pair, list[int]] = {}
    for i, stop in enumerate(problem.stops):
        for pair in sorted(stop.pairs):
            givers.setdefault(pair, []).append(i)
    groups: dict[tuple[int, ...], list[Pair]] = {}
    for pair, stops in sorted(givers.items()):
        groups.setdefault(tuple(stops), []).append(pair)
    return groups


class _Model:
    """The problem in the solver's words."""

    def __init__(self, problem: Problem, barred: Sequence[frozenset[int]]) -> None:
        cp_model = _import_solver()
        self._problem, self._model = problem, cp_model.CpModel()
        self._arcs: list[dict[tuple[int, int], Any]] = []
        self._begins: list[list[Any]] = []
        self._breaks: list[list[Any]] = []
        n, days = len(problem.stops), range(len(problem.days))
        self._visits = [self._model.new_bool_var(f"visit {i}") for i in range(n)]
        on = [[self._model.new_bool_var(f"{i} on {day}") for i in range(n)] for day in days]
        for i in range(n):
            self._model.add(sum(on[day][i] for day in days) == self._visits[i])
            if problem.stops[i].must:
                self._model.add(self._visits[i] == 1)
        drive = sum(self._add_day(day, on[day]) for day in days)
        pairs, grids, parks = self._count_prizes()
        for tour in (frozenset[int](), *barred):
            self._bar(tour)
        every = {pair for stop in problem.stops for pair in stop.pairs}
        self._park_value = sum(last - start for start, last in problem.days) + 1
        self._grid_value = self._park_value * (len({park for _, park in every}) + 1)
        self.pair_value = self._grid_value * (len({grid for grid, _ in every}) + 1)
        self._model.maximize(
            pairs * self.pair_value + grids * self._grid_value + parks * self._park_value - drive
        )

    def value(self, worth: Worth) -> int:
        """What the solver makes the most of, as one number."""
        pairs, grids, parks, drive = worth
        return pairs * self.pair_value + grids * self._grid_value + parks * self._park_value - drive

    def _add_day(self, day: int, on: list[Any]) -> Any:
        """The circuit of one day: its arcs, times, break and the length of it all; gives the driving."""
        problem, model = self._problem, self._model
        first, last = problem.days[day]
        n, stay = len(on), [stop.stay_min for stop in problem.stops]
        drive = problem.drive_min
        rest = [model.new_bool_var(f"break at {i}") for i in range(n)] if problem.break_min else []
        begin, low, high = [], [], []
        for i, stop in enumerate(problem.stops):
            soonest = first + int(drive[START, i + FIRST])
            latest = last - stay[i] - int(drive[i + FIRST, END])
            fitting = [(max(a, soonest), min(b - stay[i], latest)) for a, b in stop.windows[day]]
            fitting = [(a, b) for a, b in fitting if a <= b]
            if (
                not fitting
                or not problem.can_drive(START, i + FIRST)
                or not problem.can_drive(i + FIRST, END)
            ):
                model.add(on[i] == 0)
                fitting = [(first, first)]
            low.append(fitting[0][0])
            high.append(max(b for _, b in fitting))
            times = _import_solver().Domain.from_intervals([[a, b] for a, b in fitting])
            begin.append(model.new_int_var_from_domain(times, f"begin {i} on {day}"))
        arcs: dict[tuple[int, int], Any] = {}
        possible = np.zeros((n, n), dtype=bool)
        for i in range(n):
            arcs[START, i + FIRST] = model.new_bool_var("")
            arcs[i + FIRST, END] = back = model.new_bool_var("")
            leave = begin[i] + stay[i] + (problem.break_min * rest[i] if rest else 0)
            model.add(leave + int(drive[i + FIRST, END]) <= last).only_enforce_if(back)
            for j in range(n):
                if i == j or not problem.can_drive(i + FIRST, j + FIRST):
                    continue
                if low[i] + stay[i] + drive[i + FIRST, j + FIRST] <= high[j]:
                    possible[i, j] = True
                    arcs[i + FIRST, j + FIRST] = arc = model.new_bool_var("")
                    model.add(begin[j] >= leave + int(drive[i + FIRST, j + FIRST])).only_enforce_if(arc)
        self._arcs.append(arcs)
        self._begins.append(begin)
        self._breaks.append(rest)
        idle = model.new_bool_var("")
        nodes = [(0 if a < FIRST else a, 0 if b < FIRST else b, arc) for (a, b), arc in arcs.items()]
        model.add_circuit([*nodes, *((i + FIRST, i + FIRST, ~on[i]) for i in range(n)), (0, 0, idle)])
        model.add_bool_and([~one for one in on]).only_enforce_if(idle)
        driven = sum(int(drive[pair]) * arc for pair, arc in arcs.items())
        if rest:
            for i in range(n):
                model.add_implication(rest[i], on[i])
            model.add(sum(rest) + idle == 1)
        model.add(sum(on) <= problem.most_stops)
        # What follows is implied, and lets the relaxation see it: the length of the day, and stops of which
        # none can follow another.
        pause = problem.break_min * (1 - idle)
        model.add(driven + sum(s * one for s, one in zip(stay, on, strict=True)) + pause <= last - first)
        for clique in find_cliques(~(possible | possible.T)):
            model.add_at_most_one([on[i] for i in clique])
        return driven

    def _count_prizes(self) -> tuple[Any, Any, Any]:
        """Pairs, grids and parks that are got; and every stop must add a pair that no other stop gives."""
        problem, model = self._problem, self._model
        groups = _group_pairs(problem)
        got = {stops: model.new_bool_var("") for stops in groups}
        alone: dict[int, list[Any]] = {i: [] for i in range(len(problem.stops))}
        for stops, one in got.items():
            visits = [self._visits[i] for i in stops]
            model.add_bool_or(visits).only_enforce_if(one)
            for i in stops:
                own = one
                if len(stops) > 1:
                    own = model.new_bool_var("")
                    model.add(sum(visits) <= 1).only_enforce_if(own)
                alone[i].append(own)
        for i, owned in alone.items():
            if not problem.stops[i].must:
                model.add_bool_or([~self._visits[i], *owned])
        pairs = sum(len(pairs) * got[stops] for stops, pairs in groups.items())
        return pairs, self._count_any(groups, got, 0), self._count_any(groups, got, 1)

    def _count_any(self, groups: dict[Any, list[tuple[str, str]]], got: dict[Any, Any], part: int) -> Any:
        """How many different grids or parks the pairs name that are got."""
        named: dict[str, list[Any]] = {}
        for stops, pairs in groups.items():
            for name in sorted({pair[part] for pair in pairs}):
                named.setdefault(name, []).append(got[stops])
        counted = []
        for ones in named.values():
            counted.append(self._model.new_bool_var(""))
            self._model.add_bool_or(ones).only_enforce_if(counted[-1])
        return sum(counted)

    def _bar(self, tour: frozenset[int]) -> None:
        """Leave out a set of stops that another tour has."""
        inside = [~one if i in tour else one for i, one in enumerate(self._visits)]
        self._model.add_bool_or(inside)

    def solve(
        self, work: float, hint: tuple[Order, ...] | None
    ) -> tuple[tuple[Order, ...] | None, int | None]:
        """The best tour found within the limit of work, and what no tour's value passes, if that is known."""
        cp_model = _import_solver()
        if hint is not None:
            self._give_hint(hint)
        solver = cp_model.CpSolver()
        settings = solver.parameters
        settings.num_workers, settings.linearization_level, settings.random_seed = 1, 2, 1
        settings.max_deterministic_time = work
        settings.max_time_in_seconds = work * _SECONDS_A_UNIT
        status = solver.solve(self._model)
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return self._read_orders(solver), round(solver.best_objective_bound)
        return None, None

    def _give_hint(self, orders: tuple[Order, ...]) -> None:
        named = set(itertools.chain(*orders))
        for i, visit in enumerate(self._visits):
            self._model.add_hint(visit, i in named)
        for day, (arcs, order) in enumerate(zip(self._arcs, orders, strict=True)):
            way = (START, *(one + FIRST for one in order), END) if order else ()
            taken = set(itertools.pairwise(way))
            for pair, arc in arcs.items():
                self._model.add_hint(arc, pair in taken)
            table = make_timetable(self._problem, day, order)
            stops = () if table is None else table.stops
            for timed in stops:
                self._model.add_hint(self._begins[day][timed.stop], timed.begin)
            resting = {timed.stop for timed in stops if timed.break_min}
            for i, rest in enumerate(self._breaks[day]):
                self._model.add_hint(rest, i in resting)

    def _read_orders(self, solver: Any) -> tuple[Order, ...]:
        orders = []
        for arcs in self._arcs:
            after = {a: b for (a, b), arc in arcs.items() if solver.boolean_value(arc)}
            stops: list[int] = []
            here = after.get(START, END)
            while here != END:
                stops.append(here - FIRST)
                here = after[here]
            orders.append(tuple(stops))
        return tuple(orders)


def find_cliques(apart: np.ndarray[Any, np.dtype[np.bool_]]) -> list[list[int]]:
    """Groups that cover all pairs which exclude each other; each grown from the first pair not yet covered.

    Examples
    --------
    >>> apart = np.array([[0, 1, 1, 0], [1, 0, 1, 0], [1, 1, 0, 1], [0, 0, 1, 0]], dtype=bool)
    >>> find_cliques(apart)
    [[0, 1, 2], [2, 3]]
    """
    apart = apart.copy()
    np.fill_diagonal(apart, False)
    left = np.triu(apart)
    groups = []
    for i, j in zip(*np.nonzero(left), strict=True):
        if not left[i, j]:
            continue
        group = [int(i), int(j)]
        fits = apart[i] & apart[j]
        while fits.any():
            k = int(np.argmax(fits))
            group.append(k)
            fits &= apart[k]
        left[np.ix_(group, group)] = False
        groups.append(sorted(group))
    return groups


def list_good_tours(problem: Problem) -> list[tuple[Order, ...]]:
    """Tours to start from, the best first: what adds most for its minutes goes in where it costs least.

    Begun anew with each stop, then each of the best loses a stop or two in turn and is filled again. None
    where not even the stops that must be in were put together.
    """
    musts = [i for i, stop in enumerate(problem.stops) if stop.must]
    orders = next(find_orders(problem, musts), None)
    if orders is None:
        return []
    tried = {_fill_tour(problem, orders)}
    for one in range(len(problem.stops)):
        if one not in musts and problem.stops[one].pairs:
            tried.update(_fill_tour(problem, begun) for begun in _insert_stop(problem, orders, one)[:1])
    best = max(tried, key=lambda tour: (weigh_tour(problem, tour).key, tour))
    while True:
        free = [one for one in itertools.chain(*best) if one not in musts]
        parted = [*((one,) for one in free), *itertools.combinations(free, 2)]
        tours = [
            _fill_tour(problem, tuple(tuple(i for i in order if i not in out) for order in best), out[0])
            for out in parted
        ]
        tried.update(tours)
        better = max(tours, key=lambda tour: (weigh_tour(problem, tour).key, tour), default=best)
        if weigh_tour(problem, better).key <= weigh_tour(problem, best).key:
            break
        best = better
    good = {_drop_useless(problem, tour) for tour in tried}
    # Without a stop that was in vain the break may have no place any more.
    fitting = [tour for tour in good if any(tour) and _fits(problem, tour)]
    return sorted(fitting, key=lambda tour: (weigh_tour(problem, tour).key, tour), reverse=True)


def _fits(problem: Problem, orders: tuple[Order, ...]) -> bool:
    return all(not order or make_timetable(problem, day, order) for day, order in enumerate(orders))


def _insert_stop(problem: Problem, orders: tuple[Order, ...], one: int) -> list[tuple[Order, ...]]:
    """Ways to put one more stop in, each day where it ends first."""
    made: list[tuple[int, tuple[Order, ...]]] = []
    for day, order in enumerate(orders):
        if len(order) >= problem.most_stops:
            continue
        for at in range(len(order) + 1):
            tried = (*order[:at], one, *order[at:])
            table = make_timetable(problem, day, tried)
            if table is not None:
                made.append((table.end, (*orders[:day], tried, *orders[day + 1 :])))
    return [tour for _, tour in sorted(made)]


def _fill_tour(problem: Problem, orders: tuple[Order, ...], leave_out: int = -1) -> tuple[Order, ...]:
    tables = [make_timetable(problem, day, order) for day, order in enumerate(orders)]
    ends = [problem.days[day][0] if t is None or not t.stops else t.end for day, t in enumerate(tables)]
    while True:
        got = {pair for order in orders for i in order for pair in problem.stops[i].pairs}
        used = set(itertools.chain(*orders)) | {leave_out}
        best: tuple[float, int, Order] | None = None
        for i, stop in enumerate(problem.stops):
            gain = len(stop.pairs - got)
            if i in used or not gain:
                continue
            for day, order in enumerate(orders):
                if len(order) >= problem.most_stops:
                    continue
                for at in range(len(order) + 1):
                    tried = (*order[:at], i, *order[at:])
                    table = make_timetable(problem, day, tried)
                    if table is None:
                        continue
                    score = gain / max(table.end - ends[day], 1)
                    if best is None or score > best[0]:
                        best = score, day, tried
        if best is None:
            return orders
        orders = tuple(best[2] if day == best[1] else order for day, order in enumerate(orders))
        table = make_timetable(problem, best[1], best[2])
        assert table is not None
        ends[best[1]] = table.end


def _drop_useless(problem: Problem, orders: tuple[Order, ...]) -> tuple[Order, ...]:
    """Without stops that add nothing to the others."""
    for one in itertools.chain(*orders):
        rest = {p for order in orders for i in order if i != one for p in problem.stops[i].pairs}
        if not problem.stops[one].must and problem.stops[one].pairs <= rest:
            return _drop_useless(problem, tuple(tuple(i for i in order if i != one) for order in orders))
    return orders


def _import_solver() -> Any:
    try:
        from ortools.sat.python import cp_model
    except ImportError as error:
        what = "the solver for tours is not installed"
        raise InputError("a day with several places", what, "install the extra named trip") from error
    return cp_model
