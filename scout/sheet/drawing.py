"""The pictures of the sheet, to scale and north up: where everything goes, as numbers and SVG paths.

One unit of a picture is a thousandth of its side. ``picture.svg`` draws them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from scout.arrive import Arrival
from scout.outlines import Floats
from scout.sheet.ground import Ground, ParkGround
from scout.sheet.labels import Label, Labels

__all__ = ["Beyond", "Picture", "around", "close_up"]

SIDE = 1000.0
_MIDDLE = SIDE / 2
_CLOSE_LEAST_M, _CLOSE_MOST_M = 10.0, 250.0
_AROUND_LEAST_M, _AROUND_MOST_M = 250.0, 1500.0
_ROOM = 1.25  # between what must be seen and the rim
_RING = "m-6 0a6 6 0 1 0 12 0a6 6 0 1 0-12 0"
_TYPE, _LARGE_TYPE = 30.0, 44.0  # the surroundings are printed smaller


@dataclass(frozen=True, slots=True)
class Beyond:
    """A dropped fix outside the picture: an arrow at its rim."""

    x: float
    y: float
    turn_deg: float
    metres: str


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture; lengths and places in units, y downwards."""

    half_m: float
    type_size: float
    lattice: tuple[str, ...]
    areas: tuple[str, ...]
    edges: tuple[str, ...]
    labels: tuple[Label, ...]
    station_r: float
    scale_m: float
    scale_length: float
    crowded: bool  # more lattice lines than can be drawn
    inside: tuple[str, ...]  # parks that the picture lies wholly inside of
    error_r: float = 0.0  # 0: drawn without fixes
    used: str = ""
    dropped: str = ""
    others: str = ""
    beyond: tuple[Beyond, ...] = ()
    others_beyond: int = 0


def close_up(arrival: Arrival, ground: Ground) -> Picture:
    """The fixes, the 95 % circle, the station, and what of lines and boundaries is near."""
    found = arrival.standstill
    half = _close_half(arrival)
    scale = _MIDDLE / half
    far = np.zeros(len(found.used), dtype=bool)
    far[[outlier.index for outlier in found.outliers]] = True
    others = ~found.used & ~far
    points = np.column_stack([found.east_m, found.north_m])
    seen = np.all(np.abs(points) < half, axis=1)  # false where there is no place
    return replace(
        _picture(arrival, ground, half, _TYPE),
        error_r=round(found.error_95_m * scale, 1),
        used=_dots(points[found.used & seen], scale),
        dropped=_crosses(points[far & seen], scale),
        others=_dots(points[others & seen], scale, _RING),
        beyond=tuple(
            _beyond(o.distance_m, o.bearing_deg)
            for o in found.outliers
            if not seen[o.index] and math.isfinite(o.distance_m)
        ),
        others_beyond=int(np.count_nonzero(others & ~seen)),
    )


def around(arrival: Arrival, ground: Ground) -> Picture | None:
    """The boundaries about the station; None where none is within reach."""
    edges = [park.edge_m for park in arrival.checked.parks if park.edge_m <= _AROUND_MOST_M / _ROOM]
    if not edges:
        return None
    counted = [
        park.edge_m
        for park in arrival.checked.parks
        if park.park in arrival.checked.verdict.parks and park.edge_m <= max(edges)
    ]
    half = max(_AROUND_LEAST_M, _ROOM * max(counted, default=min(edges)))
    return _picture(arrival, ground, float(math.ceil(half)), _LARGE_TYPE)


def _close_half(arrival: Arrival) -> float:
    """Half the side of the close-up: all of the standstill, and the line or boundary nearest to it."""
    found = arrival.standstill
    far = np.hypot(found.east_m[found.used], found.north_m[found.used]).max()
    half = _ROOM * max(_CLOSE_LEAST_M, found.error_95_m, arrival.station.radius_m, float(far))
    near = [line.distance_m for line in arrival.checked.lines if line.kind != "corner"]
    near += [park.edge_m for park in arrival.checked.parks]
    half = max([half, *(_ROOM * d for d in near if _ROOM * d < 2.5 * half)])
    return min(float(math.ceil(half)), max(_CLOSE_MOST_M, _ROOM * arrival.station.radius_m))


