"""The page's own longitudes, and outlines packed as text."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scout.geo.geodesy import wrap_lon
from scout.model import Findings
from scout.table import expand_ranges

UNITS_PER_DEG = 1_000_000  # what is only drawn has 6 decimals of a degree, 0.11 m
# Outlines are judged as well. Of 8,000 places within 20 m of the demo's boundaries, rounding to 1e-6 degree
# changed the verdict at 9 and moved probabilities by up to 0.007; to 1e-7 at none, by 5e-4; to 1e-8, 1 mm, at
# none, by 4e-5, for 1.6 letters more per vertex.
OUTLINE_UNITS_PER_DEG = 100_000_000
MAP_EDGE_LAT = 85.051128  # web Mercator ends here: atan(sinh(pi))


@dataclass(frozen=True, slots=True)
class PageFrame:
    """The turn of the globe that a page shows: longitudes within 180 degrees of its middle."""

    middle: float = 0.0

    def turns(self, lon: ArrayLike) -> Any:
        """Degrees, a multiple of 360, that bring longitudes nearest to the middle."""
        return 360.0 * np.round((self.middle - np.asarray(lon, dtype=float)) / 360.0)

    def lon(self, lon: float) -> float:
        """Longitude, degrees, as this page draws it; may run past 180."""
        return lon + float(self.turns(lon))


def choose_frame(findings: Findings) -> PageFrame:
    """The frame whose edge lies in the widest gap between the places of the findings."""
    lons = [ranked.spot.lon for ranked in findings.spots]
    if findings.home is not None:
        lons.append(findings.home[0])
    if not lons and len(findings.parks):
        bounds = findings.parks.geometry.bounds
        lons = list((bounds["minx"] + bounds["maxx"]) / 2)
    return PageFrame(find_middle(lons)) if lons else PageFrame()


def find_middle(lons: Iterable[float]) -> float:
    """The longitude amid some, opposite to the middle of the widest gap between them."""
    around: NDArray[np.float64] = np.unique(np.mod(np.asarray(list(lons), dtype=float), 360.0))
    gaps = np.diff(around, append=around[0] + 360.0)
    widest = int(np.argmax(gaps))
    start = around[(widest + 1) % len(around)]
    return float(wrap_lon(start + (360.0 - gaps[widest]) / 2))


def convert_to_units(degrees: ArrayLike, units_per_deg: int = UNITS_PER_DEG) -> NDArray[np.int64]:
    """Degrees as whole numbers of a small unit."""
    units: NDArray[np.int64] = np.rint(np.asarray(degrees, dtype=float) * units_per_deg).astype(np.int64)
    return units


# Outlines as short texts: whole numbers in a 64-letter alphabet, which JSON carries as they are.
_LETTERS = np.frombuffer(b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_", dtype=np.uint8)
_BITS = 5  # per letter; the sixth says that more letters follow
_MOST_LETTERS = 9  # 45 bits: a full turn in units of 1e-8 degree takes 38


def pack_ring(ring: NDArray[np.int64], loose: NDArray[np.bool_] | None = None) -> str:
    """A ring as text: for each vertex its step from the one before, east then north.

    A step ``n`` counts as ``2 n``, or ``-2 n - 1`` when negative. The eastward one is doubled once more, and
    one is added where the edge that begins here is loose. Five bits a letter, low ones first.

    Parameters
    ----------
    ring : array of int, shape (n, 2)
        The first vertex counts as a step from zero.
    loose : array of bool, shape (n,), optional
        Per vertex: the edge to the next one is not the outline's own.

    Examples
    --------
    >>> pack_ring(np.array([[1, 2], [1, -14]]))
    '440V'
    """
    return pack_rings(ring, np.array([len(ring)]), loose)[0]


def pack_rings(
    rings: NDArray[np.int64], vertices: NDArray[np.int64], loose: NDArray[np.bool_] | None = None
) -> list[str]:
    """Many rings as `pack_ring` packs each, all in one pass.

    Parameters
    ----------
    rings : array of int, shape (n, 2)
        End to end.
    vertices : array of int
        How many each ring has.
    loose : array of bool, shape (n,), optional
    """
    end = np.cumsum(vertices)
    begin = (end - vertices)[vertices > 0]
    steps = np.diff(rings, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
    steps[begin] = rings[begin]
    counts = np.where(steps < 0, -2 * steps - 1, 2 * steps)
    counts[:, 0] = 2 * counts[:, 0] + (0 if loose is None else loose)
    values = counts.ravel()
    sizes = np.ones(len(values), dtype=np.int64)
    for more in range(1, _MOST_LETTERS):
        sizes += values >= 1 << (_BITS * more)
    row, place = expand_ranges(np.zeros_like(sizes), sizes)
    letters = (values[row] >> (_BITS * place)) & ((1 << _BITS) - 1)
    letters += (place < sizes[row] - 1) << _BITS
    text = _LETTERS[letters].tobytes().decode("ascii")
    cuts = np.append(0, np.cumsum(sizes))[2 * np.append(0, end)].tolist()
    return [text[first:last] for first, last in pairwise(cuts)]
