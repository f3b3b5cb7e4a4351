"""Places that a trip may go to, out of a list of spots: what each would add, and how long one stays."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from scout.errors import InputError
from scout.geo.geodesy import measure_geodesic
from scout.model import Findings, Ranked
from scout.tours.day import Place
from scout.tours.plan import Pair, Stop, Window

_FASTEST_KMH = 130.0  # nobody gets further in a day


@dataclass(frozen=True, slots=True)
class StayTimes:
    """Minutes at a place, the walks apart."""

    set_up_min: int
    operating_min: int
    take_down_min: int

    @property
    def total_min(self) -> int:
        """All of it."""
        return self.set_up_min + self.operating_min + self.take_down_min


@dataclass(frozen=True, slots=True)
class Candidate:
    """A spot that a trip may go to."""

    ranked: Ranked
    pairs: frozenset[Pair]
    car_at: Place
    walk_in_min: int | None  # None: how to walk there is not known
    walk_out_min: int | None
    must: bool = False
    windows: tuple[tuple[Window, ...], ...] = ()  # of each day: that of the stay
    remarks: tuple[str, ...] = ()

    @property
    def walks_min(self) -> int:
        """Both walks, where they are known."""
        return (self.walk_in_min or 0) + (self.walk_out_min or 0)

    def make_stop(self, stay: StayTimes) -> Stop:
        """What the solver is told of it."""
        return Stop(self.pairs, self.walks_min + stay.total_min, self.windows, self.must)


def choose_candidates(
    findings: Findings,
    done: Collection[Pair],
    musts: Collection[int],
    most: int,
    doubtful: bool,
    far_enough: Callable[[Place, int], bool],
) -> tuple[list[Candidate], list[str]]:
    """Spots a trip may go to, in order of rank, and what was left out and why.

    Parameters
    ----------
    done : collection of pairs
        That add nothing any more.
    musts : collection of int
        Ranks of places that must be in; whatever else is wrong with them.
    most : int
        Only the best so many of the list.
    doubtful : bool
        Whether places that are not firm may be in.
    far_enough : callable
        Whether a car that stays at a place, for so many minutes of walking, is within a day's reach.

    Raises
    ------
    InputError
        A place that must be in is not in the list, is a near miss, or cannot be walked to.
    """
    known = {ranked.rank for ranked in findings.spots}
    for rank in musts:
        if rank not in known:
            last = max(known, default=0)
            remedy = f"give a number from 1 to {last}" if last else "nothing was found"
            raise InputError(f"place {rank}", "is not in the list", remedy)
    chosen: list[Candidate] = []
    left = dict.fromkeys(
        (
            "doubtful",
            "not reached on foot within the longest walk",
            "with no walk that could be worked out",
            "adding nothing new",
            "too far for these hours",
        ),
        0,
    )
    reasons = list(left)
    walks = findings.walking is not None
    cut = 0
    for ranked in findings.spots:
        must = ranked.rank in musts
        if ranked.spot.near is not None:
            if must:
                raise InputError(
                    f"place {ranked.rank}", "is a near miss: no place to stand", "choose another"
                )
            continue
        route = ranked.route
        lost = None if route is None or not walks else {"out of reach": 1, "unknown": 2}.get(route.state)
        if lost is not None and must:
            what = "cannot be walked to" if lost == 1 else "has no walk that could be worked out"
            remedy = "choose another, or allow a longer walk"
            raise InputError(f"place {ranked.rank}", what, remedy)
        candidate = _make_candidate(ranked, done, must)
        if not must:
            if ranked.spot.verdict.word != "firm" and not doubtful:
                lost = 0 if lost is None else lost
            if lost is None and not candidate.pairs:
                lost = 3
            if lost is None and not far_enough(candidate.car_at, candidate.walks_min):
                lost = 4
            if lost is not None:
                left[reasons[lost]] += 1
                continue
            if len(chosen) >= most:
                cut += 1
                continue
        chosen.append(candidate)
    notes = [f"Left out, {reason}: {count:,}." for reason, count in left.items() if count]
    if cut:
        notes.append(f"Looked at are the best {most:,} places that may be in; {cut:,} more are not.")
    return chosen, notes


def _make_candidate(ranked: Ranked, done: Collection[Pair], must: bool) -> Candidate:
    verdict, route = ranked.spot.verdict, ranked.route
    pairs = frozenset((grid, park) for grid in verdict.locators for park in verdict.parks) - frozenset(done)
    car, there, back = (ranked.spot.lon, ranked.spot.lat), None, None
    if route is not None and route.state == "walked" and route.start is not None:
        assert route.out_min is not None
        assert route.back_min is not None
        car, there, back = route.start, math.ceil(route.out_min), math.ceil(route.back_min)
    return Candidate(ranked, pairs, car, there, back, must)


def make_reach(start: Place, end: Place, longest_min: int, stay: StayTimes) -> Callable[[Place, int], bool]:
    """Whether a place could be reached in a day at the speed of a motorway, along a straight line."""

    def reaches(place: Place, walks_min: int) -> bool:
        ends = np.array([start, end])
        metres = measure_geodesic(ends[:, 0], ends[:, 1], *place)[0]
        drive = float(np.sum(metres)) / 1000 / _FASTEST_KMH * 60
        return drive + walks_min + stay.total_min <= longest_min

    return reaches


def count_new_pairs(stops: Sequence[Candidate]) -> list[tuple[Pair, ...]]:
    """Of stops in order, the pairs that none before gave."""
    got: set[Pair] = set()
    new = []
    for one in stops:
        new.append(tuple(sorted(one.pairs - got)))
        got |= one.pairs
    return new


def merge_by_place(places: Sequence[Place]) -> tuple[list[Place], Mapping[Place, int]]:
    """Different places, each once, and the row of each."""
    rows = {place: row for row, place in enumerate(dict.fromkeys(places))}
    return list(rows), rows