def _picture(arrival: Arrival, ground: Ground, half_m: float, type_size: float) -> Picture:
    scale = _MIDDLE / half_m
    lines, parks = ground.lines(half_m), ground.parks(half_m)
    drawn = lines or []
    along = [_along(park, scale) for park in parks]
    labels = Labels(SIDE, type_size, np.vstack([np.empty((0, 2)), *along]))
    for line in drawn:
        labels.lattice(line.name, line.upright, *_units(line.at_m, line.at_m, scale))
    for cell in ground.cells(half_m):
        north_west, south_east = _units(cell.west, cell.north, scale), _units(cell.east, cell.south, scale)
        labels.cell(cell.locator, *north_west, *south_east)
    for park, places in zip(parks, along, strict=True):
        labels.edge(park.name or park.park, places)
    nice = _nice(half_m / 2)
    return Picture(
        half_m=half_m,
        type_size=type_size,
        lattice=tuple(_line(line.points, scale) for line in drawn),
        areas=tuple(filter(None, (_area(park.rings, scale) for park in parks))),
        edges=tuple("".join(_line(chain, scale) for chain in park.chains) for park in parks if park.chains),
        labels=labels.placed,
        station_r=round(arrival.station.radius_m * scale, 1),
        scale_m=nice,
        scale_length=round(nice * scale, 1),
        crowded=lines is None,
        inside=tuple(park.name or park.park for park in parks if park.covers),
    )


def _units(east_m: float, north_m: float, scale: float) -> tuple[float, float]:
    return _MIDDLE + east_m * scale, _MIDDLE - north_m * scale


def _path(points: Floats, scale: float) -> Floats:
    """Points in units, to a tenth, far ones pulled in to where they are not seen either."""
    xy = np.clip(_MIDDLE + points * scale * [1, -1], -20 * SIDE, 20 * SIDE)
    return np.asarray(np.round(xy, 1) + 0.0)


def _line(points: Floats, scale: float) -> str:
    xy = _path(points, scale)
    xy = xy[np.any(np.diff(xy, axis=0, prepend=np.inf) != 0, axis=1)]
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in xy.tolist())


def _area(rings: Iterable[Floats], scale: float) -> str:
    return "".join(f"{_line(ring, scale)}Z" for ring in rings)


def _dots(points: Floats, scale: float, mark: str = "h0") -> str:
    """A path of marks, plainly strokes of no length; those in one place are drawn once."""
    xy = np.unique(_path(points, scale).round(), axis=0)
    return "".join(f"M{x:g} {y:g}{mark}" for x, y in xy.tolist())


def _crosses(points: Floats, scale: float) -> str:
    return "".join(f"M{x - 9:g} {y - 9:g}l18 18m0 -18l-18 18" for x, y in _path(points, scale).tolist())


def _beyond(distance_m: float, bearing_deg: float) -> Beyond:
    east, north = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
    reach = (_MIDDLE - 16) / max(abs(east), abs(north))
    return Beyond(
        round(_MIDDLE + reach * east, 1),
        round(_MIDDLE - reach * north, 1),
        round(bearing_deg, 1),
        f"{distance_m:.0f} m",
    )


def _along(park: ParkGround, scale: float) -> Floats:
    """Places on a park's boundary every fiftieth of the picture's side, in units."""
    found = [np.empty((0, 2))]
    for chain in park.chains:
        xy = _path(chain, scale)
        length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        steps = np.arange(0.0, length[-1] + 1e-9, SIDE / 50)
        found.append(np.column_stack([np.interp(steps, length, xy[:, axis]) for axis in (0, 1)]))
    places = np.vstack(found)
    return np.asarray(places[np.all((places > 0) & (places < SIDE), axis=1)])


def _nice(most_m: float) -> float:
    """The longest of 1, 2, 5, 10 ... metres that is no longer."""
    power = 10.0 ** math.floor(math.log10(most_m))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most_m)
