"""Pictures of the ground to scale, north up: the sheet's two, and what lies under the card's sketch.

Where everything goes, as numbers and SVG paths; labels keep apart.

One unit of a picture is a thousandth of its side. ``picture.svg`` draws them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Literal, NamedTuple, Protocol

import numpy as np
import shapely

from scout.geo.boundaries import Boundaries, Floats
from scout.geo.geodesy import LocalFrame, compute_degree_lengths
from scout.geo.lattice import list_meridians, list_parallels
from scout.geo.locator import count_columns, get_edge_lat, get_edge_lon, get_index, make_locator
from scout.model import PARK_ID, Parks, Units
from scout.output.text import format_fine_length, format_stated_length
from scout.parks.sources import NamedParks
from scout.quantities import FOOT_M
from scout.recording.arrive import Arrival

_MOST_LINES = 12  # of one direction; more would be a hatching
_SAMPLES = np.linspace(-1.0, 1.0, 33)  # a parallel bends, near a pole visibly


class LatticeLine(NamedTuple):
    """A lattice line in the view."""

    name: str  # such as 112° W
    upright: bool  # a meridian
    at_m: float  # east or north of the place
    points: Floats  # shape (n, 2)


class CellAt(NamedTuple):
    """A cell in the view and the part of the view it takes up, metres."""

    locator: str
    west: float
    south: float
    east: float
    north: float


class ParkGround(NamedTuple):
    """One park in the view."""

    park: str
    name: str
    chains: tuple[Floats, ...]  # boundary edges, end to end where they join; each of shape (n, 2)
    rings: tuple[Floats, ...]  # of its area in the view; inside is where an odd number of them is around
    covers: bool  # the view lies wholly inside


class ParkNear(Protocol):
    """What is asked of a park that may be drawn: a `scout.model.ParkAt` has it."""

    @property
    def park(self) -> str:
        """Its id."""

    @property
    def park_name(self) -> str:
        """Its name, or ""."""

    @property
    def clearance_m(self) -> float:
        """Of the place, positive inside."""


class SheetGround:
    """The surroundings of one place."""

    def __init__(
        self, lon: float, lat: float, level: int, near: Sequence[ParkNear], parks: Parks | NamedParks
    ) -> None:
        self._lon, self._lat, self._level = lon, lat, level
        self._frame = LocalFrame(lon, lat)
        per_lon, per_lat = compute_degree_lengths(lat)
        self._per_lon, self._per_lat = float(per_lon), float(per_lat)
        self._near = tuple(near)
        row = {name: k for k, name in enumerate(parks.frame[PARK_ID])}
        shapes = parks.frame.geometry.to_numpy()[[row[park.park] for park in near]]
        self._boundaries = Boundaries(shapes)
        numbers = np.arange(len(shapes))
        lons = self._boundaries.near_side(numbers, np.full(len(shapes), lon))
        self._shapes, self._lons = shapes, lons

    def _bounds(self, half_m: float) -> tuple[float, float, float, float]:
        """Degrees that hold a square of this half side, with room to spare."""
        wide = min(1.5 * half_m / max(self._per_lon, 1e-6), 180.0)
        high = 1.5 * half_m / self._per_lat
        return (
            self._lon - wide,
            max(self._lat - high, -90.0),
            self._lon + wide,
            min(self._lat + high, 90.0),
        )

    def lines(self, half_m: float) -> list[LatticeLine] | None:
        """Lattice lines that cross a square of this half side; None where they would be a hatching."""
        west, south, east, north = self._bounds(half_m)
        upright, level = list_meridians(west, east, self._level), list_parallels(south, north, self._level)
        if max(len(upright), len(level)) > _MOST_LINES:
            return None
        n, found = count_columns(self._level), []
        lats = np.clip(self._lat + 1.5 * half_m / self._per_lat * _SAMPLES, -90.0, 90.0)
        for i in upright.tolist():
            lon = float(get_edge_lon(i, self._level))
            (at, _), *points = self._metres(np.full(len(lats) + 1, lon), np.append(self._lat, lats))
            name = _format_angle(i % n * 360 / n - 180, "EW")
            found.append(LatticeLine(name, True, float(at), np.array(points)))
        lons = self._lon + (east - west) / 2 * _SAMPLES
        for j in level.tolist():
            lat = float(get_edge_lat(j, self._level))
            (_, at), *points = self._metres(np.append(self._lon, lons), np.full(len(lons) + 1, lat))
            found.append(LatticeLine(_format_angle(lat, "NS"), False, float(at), np.array(points)))
        return [line for line in found if abs(line.at_m) < half_m]

    def cells(self, half_m: float) -> list[CellAt]:
        """Cells in a square of this half side, lines taken as straight; none where `lines` gives none."""
        lines = self.lines(half_m)
        if lines is None:
            return []
        xs = [-half_m, *sorted(line.at_m for line in lines if line.upright), half_m]
        ys = [-half_m, *sorted(line.at_m for line in lines if not line.upright), half_m]
        found = []
        for west, east in pairwise(xs):
            for south, north in pairwise(ys):
                lon, lat = self._frame.inverse((west + east) / 2, (south + north) / 2)
                name = make_locator(*get_index(float(lon), float(lat), self._level), self._level)
                found.append(CellAt(name, west, south, east, north))
        return found

    def parks(self, half_m: float) -> list[ParkGround]:
        """Parks that reach into a square of this half side."""
        number = np.arange(len(self._shapes))
        lon, lat, reach = (np.full(len(number), v) for v in (self._lon, self._lat, 1.5 * half_m))
        pair, start, end = self._boundaries.edges_within(number, lon, lat, reach)
        west, south, east, north = self._bounds(half_m)
        found = []
        for k, park in enumerate(self._near):
            turn = float(self._lons[k]) - self._lon
            shape = shapely.clip_by_rect(self._shapes[k], west + turn, south, east + turn, north)
            mine = pair == k
            chains = _chain_edges(start[mine], end[mine])
            if not chains and shape.is_empty:
                continue
            rings = tuple(self._metres(xy[:, 0] - turn, xy[:, 1]) for xy in _list_rings(shape))
            covers = not chains and park.clearance_m > 0
            found.append(ParkGround(park.park, park.park_name, chains, rings, covers))
        return found

    def locate(self, lon: Any, lat: Any) -> Floats:
        """Places as metres east and north of the middle, shape (n, 2)."""
        return self._metres(np.atleast_1d(lon), np.atleast_1d(lat))

    def has_boundary(self, half_m: float) -> bool:
        """Whether a boundary is seen in a square of this half side."""
        return any(len(_sample_boundary(park, _MIDDLE / half_m)) for park in self.parks(half_m))

    def draw_shapes(self, shapes: Iterable[Any], half_m: float) -> str:
        """Lines and outlines of areas in a square of this half side, as one path in units of a picture."""
        west, south, east, north = self._bounds(half_m)
        shapes = np.array(list(shapes), dtype=object)
        # Clipped a turn of the globe away as well: data may count on past 180 or begin again.
        cut = [
            shapely.clip_by_rect(shapes, west + turn, south, east + turn, north)
            for turn in (-360.0, 0.0, 360.0)
        ]
        parts = shapely.get_parts(np.concatenate(cut))
        areas = shapely.get_type_id(parts) == 3
        lines = np.concatenate([parts[shapely.get_type_id(parts) == 1], shapely.get_rings(parts[areas])])
        fine = half_m / _MIDDLE
        found = []
        for line in lines:
            points = self.locate(*shapely.get_coordinates(line).T)
            kept = shapely.get_coordinates(shapely.simplify(shapely.linestrings(points), fine))
            found.append(_format_line(kept, _MIDDLE / half_m))
        return "".join(found)

    def _metres(self, lon: Floats, lat: Floats) -> Floats:
        return np.column_stack(self._frame.forward(lon, lat))


def _chain_edges(start: Floats, end: Floats) -> tuple[Floats, ...]:
    """Edges that follow each other joined to lines."""
    if len(start) == 0:
        return ()
    breaks = np.flatnonzero(np.abs(start[1:] - end[:-1]).max(axis=1) > 1e-6) + 1
    cuts = [0, *breaks.tolist(), len(start)]
    return tuple(np.vstack([start[a:b], end[b - 1 : b]]) for a, b in pairwise(cuts))


def _list_rings(shape: Any) -> list[Floats]:
    polygons = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return [shapely.get_coordinates(ring) for ring in shapely.get_rings(polygons)]


def _format_angle(degrees: float, letters: str) -> str:
    """A lattice coordinate in full: degrees, and minutes and seconds where it has them.

    Examples
    --------
    >>> texts = (_format_angle(-112.0, "EW"), _format_angle(-40.958333333333336, "NS"))
    >>> print(*texts, _format_angle(0.010416666666666666, "NS"))
    112° W 40° 57' 30" S 0° 0' 37.5" N
    """
    thousandths = round(abs(degrees) * 3_600_000)
    whole, rest = divmod(thousandths, 3_600_000)
    minute, second = divmod(rest, 60_000)
    text = f"{whole}°"
    if rest:
        text += f" {minute}'"
    if second:
        text += f' {second / 1000:g}"'
    return f"{text} {letters[degrees < 0]}" if thousandths else text


# Where the words of a picture go: off its middle, off each other, never out of it.
Anchor = Literal["start", "middle", "end"]
Kind = Literal["lattice", "cell", "edge"]

_LETTER = 0.58  # width of a usual letter, in sizes of the type
_LINE = 1.1  # height of a line of text
_PAD = 12.0
_LONGEST = 24  # letters of a park's name


@dataclass(frozen=True, slots=True)
class PictureLabel:
    """A word of a picture: the baseline's place in units, and what it names."""

    kind: Kind
    text: str
    x: float
    y: float
    anchor: Anchor


