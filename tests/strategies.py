"""Drawn values: points, locators, boundary polygons and park sets, with a liking for the awkward ones.

Polygons are drawn in cells round a lattice corner, then put on the globe: a whole number of cells becomes the
nearest double of that lattice line, so that edges and vertices lie on lines and corners to the last bit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from math import cos, floor, radians

import geopandas as gpd
import numpy as np
import shapely
from hypothesis import HealthCheck, Phase, assume, settings
from hypothesis import strategies as st
from oracles import exact
from shapely import affinity

from scout import model

HAIR_DEG = 1e-8  # a vertex nearer to a line than this stands on it: the snap of 1e-9 deg is not for polygons
REGIONS = ("anywhere", "south-west", "antimeridian", "poles", "origin")

longitudes = st.floats(-180, 180, allow_subnormal=False)
latitudes = st.floats(-90, 90, allow_subnormal=False)
levels = st.sampled_from(exact.LEVELS)


@st.composite
def hair_beside_an_edge(draw: st.DrawFn) -> tuple[float, float]:
    """A point a few bits, some nanodegrees or some microdegrees from a meridian and from a parallel."""
    level = draw(levels)
    cells = exact.columns(level)
    off = st.sampled_from([0.0, 3e-10, 4e-9, 1e-6, 3e-6])
    sign = st.sampled_from([-1, 1])
    lon = exact.edge_lon(draw(st.integers(0, cells)), level) + draw(off) * draw(sign)
    lat = exact.edge_lat(draw(st.integers(0, cells)), level) + draw(off) * draw(sign)
    bits = draw(st.sampled_from([-np.inf, 0, np.inf]))
    if bits:
        lon, lat = float(np.nextafter(lon, bits)), float(np.nextafter(lat, bits))
    return min(max(lon, -180.0), 180.0), min(max(lat, -90.0), 90.0)


points = st.one_of(st.tuples(longitudes, latitudes), hair_beside_an_edge())


@st.composite
def cells(draw: st.DrawFn) -> tuple[int, int, int]:
    """A cell: column, row and level."""
    level = draw(levels)
    number = st.integers(0, exact.columns(level) - 1)
    return draw(number), draw(number), level


@dataclass(frozen=True)
class Place:
    """A lattice corner to draw round, in cells, and how many cells a metre is there."""

    i: int
    j: int
    level: int

    @property
    def metre(self) -> float:
        """About one metre, in cells of longitude, however small they get near a pole."""
        lat = exact.edge_lat(self.j, self.level)
        return min(0.05, 1 / (float(exact.width(self.level)) * 111_320 * max(cos(radians(lat)), 0.01)))

    def on_globe(self, shape: shapely.Geometry) -> shapely.Geometry:
        """The shape in degrees, its west end in [-180, 180), its latitudes no further than the poles."""
        turns = floor((self.i + shape.bounds[0]) / exact.columns(self.level))
        base = self.i - turns * exact.columns(self.level)
        lon = partial(_degrees, base, exact.edge_lon, self.level)
        lat = partial(_degrees, self.j, exact.edge_lat, self.level)
        return shapely.transform(
            shape, lambda uv: np.column_stack([lon(uv[:, 0]), np.clip(lat(uv[:, 1]), -90, 90)])
        )


def _degrees(base: int, edge, level: int, offsets: np.ndarray) -> np.ndarray:
    step = edge(1, level) - edge(0, level)
    found = []
    for u in offsets:
        whole = round(u)
        off = (u - whole) * step
        found.append(edge(base + whole, level) + (0.0 if abs(off) < HAIR_DEG else off))
    return np.array(found)


@st.composite
def places(draw: st.DrawFn, level: int, regions: tuple[str, ...] = REGIONS) -> Place:
    """A corner in one of the regions, away from the poles unless they are asked for."""
    n = exact.columns(level)
    region = draw(st.sampled_from(regions))
    near_80 = max(1, n // 18)
    rows = st.integers(near_80, n - near_80)
    if region == "anywhere":
        return Place(draw(st.integers(0, n - 1)), draw(rows), level)
    if region == "south-west":
        return Place(draw(st.integers(1, n // 2 - 1)), draw(st.integers(near_80, n // 2 - 1)), level)
    if region == "antimeridian":
        return Place(0, draw(rows), level)
    if region == "poles":
        return Place(draw(st.integers(0, n - 1)), draw(st.sampled_from([1, 2, n - 2, n - 1])), level)
    return Place(n // 2, n // 2, level)


def offsets(metre: float, reach: float = 2.5) -> st.SearchStrategy[float]:
    """Where a vertex may stand, in cells: on a line, some metres beside one, on a quarter, or anywhere."""
    whole = st.integers(-int(reach), int(reach)).map(float)
    beside = st.tuples(
        whole, st.sampled_from([2.0, 5.0, 9.0, 14.0, 25.0, 60.0, 200.0]), st.sampled_from([-1, 1])
    )
    return st.one_of(
        whole,
        beside.map(lambda t: t[0] + t[2] * min(t[1] * metre, 0.4)),
        st.integers(-int(4 * reach), int(4 * reach)).map(lambda q: q / 4),
        st.floats(-reach, reach, allow_subnormal=False).map(lambda v: round(v, 9)),
    )


@st.composite
def boxes(draw: st.DrawFn, metre: float) -> shapely.Geometry:
    """An upright box with sides where lines like to be."""
    where = offsets(metre)
    u1, u2 = sorted((draw(where), draw(where)))
    v1, v2 = sorted((draw(where), draw(where)))
    assume(u2 > u1 and v2 > v1)
    return shapely.box(u1, v1, u2, v2)


@st.composite
def polygons_of(draw: st.DrawFn, metre: float, least: int = 3, most: int = 9) -> shapely.Geometry:
    """A star-shaped polygon: drawn vertices in the order of their bearing from their middle."""
    vertex = st.tuples(offsets(metre), offsets(metre))
    drawn = np.array(draw(st.lists(vertex, min_size=least, max_size=most, unique=True)))
    out = drawn - drawn.mean(axis=0)
    polygon = shapely.Polygon(drawn[np.argsort(np.arctan2(out[:, 1], out[:, 0]))])
    assume(polygon.is_valid and polygon.area > 1e-6)
    return polygon


@st.composite
def with_holes(draw: st.DrawFn, metre: float) -> shapely.Geometry:
    """A box or star with one or two inholdings, which may touch it in a point."""
    shell = draw(st.one_of(boxes(metre), polygons_of(metre)))
    for _ in range(draw(st.integers(1, 2))):
        hole = draw(st.one_of(boxes(metre), polygons_of(metre, most=5)))
        shell = shapely.difference(
            shell, affinity.scale(hole, 0.5, 0.5, origin=draw(st.sampled_from(["center", (0, 0)])))
        )
    return _areas(shell)


@st.composite
def multi_part(draw: st.DrawFn, metre: float) -> shapely.Geometry:
    """Two or three pieces, joined where they overlap."""
    parts = draw(st.lists(st.one_of(boxes(metre), polygons_of(metre, most=5)), min_size=2, max_size=3))
    return _areas(shapely.union_all([affinity.scale(part, 0.4, 0.4) for part in parts]))


@st.composite
def slivers(draw: st.DrawFn, metre: float) -> shapely.Geometry:
    """A strip some metres or far less wide, along a line, beside it or across."""
    where = offsets(metre)
    start, end = (draw(where), draw(where)), (draw(where), draw(where))
    assume(start != end)
    wide = draw(st.sampled_from([0.01, 1.0, 8.0, 24.0, 60.0])) * metre
    if start[0] == end[0] or start[1] == end[1]:
        (u1, v1), (u2, v2) = sorted((start, end))
        return shapely.box(u1, v1, u2 if u2 > u1 else u1 + wide, v2 if v2 > v1 else v1 + wide)
    return shapely.LineString([start, end]).buffer(wide / 2, cap_style="flat")


def _areas(shape: shapely.Geometry) -> shapely.Geometry:
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and part.area > 1e-6]
    assume(parts)
    whole = parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
    assume(whole.is_valid)
    return whole


def shapes(metre: float) -> st.SearchStrategy[shapely.Geometry]:
    """Any park, in cells."""
    kinds = (boxes, polygons_of, with_holes, multi_part, slivers)
    return st.one_of([kind(metre) for kind in kinds])


class Drawn(list[shapely.Geometry]):
    """Drawn parks that print to the last digit, so that a failure can be repeated."""

    def __repr__(self) -> str:
        return f"shapely.from_wkt({[shapely.to_wkt(park, rounding_precision=-1) for park in self]})"


@st.composite
def park_sets(draw: st.DrawFn, level: int, regions: tuple[str, ...] = REGIONS, most: int = 5) -> Drawn:
    """One to five parks round one corner, overlapping as they please."""
    place = draw(places(level, regions))
    drawn = draw(st.lists(shapes(place.metre), min_size=1, max_size=most))
    placed = Drawn(place.on_globe(shape) for shape in drawn)
    assume(all(park.is_valid and park.area > 0 for park in placed))
    return placed


def as_parks(geometries: list[shapely.Geometry], datum_error_m: float = 0.0) -> model.Parks:
    """Parks named P0, P1 ... as the reading rooms would hand them over."""
    names = [f"P{n}" for n in range(len(geometries))]
    columns = {
        model.PARK_ID: names,
        model.PARK_NAME: [f"Park {n}" for n in range(len(geometries))],
        model.KIND: ["area"] * len(geometries),
        model.SOURCE: [0] * len(geometries),
        model.DATUM_ERROR: [datum_error_m] * len(geometries),
    }
    frame = gpd.GeoDataFrame(columns, geometry=list(geometries), crs="EPSG:4326")
    source = model.Source("drawn.gpkg", "parks", len(geometries), "EPSG:4326 (WGS 84)", "none", 0.0)
    report = model.ParkReport(records=len(geometries), parks=len(geometries))
    return model.Parks(frame, (source,), report)


def without_shrinking(examples: int) -> settings:
    """Settings for searches: the same drawn sets every time, and the first that fails printed as it is.

    Shrinking would repeat brute force for minutes, and park sets print to the last digit anyway.
    """
    return settings(
        deadline=None,
        derandomize=True,
        max_examples=examples,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
    )
