"""Of the parks of a shelf, those that places could have to do with."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from scout.check.places import reaches
from scout.model import Parks
from scout.parks.shelf import Held, Shelf, with_lines
from scout.spots.fields import in_box

__all__ = ["parks_near"]

_TOGETHER_DEG = 2.0  # places this near each other are asked for together


def parks_near(
    shelf: Shelf, lon: ArrayLike, lat: ArrayLike, near_m: float, cells: Sequence[str | None] | None = None
) -> Parks:
    """Take the parks that come near some places; all of them where they are at hand.

    Parameters
    ----------
    shelf : Shelf
    lon, lat : arrays, shape (n,)
        Degrees.
    near_m : float
        How far outside its bounds a park is still wanted.
    cells : sequence of str or None, optional
        Locators of the places that were given as such.
    """
    if isinstance(shelf, Held):
        return shelf.parks
    x, y = np.atleast_1d(np.asarray(lon, dtype=float)), np.atleast_1d(np.asarray(lat, dtype=float))
    reach = reaches(cells if cells is not None else [None] * len(x), near_m)
    group = np.floor(np.stack([x, y]) / _TOGETHER_DEG)
    wanted = np.zeros(len(shelf.bounds), dtype=bool)
    for column in np.unique(group, axis=1).T:
        mine = (group == column[:, None]).all(axis=0)
        box = float(x[mine].min()), float(y[mine].min()), float(x[mine].max()), float(y[mine].max())
        wanted[in_box(shelf.bounds, box, float(reach[mine].max()))] = True
    taken = shelf.order(np.flatnonzero(wanted)).take()
    report = with_lines(shelf.report, [taken.report])
    return Parks(taken.frame.reset_index(drop=True), shelf.sources, report)
