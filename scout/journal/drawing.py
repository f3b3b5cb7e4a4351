"""The journal's map: visits and the grids they claimed on the lattice, in picture units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.locator import decode, edge_lat, edge_lon, locator, rows
from scout.tally import grids_of
from scout.visits import Visit

__all__ = ["Picture", "picture"]

_WIDE, _TALL = 760.0, 460.0  # the picture's largest sides
_LEAST_DEG = 3.0  # of latitude shown, however near the visits are to each other
_FIELDS_FROM_DEG = 24.0  # latitude shown from which only fields are ruled
_LABEL = (36.0, 18.0)  # the least room for a locator
_TOUCHING = 22.0  # marks nearer than this become one


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything drawn; x runs east and y south."""

    wide: float
    tall: float
    level: int
    shaded: tuple[tuple[float, float, float, float], ...]  # x, y, width, height
    across: tuple[float, ...]  # y of the parallels
    upright: tuple[float, ...]  # x of the meridians
    labels: tuple[tuple[float, float, str], ...]
    marks: tuple[tuple[float, float, str], ...]  # "4 +2": visit 4 and two more there


class _View(NamedTuple):
    """What part of the globe is shown, and at what scale."""

    west: float
    north: float
    wide: float  # degrees of longitude
    high: float  # degrees of latitude
    x_scale: float  # units per degree
    y_scale: float

    def at(self, lon: float, lat: float) -> tuple[float, float]:
        """Degrees to units of the picture."""
        return round((lon - self.west) * self.x_scale, 1), round((self.north - lat) * self.y_scale, 1)


def picture(visits: Sequence[Visit]) -> Picture | None:
    """The map of some visits; None without any."""
    if not visits:
        return None
    lon = _unwrapped([visit.lon for visit in visits])
    lat = np.array([visit.lat for visit in visits])
    view = _view(lon, lat)
    level = 1 if view.high > _FIELDS_FROM_DEG else 2
    size = view.at(view.west + view.wide, view.north - view.high)
    i, j = _columns(view, level), _rows(view, level)
    places = [view.at(float(x), float(y)) for x, y in zip(lon, lat, strict=True)]
    return Picture(
        *size,
        level,
        shaded=_shaded(visits, lon, level, view),
        across=tuple(view.at(0.0, float(y))[1] for y in edge_lat(np.array([*j, j[-1] + 1]), level)),
        upright=tuple(view.at(float(x), 0.0)[0] for x in edge_lon(np.array([*i, i[-1] + 1]), level)),
        labels=_labels(view, level),
        marks=_marks(visits, places),
    )


def _view(lon: NDArray[np.float64], lat: NDArray[np.float64]) -> _View:
    middle = float((lat.min() + lat.max()) / 2)
    narrow = max(math.cos(math.radians(middle)), 0.05)
    high = max(float(np.ptp(lat)) * 1.25, _LEAST_DEG)
    wide = max(float(np.ptp(lon)) * 1.25, 1.4 * _LEAST_DEG / narrow)
    scale = min(_WIDE / (wide * narrow), _TALL / high)
    # What is free beside them is shown as well: the picture has its full width.
    wide = min(_WIDE / (scale * narrow), 360.0)
    west = float((lon.min() + lon.max()) / 2) - wide / 2
    return _View(west, middle + high / 2, wide, high, scale * narrow, scale)


def _unwrapped(lon: Sequence[float]) -> NDArray[np.float64]:
    """Longitudes made continuous: the widest empty part of the globe lies outside them."""
    values = np.array(lon) % 360.0
    ordered = np.sort(values)
    gaps = np.diff(np.concatenate([ordered, [ordered[0] + 360.0]]))
    first = ordered[(int(np.argmax(gaps)) + 1) % len(ordered)]
    turned: NDArray[np.float64] = (values - first) % 360.0 + first
    return turned - 360.0 if turned.min() >= 180.0 else turned


def _columns(view: _View, level: int) -> range:
    """Numbers of the columns of cells in view, unwrapped."""
    per = rows(level) / 360
    return range(math.floor((view.west + 180) * per), math.ceil((view.west + view.wide + 180) * per))


def _rows(view: _View, level: int) -> range:
    per = rows(level) / 180
    low, top = (view.north - view.high + 90) * per, (view.north + 90) * per
    return range(max(math.floor(low), 0), min(math.ceil(top), rows(level)))


def _shaded(
    visits: Sequence[Visit], lon: NDArray[np.float64], level: int, view: _View
) -> tuple[tuple[float, float, float, float], ...]:
    boxes = {}
    for visit, x in zip(visits, lon.tolist(), strict=True):
        for text in grids_of(visit, level):
            cell = decode(text)
            turn = round((x - cell.lon) / 360.0) * 360.0
            left, top = view.at(cell.west + turn, cell.north)
            right, bottom = view.at(cell.east + turn, cell.south)
            boxes[text, turn] = (left, top, round(right - left, 1), round(bottom - top, 1))
    return tuple(boxes.values())


def _labels(view: _View, level: int) -> tuple[tuple[float, float, str], ...]:
    found = []
    for j in _rows(view, level):
        for i in _columns(view, level):
            x, y = view.at(float(edge_lon(i, level)), float(edge_lat(j, level)))
            (end, top), foot = view.at(float(edge_lon(i + 1, level)), float(edge_lat(j + 1, level))), y
            x, foot = max(x, 0.0), min(foot, round(view.high * view.y_scale, 1))
            end = min(end, round(view.wide * view.x_scale, 1))
            if end - x >= _LABEL[0] and foot - max(top, 0.0) >= _LABEL[1]:
                # Over its south edge: the number of a visit at a corner hangs below.
                found.append((x + 5, foot - 6, str(locator(i, j, level))))
    return tuple(found)


def _marks(
    visits: Sequence[Visit], places: Sequence[tuple[float, float]]
) -> tuple[tuple[float, float, str], ...]:
    groups: list[tuple[float, float, list[int]]] = []
    for visit, (x, y) in zip(visits, places, strict=True):
        near = next((g for g in groups if math.hypot(g[0] - x, g[1] - y) < _TOUCHING), None)
        if near is None:
            groups.append((x, y, [visit.number]))
        else:
            near[2].append(visit.number)
    return tuple(
        (x, y, str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]} +{len(numbers) - 1}")
        for x, y, numbers in groups
    )
