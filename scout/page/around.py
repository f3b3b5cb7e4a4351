"""The ground around spots as the page draws it: barriers, hazards, parking."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cautions import HAZARDS
from scout.model import GEOMETRY, WHAT, Surroundings
from scout.page.packing import PageFrame, convert_to_units, pack_ring

AROUND_KM = 2.0  # what lies further from every spot and its walk is left out
# Bytes of the page for each kind of ground and for the starts: what does not fit is left out, farthest first.
_ROOM = 16_000
_ROOM_FOR_STARTS = 10_000
_TOLERANCES_M = (2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0)
_GAIN = 1.25  # shapes are made no coarser for less
_BYTES_PER_VERTEX, _BYTES_PER_RING = 5, 12  # about, packed; what is kept is measured
_FEWEST_BYTES, _FEWEST_BYTES_PER_VERTEX = 8, 2  # of a shape
_METRES_PER_DEG = 111_200.0


def make_surroundings_data(
    surroundings: Surroundings | None,
    spots: NDArray[np.float64],
    walked: NDArray[np.float64],
    frame: PageFrame,
) -> dict[str, Any]:
    """What the script draws of the surroundings, empty without access data.

    Parameters
    ----------
    surroundings : Surroundings or None
    spots : array, shape (n, 2)
        Longitude and latitude, degrees. Where room is short, what is nearest to them is kept.
    walked : array, shape (m, 2)
        The vertices of walks.
    frame : Frame
        The page's longitudes.

    Returns
    -------
    dict
        ``barriers`` and each kind of hazards by its key hold ``lines`` and ``areas`` in packed rings, and
        ``left``, how many shapes were left out; ``starts`` holds ``[x, y, what]``, ``startsLeft`` how many of
        them were.
    """
    if surroundings is None or not len(spots):
        return {}
    ground = _make_neighbourhood(np.vstack([spots, walked]))
    near = _Nearness(spots)
    starts, left = _draw_starts(surroundings.starts, ground, near, frame)
    return {
        "barriers": _draw_frame(surroundings.barriers, ground, near, frame),
        **{k.key: _draw_frame(surroundings.hazards_of(k.key), ground, near, frame) for k in HAZARDS},
        "starts": starts,
        "startsLeft": left,
    }


class _Nearness:
    """Orders shapes by their distance from the nearest of some places, on a plane about their middle."""

    def __init__(self, places: NDArray[np.float64]) -> None:
        self._wide = max(float(np.cos(np.radians(places[:, 1])).mean()), 0.02)
        self._middle = float(places[:, 0].mean())
        self._tree = shapely.STRtree(shapely.points(self._plane(places)))

    def order(self, shapes: NDArray[Any]) -> NDArray[np.int64]:
        if not len(shapes):
            return np.empty(0, dtype=np.int64)
        flat = shapely.transform(shapes, self._plane)
        (at, _), away = self._tree.query_nearest(flat, all_matches=False, return_distance=True)
        found: NDArray[np.int64] = at[np.argsort(away, kind="stable")]
        return found

    def _plane(self, lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack([(lonlat[:, 0] - self._middle) * self._wide, lonlat[:, 1]])


def _make_neighbourhood(places: NDArray[np.float64]) -> Any:
    """Boxes around places, joined: cheap, and never smaller than the circles."""
    dy = AROUND_KM * 1000 / _METRES_PER_DEG
    dx = dy / np.maximum(np.cos(np.radians(np.minimum(np.abs(places[:, 1]) + dy, 89.0))), 0.02)
    # Places nearly alike give boxes nearly alike: one of each tenth of a box will do.
    cells = np.unique(np.round(places / (dy / 10)).astype(np.int64), axis=0, return_index=True)[1]
    x, y = places[cells].T
    boxes = shapely.box(x - 1.1 * dx[cells], y - 1.1 * dy, x + 1.1 * dx[cells], y + 1.1 * dy)
    joined = shapely.union_all(boxes)
    shapely.prepare(joined)
    return joined


def _clip_near(frame_of_data: Any, ground: Any) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Geometries cut to the ground, and which rows they are of; 360 degrees away counts as here."""
    shapes = frame_of_data[GEOMETRY].to_numpy()
    west, _, east, _ = shapely.bounds(shapes).T if len(shapes) else np.empty((4, 0))
    middle = shapely.bounds(ground)[[0, 2]].mean()
    turns = 360.0 * np.round((middle - (west + east) / 2) / 360.0)
    xy, of = shapely.get_coordinates(shapes, return_index=True)
    there = shapely.set_coordinates(shapes.copy(), np.column_stack([xy[:, 0] + turns[of], xy[:, 1]]))
    hit = shapely.intersects(ground, there)
    return there[hit], hit