class PictureLabels:
    """Labels of one square picture, placed one after the other.

    Parameters
    ----------
    side, size : float
        Of the picture and of its type, units.
    edges : array, shape (n, 2)
        Places along all boundaries, which words should not cover.
    """

    def __init__(self, side: float, size: float, edges: Floats) -> None:
        self._side, self._letter, self._line = side, _LETTER * size, _LINE * size
        self._edges = edges
        self._labels: list[PictureLabel] = []

    @property
    def placed(self) -> tuple[PictureLabel, ...]:
        """All labels so far."""
        return tuple(self._labels)

    def lattice(self, name: str, upright: bool, x: float, y: float) -> None:
        """Name a line at its end, a meridian at the top, a parallel on the right; none over another."""
        if not upright:
            y = y - _PAD if y > 2 * self._line else y + self._line
            label = self._label("lattice", name, self._side - _PAD, y, "end")
        elif x + _PAD + self._width(name) < self._side:
            label = self._label("lattice", name, x + _PAD, self._line, "start")
        else:
            label = self._label("lattice", name, x - _PAD, self._line, "end")
        if self._gap(label) > 0.0:
            self._labels.append(label)

    def cell(self, name: str, left: float, top: float, right: float, bottom: float) -> None:
        """Name a cell in the corner of it that is nearest to a corner of the picture; none too narrow."""
        if right - left < self._width(name) + 2 * _PAD or bottom - top < 2 * self._line:
            return
        if top <= 0.0:
            y = min(2.2 * self._line, bottom - _PAD)  # under the names of the meridians
        elif bottom >= self._side:
            y = bottom - _PAD
        else:
            y = (top + bottom + self._line) / 2
        if left <= 0.0:
            label = self._label("cell", name, left + _PAD, y, "start")
        elif right >= self._side:
            label = self._label("cell", name, right - _PAD, y, "end")
        else:
            label = self._label("cell", name, (left + right) / 2, y, "middle")
        self._labels.append(label)

    def edge(self, name: str, along: Floats) -> None:
        """Name a boundary next to one of the places along it; not at all where there is no room."""
        text = name if len(name) <= _LONGEST else name[: _LONGEST - 1] + "…"
        best, where = -math.inf, None
        for x, y in along.tolist():
            for label in self._beside(text, x, y):
                score = self._room(label)
                if score > best:
                    best, where = score, label
        if where is not None and self._gap(where) > 0.0:
            self._labels.append(where)

    def _beside(self, text: str, x: float, y: float) -> Iterator[PictureLabel]:
        """The places for a word next to a point: right, left, above, below."""
        middle = y + 0.35 * self._line
        yield self._label("edge", text, x + _PAD, middle, "start")
        yield self._label("edge", text, x - _PAD, middle, "end")
        yield self._label("edge", text, x, y - _PAD, "middle")
        yield self._label("edge", text, x, y + self._line, "middle")

    def _room(self, label: PictureLabel) -> float:
        """How good a place is: in the picture, off other words and boundaries, away from the middle."""
        left, top, right, bottom = self._box(label)
        if min(left, top) < _PAD or max(right, bottom) > self._side - _PAD:
            return -math.inf
        gap = self._gap(label)
        east, south = self._edges.T
        covered = np.count_nonzero((east > left) & (east < right) & (south > top) & (south < bottom))
        off_middle = math.hypot((left + right - self._side) / 2, (top + bottom - self._side) / 2)
        touching = 500.0 if gap < _PAD else 0.0
        return gap + min(off_middle, self._side / 3) - 100.0 * float(covered) - touching

    def _gap(self, label: PictureLabel) -> float:
        """Distance to the nearest other label, as far as it matters."""
        left, top, right, bottom = self._box(label)
        gap = 150.0
        for other in map(self._box, self._labels):
            across = max(other[0] - right, left - other[2], 0.0)
            down = max(other[1] - bottom, top - other[3], 0.0)
            gap = min(gap, math.hypot(across, down))
        return gap

    @staticmethod
    def _label(kind: Kind, text: str, x: float, y: float, anchor: Anchor) -> PictureLabel:
        return PictureLabel(kind, text, round(x, 1), round(y, 1), anchor)

    def _width(self, text: str) -> float:
        return self._letter * len(text)

    def _box(self, label: PictureLabel) -> tuple[float, float, float, float]:
        wide = self._width(label.text)
        left = label.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[label.anchor] * wide
        return left, label.y - 0.8 * self._line, left + wide, label.y + 0.25 * self._line


