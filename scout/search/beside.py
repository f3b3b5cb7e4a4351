"""Parks beside a spot: those that it does not claim, though errors reach their boundaries."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scout.geo import probability
from scout.geo.boundaries import Floats, Ints
from scout.geo.geodesy import compute_degree_lengths
from scout.geo.probability import compute_contained_p, compute_reach_m
from scout.model import Station
from scout.search.found import FoundPlaces
from scout.search.verdict import JudgingContext
from scout.table import Table, expand_ranges


@dataclass(frozen=True, slots=True)
class ParksBeside(Table):
    """Pairs of a spot and a park that it does not claim, in the order of the spots, the nearest first."""

    row: Ints
    park: Ints
    clearance_m: Floats
    p: Floats  # the whole station inside


def find_near_bounds(found: FoundPlaces, bounds: Floats, reach_m: float) -> tuple[Ints, Ints]:
    """Pairs of a spot and a park that it does not claim, whose bounds come within reach of it.

    Parameters
    ----------
    found : FoundPlaces
    bounds : array, shape (n, 4)
        Degrees, of the parks by their numbers.
    reach_m : float
    """
    lon, lat = found.judged.lon, found.judged.lat
    high = reach_m / 110_000.0
    wide = reach_m / compute_degree_lengths(min(float(np.max(np.abs(lat), initial=0.0)) + high, 89.99))[0]
    order = np.argsort(lon, kind="stable")
    west, east = bounds[:, 0].min(initial=np.inf) - wide, bounds[:, 2].max(initial=-np.inf) + wide
    none = np.empty(0, dtype=np.int64)
    rows, parks = [none], [none]
    for turn in (-360.0, 0.0, 360.0):
        there = lon[order] + turn
        if not len(there) or there[-1] < west or there[0] > east:
            continue
        first = np.searchsorted(there, bounds[:, 0] - wide)
        count = np.searchsorted(there, bounds[:, 2] + wide, "right") - first
        some = np.flatnonzero(count > 0)
        of, at = expand_ranges(first[some], count[some])
        row, park = order[at], some[of]
        meets = (bounds[park, 1] - high <= lat[row]) & (lat[row] <= bounds[park, 3] + high)
        rows.append(row[meets])
        parks.append(park[meets])
    row, park = np.divmod(
        np.unique(np.concatenate(rows) * len(bounds) + np.concatenate(parks)), max(len(bounds), 1)
    )
    claimed, _ = expand_ranges(found.claims.first[:-1], np.diff(found.claims.first))
    other = ~np.isin(row * len(bounds) + park, claimed * len(bounds) + found.claims.park)
    other &= found.near_park[row] != park
    return row[other], park[other]


def find_parks_beside(found: FoundPlaces, pairs: tuple[Ints, Ints], ground: JudgingContext) -> ParksBeside:
    """Find the parks that spots do not claim and whose boundary may yet run through the station.

    A boundary further away than the radius and four and a half standard deviations decides nothing: the park
    holds the place surely, and then it is claimed, or surely not.

    Parameters
    ----------
    found : FoundPlaces
    pairs : rows of ``found`` and parks of the ground
        As `find_near_bounds` gives them.
    ground : JudgingContext
    """
    row, park = pairs
    lon, lat, station = found.judged.lon[row], found.judged.lat[row], ground.station
    spread = np.hypot(
        probability.compute_sigma(station.fix_error_m),
        probability.compute_sigma(ground.boundary_error_m[park]),
    )
    clearance = ground.boundaries.clearance(park, lon, lat)
    near = np.flatnonzero(np.abs(clearance) < compute_reach_m(station.radius_m, spread))
    near = near[np.lexsort((park[near], -clearance[near], row[near]))]
    row, park, clearance = row[near], park[near], clearance[near]
    p = compute_contained_p(
        ground.boundaries, park, lon[near], lat[near], clearance, station.radius_m, spread[near]
    )
    return ParksBeside(row, park, clearance, p)


def compute_widest_m(station: Station, boundary_error_m: Floats) -> float:
    """How far the error of any of the parks reaches."""
    worst = np.hypot(
        probability.compute_sigma(station.fix_error_m),
        probability.compute_sigma(np.max(boundary_error_m, initial=0.0)),
    )
    return float(compute_reach_m(station.radius_m, worst))
