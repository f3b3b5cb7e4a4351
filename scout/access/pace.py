"""How fast people walk: Tobler's function of the slope, off paths, and with a load."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["FASTEST_KMH", "OFF_PATH", "load_factor", "tobler_kmh"]

FASTEST_KMH = 6.0  # Tobler's, on a slope of -0.05
OFF_PATH = 0.6  # of the speed on a path (Tobler 1993)
_BODY_KG = 80.0  # an assumption: a lighter walker is slowed down more
_SHEER = 20.0  # steeper ground takes no longer: times stay finite


def tobler_kmh(slope: NDArray[np.floating[Any]]) -> NDArray[Any]:
    """Walking speed on a path, km/h.

    W. Tobler 1993, Three presentations on geographical analysis and modeling, NCGIA Technical Report 93-1:
    W = 6 exp(-3.5 |S + 0.05|).

    Parameters
    ----------
    slope : array
        Rise over run in the direction of travel.

    Examples
    --------
    >>> tobler_kmh(np.array([0.0, -0.05])).round(2).tolist()
    [5.04, 6.0]
    """
    speed: NDArray[Any] = FASTEST_KMH * np.exp(-3.5 * np.minimum(np.abs(slope + 0.05), _SHEER))
    return speed


def load_factor(load_kg: float) -> float:
    """Speed with a load over speed without, at the same power on the flat.

    Pandolf, Givoni and Goldman 1977, J. Appl. Physiol. 43:577 (from memory), terrain factor 1 (a firm path):
    M = 1.5 W + 2 (W + L) (L / W)^2 + (W + L) (1.5 V^2 + 0.35 V G) watts, with W and L the walker and the load
    in kg, V in m/s and G, the grade, 0. The walker weighs 80 kg here and walks at Tobler's speed on the flat.
    From 72 kg on, all power goes into carrying.

    Examples
    --------
    >>> load_factor(0.0), round(load_factor(15.0), 2)
    (1.0, 0.9)
    """
    speed = float(tobler_kmh(np.array(0.0))) / 3.6
    both = _BODY_KG + load_kg
    moving = 1.5 * _BODY_KG * speed**2 - 2.0 * both * (load_kg / _BODY_KG) ** 2
    return max(float(np.sqrt(max(moving, 0.0) / (1.5 * both))) / speed, 1e-6)