SIDE = 1000.0
_MIDDLE = SIDE / 2
_CLOSE_LEAST_M, _CLOSE_MOST_M = 10.0, 250.0
_AROUND_LEAST_M, _AROUND_MOST_M = 250.0, 1500.0
_ROOM = 1.25  # between what must be seen and the rim
_RING = "m-6 0a6 6 0 1 0 12 0a6 6 0 1 0-12 0"
_TYPE, _LARGE_TYPE = 30.0, 44.0  # the surroundings are printed smaller


@dataclass(frozen=True, slots=True)
class DroppedBeyond:
    """A dropped fix outside the picture: an arrow at its rim."""

    x: float
    y: float
    turn_deg: float
    away: str


@dataclass(frozen=True, slots=True)
class SheetPicture:
    """One picture; lengths and places in units, y downwards."""

    half_m: float
    type_size: float
    lattice: tuple[str, ...]
    areas: tuple[str, ...]
    edges: tuple[str, ...]
    labels: tuple[PictureLabel, ...]
    station_r: float
    scale_m: float
    scale_text: str
    scale_length: float
    crowded: bool  # more lattice lines than can be drawn
    inside: tuple[str, ...]  # parks that the picture lies wholly inside of
    error_r: float = 0.0  # 0: drawn without fixes
    used: str = ""
    dropped: str = ""
    others: str = ""
    beyond: tuple[DroppedBeyond, ...] = ()
    others_beyond: int = 0


