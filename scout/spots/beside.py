"""Parks beside a spot: those that it does not claim, though errors reach their boundaries."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from scout import confidence
from scout.containment import contained_p, reach_m
from scout.geodesy import degree_lengths
from scout.model import Station
from scout.outlines import Floats, Ints, ragged
from scout.spots.found import Found
from scout.verdict import Ground

__all__ = ["Beside", "near_bounds", "parks_beside", "widest_m"]


class Beside(NamedTuple):
    """Pairs of a spot and a park that it does not claim, in the order of the spots, the nearest first."""

    row: Ints
    park: Ints
    clearance_m: Floats
    p: Floats  # the whole station inside


def near_bounds(found: Found, bounds: Floats, reach_m: float) -> tuple[Ints, Ints]:
    """Pairs of a spot and a park that it does not claim, whose bounds come within reach of it.

    Parameters
    ----------
    found : Found
    bounds : array, shape (n, 4)
        Degrees, of the parks by their numbers.
    reach_m : float
    """
    lon, lat = found.judged.lon, found.judged.lat
    high = reach_m / 110_000.0
    wide = reach_m / degree_lengths(min(float(np.max(np.abs(lat), initial=0.0)) + high, 89.99))[0]
    order = np.argsort(lon, kind="stable")
    rows, parks = [], []
    for turn in (-360.0, 0.0, 360.0):
        there = lon[order] + turn
        first = np.searchsorted(there, bounds[:, 0] - wide)
        count = np.searchsorted(there, bounds[:, 2] + wide, "right") - first
        some = np.flatnonzero(count > 0)
        of, at = ragged(first[some], count[some])
        row, park = order[at], some[of]
        meets = (bounds[park, 1] - high <= lat[row]) & (lat[row] <= bounds[park, 3] + high)
        rows.append(row[meets])
        parks.append(park[meets])
    row, park = np.unique(np.stack([np.concatenate(rows), np.concatenate(parks)]), axis=1)
    claimed, _ = ragged(found.claims.first[:-1], np.diff(found.claims.first))
    other = ~np.isin(row * len(bounds) + park, claimed * len(bounds) + found.claims.park)
    other &= found.near_park[row] != park
    return row[other], park[other]


def parks_beside(found: Found, pairs: tuple[Ints, Ints], ground: Ground) -> Beside:
    """Find the parks that spots do not claim and whose boundary may yet run through the station.

    A boundary further away than the radius and four and a half standard deviations decides nothing: the park
    holds the place surely, and then it is claimed, or surely not.

    Parameters
    ----------
    found : Found
    pairs : rows of ``found`` and parks of the ground
        As `near_bounds` gives them.
    ground : Ground
    """
    row, park = pairs
    lon, lat, station = found.judged.lon[row], found.judged.lat[row], ground.station
    spread = np.hypot(confidence.sigma(station.fix_error_m), confidence.sigma(ground.boundary_error_m[park]))
    clearance = ground.boundaries.clearance(park, lon, lat)
    near = np.flatnonzero(np.abs(clearance) < reach_m(station.radius_m, spread))
    near = near[np.lexsort((park[near], -clearance[near], row[near]))]
    row, park, clearance = row[near], park[near], clearance[near]
    p = contained_p(ground.boundaries, park, lon[near], lat[near], clearance, station.radius_m, spread[near])
    return Beside(row, park, clearance, p)


def widest_m(station: Station, boundary_error_m: Floats) -> float:
    """How far the error of any of the parks reaches."""
    worst = np.hypot(
        confidence.sigma(station.fix_error_m), confidence.sigma(np.max(boundary_error_m, initial=0.0))
    )
    return float(reach_m(station.radius_m, worst))
