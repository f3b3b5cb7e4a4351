"""One page's longitudes, continuous across the antimeridian, and whole numbers for its coordinates."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scout.geodesy import wrap_lon
from scout.model import Findings

__all__ = ["MAP_EDGE_LAT", "OUTLINE_UNITS_PER_DEG", "UNITS_PER_DEG", "Frame", "frame_of", "whole"]

UNITS_PER_DEG = 1_000_000  # what is only drawn has 6 decimals of a degree, 0.11 m
# Outlines are judged as well. Of 8,000 places within 20 m of the demo's boundaries, rounding to 1e-6 degree
# changed the verdict at 9 and moved probabilities by up to 0.007; to 1e-7 at none, by 5e-4; to 1e-8, 1 mm, at
# none, by 4e-5, for 1.6 letters more per vertex.
OUTLINE_UNITS_PER_DEG = 100_000_000
MAP_EDGE_LAT = 85.051128  # web Mercator ends here: atan(sinh(pi))


@dataclass(frozen=True, slots=True)
class Frame:
    """The turn of the globe that a page shows: longitudes within 180 degrees of its middle."""

    middle: float = 0.0

    def turns(self, lon: ArrayLike) -> Any:
        """Degrees, a multiple of 360, that bring longitudes nearest to the middle."""
        return 360.0 * np.round((self.middle - np.asarray(lon, dtype=float)) / 360.0)

    def lon(self, lon: float) -> float:
        """Longitude, degrees, as this page draws it; may run past 180."""
        return lon + float(self.turns(lon))


def frame_of(findings: Findings) -> Frame:
    """The frame whose seam lies in the widest gap between the places of the findings."""
    lons = [ranked.spot.lon for ranked in findings.spots]
    if findings.home is not None:
        lons.append(findings.home[0])
    if not lons and len(findings.parks):
        bounds = findings.parks.geometry.bounds
        lons = list((bounds["minx"] + bounds["maxx"]) / 2)
    return Frame(_middle(lons)) if lons else Frame()


def _middle(lons: Iterable[float]) -> float:
    around: NDArray[np.float64] = np.unique(np.mod(np.asarray(list(lons), dtype=float), 360.0))
    gaps = np.diff(around, append=around[0] + 360.0)
    widest = int(np.argmax(gaps))
    start = around[(widest + 1) % len(around)]
    return float(wrap_lon(start + (360.0 - gaps[widest]) / 2))


def whole(degrees: ArrayLike, units_per_deg: int = UNITS_PER_DEG) -> NDArray[np.int64]:
    """Degrees as whole numbers of a small unit."""
    units: NDArray[np.int64] = np.rint(np.asarray(degrees, dtype=float) * units_per_deg).astype(np.int64)
    return units