def draw_close_up(arrival: Arrival, ground: SheetGround, units: Units = "metric") -> SheetPicture:
    """The fixes, the 95 % circle, the station, and what of lines and boundaries is near."""
    found = arrival.standstill
    half = _choose_half(arrival)
    scale = _MIDDLE / half
    far = np.zeros(len(found.used), dtype=bool)
    far[[outlier.index for outlier in found.outliers]] = True
    others = ~found.used & ~far
    points = np.column_stack([found.east_m, found.north_m])
    seen = np.all(np.abs(points) < half, axis=1)  # false where there is no place
    return replace(
        draw_ground(ground, half, _TYPE, units, arrival.station.radius_m),
        error_r=round(found.error_95_m * scale, 1),
        used=_format_dots(points[found.used & seen], scale),
        dropped=_format_crosses(points[far & seen], scale),
        others=_format_dots(points[others & seen], scale, _RING),
        beyond=tuple(
            _make_beyond(o.distance_m, o.bearing_deg, units)
            for o in found.outliers
            if not seen[o.index] and math.isfinite(o.distance_m)
        ),
        others_beyond=int(np.count_nonzero(others & ~seen)),
    )


def draw_around(arrival: Arrival, ground: SheetGround, units: Units = "metric") -> SheetPicture | None:
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
    return draw_ground(ground, float(math.ceil(half)), _LARGE_TYPE, units, arrival.station.radius_m)


def _choose_half(arrival: Arrival) -> float:
    """Half the side of the close-up: all of the standstill, and the line or boundary nearest to it."""
    found = arrival.standstill
    far = np.hypot(found.east_m[found.used], found.north_m[found.used]).max()
    half = _ROOM * max(_CLOSE_LEAST_M, found.error_95_m, arrival.station.radius_m, float(far))
    near = [line.distance_m for line in arrival.checked.lines if line.kind != "corner"]
    near += [park.edge_m for park in arrival.checked.parks]
    half = max([half, *(_ROOM * d for d in near if _ROOM * d < 2.5 * half)])
    return min(float(math.ceil(half)), max(_CLOSE_MOST_M, _ROOM * arrival.station.radius_m))


