"""Park outlines as the page draws them: simplified far from places, and where they overlap.

Vertices that an outline in the page can do without: none near a spot, those within a tolerance elsewhere.

Edges are straight in longitude and latitude, here and in the page; so a stray is measured in degrees scaled
to metres, never too few of them.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scout.geo.boundaries import polygonal_parts
from scout.page.packing import OUTLINE_UNITS_PER_DEG, PageFrame, convert_to_units
from scout.table import expand_ranges

FULL_DETAIL_KM = 2.0  # an outline this near a spot keeps every vertex
_VERTICES = 11_000  # away from spots, 7 to 8 bytes each; the tolerance grows until it is met
_FINEST_M, _COARSEST_M = 1.0, 1024.0
_LONGEST_DEG = 0.04  # edges are sampled this densely when looking for those near a spot
_EARTH_M = 6_371_000.0  # enough for "near"
_MOST_M_PER_DEG = 111_700.0  # no degree of longitude or latitude is longer (111,694 m at the poles)


class KeptVertices(NamedTuple):
    """The vertices of rings that stay."""

    xy: NDArray[np.float64]  # shape (k, 2), ring by ring, three or more each, the closing one left out
    ring_of: NDArray[np.int64]
    loose: NDArray[np.bool_]  # something was left out between this vertex and the next of its ring
    tolerance_m: float  # how far a loose edge may stray from the outline; 0 when nothing was left out


def simplify_rings(rings: NDArray[Any], near: NDArray[np.float64]) -> KeptVertices:
    """Vertices of rings that go into the page.

    Parameters
    ----------
    rings : array of LinearRing, shape (n,)
        Longitude and latitude, degrees.
    near : array, shape (m, 2)
        Places, longitude and latitude, near which every edge stays as it is.
    """
    xy, ring_of = shapely.get_coordinates(rings, return_index=True)
    edges = np.searchsorted(ring_of, np.arange(len(rings) + 1))
    first, last = edges[:-1], edges[1:] - 1
    is_last = np.zeros(len(xy), dtype=bool)
    is_last[last] = True
    fixed = _find_near_edges(xy, np.flatnonzero(~is_last), near)
    # Three vertices and the closing one stay in every ring, so that none can vanish.
    for third in (0, 1, 2):
        fixed[first + third * (last - first) // 3] = True
    fixed[last] = True
    fixed = _match_fixed(xy, ring_of, fixed)
    tolerance_m, keep = 0.0, np.ones(len(xy), dtype=bool)
    if np.count_nonzero(~fixed) > _VERTICES:
        pieces = _split_runs(xy, ring_of, fixed)
        while np.count_nonzero(keep & ~fixed) > _VERTICES and tolerance_m < _COARSEST_M:
            tolerance_m = max(2 * tolerance_m, _FINEST_M)
            keep = _simplify_runs(pieces, tolerance_m, fixed)
    at = np.flatnonzero(keep)
    loose = np.diff(at, append=0) > 1
    stays = ~is_last[at]
    return KeptVertices(xy[at[stays]], ring_of[at[stays]], loose[stays], tolerance_m)


def _match_fixed(
    xy: NDArray[np.float64], ring_of: NDArray[np.int64], fixed: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Fixed vertices so that neighbours along a shared edge are simplified alike.

    Where rings meet or part their common vertex stays, and what stays in one ring stays in all: a shared
    edge then falls into the same pieces on both sides.
    """
    _, point = np.unique(xy, axis=0, return_inverse=True)
    point = point.reshape(-1)
    inside = ring_of[:-1] == ring_of[1:]
    edges = np.unique(np.sort(np.column_stack([point[:-1], point[1:]])[inside], axis=1), axis=0)
    edges = edges[edges[:, 0] != edges[:, 1]]
    # On a plain stretch, shared or not, a point has two neighbours.
    neighbours = np.bincount(edges.ravel(), minlength=int(point.max(initial=-1)) + 1)
    stays = neighbours != 2
    stays[point[fixed]] = True
    alike: NDArray[np.bool_] = stays[point]
    return alike


