"""What it takes to get to the places found, and what is dangerous or closed there.

A line spot moves to the firm place of its stretch with the shortest walk; every other spot stays.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from scout.access import Targets, Walked, slope_deg, walks
from scout.access.hazards import closed_at, power_line_near
from scout.confidence import FIRM
from scout.model import LeftOut
from scout.outlines import Floats, Ints
from scout.reach.along import Judge, places_along
from scout.reach.further import Access, Box, boxes_around, from_further
from scout.spots import Found, Pieces, Search
from scout.spots.found import of_judged, replaced
from scout.spots.stretches import place_on, rows
from scout.surroundings import Route, Surroundings
from scout.verdict import Claims

__all__ = ["MOST_WALKS", "STEEP_DEG", "Access", "Box", "Reached", "reach"]

MOST_WALKS = 500  # spots, best first, whose walks are worked out
STEEP_DEG = 15.0  # more is noted
_FURTHER = Route("unknown", f"walks are worked out for the best {MOST_WALKS} spots only")


@dataclass(frozen=True, slots=True)
class Reached:
    """Rows of a search with their walks. Mappings go by row."""

    found: Found  # line spots moved
    out_min: Floats  # per row of ``found``: NaN where not known, infinite out of reach
    routes: Mapping[int, Route]
    slope_deg: Mapping[int, float]
    warnings: Mapping[int, tuple[str, ...]]
    closed: Mapping[int, str]  # rows where nobody may stand, and why
    surroundings: Surroundings

    def left_out(self) -> tuple[LeftOut, ...]:
        """The closed places, counted by what closes them."""
        kinds = sorted(why.split(":")[0] for why in self.closed.values())
        return tuple(LeftOut(f"on closed ground ({kind})", kinds.count(kind)) for kind in sorted(set(kinds)))

    def route(self, row: int) -> Route:
        """The walk to a row's spot, or why there is none."""
        return self.routes.get(row, _FURTHER)

    def notes(self, row: int) -> tuple[str, ...]:
        """What the ground itself makes worth a remark."""
        slope, route = self.slope_deg.get(row, 0.0), self.route(row)
        steep = (f"Steep: the ground slopes by {slope:.0f} deg here.",) if slope > STEEP_DEG else ()
        coarse = route.reason if route.state == "walked" else ""
        return (*steep, f"Long walk, {coarse}.") if coarse else steep


class _Offers(NamedTuple):
    """Places where spots may stand; those of one spot follow each other, the surest first."""

    row: Ints
    lon: Floats
    lat: Floats
    claim: Ints  # row of the claims along stretches, -1 for the place the search chose


def reach(
    result: Search,
    order: Ints,
    level: int,
    judge_of: Callable[[Ints], Judge],
    access: Access,
    progress: Callable[[str], None] = lambda _: None,
) -> Reached:
    """Work out the walks to the best places of a search.

    Parameters
    ----------
    result : Search
    order : array of int
        Rows to look at, best first.
    level : int
    judge_of : callable
        The judge over some parks, by their numbers in the search.
    access : Access
    progress : callable
        Told in a few words what is being done.
    """
    chosen = np.sort(order[result.found.near_park[order] < 0][:MOST_WALKS])
    progress("reading roads, barriers and heights")
    around, reliefs = access.near(_boxes(result, chosen, level, access.walking.reach_m))
    judge = judge_of(np.unique(result.found.rows(chosen).claims.park))
    served, claims = places_along(result, chosen, judge, around)
    offers = _offers(result.found, chosen, served, claims)
    offers, closed = _open(offers, judge.ground.station.radius_m, around)
    progress(f"walking to {len(np.unique(offers.row)):,} spots")
    of_row, group = np.unique(offers.row, return_inverse=True)
    targets = Targets(offers.lon, offers.lat, group)
    walked = walks(targets, around, reliefs, access.walking, progress)
    best = np.searchsorted(of_row, order[np.isin(order, of_row)])
    walked = from_further(walked, targets, best, access, progress)
    taken = np.array([w.row for w in walked], dtype=np.int64)
    moved = taken[offers.claim[taken] >= 0]
    found = _moved(result.found, offers.row[moved], claims.rows(offers.claim[moved]), judge)
    lon, lat = offers.lon[taken], offers.lat[taken]
    return Reached(
        found,
        _minutes(len(found.i), of_row, walked),
        dict(zip(of_row.tolist(), (w.route for w in walked), strict=True)),
        {int(row): float(s) for row, s in zip(of_row, slope_deg(reliefs, lon, lat), strict=True) if s >= 0},
        _warnings(of_row, lon, lat, around, access.power_line_m),
        closed,
        around,
    )