def draw_ground(
    ground: SheetGround,
    half_m: float,
    type_size: float,
    units: Units,
    station_m: float = 0.0,
    covered: Floats | None = None,
) -> SheetPicture:
    """Lattice, cells and boundaries in a square of this half side about the ground's middle, with names.

    ``covered`` are further places, shape (n, 2) in units, that names should not lie on.
    """
    scale = _MIDDLE / half_m
    lines, parks = ground.lines(half_m), ground.parks(half_m)
    drawn = lines or []
    along = [_sample_boundary(park, scale) for park in parks]
    taken = [np.empty((0, 2))] if covered is None else [covered]
    labels = PictureLabels(SIDE, type_size, np.vstack([*taken, *along]))
    for line in drawn:
        labels.lattice(line.name, line.upright, *_convert_to_units(line.at_m, line.at_m, scale))
    for cell in ground.cells(half_m):
        north_west, south_east = (
            _convert_to_units(cell.west, cell.north, scale),
            _convert_to_units(cell.east, cell.south, scale),
        )
        labels.cell(cell.locator, *north_west, *south_east)
    for park, places in zip(parks, along, strict=True):
        labels.edge(park.name or park.park, places)
    nice = _choose_nice(half_m / 2, units)
    return SheetPicture(
        half_m=half_m,
        type_size=type_size,
        lattice=tuple(_format_line(line.points, scale) for line in drawn),
        areas=tuple(filter(None, (_format_area(park.rings, scale) for park in parks))),
        edges=tuple(
            "".join(_format_line(chain, scale) for chain in park.chains) for park in parks if park.chains
        ),
        labels=labels.placed,
        station_r=round(station_m * scale, 1),
        scale_m=nice,
        scale_text=format_stated_length(nice, units),
        scale_length=round(nice * scale, 1),
        crowded=lines is None,
        inside=tuple(park.name or park.park for park in parks if park.covers),
    )


def _convert_to_units(east_m: float, north_m: float, scale: float) -> tuple[float, float]:
    return _MIDDLE + east_m * scale, _MIDDLE - north_m * scale


def _scale_points(points: Floats, scale: float) -> Floats:
    """Points in units, to a tenth, far ones pulled in to where they are not seen either."""
    xy = np.clip(_MIDDLE + points * scale * [1, -1], -20 * SIDE, 20 * SIDE)
    return np.asarray(np.round(xy, 1) + 0.0)


def _format_line(points: Floats, scale: float) -> str:
    xy = _scale_points(points, scale)
    xy = xy[np.any(np.diff(xy, axis=0, prepend=np.inf) != 0, axis=1)]
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in xy.tolist())


def _format_area(rings: Iterable[Floats], scale: float) -> str:
    return "".join(f"{_format_line(ring, scale)}Z" for ring in rings)


def _format_dots(points: Floats, scale: float, mark: str = "h0") -> str:
    """A path of marks, plainly strokes of no length; those in one place are drawn once."""
    xy = np.unique(_scale_points(points, scale).round(), axis=0)
    return "".join(f"M{x:g} {y:g}{mark}" for x, y in xy.tolist())


def _format_crosses(points: Floats, scale: float) -> str:
    return "".join(
        f"M{x - 9:g} {y - 9:g}l18 18m0 -18l-18 18" for x, y in _scale_points(points, scale).tolist()
    )


def _make_beyond(distance_m: float, bearing_deg: float, units: Units) -> DroppedBeyond:
    east, north = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
    reach = (_MIDDLE - 16) / max(abs(east), abs(north))
    return DroppedBeyond(
        round(_MIDDLE + reach * east, 1),
        round(_MIDDLE - reach * north, 1),
        round(bearing_deg, 1),
        format_fine_length(distance_m, units),
    )


def _sample_boundary(park: ParkGround, scale: float) -> Floats:
    """Places on a park's boundary every fiftieth of the picture's side, in units."""
    found = [np.empty((0, 2))]
    for chain in park.chains:
        xy = _scale_points(chain, scale)
        length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        steps = np.arange(0.0, length[-1] + 1e-9, SIDE / 50)
        found.append(np.column_stack([np.interp(steps, length, xy[:, axis]) for axis in (0, 1)]))
    places = np.vstack(found)
    return np.asarray(places[np.all((places > 0) & (places < SIDE), axis=1)])


def _choose_nice(most_m: float, units: Units) -> float:
    """The longest of 1, 2, 5, 10 ... metres or feet that is no longer, in metres."""
    unit_m = FOOT_M if units == "imperial" else 1.0
    power = 10.0 ** math.floor(math.log10(most_m / unit_m))
    return unit_m * max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most_m / unit_m)
