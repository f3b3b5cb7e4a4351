"""The robust middle of some points in a plane, the fixes far from it, and the ellipse of the others.

The geometric median starts: half of the fixes may be wrong without carrying it away, and unlike a median
per axis it does not depend on where north is. The mean of what is left ends: it is efficient, and how
far a mean of correlated values errs can be told.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from scout.standstill.values import Ellipse

__all__ = ["HELD_M", "ellipse", "far_off", "geometric_median", "radius_95"]

Floats = NDArray[np.float64]

# Far off is beyond this many median distances: 7 sigmas of a circular normal, 4 of one along a line, which
# good fixes pass 2 times in 10^11 and 5 times in 10^5.
_FAR = 6.0
_FAR_LEAST_M = 5.0  # and no fix nearer than this: about the published error of a single one
HELD_M = 1e-3  # a scatter below this is none: no log is as fine
_SAME_M = 1e-4  # points this near are one: a clump would hold the iteration back by its great weights
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)


def geometric_median(points: Floats) -> Floats:
    """Point with the least summed distance to the others, to a tenth of a millimetre or so.

    Weiszfeld's iteration (1937) with the step of Vardi and Zhang (2000) off the points themselves, where it
    would stay.

    Parameters
    ----------
    points : array, shape (n, 2)
        Metres.
    """
    centre = np.median(points, axis=0)
    for _ in range(500):
        distance = np.hypot(*(points - centre).T)
        here = distance < _SAME_M
        weight = np.where(here, 0.0, 1 / np.maximum(distance, _SAME_M))
        pull = weight @ (points - centre)
        strength, held = np.hypot(*pull), np.count_nonzero(here)
        if strength <= held:
            break
        step = (1 - held / strength) * pull / weight.sum()
        centre = centre + step
        if np.hypot(*step) < 1e-5:
            break
    return np.asarray(centre)


def far_off(points: Floats, centre: Floats) -> NDArray[np.bool_]:
    """Which points lie far from the centre, by the distance of the nearer half."""
    distance = np.hypot(*(points - centre).T)
    return np.asarray(distance > max(_FAR * np.median(distance), _FAR_LEAST_M))


def ellipse(points: Floats) -> Ellipse:
    """Covariance ellipse; all nan for a single point."""
    if len(points) < 2:
        return Ellipse(*[float("nan")] * 6)
    cov = np.cov(points.T)
    variances, axes = np.linalg.eigh(cov)
    east, north = np.sqrt(np.diag(cov))
    minor, major = np.sqrt(np.maximum(variances, 0.0))
    bearing = np.degrees(np.arctan2(axes[0, 1], axes[1, 1])) % 180.0
    return Ellipse(*(float(v) for v in (east, north, cov[0, 1], major, minor, bearing)))


def radius_95(major_m: float, minor_m: float) -> float:
    """Radius of the circle that holds 95 % of a centred normal with these two sigmas.

    From 1.9600 (a line) to 2.4477 (a circle) times the larger sigma; NSSDA's 2.4477 times the mean of both
    is its approximation for ratios from 0.6 to 1 (FGDC-STD-007.3-1998, appendix 3-A).

    Examples
    --------
    >>> round(radius_95(1.0, 1.0), 4), round(radius_95(1.0, 0.0), 4)
    (2.4477, 1.96)
    """
    if not major_m > 0:
        return major_m
    theta, ratio = _NODES * np.pi / 2, max(minor_m / major_m, 1e-9)
    low, high = 1.95, 2.45
    for _ in range(40):
        r = (low + high) / 2
        # along the major axis x = r sin(theta); across it the chord of the circle
        density = np.exp(-0.5 * (r * np.sin(theta)) ** 2) / np.sqrt(2 * np.pi)
        chord = 2 * ndtr(r * np.cos(theta) / ratio) - 1
        held = np.sum(_WEIGHTS * density * chord * r * np.cos(theta)) * np.pi / 2
        low, high = (r, high) if held < 0.95 else (low, r)
    return float(major_m * (low + high) / 2)
