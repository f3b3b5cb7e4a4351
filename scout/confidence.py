"""The error budget: probabilities from distances. Nothing here knows of parks or cells.

Receiver and boundary errors are circular normal; a stated error is the 95 % radius, and
``sigma = error / 2.4477`` per axis (FGDC-STD-007.3-1998, NSSDA, appendix 3-A). All functions take scalars or
arrays; distances and sigmas are metres. A sigma of zero is a certain position.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chndtr, ndtr

from scout.model import VerdictWord

__all__ = [
    "DOUBTFUL",
    "FIRM",
    "corner",
    "four_cells",
    "inside",
    "line",
    "sigma",
    "three_cells",
    "word",
]

_NSSDA = 2.4477468306808166  # sqrt(-2 ln 0.05)
FIRM = 0.95
DOUBTFUL = 0.5
_TINY = 1e-9  # stands for a sigma of zero
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)  # 1e-9 at R / sigma up to 12


def sigma(error_95_m: ArrayLike) -> Any:
    """Standard deviation per axis of a circular normal error with this 95 % radius."""
    return np.asarray(error_95_m, dtype=float) / _NSSDA


def line(d_m: ArrayLike, radius_m: ArrayLike, sigma_m: ArrayLike) -> Any:
    """Probability that a disc of this radius reaches across a line at distance d from its stated centre.

    Examples
    --------
    >>> round(float(line(0, 2, 1)), 4)
    0.9545
    """
    d, r, s = np.asarray(d_m), np.asarray(radius_m), np.maximum(sigma_m, _TINY)
    return ndtr((r - d) / s) - ndtr((-r - d) / s)


def corner(d_m: ArrayLike, radius_m: ArrayLike, sigma_m: ArrayLike) -> Any:
    """Probability that a corner at distance d from the stated centre lies within the disc (Rice)."""
    s = np.maximum(sigma_m, _TINY)
    with np.errstate(over="ignore"):
        spread = (np.asarray(d_m) / s) ** 2
        reach = (np.asarray(radius_m) / s) ** 2
    certain = spread > 1e6  # the series behind chndtr gives up; the answer is then 0 or 1 to 1e-9
    rice = chndtr(np.where(certain, 0.0, reach), 2, np.where(certain, 0.0, spread))
    return np.where(certain, np.asarray(d_m) < np.asarray(radius_m), rice)[()]


def four_cells(dx_m: ArrayLike, dy_m: ArrayLike, radius_m: float, sigma_m: float) -> Any:
    """Probability that the disc touches all four cells of a corner; the centre is (dx, dy) from it."""
    return corner(np.hypot(dx_m, dy_m), radius_m, sigma_m)


def three_cells(dx_m: ArrayLike, dy_m: ArrayLike, radius_m: float, sigma_m: float) -> Any:
    """Probability that the disc touches three cells of a corner: one and its two neighbours.

    Parameters
    ----------
    dx_m, dy_m : float or array
        Centre's offset from the corner, positive into the middle cell of the three.

    Notes
    -----
    With the true centre (x, y) and ``s(x) = sqrt(R^2 - x^2)``, the three are touched where
    ``-s < y < s`` for -R < x < 0 and ``-s < y < R`` for 0 < x < R: plane geometry, integrated over the
    receiver's normal error by Gauss-Legendre.
    """
    r, s = float(radius_m), max(float(sigma_m), _TINY * 1e3)
    dx, dy = np.asarray(dx_m, dtype=float)[..., None], np.asarray(dy_m, dtype=float)[..., None]
    total: Any = 0.0
    for low, high in ((-r, 0.0), (0.0, r)):
        # No mass beyond 9 sigma: narrow the range so that the nodes lie where the density is.
        a, b = np.clip(dx - 9 * s, low, high), np.clip(dx + 9 * s, low, high)
        x = (a + b) / 2 + (b - a) / 2 * _NODES
        chord = np.sqrt(np.maximum(r * r - x * x, 0.0))
        top = chord if high == 0.0 else np.full_like(x, r)
        density = np.exp(-0.5 * ((x - dx) / s) ** 2) / (s * np.sqrt(2 * np.pi))
        column = ndtr((top - dy) / s) - ndtr((-chord - dy) / s)
        total = total + np.sum(_WEIGHTS * density * column * (b - a) / 2, axis=-1)
    return np.minimum(total, 1.0)[()]


def inside(
    clearance_m: ArrayLike, radius_m: ArrayLike, sigma_fix_m: ArrayLike, sigma_boundary_m: ArrayLike
) -> Any:
    """Probability that the whole disc lies inside a boundary, taken as a straight line."""
    spread = np.maximum(np.hypot(sigma_fix_m, sigma_boundary_m), _TINY)
    return ndtr((np.asarray(clearance_m) - np.asarray(radius_m)) / spread)


def word(p: float) -> VerdictWord:
    """The verdict for a probability: firm from 0.95, doubtful from 0.5, else not counted."""
    if p >= FIRM:
        return "firm"
    return "doubtful" if p >= DOUBTFUL else "not counted"
