"""Where along its stretch a line spot might stand: firm places, for the walk to choose from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from scout.confidence import FIRM
from scout.outlines import Floats, Ints, ragged
from scout.spots import KINDS, Pieces, Search
from scout.spots.stretches import lengths, place_on, rows
from scout.surroundings import WALK, Surroundings
from scout.verdict import MERIDIAN, PARALLEL, Claims, Ground, Judged, judge

__all__ = ["Judge", "places_along"]

_STEP_M = 20.0
_MOST = 400  # regular places along one stretch, beside those where a way crosses it


@dataclass(frozen=True)
class Judge:
    """Judges claims that number the parks as a whole search does, on the ground of a few of them."""

    ground: Ground
    numbers: Ints  # sorted, of the parks that stand on the ground

    def judge(self, claims: Claims) -> Judged:
        """Each claim judged with the station on its reference point."""
        own = claims._replace(park=np.searchsorted(self.numbers, claims.park))
        none = np.zeros(len(own.lon))
        return judge(own, none, none, self.ground)


def places_along(
    result: Search, chosen: Ints, judge: Judge, surroundings: Surroundings
) -> tuple[Ints, Claims]:
    """Places on the stretches of line spots where the station would be firm.

    Parameters
    ----------
    result : Search
    chosen : array of int
        Rows of ``result.found``; those that are no line spots are passed over.
    judge : Judge
    surroundings : Surroundings
        Places where a way crosses a stretch are among those offered.

    Returns
    -------
    row : array of int, shape (n,)
        Row of the search that each place serves.
    claims : Claims
        n rows, each claimed at its place.
    """
    line = np.zeros(len(result.found.i), dtype=bool)
    line[chosen] = result.found.kind[chosen] == KINDS.index("line")
    served, offered = [], []
    for pieces, owner in (
        (result.meridians, result.meridian_owner),
        (result.parallels, result.parallel_owner),
    ):
        mine = np.flatnonzero((owner >= 0) & line[owner])
        some = rows(pieces, mine)
        piece, fraction = _fractions(some, judge.ground.level, surroundings)
        claims = _claims(rows(some, piece), fraction, judge.ground.level)
        firm = np.flatnonzero(judge.judge(claims).confidence >= FIRM)
        served.append(owner[mine][piece[firm]])
        offered.append(claims.rows(firm))
    one, other = offered
    both = Claims(
        np.concatenate([one.lon, other.lon]),
        np.concatenate([one.lat, other.lat]),
        np.concatenate([one.grid, other.grid]),
        np.concatenate([one.first, other.first[1:] + one.first[-1]]),
        np.concatenate([one.park, other.park]),
    )
    return np.concatenate(served), both


def _claims(pieces: Pieces, fraction: Floats, level: int) -> Claims:
    lon, lat = place_on(pieces, fraction, level)
    grid = np.full(len(lon), MERIDIAN if pieces.axis == "meridian" else PARALLEL)
    return Claims(lon, lat, grid, pieces.sets.first, pieces.sets.park)


def _fractions(pieces: Pieces, level: int, surroundings: Surroundings) -> tuple[Ints, Floats]:
    """Regular places along each piece, and those where a way that may be walked crosses it."""
    count = np.clip(np.ceil(lengths(pieces, level) / _STEP_M), 1, _MOST).astype(np.int64)
    piece, k = ragged(np.zeros(len(count), dtype=np.int64), count)
    crossed, at = _crossings(pieces, level, surroundings)
    return np.concatenate([piece, crossed]), np.concatenate([(k + 0.5) / count[piece], at])


def _crossings(pieces: Pieces, level: int, surroundings: Surroundings) -> tuple[Ints, Floats]:
    ways = surroundings.ways[surroundings.ways[WALK].to_numpy(dtype=bool)].geometry.to_numpy()
    n = len(pieces.line)
    if n == 0 or len(ways) == 0:
        return np.empty(0, dtype=np.int64), np.empty(0)
    start = np.stack(place_on(pieces, np.zeros(n), level), axis=1)
    end = np.stack(place_on(pieces, np.ones(n), level), axis=1)
    drawn = shapely.linestrings(np.stack([start, end], axis=1))
    piece, way = shapely.STRtree(ways).query(drawn, predicate="intersects")
    points, pair = shapely.get_coordinates(shapely.intersection(drawn[piece], ways[way]), return_index=True)
    along = 1 if pieces.axis == "meridian" else 0
    first, last = start[piece[pair], along], end[piece[pair], along]
    return piece[pair], np.clip((points[:, along] - first) / (last - first), 0.0, 1.0)
