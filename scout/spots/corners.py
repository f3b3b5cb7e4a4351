"""Corners strictly inside parks: four cells, or three where four cannot be had."""

from __future__ import annotations

import numpy as np

from scout.confidence import DOUBTFUL
from scout.locator import edge_lat, edge_lon
from scout.outlines import Ints
from scout.spots.edges import Corners
from scout.spots.found import Found, of_judged, replaced
from scout.verdict import FOUR, THREE, Claims, Ground, sharpened, stand

__all__ = ["at_corners", "best_threes", "settled"]


def at_corners(corners: Corners, ground: Ground) -> Found:
    """One spot per corner, whatever its verdict.

    The claim is four cells in all parks that hold the corner. Where that is not counted, the parks that
    hold the corner by too little are dropped one by one; where it still is not, three cells are tried.
    """
    claims = Claims(
        edge_lon(corners.i, ground.level),
        edge_lat(corners.j, ground.level),
        np.full(len(corners.i), FOUR),
        corners.sets.first,
        corners.sets.park,
    )
    found = _with_fewer_parks(settled(corners.i, corners.j, claims, ground), ground)
    return _three_where_better(found, ground)


def settled(i: Ints, j: Ints, claims: Claims, ground: Ground, exact: bool = True) -> Found:
    """Corner claims with their station centres settled within twice the station's radius."""
    reach = np.full(len(i), 2 * ground.station.radius_m)
    dx, dy, quick = stand(claims, ground, (-reach, -reach), (reach, reach), exact)
    return of_judged("corner", i, j, claims, (dx, dy), sharpened(claims, quick, ground))


def _with_fewer_parks(found: Found, ground: Ground) -> Found:
    """Drop the parks that hold a corner worst, one by one, where that makes it count."""
    hopeless = _not_counted_in_several(found)
    fewer = found.rows(hopeless)
    while len(rows := _not_counted_in_several(fewer)):
        fewer = replaced(fewer, rows, _without_worst_park(fewer.rows(rows), ground))
    counted = np.flatnonzero(fewer.judged.confidence >= DOUBTFUL)
    return replaced(found, hopeless[counted], fewer.rows(counted))


def _not_counted_in_several(found: Found) -> Ints:
    return np.flatnonzero((found.judged.confidence < DOUBTFUL) & (np.diff(found.claims.first) > 1))


def _without_worst_park(found: Found, ground: Ground) -> Found:
    first = found.claims.first
    keep = np.ones(len(found.claims.park), dtype=bool)
    for row in range(len(found.i)):
        keep[first[row] + np.argmin(found.judged.parks_p[first[row] : first[row + 1]])] = False
    fewer = found.claims._replace(first=first - np.arange(len(first)), park=found.claims.park[keep])
    return settled(found.i, found.j, fewer, ground)._replace(dropped=found.dropped + 1)


def _three_where_better(found: Found, ground: Ground) -> Found:
    rows = np.flatnonzero(found.judged.confidence < DOUBTFUL)
    at, three = best_threes(found.rows(rows), ground)
    better = np.flatnonzero(three.judged.confidence > found.judged.confidence[rows[at]])
    three = three.rows(better)._replace(dropped=found.dropped[rows[at[better]]])
    return replaced(found, rows[at[better]], three)


def best_threes(corners: Found, ground: Ground) -> tuple[Ints, Found]:
    """The surest three cells of each corner where they count; and which corners those are."""
    n = len(corners.i)
    if n == 0:
        return np.empty(0, dtype=np.int64), corners
    many = np.repeat(np.arange(n), len(THREE))
    claims = corners.claims.rows(many)._replace(grid=np.tile(THREE, n))
    three = settled(corners.i[many], corners.j[many], claims, ground, exact=False)
    choice = three.judged.confidence.reshape(n, -1).argmax(axis=1) + np.arange(n) * len(THREE)
    counted = np.flatnonzero(three.judged.confidence[choice] >= DOUBTFUL)
    return counted, three.rows(choice[counted])
