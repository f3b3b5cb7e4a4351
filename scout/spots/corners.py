"""Corners strictly inside parks: four cells, or three where four cannot be had."""

from __future__ import annotations

import numpy as np

from scout.confidence import DOUBTFUL
from scout.locator import edge_lat, edge_lon
from scout.outlines import Ints, ragged
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
    found = settled(corners.i, corners.j, claims, ground)
    while len(worst := _droppable(found)):
        found = _without_worst_park(found, worst, ground)
    return _three_where_better(found, ground)


def settled(i: Ints, j: Ints, claims: Claims, ground: Ground) -> Found:
    """Corner claims with their station centres settled within twice the station's radius."""
    reach = np.full(len(i), 2 * ground.station.radius_m)
    offset = settle(claims, ground, (-reach, -reach), (reach, reach))
    return judged("corner", i, j, claims, offset, ground)


def _droppable(found: Found) -> Ints:
    """Rows not counted in all of two parks or more, one of which alone makes it hopeless."""
    sizes = np.diff(found.claims.first)
    weakest = (
        np.minimum.reduceat(found.judged.parks_p, found.claims.first[:-1]) if len(sizes) else np.empty(0)
    )
    return np.flatnonzero((found.judged.confidence < DOUBTFUL) & (sizes > 1) & (weakest < DOUBTFUL))


def _without_worst_park(found: Found, rows: Ints, ground: Ground) -> Found:
    first, sizes = found.claims.first, np.diff(found.claims.first)
    keep = np.ones(len(found.claims.park), dtype=bool)
    for row in rows:
        keep[first[row] + np.argmin(found.judged.parks_p[first[row] : first[row + 1]])] = False
    claims = found.claims.rows(rows)
    _, members = ragged(first[rows], sizes[rows])
    claims = claims._replace(
        first=np.concatenate([[0], np.cumsum(sizes[rows] - 1)]),
        park=found.claims.park[members[keep[members]]],
    )
    fewer = settled(found.i[rows], found.j[rows], claims, ground)
    return replaced(found, rows, fewer._replace(dropped=found.dropped[rows] + 1))


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
