"""Corners strictly inside parks: four cells, or three where four cannot be had."""

from __future__ import annotations

import numpy as np

from scout.confidence import DOUBTFUL
from scout.locator import edge_lat, edge_lon
from scout.outlines import Ints
from scout.spots.edges import Corners
from scout.spots.found import Found, judged, replaced
from scout.verdict import FOUR, THREE, Claims, Ground, settle

__all__ = ["at_corners", "settled"]


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


def settled(i: Ints, j: Ints, claims: Claims, ground: Ground) -> Found:
    """Corner claims with their station centres settled within twice the station's radius."""
    reach = np.full(len(i), 2 * ground.station.radius_m)
    offset = settle(claims, ground, (-reach, -reach), (reach, reach), exact=True)
    return judged("corner", i, j, claims, offset, ground)


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
    for code in THREE if len(rows) else ():
        claims = found.claims.rows(rows)._replace(grid=np.full(len(rows), code))
        three = settled(found.i[rows], found.j[rows], claims, ground)
        value = three.judged.confidence
        better = np.flatnonzero((value >= DOUBTFUL) & (value > found.judged.confidence[rows]))
        three = three._replace(dropped=found.dropped[rows])
        found = replaced(found, rows[better], three.rows(better))
    return found