def _find_near_edges(
    xy: NDArray[np.float64], start: NDArray[np.int64], near: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Vertices at either end of an edge that comes near a place."""
    found = np.zeros(len(xy), dtype=bool)
    if not len(near):
        return found
    step = xy[start + 1] - xy[start]
    size = np.hypot(*step.T)
    parts = np.maximum(np.ceil(size / _LONGEST_DEG), 1).astype(np.int64)
    edge, part = expand_ranges(np.zeros_like(parts), parts + 1)
    samples = xy[start[edge]] + (part / parts[edge])[:, None] * step[edge]
    # Half a part more, so that what lies between two samples is not missed.
    reach_m = FULL_DETAIL_KM * 1000 + (size / parts / 2 * _MOST_M_PER_DEG)[edge]
    away, _ = cKDTree(_project_on_sphere(near)).query(
        _project_on_sphere(samples), distance_upper_bound=reach_m.max() / _EARTH_M
    )
    hit = start[edge[away * _EARTH_M <= reach_m]]
    found[hit] = found[hit + 1] = True
    return found


def _project_on_sphere(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
    lon, lat = np.radians(lonlat).T
    return np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])


def _split_runs(
    xy: NDArray[np.float64], ring_of: NDArray[np.int64], fixed: NDArray[np.bool_]
) -> NDArray[Any]:
    """Runs between fixed vertices, in metres.

    Each vertex carries its number as its height, which says afterwards which of them stayed.
    """
    at = np.flatnonzero(fixed)
    runs = (ring_of[at[:-1]] == ring_of[at[1:]]) & (np.diff(at) > 1)
    start, counts = at[:-1][runs], np.diff(at)[runs] + 1
    piece, number = expand_ranges(start, counts)
    # One direction for both sides of a shared edge: where two vertices stray alike, the first one counts.
    one, other = xy[start], xy[start + counts - 1]
    turned = (one[:, 0] > other[:, 0]) | ((one[:, 0] == other[:, 0]) & (one[:, 1] > other[:, 1]))
    number = np.where(turned[piece], (2 * start + counts - 1)[piece] - number, number)
    nearest_equator = np.minimum.reduceat(np.abs(xy[number, 1]), np.cumsum(counts) - counts)
    wide = _MOST_M_PER_DEG * np.cos(np.radians(nearest_equator))[piece]
    plane = np.column_stack([xy[number, 0] * wide, xy[number, 1] * _MOST_M_PER_DEG, number])
    pieces: NDArray[Any] = shapely.linestrings(plane, indices=piece)
    return pieces


def _simplify_runs(pieces: NDArray[Any], slack_m: float, fixed: NDArray[np.bool_]) -> NDArray[np.bool_]:
    keep = fixed.copy()
    left = shapely.simplify(pieces, slack_m, preserve_topology=False)
    keep[shapely.get_coordinates(left, include_z=True)[:, 2].astype(np.int64)] = True
    return keep


# Where parks overlap, and how deep.
_ALIKE = 3  # of one outline drawn many times: a fourth changes no depth that is told apart
_PAIRS = 5_000_000  # of shapes whose bounds meet
_JOINED_VERTICES = 20_000_000  # of the pairs that are intersected
_CROSSINGS = 100_000  # of the edges of all that overlap
_MEETING_EDGES = 20_000_000  # edges whose bounds meet, looked at for crossings
_PAIRS_AT_ONCE, _EDGES_AT_ONCE = 1_000_000, 4_000_000  # pairs that could meet, held at a time
_SHAPES_AT_ONCE = 64
# Of edges that lie on each other GEOS keeps every piece between any two ends: of a thousand boxes that begin
# and end on one line, millions. Few at a time, they become one line before more come.
_CROWDED, _FEW_SHAPES = 20.0, 16


def find_overlaps(shapes: NDArray[Any]) -> tuple[Any, Any] | None:
    """Ground that exactly two of the shapes cover, and ground that three or more do.

    Parameters
    ----------
    shapes : array of valid Polygon or MultiPolygon, shape (n,)

    Returns
    -------
    tuple of Geometry or None
        None where finding it would take more work than is done for a drawing.
    """
    shapes = _leave_out_copies(shapes)
    met = _count_meetings(shapes)
    some = None if met is None else _find_overlapping(shapes)
    if met is None or some is None:
        return None
    return _cover_by_depth(some, _FEW_SHAPES if met > _CROWDED else max(len(some), 1))


def _leave_out_copies(shapes: NDArray[Any]) -> NDArray[Any]:
    """The shapes, of equal ones no more than change a depth."""
    seen: Counter[bytes] = Counter()
    stays = np.ones(len(shapes), dtype=bool)
    for at, text in enumerate(shapely.to_wkb(shapely.normalize(shapes)).tolist()):
        seen[text] += 1
        stays[at] = seen[text] <= _ALIKE
    some: NDArray[Any] = shapes[stays]
    return some


def _find_overlapping(shapes: NDArray[Any]) -> NDArray[Any] | None:
    """The shapes that share area with another; None where too many pairs are asked.

    A pair whose two are known to share area, with whomever, is not asked.
    """
    tree, shares = shapely.STRtree(shapes), np.zeros(len(shapes), dtype=bool)
    shapely.prepare(shapes)
    pairs, vertices = 0, 0
    lot = max(1, _PAIRS_AT_ONCE // max(len(shapes), 1))
    for start in range(0, len(shapes), lot):
        one, other = tree.query(shapes[start : start + lot])
        one += start
        one, other = one[one < other], other[one < other]
        pairs += len(one)
        if pairs > _PAIRS:
            return None
        # One pair of each shape first: what they tell may close all others, which come in growing lots.
        now: Any = np.union1d(*(np.unique(side, return_index=True)[1] for side in (one, other)))
        most = len(now)
        while len(one):
            mine = np.zeros(len(one), dtype=bool)
            mine[now] = True
            vertices += _note_sharing(shapes, one[mine], other[mine], shares)
            if vertices > _JOINED_VERTICES:
                return None
            left = ~mine & ~(shares[one] & shares[other])
            one, other = one[left], other[left]
            most *= 2
            now = slice(most)
    found: NDArray[Any] = shapes[shares]
    return found


def _note_sharing(
    shapes: NDArray[Any], one: NDArray[np.int64], other: NDArray[np.int64], shares: NDArray[np.bool_]
) -> int:
    """Note which of some pairs, prepared, share area; return how many vertices were intersected for it."""
    meets = shapely.intersects(shapes[one], shapes[other])
    one, other = one[meets], other[meets]
    known = shapely.contains_properly(shapes[one], shapes[other])
    known |= shapely.contains_properly(shapes[other], shapes[one])
    rest = np.flatnonzero(~known)
    parts = shapes[one[rest]], shapes[other[rest]]
    known[rest] = shapely.area(shapely.intersection(*parts)) > 0
    shares[one[known]] = shares[other[known]] = True
    return int(sum(shapely.get_num_coordinates(part).sum() for part in parts))


def _count_meetings(shapes: NDArray[Any]) -> float | None:
    """How many others each edge meets by its bounds, in the mean.

    None where the outlines cross so often that what they enclose together cannot be worked out: every vertex
    of it is one of theirs or a crossing.
    """
    xy, ring_of = shapely.get_coordinates(shapely.get_rings(shapely.get_parts(shapes)), return_index=True)
    a, b = (xy[:-1], xy[1:])
    inside = ring_of[:-1] == ring_of[1:]
    a, b = a[inside], b[inside]
    tree = shapely.STRtree(shapely.linestrings(np.stack([a, b], axis=1)))
    looked, crossings = 0, 0
    lot = max(1, _EDGES_AT_ONCE // max(len(a), 1))
    for start in range(0, len(a), lot):
        one, other = tree.query(tree.geometries[start : start + lot])
        one += start
        one, other = one[one < other], other[one < other]
        looked += len(one)
        apart = _turn(a[one], b[one], a[other]) * _turn(a[one], b[one], b[other]) < 0
        apart &= _turn(a[other], b[other], a[one]) * _turn(a[other], b[other], b[one]) < 0
        crossings += int(np.count_nonzero(apart))
        if looked > _MEETING_EDGES or crossings > _CROSSINGS:
            return None
    return 2 * looked / max(len(a), 1)


def _turn(a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sign of the turn from ``a`` by ``b`` to ``c``."""
    way, on = b - a, c - a
    sign: NDArray[np.float64] = np.sign(way[:, 0] * on[:, 1] - way[:, 1] * on[:, 0])
    return sign


def _cover_by_depth(shapes: NDArray[Any], lines_at_once: int) -> tuple[Any, Any]:
    """Ground covered exactly twice, and three times or more, by the faces between all outlines.

    The outlines of so many shapes are cut by each other at a time, the results then two by two.
    """
    shapes = shapes[np.argsort(shapely.bounds(shapes).reshape(-1, 4)[:, 0], kind="stable")]
    outlines = [
        shapely.union_all(shapely.get_rings(shapely.get_parts(shapes[start : start + lines_at_once])))
        for start in range(0, len(shapes), lines_at_once)
    ]
    while len(outlines) > 1:
        even = len(outlines) // 2 * 2
        outlines = [*shapely.union(outlines[:even:2], outlines[1:even:2]), *outlines[even:]]
    faces = shapely.get_parts(shapely.polygonize(outlines))
    shapely.prepare(shapes)
    places, depth = shapely.point_on_surface(faces), np.zeros(len(faces), dtype=np.int64)
    left, lot = np.arange(len(faces)), int(np.clip(_PAIRS_AT_ONCE // max(len(faces), 1), 1, _SHAPES_AT_ONCE))
    for start in range(0, len(shapes), lot):
        tree = shapely.STRtree(places[left])
        _, inside = tree.query(shapes[start : start + lot], predicate="contains_properly")
        depth[left] += np.bincount(inside, minlength=len(left))
        left = left[depth[left] < _ALIKE]  # the others are known to lie under three
    return shapely.coverage_union_all(faces[depth == 2]), shapely.coverage_union_all(faces[depth > 2])


# Park outlines as one page draws them, and where they overlap.
class DrawnRing(NamedTuple):
    """An open ring in whole units, and which of its edges are not the outline's own."""

    units: NDArray[np.int64]  # shape (n, 2)
    loose: NDArray[np.bool_]  # shape (n,): the edge from each vertex to the next


Polygons = list[list[DrawnRing]]  # of each polygon its rings, shell first
Areas = list[list[NDArray[np.int64]]]  # the same of what is only drawn, in units of frame.UNITS_PER_DEG

_METRES_PER_DEG = 111_200.0
_NARROWEST_M = 2.0  # narrower overlaps are slivers between neighbours


@dataclass(frozen=True, slots=True)
class DrawnParks:
    """Outlines in whole numbers of ``1 / OUTLINE_UNITS_PER_DEG`` degree, in the page's own longitudes."""

    parks: list[Polygons]
    labels: list[tuple[float, float]]  # a point inside each park, degrees
    twice: Areas  # where exactly two parks overlap
    thrice: Areas  # where three or more do
    tolerance_m: float  # of the loose edges
    narrowest_m: float  # overlaps that are drawn are wider
    hatched: bool  # whether overlaps were looked for: not where that is too much work


def draw_parks(geometries: NDArray[Any], near: NDArray[np.float64], frame: PageFrame) -> DrawnParks:
    """Outlines of parks, whole near some places and simplified elsewhere.

    Parameters
    ----------
    geometries : array of Polygon or MultiPolygon, shape (n,)
        Longitude and latitude, degrees.
    near : array, shape (m, 2)
        Places, longitude and latitude, near which nothing may be left out.
    frame : Frame
        The page's longitudes.
    """
    if not len(geometries):
        return DrawnParks([], [], [], [], 0.0, _NARROWEST_M, True)
    placed = _move_into_frame(geometries, frame)
    parts, park_of = shapely.get_parts(placed, return_index=True)
    rings, part_of = shapely.get_rings(parts, return_index=True)
    kept = simplify_rings(rings, near)
    units = convert_to_units(kept.xy, OUTLINE_UNITS_PER_DEG)
    edges = np.searchsorted(kept.ring_of, np.arange(len(rings) + 1))
    polygons: Polygons = [[] for _ in parts]
    for (first, end), part in zip(pairwise(edges), part_of, strict=True):
        polygons[part].append(DrawnRing(units[first:end], kept.loose[first:end]))
    parks: list[Polygons] = [[] for _ in geometries]
    for polygon, park in zip(polygons, park_of, strict=True):
        parks[park].append(polygon)
    # Rounded to whole units an outline may touch itself; what collapses to lines is not drawn as ground.
    shapes = shapely.make_valid(np.array([_make_shape(park) for park in parks], dtype=object))
    found = find_overlaps(np.array([polygonal_parts(shape) for shape in shapes], dtype=object))
    twice, thrice = (shapely.Polygon(), shapely.Polygon()) if found is None else found
    # What is narrower may come from simplifying two outlines apart.
    narrowest_m = max(2 * kept.tolerance_m, _NARROWEST_M)
    return DrawnParks(
        parks=parks,
        labels=[(float(p.x), float(p.y)) for p in shapely.point_on_surface(placed)],
        twice=_keep_wide(twice, narrowest_m),
        thrice=_keep_wide(thrice, narrowest_m),
        tolerance_m=kept.tolerance_m,
        narrowest_m=narrowest_m,
        hatched=found is not None,
    )


def _move_into_frame(geometries: NDArray[Any], frame: PageFrame) -> NDArray[Any]:
    west, _, east, _ = shapely.bounds(geometries).T
    turns = frame.turns((west + east) / 2)
    xy, of = shapely.get_coordinates(geometries, return_index=True)
    placed: NDArray[Any] = shapely.set_coordinates(
        geometries.copy(), np.column_stack([xy[:, 0] + turns[of], xy[:, 1]])
    )
    return placed


def _make_shape(polygons: Polygons) -> Any:
    degrees = [[ring.units / OUTLINE_UNITS_PER_DEG for ring in rings] for rings in polygons]
    return shapely.multipolygons([shapely.Polygon(shell, holes) for shell, *holes in degrees])


def _keep_wide(geometry: Any, narrowest_m: float) -> Areas:
    """Polygons of a geometry that are wider."""
    parts = [p for p in shapely.get_parts(geometry) if p.geom_type == "Polygon" and not p.is_empty]
    return [
        [convert_to_units(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
        for part in parts
        if _measure_width_m(part) > narrowest_m
    ]


def _measure_width_m(polygon: Any) -> float:
    shrink = np.cos(np.radians(polygon.centroid.y))
    flat = shapely.transform(polygon, lambda xy: xy * [shrink * _METRES_PER_DEG, _METRES_PER_DEG])
    return float(2 * flat.area / flat.length)
