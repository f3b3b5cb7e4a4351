"""Places that a narrow park parts: where the station fits over it, what the other parks share is one place.

Finds are listed by their exact set of parks. A strip too narrow for a station cuts what the others share
into pieces too narrow as well, or covers all of it. So what is not firm is looked at again with fewer parks,
whatever else lies there: a set's own spot is listed where nothing within the same connected ground holds all
of its parks as surely.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np

from scout.geo.boundaries import Floats
from scout.geo.probability import DOUBTFUL
from scout.search.beside import compute_widest_m, find_near_bounds, find_parks_beside
from scout.search.found import FoundPlaces, grade_confidence
from scout.search.optimize import SURE
from scout.search.verdict import JudgingContext
from scout.table import expand_ranges

Parks = tuple[int, ...]  # ascending
_ALIKE = 1e-3  # probabilities that differ by less are those of one boundary drawn twice
_FEW = 4  # parks that hold a place unsurely, of which each is left out in turn


class PartedTerms(NamedTuple):
    """A set of parks, looked at from a place that all of them hold."""

    parks: Parks
    at: int


class WiderSets(NamedTuple):
    """Connected ground that a set shares, and the best grade of what is found in it with all of the set."""

    parks: Parks
    piece: Any  # a number, or the first and last of a row of numbers
    at: int
    covered: int


def list_fewer(parks: Parks, parks_p: Floats) -> list[Parks]:
    """Sets to try where these parks hold a place with such probabilities.

    Each park that is unsure is left out in turn. Where many are, those that do not count are left out
    together, or the least sure, so that the sets stay few.
    """
    unsure = np.flatnonzero(parks_p < SURE).tolist()
    if len(unsure) <= _FEW:
        return [parks[:k] + parks[k + 1 :] for k in unsure]
    low = set(np.flatnonzero(parks_p < DOUBTFUL).tolist())
    if not 0 < len(low) < len(parks) - 1:
        low = {int(np.argmin(parks_p))}
    return [tuple(park for k, park in enumerate(parks) if k not in low)]


def find_surer(
    wanted: Iterable[PartedTerms],
    find_ground: Callable[[Sequence[PartedTerms]], list[WiderSets | Sequence[PartedTerms]]],
    judge: Callable[[Sequence[WiderSets]], FoundPlaces],
    ground: JudgingContext,
    least: int,
) -> tuple[list[WiderSets], list[FoundPlaces]]:
    """Ground where a set is surer than all that was found in it.

    Parameters
    ----------
    wanted : iterable of PartedTerms
        What to begin with.
    find_ground : callable
        Gives for each set the ground, or other sets to look at instead.
    judge : callable
        Gives one spot for each piece of ground.
    ground : JudgingContext
    least : int
        Fewest parks of a set.

    Returns
    -------
    wide : list of WiderSets
    spots : list of FoundPlaces
        One row for each.
    """
    seen: set[tuple[Parks, Any]] = set()
    asked: set[PartedTerms] = set()
    wide, spots = [], []
    todo = [one for one in dict.fromkeys(wanted) if len(one.parks) >= least]
    while todo:
        asked.update(todo)
        new: dict[tuple[Parks, Any], WiderSets] = {}
        more: list[PartedTerms] = []
        for one in find_ground(todo):
            if not isinstance(one, WiderSets):
                more.extend(one)
            elif one.covered > 0 and (one.parks, one.piece) not in seen:
                new.setdefault((one.parks, one.piece), one)
        seen.update(new)
        if new:
            found = judge(list(new.values()))
            grades = grade_confidence(found.judged.confidence)
            for row, one in enumerate(new.values()):
                if grades[row] < one.covered:
                    wide.append(one)
                    spots.append(found.take(np.array([row])))
                if grades[row] > 0:
                    part = slice(found.claims.first[row], found.claims.first[row + 1])
                    more.extend(
                        PartedTerms(s, one.at) for s in list_fewer(one.parks, found.judged.parks_p[part])
                    )
        todo = [one for one in dict.fromkeys(more) if len(one.parks) >= least and one not in asked]
    best = _drop_twins(spots, ground)
    return [wide[k] for k in best], [spots[k] for k in best]


def _drop_twins(spots: Sequence[FoundPlaces], ground: JudgingContext) -> list[int]:
    """Numbers of the spots where no park left out holds the place just as one that is claimed does.

    Of parks that come twice one is not better than both; what errors there are, both share.
    """
    if not spots:
        return []
    whole = FoundPlaces.concat(spots)
    bounds = np.stack(ground.boundaries.outlines.bounds, axis=1)
    reach = compute_widest_m(ground.station, ground.boundary_error_m)
    beside = find_parks_beside(whole, find_near_bounds(whole, bounds, reach), ground)
    pair, member = expand_ranges(whole.claims.first[beside.row], np.diff(whole.claims.first)[beside.row])
    alike = np.abs(beside.p[pair] - whole.judged.parks_p[member]) < _ALIKE
    twins = np.unique(beside.row[pair[alike]])
    return sorted(set(range(len(spots))) - set(twins.tolist()))


def keep_best(
    wide: Sequence[WiderSets], grades: Sequence[int], within: Iterable[tuple[int, int]]
) -> list[int]:
    """Numbers of those that nothing as sure within them holds with all of their parks and more.

    ``within`` are pairs: the second one's spot lies in the ground of the first.
    """
    inner: dict[int, list[int]] = {}
    for outer, other in within:
        if len(wide[other].parks) > len(wide[outer].parks):
            inner.setdefault(outer, []).append(other)
    stays: set[int] = set()
    for k in sorted(range(len(wide)), key=lambda k: -len(wide[k].parks)):
        mine = set(wide[k].parks)
        if not any(
            other in stays and grades[other] <= grades[k] and mine <= set(wide[other].parks)
            for other in inner.get(k, ())
        ):
            stays.add(k)
    return sorted(stays)
