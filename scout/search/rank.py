"""Filters and order: what is listed, in which order, and why the rest is not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.geo.probability import DOUBTFUL, FIRM
from scout.model import LeftOut, Ranked
from scout.quantities import Length, MeasuredText

PLENTY = 0.999  # probability of lying inside all parks claimed from which more clearance is worth nothing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class RankTerms(NamedTuple):
    """What places are filtered and sorted by, one row per place."""

    n_grids: Ints
    n_parks: Ints  # parks that hold the place; for a near miss the one it misses
    confidence: Floats
    inside_p: Floats  # probability that the station lies in all its parks
    clearance_m: Floats  # the least of its parks; minus the distance for a near miss
    edge_m: Floats  # way out of all its parks, at the least: the greatest clearance; NaN where not asked for
    is_corner: NDArray[np.bool_]
    is_near_miss: NDArray[np.bool_]
    in_area: NDArray[np.bool_]
    in_parks: NDArray[np.bool_]  # among the parks asked for
    home_km: Floats  # NaN without a home
    new_pairs: Ints  # of the yield, what is still missing; all of it without a notebook
    walk_min: Floats  # NaN where not worked out, infinite out of reach
    lon: Floats
    lat: Floats
    claim: tuple[Ints, Ints, Ints]  # cells claimed: the numbers of their line or corner, and which they are


@dataclass(frozen=True, slots=True)
class Filters:
    """What the user wants to see."""

    min_grids: int = 1
    min_parks: int = 1
    min_confidence: float = DOUBTFUL
    within_km: float | None = None


def filter_rows(terms: RankTerms, filters: Filters) -> tuple[Ints, tuple[LeftOut, ...]]:
    """Rows to list, in no order, and the rest counted by the first reason that leaves them out.

    Corners are never left out for their confidence: the place is what people look for, and the verdict
    says what it is worth.
    """
    within_km = np.inf if filters.within_km is None else filters.within_km
    weak = (terms.confidence < filters.min_confidence) & ~terms.is_corner & ~terms.is_near_miss
    reasons = [
        ("outside the area asked for", ~terms.in_area),
        (
            MeasuredText("over ", Length(1000.0 * within_km, "stated"), " from home"),
            terms.home_km > within_km,
        ),
        ("in none of the parks asked for", ~terms.in_parks),
        (f"fewer than {filters.min_grids} grids", terms.n_grids < filters.min_grids),
        (f"fewer than {filters.min_parks} parks", terms.n_parks < filters.min_parks),
        (f"with a confidence under {100 * filters.min_confidence:g} %: too narrow for the station", weak),
    ]
    kept = np.ones(len(terms.n_grids), dtype=bool)
    left_out = []
    for reason, fails in reasons:
        dropped = np.count_nonzero(kept & fails)
        if dropped:
            left_out.append(LeftOut(reason, int(dropped)))
        kept &= ~fails
    return np.flatnonzero(kept), tuple(left_out)


def sort_rows(terms: RankTerms, rows: Ints) -> Ints:
    """Rows, best first.

    Out of reach comes last of all, near misses before it. Within each of the three:

    1. pairs still missing, pairs (grids times parks), grids: most first. A near miss has the pairs that it
       misses.
    2. Verdict class: firm, doubtful, not counted.
    3. Clearance, most first, but all with a probability of `PLENTY` of lying inside are alike and first. Of
       several parks the least clearance counts, and the probability of lying in all of them. A near miss has
       minus its distance to the park: the nearest comes first.
    4. Effort, least first: the time to walk. Rows without one (never asked for, beyond the walks worked
       out, or no place to start from) come after those with one, by the distance from home; where there is
       no home, by the nearness to the park's edge. Of several parks the furthest edge counts, for a small
       park's edge amid a large one is no way out. Roads are known only with access data, and then as walks.
    5. Confidence, most first; latitude, longitude and the claim, so that runs agree.
    """
    grade = (terms.confidence < FIRM).astype(np.int8) + (terms.confidence < DOUBTFUL)
    pairs = (terms.n_grids * terms.n_parks).astype(np.int32)
    unwalked = np.isnan(terms.walk_min)
    far = np.where(np.isnan(terms.home_km), terms.edge_m, terms.home_km)
    columns: tuple[tuple[NDArray[Any], int], ...] = (
        *((claim.astype(np.int32), 1) for claim in terms.claim),  # two lines may meet at one place
        (terms.lon, 1),
        (terms.lat, 1),
        (terms.confidence, -1),
        (np.where(unwalked, far, terms.walk_min), 1),
        (unwalked, 1),
        (np.where(terms.inside_p >= PLENTY, np.inf, terms.clearance_m), -1),
        (grade, 1),
        (terms.n_grids, -1),
        (pairs, -1),
        (terms.new_pairs, -1),
        (terms.is_near_miss, 1),
        (np.isinf(terms.walk_min), 1),
    )
    keys = [sign * column[rows] for column, sign in columns if not _is_constant(column[rows])]
    return rows[np.lexsort(keys)] if keys else rows


def has_plenty(ranked: Ranked) -> bool:
    """Whether a listed spot's clearance is plenty, as the order takes it."""
    verdict = ranked.spot.verdict
    return bool(verdict.parks_p) and math.prod(verdict.parks_p) >= PLENTY


def edge_m(ranked: Ranked) -> float | None:
    """Metres to the furthest edge of a listed spot's parks, where the order goes by it, else None."""
    walked = ranked.route is not None and ranked.route.state != "unknown"
    clearances = ranked.spot.verdict.clearances_m
    return None if walked or ranked.home_km is not None or not clearances else max(clearances)


def _is_constant(column: NDArray[Any]) -> bool:
    """Whether there is nothing to sort by; many terms have one value only, and each costs a pass."""
    return bool((column == column[:1]).all() or (column != column).all())