def _draw_frame(frame_of_data: Any, ground: Any, near: _Nearness, frame: PageFrame) -> dict[str, Any]:
    shapes, _ = _clip_near(frame_of_data, ground)
    cut = shapely.get_parts(shapely.get_parts(shapely.intersection(shapely.make_valid(shapes), ground)))
    parts = cut[~shapely.is_empty(cut) & np.isin(shapely.get_type_id(cut), (1, 3))]
    nearest = parts[near.order(parts)[: _ROOM // _FEWEST_BYTES]]
    drawn: dict[str, Any] = {"lines": [], "areas": [], "left": len(parts) - len(nearest)}
    room = _ROOM
    for shape in _simplify_to_fit(nearest):
        is_line = shapely.get_type_id(shape) == 1
        if room < _FEWEST_BYTES_PER_VERTEX * shapely.get_num_coordinates(shape):
            drawn["left"] += 1
            continue
        rings = [shape] if is_line else shapely.get_rings(shape)
        packed = [_pack_coordinates(ring.coords if is_line else ring.coords[:-1], frame) for ring in rings]
        size = sum(len(text) + 3 for text in packed) + 3
        if size > room:
            drawn["left"] += 1
            continue
        room -= size
        if is_line:
            drawn["lines"] += packed
        else:
            drawn["areas"].append(packed)
    return drawn


def _simplify_to_fit(parts: NDArray[Any]) -> NDArray[Any]:
    """The finest simplification that fits, else the finest that spares nearly as much as the coarsest."""
    if not len(parts):
        return parts
    tries = [_simplify_outlines(parts, tolerance_m) for tolerance_m in _TOLERANCES_M]
    sizes = [
        _BYTES_PER_VERTEX * shapely.get_num_coordinates(simple).sum()
        + _BYTES_PER_RING * np.maximum(shapely.get_num_interior_rings(simple) + 1, 1).sum()
        for simple in tries
    ]
    enough = max(_ROOM, _GAIN * sizes[-1])
    return next(simple for simple, size in zip(tries, sizes, strict=True) if size <= enough)


def _simplify_outlines(parts: NDArray[Any], tolerance_m: float) -> NDArray[Any]:
    """Outlines strayed from by no more, without the holes that are smaller than that squared."""
    slack = tolerance_m / _METRES_PER_DEG
    simple: NDArray[Any] = shapely.simplify(parts, slack)
    for at in np.flatnonzero(shapely.get_num_interior_rings(simple) > 0):
        holes = shapely.get_rings(simple[at])[1:]
        large = holes[shapely.area(shapely.polygons(holes)) >= slack**2]
        if len(large) < len(holes):
            simple[at] = shapely.polygons(shapely.get_exterior_ring(simple[at]), large)
    return simple


def _pack_coordinates(coordinates: Any, frame: PageFrame) -> str:
    xy = np.asarray(coordinates, dtype=float)[:, :2]
    turn = float(frame.turns(xy[:, 0].mean()))
    return pack_ring(convert_to_units(np.column_stack([xy[:, 0] + turn, xy[:, 1]])))


def _draw_starts(
    frame_of_data: Any, ground: Any, near: _Nearness, frame: PageFrame
) -> tuple[list[list[Any]], int]:
    shapes, hit = _clip_near(frame_of_data, ground)
    if not len(hit):
        return [], 0
    at = shapely.centroid(shapes)
    kinds = frame_of_data[WHAT][hit].to_numpy()
    starts: list[list[Any]] = []
    room = _ROOM_FOR_STARTS
    order = near.order(at)
    for number in order:
        start = [
            *convert_to_units([frame.lon(float(at[number].x)), float(at[number].y)]).tolist(),
            str(kinds[number]),
        ]
        room -= len(str(start))
        if room < 0:
            break
        starts.append(start)
    return starts, len(order) - len(starts)
