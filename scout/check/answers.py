"""Rows of a check become answers: the verdict, the parks in sight, what holds the confidence down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.check.places import Pairs
from scout.confidence import DOUBTFUL, FIRM, word
from scout.describe import locators_of
from scout.geodesy import inverse
from scout.model import Move, ParkAt, Verdict
from scout.outlines import Floats, Ints
from scout.spots.found import Found

__all__ = ["Answers", "counts"]


@dataclass(frozen=True)
class Answers:
    """What is known of some places, in arrays and lists by place."""

    ids: NDArray[Any]  # of the parks that the pairs number
    names: NDArray[Any]
    geometries: NDArray[Any]
    lon: Floats
    lat: Floats
    pairs: Pairs
    first: Ints  # where each place's pairs begin
    share: Floats
    locators: list[tuple[str, ...]]
    grids_p: Floats

    def verdict(self, row: int) -> Verdict:
        """The grids touched, the parks that count there and how sure that is."""
        mine = self._rows(row)
        counted = mine[self.pairs.p[mine] >= DOUBTFUL]
        p, grids_p = self.pairs.p[counted], float(self.grids_p[row])
        if len(counted):
            confidence = grids_p * float(np.prod(p))
        else:
            confidence = grids_p * float(self.pairs.p[mine].max(initial=0.0))
        return Verdict(
            locators=self.locators[row],
            parks=tuple(self.ids[self.pairs.park[counted]].tolist()),
            clearances_m=tuple(self.pairs.clearance_m[counted].tolist()),
            grids_p=grids_p,
            parks_p=tuple(p.tolist()),
            confidence=confidence,
            word=word(confidence) if len(counted) else "not counted",
        )

    def parks_at(self, row: int) -> tuple[ParkAt, ...]:
        """Every park near, the surest first."""
        return tuple(self._park(row, k) for k in self._rows(row).tolist())

    def _rows(self, row: int) -> Ints:
        return np.arange(self.first[row], self.first[row + 1])

    def _park(self, row: int, k: int) -> ParkAt:
        pairs, number = self.pairs, int(self.pairs.park[k])
        edge = (float(pairs.edge_lon[k]), float(pairs.edge_lat[k]))
        distance, bearing = inverse(self.lon[row], self.lat[row], *edge)
        p = float(pairs.p[k])
        return ParkAt(
            park=str(self.ids[number]),
            park_name=str(self.names[number]),
            clearance_m=float(pairs.clearance_m[k]),
            edge=edge,
            edge_m=float(distance),
            edge_deg=float(bearing),
            at_inholding=_is_hole(self.geometries[number], edge),
            p=p,
            word=word(p),
            cell_share=None if np.isnan(self.share[k]) else float(self.share[k]),
        )

    def driver(self, row: int, verdict: Verdict) -> str:
        """What holds the confidence down, in words."""
        mine = self._rows(row)
        if len(mine) == 0:
            return "no park is near"
        if not verdict.parks:
            park = self._park(row, int(mine[0]))
            if park.clearance_m < 0:
                return f"outside every park; {_name(park)} is {park.edge_m:.0f} m away"
            return f"only {park.clearance_m:.1f} m inside {_name(park)}"
        least = int(np.argmin(verdict.parks_p))
        if verdict.grids_p <= verdict.parks_p[least]:
            return f"reaching {len(verdict.locators)} grids" if len(verdict.locators) > 1 else "the receiver"
        name = next(_name(p) for p in self.parks_at(row) if p.park == verdict.parks[least])
        return f"the boundary of {name}, {verdict.clearances_m[least]:.1f} m away"

    def move(self, row: int, found: Found, at: int, level: int) -> Move:
        """The better centre in a row of ``found``."""
        part = slice(found.claims.first[at], found.claims.first[at + 1])
        one = np.array([at])
        lon, lat = float(found.judged.lon[at]), float(found.judged.lat[at])
        distance, bearing = inverse(self.lon[row], self.lat[row], lon, lat)
        ids = self.ids[found.claims.park[part]]
        confidence = float(found.judged.confidence[at])
        verdict = Verdict(
            locators=locators_of(found.claims.grid[one], found.i[one], found.j[one], level)[0],
            parks=tuple(ids.tolist()),
            clearances_m=tuple(found.judged.clearance_m[part].tolist()),
            grids_p=float(found.judged.grids_p[at]),
            parks_p=tuple(found.judged.parks_p[part].tolist()),
            confidence=confidence,
            word=word(confidence),
        )
        return Move(float(distance), float(bearing), lon, lat, verdict)


def counts(verdict: Verdict) -> tuple[int, int]:
    """Pairs of grid and park that a verdict counts firmly, and at least doubtfully."""
    pairs = len(verdict.locators) * len(verdict.parks)
    return (pairs * (verdict.confidence >= FIRM), pairs * (verdict.confidence >= DOUBTFUL))


def _name(park: ParkAt) -> str:
    return park.park_name or park.park


def _is_hole(geometry: Any, edge: tuple[float, float]) -> bool:
    """Whether a boundary point lies on a hole: an inholding."""
    parts = shapely.get_parts(geometry)
    if not np.any(shapely.get_num_interior_rings(parts)):
        return False
    rings, part = shapely.get_rings(parts, return_index=True)
    turn = 360.0 * np.rint((shapely.bounds(geometry)[[0, 2]].mean() - edge[0]) / 360.0)
    nearest = int(np.argmin(shapely.distance(rings, shapely.Point(edge[0] + turn, edge[1]))))
    return bool(nearest > 0 and part[nearest] == part[nearest - 1])
