"""Coordinate systems understood, the way to WGS 84 chosen, boxes carried into a layer's own system.

From any coordinate reference system to WGS 84, with what PROJ says about the way there.

`accuracy=` and `only_best=` do not keep PROJ from a poor transformation, so its list of candidates
(`TransformerGroup`) is read instead, and the operations really used are asked for afterwards.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import TransformerGroup

from scout.errors import CrsError, SettingName
from scout.geo.antimeridian import Box
from scout.io.local_files import collect_warnings
from scout.quantities import MeasuredText

WGS84 = "EPSG:4326"
_NAME_ONE = MeasuredText(
    "name one with ", SettingName("crs"), ", e.g. EPSG:4326, or store it in the file (.prj, layer)"
)
_MOVES = ("helmert", "molodensky", "grid", "geogoffset", "affine", "deformation", "tinshift", "horner")
_BALLPARK = (
    "BALLPARK: PROJ knows no transformation of stated accuracy from {} to WGS 84 there; "
    "positions may be wrong by hundreds of metres"
)
_LONGEST_DEGREE_M = 111_700.0  # of latitude at the poles is 111,694 m (WGS 84)
_LISTED = 3  # operations named; a continent may need a dozen
_WORLD = (-180.0, -90.0, 180.0, 90.0)
_FAR_DEG = 5.0  # beyond the area a system is made for: zones are stretched by a few degrees, not more


@dataclass(frozen=True, slots=True)
class TransformRemarks:
    """What is to be said of a transformation once the data have gone through it."""

    operation: str
    accuracy_m: float | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Datum:
    """A coordinate reference system and the ways PROJ has from it to WGS 84 longitude and latitude."""

    crs: pyproj.CRS
    text: str
    transformer: Any  # chooses among the candidates point by point, as PROJ does
    candidates: tuple[Any, ...]  # transformers, PROJ's first choice first
    missing: tuple[Any, ...]  # operations whose grids are not installed
    best_available: bool
    notes: tuple[str, ...] = ()

    @property
    def geographic(self) -> bool:
        """Whether the coordinates are angles."""
        return bool(self.crs.is_geographic)

    @property
    def quarter_turn(self) -> float:
        """Ninety degrees in the unit of a geographic system (degrees, or grads)."""
        base = self.crs.geodetic_crs or self.crs
        return float(math.pi / 2 / base.axis_info[0].unit_conversion_factor)

    def convert_metres(self, length_m: float) -> float:
        """A short length in the unit of the coordinates, nowhere on the Earth longer than that."""
        if self.geographic:
            return length_m / _LONGEST_DEGREE_M * self.quarter_turn / 90
        return float(length_m / max(axis.unit_conversion_factor for axis in self.crs.axis_info[:2]))

    @property
    def identity(self) -> bool:
        """Whether coordinates stay as they are."""
        return len(self.candidates) == 1 and self.candidates[0].definition.startswith("proj=noop")

    def judge(self, sample: NDArray[np.float64], lon: ArrayLike, lat: ArrayLike) -> TransformRemarks:
        """Say which operations were used, how good they are, and what to warn of.

        Parameters
        ----------
        sample : array, shape (n, 2)
            Some source coordinates, spread over the data; the operations are those that PROJ used for them.
        lon, lat : array
            Centres of all records, transformed.
        """
        used = self._used(sample)
        lon, lat = np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)
        sound = [c for c in self.candidates if not _is_ballpark(c)]
        if not sound:
            return TransformRemarks(
                self._operation(used), None, (*self.notes, _BALLPARK.format(self.crs.name))
            )
        accuracy = max(float(o.accuracy) for o in [sound[0], *used] if not _is_ballpark(o))
        warnings = [*self.notes, *self._better(lon, lat, accuracy), *self._misplaced(lon, lat)]
        outside = _is_outside(lon, lat, [c.area_of_use for c in sound])
        if outside.any():
            warnings.append(
                f"{int(outside.sum())} of {outside.size} records lie outside the area for which the "
                f"transformation from {self.crs.name} is made; its accuracy, {accuracy:g} m, is not so there"
            )
        # Out there PROJ takes the degrees as they are: no worse than a stated null, else unknown.
        if outside.sum() * 2 > outside.size and _moves_places(sound[0]):
            return TransformRemarks(self._operation(used), None, (*warnings, _BALLPARK.format(self.crs.name)))
        return TransformRemarks(self._operation(used), accuracy, tuple(warnings))

    def _used(self, sample: NDArray[np.float64]) -> list[Any]:
        if len(self.candidates) == 1:
            return list(self.candidates)
        used: dict[str, Any] = {}
        for x, y in sample.tolist():
            self.transformer.transform(x, y)
            try:
                operation = self.transformer.get_last_used_operation()
            except ProjError:
                continue
            used.setdefault(operation.description, operation)
        return list(used.values()) or list(self.candidates[:1])

    def _operation(self, used: list[Any]) -> str:
        if self.identity and float(self.candidates[0].accuracy) == 0:
            return "none"
        texts = []
        for operation in used:
            accuracy = "accuracy unknown" if operation.accuracy < 0 else f"{operation.accuracy:g} m"
            texts.append(
                f"{_shorten_operation(operation)} ({'' if _moves_places(operation) else 'null, '}{accuracy})"
            )
        more = f" / {len(texts) - _LISTED} more" if len(texts) > _LISTED else ""
        return " / ".join(texts[:_LISTED]) + more

    def _better(self, lon: NDArray[np.float64], lat: NDArray[np.float64], accuracy: float) -> list[str]:
        """A warning where the best transformation needs a grid that is not installed."""
        if self.best_available:
            return []
        served = [(~_is_outside(lon, lat, [operation.area_of_use])).sum() for operation in self.missing]
        for _, operation in sorted(zip(served, self.missing, strict=True), key=lambda pair: -pair[0]):
            if operation.accuracy < accuracy:
                better = f"a better transformation ({operation.accuracy:g} m)"
                grids = ", ".join(g.short_name for g in operation.grids if not g.available) or "a grid"
                return [f"{better} needs {grids}, which is not installed"]
        return ["a better transformation needs a grid that is not installed"]

    def _misplaced(self, lon: NDArray[np.float64], lat: NDArray[np.float64]) -> list[str]:
        area = self.crs.area_of_use
        if area is None or not lon.size:
            return []
        x, y = float(np.median(lon)), float(np.median(lat))
        if not _is_outside(np.array([x]), np.array([y]), [area], _FAR_DEG).all():
            return []
        return [
            f"the records lie around latitude {y:.4f}, longitude {x:.4f}, far outside the area that "
            f"{self.text} is made for: check the coordinate system"
        ]


def understand_crs(text: str | None, where: str, assumed: str | None = None) -> Datum:
    """Understand a coordinate reference system.

    Parameters
    ----------
    text : str or None
        Code, WKT or PROJJSON as the file has it; None or empty if it has none.
    where : str
        The file, for the error.
    assumed : str, optional
        What to take where the file has none.

    Raises
    ------
    CrsError
        No system, an unknown one, or one without horizontal positions on the Earth.
    """
    if text:
        return _parse_crs(text, where)
    if not assumed:
        raise CrsError(where, "the file does not name its coordinate system", _NAME_ONE)
    return replace(
        _parse_crs(assumed, where), notes=(f"the file names no coordinate system; {assumed} is assumed",)
    )


@lru_cache(maxsize=64)
def _parse_crs(text: str, where: str) -> Datum:
    try:
        crs = pyproj.CRS.from_user_input(text)
        crs = crs.to_2d() if crs.is_geographic or crs.is_projected else crs
    except CRSError as error:
        raise CrsError(where, f"the coordinate system {text[:60]!r} is not known", _NAME_ONE) from error
    if not (crs.is_geographic or crs.is_projected):
        kind = crs.type_name
        raise CrsError(
            where, f"{crs.name} is a {kind}, not one of places on the Earth", "export it as EPSG:4326"
        )
    try:
        with collect_warnings():
            group = TransformerGroup(crs, WGS84, always_xy=True)
        group.transformers[0]  # none where the system is of another body than the Earth
    except (IndexError, CRSError, ProjError) as error:  # pyproj's IndexError means an empty list
        what = f"PROJ knows no way from {crs.name} to WGS 84"
        raise CrsError(where, what, "export it as EPSG:4326") from error
    several = len(group.transformers) > 1
    return Datum(
        crs,
        _name_crs(crs),
        pyproj.Transformer.from_crs(crs, WGS84, always_xy=True) if several else group.transformers[0],
        tuple(group.transformers),
        tuple(group.unavailable_operations),
        bool(group.best_available),
    )


def _name_crs(crs: pyproj.CRS) -> str:
    authority = crs.to_authority()
    return f"{':'.join(authority)} ({crs.name})" if authority else str(crs.name)


def _shorten_operation(operation: Any) -> str:
    steps = [s for s in operation.description.split(" + ") if not s.startswith("axis order change")]
    return " + ".join(steps) or str(operation.description)


def _is_ballpark(operation: Any) -> bool:
    return "allpark" in operation.description or float(operation.accuracy) < 0


def _moves_places(operation: Any) -> bool:
    return any(step in operation.definition for step in _MOVES)


def _is_outside(
    lon: NDArray[np.float64], lat: NDArray[np.float64], areas: list[Any], margin: float = 0.0
) -> NDArray[np.bool_]:
    """Which places lie in none of the areas; an unknown area holds everything."""
    inside = np.zeros(lon.shape, dtype=bool)
    for area in areas:
        if area is None or (area.west, area.south, area.east, area.north) == _WORLD:
            return np.zeros(lon.shape, dtype=bool)
        width = (area.east - area.west) % 360 or 360
        across = (lon - area.west + margin) % 360 <= min(width + 2 * margin, 360)
        inside |= across & (lat >= area.south - margin) & (lat <= area.north + margin)
    return ~inside


# The boxes that records are asked by: few, in the layer's own system, then exactly in degrees.
# Projections without breaks, by EPSG's and PROJ's names of their methods.
_SMOOTH = frozenset(
    {
        "Albers Equal Area",
        "Lambert Conic Conformal (1SP)",
        "Lambert Conic Conformal (2SP)",
        "Lambert Azimuthal Equal Area",
        "Transverse Mercator",
        "Mercator (variant A)",
        "Mercator (variant B)",
        "Popular Visualisation Pseudo Mercator",
        "Lambert Cylindrical Equal Area",
        "Polar Stereographic (variant A)",
        "Polar Stereographic (variant B)",
        "Oblique Stereographic",
        "Hotine Oblique Mercator (variant A)",
        "Hotine Oblique Mercator (variant B)",
    }
)
TURNS = (-360.0, 0.0, 360.0)  # longitudes of one place may differ by a turn, see RFC 7946 section 3.1.9
_MOST = 32  # boxes a file is asked for one by one


def merge_boxes_to_few(boxes: Sequence[Box], most: int = _MOST) -> list[Box]:
    """Few boxes that hold all of many: those that meet become one, then also those that are close."""
    reach, found = 0.0, list(boxes)
    while found:
        found = _merge_near_boxes(found, reach)
        if len(found) <= most:
            break
        reach = max(2 * reach, 0.05)
    return found


def _merge_near_boxes(boxes: Sequence[Box], reach_deg: float) -> list[Box]:
    # A tenth of a second, and few need it.
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    while True:
        grown = np.asarray(boxes, dtype=float) + reach_deg * np.array([-1.0, -1.0, 1.0, 1.0])
        shapes = shapely.box(*grown.T)
        first, second = shapely.STRtree(shapes).query(shapes)
        links = coo_array((np.ones(len(first)), (first, second)), shape=(len(boxes), len(boxes)))
        count, group = connected_components(links, directed=False)
        if count == len(boxes):
            return list(boxes)
        west, south, east, north = np.asarray(boxes, dtype=float).T
        sides = [np.full(count, np.inf), np.full(count, np.inf), np.full(count, -np.inf)]
        sides.append(sides[2].copy())
        for side, values, fold in zip(
            sides, (west, south, east, north), (np.minimum, np.minimum, np.maximum, np.maximum), strict=True
        ):
            fold.at(side, group, values)
        boxes = [(float(a), float(b), float(c), float(d)) for a, b, c, d in zip(*sides, strict=True)]


def merge_boxes(boxes: Sequence[Box]) -> list[Box]:
    """Boxes that hold all of many: two become one only where that is no more ground to read."""
    found = np.unique(np.asarray(boxes, dtype=float).reshape(-1, 4), axis=0)
    while True:
        shapes = shapely.box(*found.T)
        first, second = shapely.STRtree(shapes).query(shapes)
        first, second = first[first < second], second[first < second]
        low = np.minimum(found[first, :2], found[second, :2])
        high = np.maximum(found[first, 2:], found[second, 2:])
        size = shapely.area(shapes)
        saved = size[first] + size[second] - (high - low).prod(axis=1)
        used, made = np.zeros(len(found), dtype=bool), []
        for k in np.argsort(-saved, kind="stable").tolist():
            if saved[k] >= 0 and not used[first[k]] and not used[second[k]]:
                used[[first[k], second[k]]] = True
                made.append([*low[k], *high[k]])
        if not made:
            return [(float(a), float(b), float(c), float(d)) for a, b, c, d in found]
        found = np.unique(np.concatenate([found[~used], np.array(made)]), axis=0)


def convert_box(bounds: Box, datum: Datum, turned: bool = True) -> list[Box | None]:
    """Boxes in the layer's system that together hold all that meets the bounds; more does no harm.

    Parameters
    ----------
    bounds : tuple of float
        Degrees.
    datum : Datum
    turned : bool
        Whether the layer may have longitudes beyond 180, so that each turn is asked for; else
        it is in WGS 84.
    """
    west, south, east, north = bounds
    if datum.geographic:
        # Degrees: more than any two datums are apart, where there are two.
        pad, unit = 0.05 if turned else 1e-6, datum.quarter_turn / 90
        boxes = [(west + t - pad, south - pad, east + t + pad, north + pad) for t in TURNS]
        kept = [box for box in boxes if turned or (box[0] <= 180 and box[2] >= -180)]
        return [(a * unit, b * unit, c * unit, d * unit) for a, b, c, d in kept]
    forward = pyproj.Transformer.from_crs("EPSG:4326", datum.crs, always_xy=True)
    a, b, c, d = forward.transform_bounds(west, south, east, north, densify_pts=51)
    pad = 0.02 * max(c - a, d - b) + 5000
    box = (a - pad, b - pad, c + pad, d + pad)
    return [box if np.isfinite(box).all() and a < c else None]


_STRAIGHT_M = 20_000.0  # sides up to here are taken by their ends
_PER_SIDE = 32  # pieces that longer ones are cut into
_MOST_LONG = 20_000  # boxes with such sides
_DATUM_M = 1200.0  # two datums may be further apart than a park is wide; no farther than this
_RADIUS_M = 6.4e6


def bound_in_degrees(boxes: NDArray[np.float64], datum: Datum) -> NDArray[np.float64] | None:
    """Bounds in WGS 84 that hold what lies in boxes of a projected system, shape (n, 4), nan where these are.

    Inside a box longitude and latitude have no extreme, so its sides tell. Between two places on a side these
    bulge by the curvature of a parallel there, d^2 tan(lat) / (8 R); twice that and more is added.

    Returns
    -------
    array or None
        None where the projection is not known to be smooth, or too many boxes are large.
    """
    base, prime = datum.crs.geodetic_crs, datum.crs.prime_meridian
    method = getattr(datum.crs.coordinate_operation, "method_name", "")
    if method not in _SMOOTH or base is None or prime is None or prime.longitude:
        return None
    if abs(datum.quarter_turn - 90) > 1e-9:
        return None
    unit_m = [axis.unit_conversion_factor for axis in datum.crs.axis_info[:2]]
    side_m = (boxes[:, 2:] - boxes[:, :2]).max(axis=1) * max(unit_m)
    long = side_m > _STRAIGHT_M
    if long.sum() > _MOST_LONG:
        return None
    forward = pyproj.Transformer.from_crs(datum.crs, base, always_xy=True)
    found, there = np.full_like(boxes, np.nan), np.isfinite(boxes[:, 0])
    for rows, pieces in ((np.flatnonzero(~long & there), 1), (np.flatnonzero(long & there), _PER_SIDE)):
        along, steps = np.linspace(0.0, 1.0, pieces + 1), boxes[rows]
        u = np.concatenate([along, along, 0 * along, 0 * along + 1])
        v = np.concatenate([0 * along, 0 * along + 1, along, along])
        x = steps[:, :1] + (steps[:, 2:3] - steps[:, :1]) * u
        y = steps[:, 1:2] + (steps[:, 3:] - steps[:, 1:2]) * v
        if pieces == 1:
            x, y = x[:, :4], y[:, :4]
        lon, lat = forward.transform(x, y)
        if not (np.isfinite(lon).all() and np.isfinite(lat).all()):
            return None
        high = np.radians(np.minimum(np.abs(lat).max(axis=1, initial=0.0) + 1.0, 89.0))
        pad_m = _DATUM_M + (side_m[rows] / pieces) ** 2 * (1 + np.tan(high)) / (4 * _RADIUS_M)
        pad = pad_m / 110_000.0
        wide = pad / np.cos(high)
        found[rows] = np.column_stack(
            [lon.min(axis=1) - wide, lat.min(axis=1) - pad, lon.max(axis=1) + wide, lat.max(axis=1) + pad]
        )
    # Over the antimeridian or round a pole: such a record may be anywhere.
    found[found[:, 2] - found[:, 0] > 180.0] = -360.0, -90.0, 360.0, 90.0
    return found


def meets_boxes(shapes: NDArray[np.object_], boxes: Sequence[Box]) -> NDArray[np.bool_]:
    """Whether the bounds of each shape meet one of the boxes, longitudes taken modulo a turn."""
    sides = np.concatenate([np.add(boxes, [t, 0.0, t, 0.0]) for t in TURNS])
    met, _ = shapely.STRtree(shapely.box(*sides.T)).query(shapes)
    held: NDArray[np.bool_] = np.zeros(len(shapes), dtype=bool)
    held[met] = True
    return held
