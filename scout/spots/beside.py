"""Parks beside a spot: those that it does not claim, though errors reach their boundaries."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from scout import confidence
from scout.containment import contained_p, reach_m
from scout.geodesy import degree_lengths
from scout.outlines import Floats, Ints, ragged
from scout.spots.found import Found
from scout.verdict import Ground

__all__ = ["Beside", "parks_beside"]


class Beside(NamedTuple):
    """Pairs of a spot and a park that it does not claim, in the order of the spots, the nearest first."""

    row: Ints
    park: Ints
    clearance_m: Floats
    p: Floats  # the whole station inside


def parks_beside(found: Found, ground: Ground) -> Beside:
    """Find the parks that spots do not claim and whose boundary may yet run through the station.

    A boundary further away than the radius and four and a half standard deviations decides nothing: the park
    holds the place surely, and then it is claimed, or surely not.
    """
    lon, lat = found.judged.lon, found.judged.lat
    station = ground.station
    spread = np.hypot(confidence.sigma(station.fix_error_m), confidence.sigma(ground.boundary_error_m))
    widest = float(reach_m(station.radius_m, np.max(spread, initial=0.0)))
    west, south, east, north = ground.boundaries.outlines.bounds
    tree = shapely.STRtree(shapely.box(west, south, east, north))
    high = widest / 110_000.0
    wide = widest / degree_lengths(np.minimum(np.abs(lat) + high, 89.99))[0]
    asked = [
        tree.query(shapely.box(lon + turn - wide, lat - high, lon + turn + wide, lat + high))
        for turn in (-360.0, 0.0, 360.0)
    ]
    row, park = np.unique(np.concatenate(asked, axis=1), axis=1)
    count = ground.boundaries.outlines.parks
    named = np.where(found.near_park >= 0, found.near_park, -1)
    of, _ = ragged(found.claims.first[:-1], np.diff(found.claims.first))
    other = ~np.isin(row * count + park, of * count + found.claims.park) & (named[row] != park)
    row, park = row[other], park[other]
    clearance = ground.boundaries.clearance(park, lon[row], lat[row])
    near = np.flatnonzero(np.abs(clearance) < reach_m(station.radius_m, spread[park]))
    near = near[np.lexsort((park[near], -clearance[near], row[near]))]
    row, park, clearance = row[near], park[near], clearance[near]
    p = contained_p(ground.boundaries, park, lon[row], lat[row], clearance, station.radius_m, spread[park])
    return Beside(row, park, clearance, p)
