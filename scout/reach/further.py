"""The ground near some places, and starts further from them where none near leads there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from scout.access import Targets, Walked, coarsest_m, farthest_m, walks
from scout.geodesy import degree_lengths
from scout.outlines import Floats, Ints
from scout.surroundings import Relief, Surroundings, Walking

__all__ = ["Access", "Box", "boxes_around", "from_further"]

Box = tuple[float, float, float, float]

_MOST = 100  # spots, best first: a wide window takes seconds
_WORTH = 1.1  # no wider window that is hardly wider


@dataclass(frozen=True, slots=True)
class Access:
    """Where access data comes from and how it is used.

    ``near`` gives what lies in some boxes (west, south, east, north, degrees; east may pass 180): the core
    opens no file, and only what lies near the places found is worth reading.
    """

    near: Callable[[Sequence[Box]], tuple[Surroundings, Sequence[Relief]]]
    walking: Walking = field(default_factory=Walking)
    power_line_m: float = 50.0  # overhead lines nearer than this are warned of


def boxes_around(one: tuple[Floats, Floats], other: tuple[Floats, Floats], reach_m: float) -> list[Box]:
    """Boxes that hold pairs of places, longitudes and latitudes, and so many metres around them."""
    (lon1, lat1), (lon2, lat2) = one, other
    lon2 = lon1 + (lon2 - lon1 + 180.0) % 360.0 - 180.0
    per_lon = degree_lengths(np.minimum(np.maximum(np.abs(lat1), np.abs(lat2)), 89.0))[0]
    wide, high = reach_m / per_lon, reach_m / 110_500.0
    boxes = (np.minimum(lon1, lon2) - wide, lat1 - high, np.maximum(lon1, lon2) + wide, lat2 + high)
    return list(zip(*(b.tolist() for b in boxes), strict=True))


def from_further(
    walked: list[Walked], targets: Targets, order: Ints, access: Access, progress: Callable[[str], None]
) -> list[Walked]:
    """The walks, with those from starts further away where none within reach leads to a spot.

    Windows then reach as far as the longest walk does; wider ones have coarser cells, so that time and memory
    have a bound.

    Parameters
    ----------
    walked : list of Walked
        One per group of the targets.
    targets : Targets
    order : array of int
        Groups, best first.
    access : Access
    progress : callable
        Told in a few words what is being done.
    """
    near, reach_m = access.walking, farthest_m(access.walking)
    missed = [group for group in order.tolist() if walked[group].further]
    if not missed or reach_m < _WORTH * near.reach_m:
        return walked
    groups = np.sort(missed[:_MOST])
    rows = np.flatnonzero(np.isin(targets.group, groups))
    lon, lat = targets.lon[rows], targets.lat[rows]
    progress(f"reading roads, barriers and heights up to {reach_m / 1000:g} km away")
    around, reliefs = access.near(boxes_around((lon, lat), (lon, lat), reach_m))
    some = Targets(lon, lat, np.searchsorted(groups, targets.group[rows]))
    wide, found = replace(near, reach_m=reach_m), list(walked)
    again = walks(some, around, reliefs, wide, progress, near.reach_m)
    said = f"no start within {near.reach_m / 1000:g} km leads there"
    coarse = f"worked out on cells of up to {coarsest_m(wide):.0f} m, for {said}"
    for group, one in zip(groups.tolist(), again, strict=True):
        route = replace(one.route, reason=coarse) if one.route.state == "walked" else one.route
        found[group] = one._replace(row=int(rows[one.row]), route=route)
    for group in missed[_MOST:]:
        route = walked[group].route
        why = f"{route.reason}; starts further away are looked for around the best {_MOST} spots only"
        found[group] = walked[group]._replace(route=replace(route, reason=why))
    return found
