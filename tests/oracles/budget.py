"""The error budget by `scipy.stats` and quadrature: which cells, which parks, how sure.

Design: circular normal fix error and a boundary error, both as 95 % radii (divisor 2.4477, NSSDA, appendix
3-A, read in copies that quote it); a disc-shaped station. Each condition by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm, rice

NSSDA_95 = 2.4477


@dataclass(frozen=True)
class Errors:
    """A station radius and the standard deviations of the fix and of each park's boundary, metres."""

    radius_m: float
    fix_m: float
    boundary_m: np.ndarray

    @classmethod
    def of(cls, station, datum_errors_m) -> Errors:
        """From 95 % errors; a datum error adds to the boundary error linearly."""
        boundary = (station.boundary_error_m + np.asarray(datum_errors_m, dtype=float)) / NSSDA_95
        return cls(station.radius_m, station.fix_error_m / NSSDA_95, boundary)


def line(d, radius, sigma):
    """The disc reaches a line at distance d."""
    return norm.cdf((radius - d) / sigma) - norm.cdf((-radius - d) / sigma)


def four_cells(dx, dy, radius, sigma):
    """The corner lies in the disc: Rice distribution."""
    return rice.cdf(radius / sigma, np.hypot(dx, dy) / sigma)


def three_cells(dx, dy, radius, sigma):
    """The disc reaches the quadrant x, y > 0 and both its neighbours, whatever it does with the fourth.

    Its centre then lies in the square 0..R x 0..R or within R of the corner: integrated over x by Gauss-
    Legendre within nine sigma, with x = R sin(t) so that the circle's ends do no harm.
    """
    dx, dy = np.broadcast_arrays(np.asarray(dx, dtype=float), np.asarray(dy, dtype=float))
    nodes, weights = np.polynomial.legendre.leggauss(64)
    total = np.zeros(dx.shape)
    for west, east in ((-radius, 0.0), (0.0, radius)):
        start = np.arcsin(np.clip(dx - 9 * sigma, west, east) / radius)[..., None]
        end = np.arcsin(np.clip(dx + 9 * sigma, west, east) / radius)[..., None]
        t = (start + end) / 2 + (end - start) / 2 * nodes
        x, arc = radius * np.sin(t), radius * np.cos(t)
        top = arc if west < 0 else radius
        slab = norm.cdf(top, dy[..., None], sigma) - norm.cdf(-arc, dy[..., None], sigma)
        density = norm.pdf(x, dx[..., None], sigma) * arc
        total += (density * slab * weights * (end - start) / 2).sum(axis=-1)
    return total


def inside(clearance, radius, sigma_fix, sigma_boundary):
    """The whole disc lies in the park."""
    return norm.cdf((clearance - radius) / np.hypot(sigma_fix, sigma_boundary))


def word(confidence: float) -> str:
    """Firm from 0.95, doubtful from 0.5."""
    return "firm" if confidence >= 0.95 else "doubtful" if confidence >= 0.5 else "not counted"
