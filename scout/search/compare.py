"""Spots of two versions of the data matched: what vanished, appeared, moved or counts otherwise."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import shapely

from scout.geo.geodesy import measure_geodesic
from scout.geo.probability import choose_word
from scout.model import Ranked, Spot, Station, Verdict
from scout.parks.names import NamedPark, find_other_parks, is_same_park, make_key
from scout.search.places import find_candidates

Change = Literal[
    "vanished", "other verdict", "other grids or parks", "moved", "appeared", "new or risen", "same"
]


@dataclass(frozen=True, slots=True)
class SpotChange:
    """One spot before and now; either may be a near miss, or None where there is nothing."""

    change: Change
    before: Ranked | None
    now: Ranked | None
    moved_m: float | None = None  # from the place before to the place now
    moved_deg: float | None = None
    lost: tuple[NamedPark, ...] = ()  # parks it counted for and does not any more
    gained: tuple[NamedPark, ...] = ()
    there: Ranked | None = None  # the place before as it is judged now; of one that appeared, as then

    @property
    def listed(self) -> Ranked:
        """The spot as the newer version lists it, or else as the older did."""
        sides = [one for one in (self.now, self.before) if one is not None]
        return next(one for one in sides if one.spot.kind in ("corner", "line", "overlap"))


@dataclass(frozen=True, slots=True)
class Comparison:
    """All changes, by class and rank, and what is no change."""

    changes: tuple[SpotChange, ...]
    same: int
    still: int = 0  # listed in one version only, and their places count alike in both
    unknown: int = 0  # spots of now of which nobody knows whether they were there before

    def list_left(self, reach_m: float) -> dict[int, Spot]:
        """Spots whose places are not those of any spot of now, by their rows."""
        return {
            k: one.before.spot
            for k, one in enumerate(self.changes)
            if one.before is not None and (one.change == "vanished" or (one.moved_m or 0.0) > reach_m)
        }

    def list_new(self) -> dict[int, Spot]:
        """Spots of now that matched none, by their rows."""
        some = ("appeared", "new or risen")
        return {k: one.now.spot for k, one in enumerate(self.changes) if one.now and one.change in some}


def compute_reach_m(station: Station) -> float:
    """How far apart two places are one: what station, receiver and boundaries leave open, added up."""
    return station.radius_m + station.fix_error_m + station.boundary_error_m


def compare_spots(
    before: Iterable[Ranked], now: Iterable[Ranked], reach_m: float, *, ids_hold: bool, cut: bool = False
) -> Comparison:
    """Match the spots of two searches and say what became of each.

    Parameters
    ----------
    before, now : iterables of Ranked
        Both searched with the same settings, near misses among them.
    reach_m : float
        Places further apart than this are not one: see `compute_reach_m`.
    ids_hold : bool
        Whether both have ids of their own, see `is_same_park`.
    cut : bool
        Whether ``before`` holds only the best of what there was: what is now and matches none of it may
        have been there.

    Notes
    -----
    Corners are matched by the exact corner. Lines and overlaps are matched within one kind and one set of
    locators: those within reach of each other, of the same parks, then of some of them; those of the same
    parks at any distance; those within reach of other parks. Each time the nearest come first, and each is
    matched once. Near misses match no spot; they tell what
    became of one that vanished, and what one that appeared was.
    """
    old, new = _part_misses(before), _part_misses(now)
    pairs = _match(old[0], new[0], reach_m, ids_hold)
    matched = [_classify(old[0][a], new[0][b], reach_m, ids_hold) for a, b in pairs]
    left_old = _list_unmatched(old[0], {a for a, _ in pairs})
    left_new = _list_unmatched(new[0], {b for _, b in pairs})
    misses = _MissesBySpot(new[1], ids_hold)
    changes = [SpotChange("vanished", one, misses.find(one.spot)) for one in left_old]
    unknown = 0
    if cut:
        # What ranks above a spot that is as it was would have ranked above it before: it has changed.
        last = max((one.now.rank for one in matched if one.now and _is_untouched(one)), default=0)
        unknown = sum(one.rank > last for one in left_new)
        changes += [SpotChange("new or risen", None, one) for one in left_new if one.rank < last]
    else:
        misses = _MissesBySpot(old[1], ids_hold)
        changes += [SpotChange("appeared", misses.find(one.spot), one) for one in left_new]
    others = [one for one in matched if one.change != "same"]
    same = len(matched) - len(others)
    return Comparison(tuple(sorted([*others, *changes], key=_make_sort_key)), same, unknown=unknown)


def settle_places(
    found: Comparison, today: Mapping[int, Ranked], then: Mapping[int, Ranked], *, ids_hold: bool
) -> Comparison:
    """Look again at what matched none or moved: a list may change where no place does.

    A stretch goes with its corner, a piece with a larger one, and another part of a line may become its best.
    Where a place counts for the same grids and parks in both versions, with the same verdict, nothing has
    changed.

    Parameters
    ----------
    found : Comparison
    today, then : mappings of int to Ranked
        Places of `Comparison.list_left` as the new data has them, and of `Comparison.list_new` as the old
        has them.
    """
    settled, still = [], 0
    for k, one in enumerate(found.changes):
        there = today.get(k) or then.get(k)
        claim = one.before if k in today else one.now
        if there is None or claim is None:
            settled.append(one)
            continue
        judged = judge_claim(there, claim, ids_hold=ids_hold)
        alike = judged is not None and judged.spot.verdict.word == claim.spot.verdict.word
        if alike and one.change in ("moved", *_UNMATCHED):
            still += 1
        elif judged is not None and one.change in _UNMATCHED:
            before, now = (claim, judged) if k in today else (judged, claim)
            settled.append(SpotChange("other verdict", before, now))
        else:
            settled.append(_drop_miss(replace(one, there=there)))
    return replace(found, changes=tuple(sorted(settled, key=_make_sort_key)), still=still)


def judge_claim(place: Ranked, claim: Ranked, *, ids_hold: bool) -> Ranked | None:
    """The place of a spot with what it counts for of the spot's claim; None where a park is lost.

    Which grids the station touches there, and how surely, is a matter of the place alone.
    """
    mine = place.spot.verdict
    parks = list_parks(place.spot)
    lost, gained = find_other_parks(list_parks(claim.spot), parks, ids_hold=ids_hold)
    if lost:
        return None
    kept = [k for k, park in enumerate(parks) if park not in gained]
    confidence = claim.spot.verdict.grids_p * math.prod(mine.parks_p[k] for k in kept)
    if len(kept) == len(parks) and claim.spot.verdict.grids_p == mine.grids_p:
        confidence = mine.confidence  # of fewer the product is all that is known without boundaries
    verdict = Verdict(
        locators=claim.spot.verdict.locators,
        parks=tuple(mine.parks[k] for k in kept),
        clearances_m=tuple(mine.clearances_m[k] for k in kept),
        grids_p=claim.spot.verdict.grids_p,
        parks_p=tuple(mine.parks_p[k] for k in kept),
        confidence=confidence,
        word=choose_word(confidence),
    )
    spot = replace(place.spot, verdict=verdict, park_names=tuple(parks[k][1] for k in kept))
    n_grids, n_parks = len(verdict.locators), len(kept)
    return replace(place, spot=spot, n_grids=n_grids, n_parks=n_parks, grid_park_pairs=n_grids * n_parks)


def _drop_miss(one: SpotChange) -> SpotChange:
    """A change without its near miss where the place itself counts for a park."""
    if one.there is None or not one.there.spot.verdict.parks or one.change not in _UNMATCHED:
        return one
    return replace(one, now=None) if one.change == "vanished" else replace(one, before=None)


_ORDER: tuple[Change, ...] = Change.__args__  # type: ignore[attr-defined]
_UNMATCHED: tuple[Change, ...] = ("vanished", "appeared", "new or risen")


def _make_sort_key(one: SpotChange) -> tuple[int, bool, int]:
    """The class, what got worse before what got better, the rank."""
    both = one.before is not None and one.now is not None
    p = [side.spot.verdict.confidence for side in (one.before, one.now) if side is not None]
    return _ORDER.index(one.change), both and p[-1] > p[0], one.listed.rank


def list_parks(spot: Spot) -> list[NamedPark]:
    """Ids and names of the parks that a spot counts for."""
    return list(zip(spot.verdict.parks, spot.park_names, strict=True))


def _part_misses(spots: Iterable[Ranked]) -> tuple[list[Ranked], list[Ranked]]:
    found: tuple[list[Ranked], list[Ranked]] = ([], [])
    for one in spots:
        found[one.spot.kind == "near-miss"].append(one)
    return found


def _list_unmatched(spots: Sequence[Ranked], matched: set[int]) -> list[Ranked]:
    return [one for at, one in enumerate(spots) if at not in matched]


def _group(spot: Spot) -> tuple[Any, ...]:
    """What two spots must have in common to be matched."""
    return (spot.kind, spot.corner) if spot.corner else (spot.kind, spot.verdict.locators)


def _match(
    old: Sequence[Ranked], new: Sequence[Ranked], reach_m: float, ids_hold: bool
) -> list[tuple[int, int]]:
    """Pairs of places in the two lists."""
    exact = _match_exact(old, new)
    taken_old, taken_new = {a for a, _ in exact}, {b for _, b in exact}
    rest_old = [k for k in range(len(old)) if k not in taken_old]
    rest_new = [k for k in range(len(new)) if k not in taken_new]
    pairs = _list_pairs([old[k].spot for k in rest_old], [new[k].spot for k in rest_new], reach_m, ids_hold)
    found, used_old, used_new = list(exact), set[int](), set[int]()
    for _, a, b in sorted(pairs):
        if a not in used_old and b not in used_new:
            used_old.add(a)
            used_new.add(b)
            found.append((rest_old[a], rest_new[b]))
    return found


def _match_exact(old: Sequence[Ranked], new: Sequence[Ranked]) -> list[tuple[int, int]]:
    """Those that are one to the last bit: nearly all, and no other pair would be taken before them."""
    by_claim: dict[Any, list[int]] = defaultdict(list)
    for k, one in enumerate(new):
        by_claim[_make_claim(one.spot)].append(k)
    found = []
    for k, one in enumerate(old):
        some = by_claim.get(_make_claim(one.spot))
        if some:
            found.append((k, some.pop(0)))
    return found


def _make_claim(spot: Spot) -> tuple[Any, ...]:
    return (_group(spot), spot.lon, spot.lat, spot.verdict.locators, tuple(sorted(list_parks(spot))))


_Grade = tuple[int, float]  # a pair's place in the order: how much alike, metres apart


def _list_pairs(
    old: Sequence[Spot], new: Sequence[Spot], reach_m: float, ids_hold: bool
) -> list[tuple[_Grade, int, int]]:
    """Pairs that may be matched, graded, one row each."""
    pairs = {*_list_near(old, new, reach_m), *_list_of_same_parks(old, new, ids_hold)}
    if not pairs:
        return []
    rows = sorted(pairs)
    a, b = np.array(rows, dtype=np.int64).T
    start, end = (np.array([(s.lon, s.lat) for s in some]) for some in (old, new))
    away = measure_geodesic(start[a, 0], start[a, 1], end[b, 0], end[b, 1])[0].tolist()
    graded = []
    for (k, m), distance_m in zip(rows, away, strict=True):
        lost, gained = find_other_parks(list_parks(old[k]), list_parks(new[m]), ids_hold=ids_hold)
        far = distance_m > reach_m and old[k].corner is None
        if not (lost or gained):
            graded.append(((2 if far else 0, distance_m), k, m))
        elif not far:
            shared = len(lost) < len(list_parks(old[k]))
            graded.append(((1 if shared else 3, distance_m), k, m))
    return graded


def _list_near(old: Sequence[Spot], new: Sequence[Spot], reach_m: float) -> Iterator[tuple[int, int]]:
    if not old or not new:
        return
    tree = shapely.STRtree(shapely.points([(s.lon, s.lat) for s in new]))
    lon, lat = np.array([(s.lon, s.lat) for s in old]).T
    for k, m in zip(
        *(some.tolist() for some in find_candidates(tree, lon, lat, np.full(len(lon), reach_m))), strict=True
    ):
        if _group(old[k]) == _group(new[m]):
            yield k, m


def _list_of_same_parks(
    old: Sequence[Spot], new: Sequence[Spot], ids_hold: bool
) -> Iterator[tuple[int, int]]:
    """Pairs at one corner, and pairs of one group that may have the same parks."""
    by_park: dict[Any, list[int]] = defaultdict(list)
    for m, spot in enumerate(new):
        for key in {key for park in list_parks(spot) for key in _make_park_keys(park)}:
            by_park[_group(spot), key].append(m)
        if spot.corner is not None:
            by_park[_group(spot)].append(m)
    for k, spot in enumerate(old):
        if spot.corner is not None:
            yield from ((k, m) for m in by_park.get(_group(spot), ()))
            continue
        # The rarest of its parks will do: a spot of the same parks has that one too.
        some = [
            {m for key in _make_park_keys(park) for m in by_park.get((_group(spot), key), ())}
            for park in list_parks(spot)
        ]
        yield from ((k, m) for m in min(some, key=len, default=()))


def _make_park_keys(park: NamedPark) -> tuple[tuple[str, str], ...]:
    return ("id", park[0]), ("name", make_key(park[1]))


def _classify(before: Ranked, now: Ranked, reach_m: float, ids_hold: bool) -> SpotChange:
    """What became of a spot that is still there."""
    old, new = before.spot, now.spot
    moved_m, moved_deg = (float(x) for x in measure_geodesic(old.lon, old.lat, new.lon, new.lat))
    lost, gained = find_other_parks(list_parks(old), list_parks(new), ids_hold=ids_hold)
    change: Change = "same"
    if lost or gained or set(old.verdict.locators) != set(new.verdict.locators):
        change = "other grids or parks"
    elif old.verdict.word != new.verdict.word:
        change = "other verdict"
    elif moved_m > reach_m:
        change = "moved"
    return SpotChange(change, before, now, moved_m, moved_deg, tuple(lost), tuple(gained))


def _is_untouched(one: SpotChange) -> bool:
    """Whether a spot has all that the order goes by as it was."""
    if one.before is None or one.now is None or one.change != "same":
        return False
    old, new = one.before.spot, one.now.spot
    a, b = ((s.lon, s.lat, s.verdict.confidence, *sorted(s.verdict.clearances_m)) for s in (old, new))
    return bool(np.allclose(a, b, rtol=0.0, atol=1e-9))


class _MissesBySpot:
    """Near misses, found by the spot that one was or became."""

    def __init__(self, misses: Sequence[Ranked], ids_hold: bool) -> None:
        self._ids_hold = ids_hold
        self._by_place: dict[Any, list[Ranked]] = defaultdict(list)
        for one in misses:
            self._by_place[one.spot.corner or one.spot.verdict.locators].append(one)

    def find(self, spot: Spot) -> Ranked | None:
        """The near miss at the same corner; of a line, the nearest on it that misses one of its parks."""
        some = self._by_place.get(spot.corner or spot.verdict.locators, [])
        if spot.corner is None:
            some = [one for one in some if self._misses_one(one.spot, list_parks(spot))]
        return min(
            some,
            key=lambda one: float(measure_geodesic(spot.lon, spot.lat, one.spot.lon, one.spot.lat)[0]),
            default=None,
        )

    def _misses_one(self, miss: Spot, parks: Sequence[NamedPark]) -> bool:
        near = miss.near
        return near is not None and any(
            is_same_park((near.park, near.park_name), park, ids_hold=self._ids_hold) for park in parks
        )
