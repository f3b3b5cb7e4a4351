"""What the operator should know about a standstill, one sentence each."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from scout.standstill.floor import OPEN_SKY_HDOP, stated_error
from scout.standstill.scatter import HELD_M
from scout.standstill.values import FIX_TYPES, NOT_OF_SATELLITES, Fixes, Standstill

__all__ = ["remarks"]

_FEW = 4.0  # independent fixes
_MANY = 0.1  # of the fixes, as outliers
_CORRECTED = {"differential", "precise (PPS)", "RTK fixed", "RTK float"}


def remarks(fixes: Fixes, found: Standstill, floor_m: float) -> tuple[str, ...]:
    """Sentences about what was left out, what was assumed and what a better recording would need."""
    return (*_left_out(fixes, found), *_floor(fixes, found, floor_m), *_recording(fixes, found))


def _left_out(fixes: Fixes, found: Standstill) -> Iterator[str]:
    if found.moved:
        start = np.nanmin(fixes.time_s)
        yield (
            f"The receiver moved or the recording broke off: of {np.nanmax(fixes.time_s) - start:.0f} s the "
            f"longest standstill is taken, from {found.start_s - start:.0f} s to {found.end_s - start:.0f} s."
        )
    for quality in NOT_OF_SATELLITES:
        if count := np.count_nonzero(fixes.quality == quality):
            yield f"Left out as {FIX_TYPES[quality]}: {_fixes(count)}."
    untimed = np.count_nonzero(~np.isfinite(fixes.time_s))
    if untimed and np.isfinite(found.start_s):
        yield f"Left out for want of a time: {_fixes(untimed)}."
    if found.outliers:
        furthest = max(outlier.distance_m for outlier in found.outliers)
        yield f"Dropped as far off: {_fixes(len(found.outliers))}, by {furthest:.0f} m at most."
    if len(found.outliers) > _MANY * (len(found.outliers) + found.n_used):
        yield "So many are far off that the receiver may have been moved a little, or heard reflections."


def _floor(fixes: Fixes, found: Standstill, floor_m: float) -> Iterator[str]:
    stated = stated_error(fixes, found.used)
    if stated == found.floor_95_m:
        yield (
            f"The receiver itself states an error of {stated:.1f} m (95 %), which replaces the {floor_m:g} m "
            "that averaging does not remove."
        )
    elif found.hdop > OPEN_SKY_HDOP:
        yield (
            f"HDOP {found.hdop:.1f} is poor: the {floor_m:g} m that averaging does not remove are raised to "
            f"{found.floor_95_m:.1f} m."
        )
    if any(name in _CORRECTED for name, _ in found.fix_types):
        yield f"The receiver had corrections; the floor of {found.floor_95_m:.1f} m is not lowered for them."


def _recording(fixes: Fixes, found: Standstill) -> Iterator[str]:
    if np.any(fixes.dimensions[found.used] == 2):
        yield "Some fixes have two dimensions: a wrong height moves them all without showing in the scatter."
    if found.satellites < 4:
        yield f"Only {found.satellites:.0f} satellites were used."
    if found.n_used == 1:
        yield "A single fix shows no scatter: one of a metre or so per axis is assumed."
    elif found.scatter_95_m <= HELD_M:
        yield "All fixes are one place, held or repeated by the receiver: they count as one."
    elif found.n_effective < _FEW:
        yield f"All fixes are worth {found.n_effective:.1f} independent ones: a longer stand would help."
    if not found.dated and np.isfinite(found.start_s):
        yield "The recording has no date, only the time of day."


def _fixes(count: int | np.signedinteger) -> str:
    return "1 fix" if count == 1 else f"{count} fixes"
