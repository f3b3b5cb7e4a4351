"""The part of the error that standing longer does not take away."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scout.standstill.values import Fixes, typical

__all__ = ["FLOOR_M", "OPEN_SKY_HDOP", "raised_floor", "stated_error"]

# "Typically within 4.9 m under open sky" (GPS.gov, no percentage given; taken as 95 %, as everywhere here).
# That is the error of one fix, its scatter included: it is taken whole.
FLOOR_M = 4.9
# The figure is for an open sky, where HDOP is 2 at most (common practice). A position error is the range
# error times DOP, so above that the floor grows in proportion.
OPEN_SKY_HDOP = 2.0


def raised_floor(fixes: Fixes, rows: NDArray[np.int64], floor_m: float) -> float:
    """The floor for these fixes, metres at 95 %: raised by a poor HDOP or by the receiver's own word."""
    by_hdop = floor_m * np.fmax(1.0, typical(fixes.hdop[rows]) / OPEN_SKY_HDOP)
    return float(np.fmax(by_hdop, stated_error(fixes, rows)))


def stated_error(fixes: Fixes, rows: NDArray[np.int64] | NDArray[np.bool_]) -> float:
    """The receiver's own word on the error of a mean of fixes, metres at 95 %; nan where it says none.

    The mean of what it says, for errors of one direction add up to that; a median would pass over the fixes
    that it is unsure of.
    """
    stated = fixes.stated_error_m[rows]
    stated = stated[np.isfinite(stated)]
    return float(stated.mean()) if len(stated) else float("nan")