def _boxes(result: Search, chosen: Ints, level: int, reach_m: float) -> list[Box]:
    """Boxes round the chosen places, and round the whole stretches of those on lines."""
    judged = result.found.judged
    ends = [(judged.lon[chosen], judged.lat[chosen], judged.lon[chosen], judged.lat[chosen])]
    for pieces, owner in (
        (result.meridians, result.meridian_owner),
        (result.parallels, result.parallel_owner),
    ):
        mine = rows(pieces, np.flatnonzero(np.isin(owner, chosen)))
        ends.append((*_end(mine, 0.0, level), *_end(mine, 1.0, level)))
    lon1, lat1, lon2, lat2 = (np.concatenate(c) for c in zip(*ends, strict=True))
    return boxes_around((lon1, lat1), (lon2, lat2), reach_m)


def _end(pieces: Pieces, fraction: float, level: int) -> tuple[Floats, Floats]:
    return place_on(pieces, np.full(len(pieces.line), fraction), level)


def _offers(found: Found, chosen: Ints, served: Ints, claims: Claims) -> _Offers:
    """The places the search chose, but for those less than firm where a firm one is offered; the others."""
    firm = found.judged.confidence[chosen] >= FIRM
    kept = chosen[firm | ~np.isin(chosen, served)]
    row = np.concatenate([kept, served])
    claim = np.concatenate([np.full(len(kept), -1), np.arange(len(served))])
    lon = np.concatenate([found.judged.lon[kept], claims.lon])
    lat = np.concatenate([found.judged.lat[kept], claims.lat])
    order = np.lexsort((claim, row))
    return _Offers(row[order], lon[order], lat[order], claim[order])


def _open(offers: _Offers, radius_m: float, around: Surroundings) -> tuple[_Offers, dict[int, str]]:
    """The places where one may stand, and the rows that have none, with what closes them."""
    why = closed_at(offers.lon, offers.lat, radius_m, around)
    free = np.array([not text for text in why], dtype=bool)
    left = set(offers.row[free].tolist())
    closed = {row: text for row, text in zip(offers.row.tolist(), why, strict=True) if row not in left}
    return _Offers(*(column[free] for column in offers)), closed


def _moved(found: Found, row: Ints, claims: Claims, judge: Judge) -> Found:
    """The places found with some line spots on another place of their stretch."""
    none = np.zeros(len(row))
    new = of_judged("line", found.i[row], found.j[row], claims, (none, none), judge.judge(claims))
    return replaced(found, row, new)


def _minutes(n: int, of_row: Ints, walked: Sequence[Walked]) -> Floats:
    out_min = np.full(n, np.nan)
    for row, route in zip(of_row.tolist(), (one.route for one in walked), strict=True):
        if route.state == "out of reach":
            out_min[row] = np.inf
        elif route.out_min is not None:
            out_min[row] = route.out_min
    return out_min


def _warnings(
    of_row: Ints, lon: Floats, lat: Floats, around: Surroundings, least_m: float
) -> dict[int, tuple[str, ...]]:
    distance, names = power_line_near(lon, lat, around)
    return {
        int(row): (f"Overhead line {metres:.0f} m away ({name}): keep antennas and wires well clear of it.",)
        for row, metres, name in zip(of_row, distance, names, strict=True)
        if metres < least_m
    }
