"""The few edges that matter while a station centre is sought: laid out once, looked at from many places.

Centres are tried within a box of metres about each claim's point. Positions are degrees times their length
there, so what is straight in longitude and latitude stays straight; seen from a centre, differences are
stretched to the lengths of degrees at its own latitude.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.clearance import Boundaries
from scout.geodesy import degree_lengths
from scout.outlines import Floats, Ints, ragged

__all__ = ["Nearby", "Seen"]

_WIDER = 1.03  # degrees shrink towards the far end of a box


class Seen(NamedTuple):
    """Edges seen from places: which place, both ends in metres from it, and how far off the edge is."""

    row: Ints
    start: Floats  # shape (m, 2)
    end: Floats
    away_m: Floats
    stretch: Floats  # per place: its degrees' lengths by those at the claim's point, shape (n, 2)


class Nearby(NamedTuple):
    """Edges near a box each, for pairs of a claim and a park; edge lists end to end."""

    lat: Floats  # of the claim's point
    per: Floats  # metres per degree of longitude and latitude there, shape (pairs, 2)
    first: Ints  # where a pair's edges begin; one more entry at the end
    start: Floats  # metres east and north of the claim's point, shape (m, 2)
    end: Floats
    known: Floats  # a place in the box, shape (pairs, 2)
    inside: NDArray[np.bool_]  # whether it lies in the park

    @classmethod
    def of(
        cls,
        boundaries: Boundaries,
        pairs: tuple[Ints, Floats, Floats],
        box: tuple[Floats, Floats],
        reach_m: Floats,
    ) -> Nearby:
        """Edges of parks within reach of a box.

        Parameters
        ----------
        pairs : park, lon, lat
            Arrays, shape (n,).
        box : least, most
            Metres east and north of each point, shape (n, 2).
        reach_m : array, shape (n,)
        """
        park, lon, lat = pairs
        lon = boundaries.near_side(park, lon)
        per = np.stack(degree_lengths(lat), axis=1)
        at = np.stack([lon, lat], axis=1)
        low, high = at + box[0] / per, at + box[1] / per
        room = _WIDER * reach_m / per[:, 1]
        furthest = np.minimum(np.maximum(np.abs(low[:, 1] - room), np.abs(high[:, 1] + room)), 89.99)
        room = np.stack([_WIDER * reach_m / degree_lengths(furthest)[0], room], axis=1)
        pair, vertex = boundaries.edges_in_box(park, low - room, high + room)
        lines = boundaries.outlines
        start, end = (
            (np.stack([lines.lon[v], lines.lat[v]], axis=1) - at[pair]) * per[pair]
            for v in (vertex, vertex + 1)
        )
        # Any place would do but one on an edge: shares that no one draws on purpose.
        known = box[0] + (box[1] - box[0]) * np.array([0.41421356, 0.57735027])
        there = at + known / per
        inside = boundaries.clearance(park, there[:, 0], there[:, 1]) > 0.0
        first = np.searchsorted(pair, np.arange(len(park) + 1))
        return cls(lat, per, first, start, end, known, inside)

    def seen(self, pair: Ints, place: Floats) -> Seen:
        """The edges of pairs, seen from a place each: metres from the claim's point, shape (n, 2)."""
        row, edge = ragged(self.first[pair], self.first[pair + 1] - self.first[pair])
        stretch = self._stretch(pair, place)
        start, end = ((ends[edge] - place[row]) * stretch[row] for ends in (self.start, self.end))
        step = end - start
        size = np.maximum(step[:, 0] ** 2 + step[:, 1] ** 2, 1e-12)
        along = np.clip(-(start[:, 0] * step[:, 0] + start[:, 1] * step[:, 1]) / size, 0.0, 1.0)
        foot = start + along[:, None] * step
        return Seen(row, start, end, np.hypot(foot[:, 0], foot[:, 1]), stretch)

    def clearance(self, pair: Ints, place: Floats) -> Floats:
        """Signed distance from places to the edges of pairs, positive inside; infinite where none is near."""
        seen = self.seen(pair, place)
        n = len(pair)
        away = np.full(n, np.inf)
        heads = np.flatnonzero(np.diff(seen.row, prepend=-1))
        if len(heads):
            away[seen.row[heads]] = np.minimum.reduceat(seen.away_m, heads)
        known = (self.known[pair] - place) * seen.stretch
        met = seen.row[_between(seen, known[seen.row])]
        inside = self.inside[pair] ^ (np.bincount(met, minlength=n) % 2 == 1)
        return np.where(inside, away, -away)

    def _stretch(self, pair: Ints, place: Floats) -> Floats:
        per = self.per[pair]
        here = degree_lengths(self.lat[pair] + place[:, 1] / per[:, 1])
        stretch: Floats = np.stack(here, axis=1) / per
        return stretch


def _between(seen: Seen, known: Floats) -> NDArray[np.bool_]:
    """Whether an edge crosses the straight way from the place to the one that is known."""
    (ax, ay), (bx, by), (rx, ry) = seen.start.T, seen.end.T, known.T
    apart = (rx * ay - ry * ax > 0.0) != (rx * by - ry * bx > 0.0)
    side = ax * by - ay * bx
    there = side + (bx - ax) * ry - (by - ay) * rx
    crossed: NDArray[np.bool_] = apart & ((side > 0.0) != (there > 0.0))
    return crossed
