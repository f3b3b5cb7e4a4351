"""The ground around spots as the page draws it: roads, woods, barriers, hazards, parking, names."""

from __future__ import annotations

import json
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cautions import HAZARDS
from scout.model import GEOMETRY, NAME, WHAT, Surroundings
from scout.page.packing import PageFrame, convert_to_units, pack_ring

AROUND_KM = 2.0  # what lies further from every spot and its walk is left out
# Bytes of the page for each kind of ground and for the starts: what does not fit is left out, farthest first.
_ROOM = 16_000
_ROOM_FOR_STARTS = 10_000
_ROOM_FOR_NAMES = 12_000
_LONGEST_NAME = 60  # letters; longer ones are cut
_ROOM_FOR_WOODS = 40_000
# Buildings so near to a spot, nearest first, where all other ground leaves room.
_ROOM_FOR_BUILDINGS, _ROOM_FOR_ALL = 20_000, 230_000
_BUILDINGS_M = 150.0
# Barriers drawn as water; all others, from cliffs to railways, are drawn as walls.
_WATER = ("water", "glacier", "coast", "river", "canal", "tidal channel", "rapids")
# Roads and paths by class, with their bytes and the kinds of way that they take; all others are lesser roads.
_ROAD_ROOMS = {"main": 40_000, "lesser": 50_000, "track": 40_000, "path": 60_000}
_ROAD_KINDS = {
    "main": ("motorway", "trunk road", "trunk link", "primary road", "primary link", "secondary road"),
    "track": ("track",),
    "path": ("path", "footway", "bridleway", "steps", "cycleway", "pedestrian", "corridor"),
}
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
        ``barriers`` (water), ``walls`` (other barriers), ``woods``, ``buildings`` and each kind of hazards by
        its key hold ``lines`` and ``areas`` in packed rings, and ``left``, how many shapes were left out;
        ``starts`` holds ``[x, y, what]``, ``startsLeft`` how many of them were. ``roads`` holds such lines by
        class, with ``names`` that tell for each line the number of its name among ``called``, 0 for none;
        ``names`` holds ``[x, y, what, name]``.
    """
    if surroundings is None or not len(spots):
        return {}
    ground = _make_neighbourhood(np.vstack([spots, walked]))
    near = _Nearness(spots)
    starts, left = _draw_starts(surroundings.starts, ground, near, frame)
    landmarks = _list_landmarks(surroundings)
    wet = np.isin(surroundings.barriers[WHAT].to_numpy().astype(str), _WATER)
    drawn = {
        "woods": _draw_shapes(landmarks.areas, ground, near, frame, _ROOM_FOR_WOODS),
        "roads": _draw_roads(surroundings, ground, near, frame),
        "names": _draw_names(landmarks, ground, near, frame),
        "barriers": _draw_frame(surroundings.barriers[wet], ground, near, frame),
        "walls": _draw_frame(surroundings.barriers[~wet], ground, near, frame),
        **{k.key: _draw_frame(surroundings.hazards_of(k.key), ground, near, frame) for k in HAZARDS},
        "starts": starts,
        "startsLeft": left,
    }
    left_over = _ROOM_FOR_ALL - len(json.dumps(drawn, separators=(",", ":")))
    houses, _ = _clip_near(np.array(surroundings.buildings, dtype=object), ground)
    buildings = near.take_within(houses, _BUILDINGS_M)
    room = int(np.clip(left_over, 0, _ROOM_FOR_BUILDINGS))
    return {**drawn, "buildings": _draw_shapes(buildings, ground, near, frame, room)}


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

    def take_within(self, shapes: NDArray[Any], reach_m: float) -> NDArray[Any]:
        """Shapes so near to a place, about."""
        flat = shapely.transform(shapes, self._plane)
        at = self._tree.query(flat, "dwithin", reach_m / _METRES_PER_DEG)[0]
        found: NDArray[Any] = shapes[np.unique(at)]
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


def _clip_near(shapes: NDArray[Any], ground: Any) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Geometries that meet the ground, and which they are; 360 degrees away counts as here."""
    west, _, east, _ = shapely.bounds(shapes).T if len(shapes) else np.empty((4, 0))
    middle = shapely.bounds(ground)[[0, 2]].mean()
    turns = 360.0 * np.round((middle - (west + east) / 2) / 360.0)
    xy, of = shapely.get_coordinates(shapes, return_index=True)
    there = shapely.set_coordinates(shapes.copy(), np.column_stack([xy[:, 0] + turns[of], xy[:, 1]]))
    hit = shapely.intersects(ground, there)
    return there[hit], hit


def _cut_to(shapes: NDArray[Any], ground: Any) -> NDArray[Any]:
    """The shapes as far as they lie in the ground; GEOS is asked only for those that leave it."""
    cut = shapes.copy()
    leaves = ~shapely.contains_properly(ground, shapes)
    cut[leaves] = shapely.intersection(shapes[leaves], ground)
    return cut


def _draw_frame(frame_of_data: Any, ground: Any, near: _Nearness, frame: PageFrame) -> dict[str, Any]:
    return _draw_shapes(frame_of_data[GEOMETRY].to_numpy(), ground, near, frame, _ROOM)


def _draw_shapes(
    whole: NDArray[Any], ground: Any, near: _Nearness, frame: PageFrame, room: int
) -> dict[str, Any]:
    """Shapes near the ground, the nearest first, as far as the room goes."""
    shapes, _ = _clip_near(whole, ground)
    cut = shapely.get_parts(shapely.get_parts(_cut_to(shapely.make_valid(shapes), ground)))
    parts = cut[~shapely.is_empty(cut) & np.isin(shapely.get_type_id(cut), (1, 3))]
    nearest = parts[near.order(parts)[: room // _FEWEST_BYTES]]
    drawn: dict[str, Any] = {"lines": [], "areas": [], "left": len(parts) - len(nearest)}
    for shape in _simplify_to_fit(nearest, room):
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


class _Landmarks(NamedTuple):
    """Woods, and named points with what they are."""

    areas: NDArray[Any]
    points: NDArray[Any]
    what: NDArray[Any]
    names: NDArray[Any]


def _list_landmarks(surroundings: Surroundings) -> _Landmarks:
    """Woods; peaks and settlements, and lakes by a point inside them."""
    marks, water = surroundings.landmarks, surroundings.barriers
    wet = water[(water[WHAT] == "water") & (water[NAME] != "") & (water.geom_type == "Polygon")]
    inside = [shapely.point_on_surface(wet[GEOMETRY].to_numpy()), wet[WHAT].to_numpy(), wet[NAME].to_numpy()]
    if marks is None:
        return _Landmarks(np.empty(0, object), *inside)
    solid = (marks.geom_type == "Polygon").to_numpy()
    columns = [marks[column].to_numpy() for column in (GEOMETRY, WHAT, NAME)]
    both = (np.concatenate([one[~solid], other]) for one, other in zip(columns, inside, strict=True))
    return _Landmarks(columns[0][solid], *both)


def _draw_names(landmarks: _Landmarks, ground: Any, near: _Nearness, frame: PageFrame) -> list[list[Any]]:
    shapes, hit = _clip_near(landmarks.points, ground)
    what, called = landmarks.what[hit], landmarks.names[hit]
    room, names, seen = _ROOM_FOR_NAMES, [], set()
    for number in near.order(shapes):
        key = (str(what[number]), str(called[number])[:_LONGEST_NAME])
        if key in seen:
            continue
        seen.add(key)
        at = convert_to_units([frame.lon(float(shapes[number].x)), float(shapes[number].y)]).tolist()
        room -= len(str(at)) + sum(len(text.encode("utf-8")) for text in key) + 8
        if room < 0:
            break
        names.append([*at, *key])
    return names


def _draw_roads(surroundings: Surroundings, ground: Any, near: _Nearness, frame: PageFrame) -> dict[str, Any]:
    """Roads and paths by class; pieces of one name that meet are one line."""
    ways = surroundings.ways
    lines = np.concatenate([ways[GEOMETRY].to_numpy(), np.array(surroundings.busy_roads, dtype=object)])
    kinds = np.concatenate([ways[WHAT].to_numpy(), np.full(len(lines) - len(ways), "trunk road", object)])
    names = np.concatenate([ways[NAME].to_numpy(), np.array(surroundings.busy_names, dtype=object)])
    shapes, hit = _clip_near(lines, ground)
    kinds, names = kinds[hit].astype(str), names[hit].astype(f"U{_LONGEST_NAME}")
    class_of = {kind: road for road, some in _ROAD_KINDS.items() for kind in some}
    roads = np.array([class_of.get(kind, "lesser") for kind in kinds], dtype=object)
    called: dict[str, int] = {"": 0}
    drawn: dict[str, Any] = {"left": 0}
    for road, room in _ROAD_ROOMS.items():
        mine = np.flatnonzero(roads == road)
        parts, named = _join_lines(shapes[mine], names[mine], ground)
        order = near.order(parts)[: room // _FEWEST_BYTES]
        simple = _simplify_to_fit(parts[order], room)
        packed: list[str] = []
        numbers: list[int] = []
        for line, name in zip(simple, named[order], strict=True):
            text = _pack_coordinates(line.coords, frame)
            room -= len(text) + 6 + (len(name.encode("utf-8")) + 3 if name not in called else 0)
            if room < 0:
                break
            packed.append(text)
            numbers.append(called.setdefault(name, len(called)))
        drawn[road] = {"lines": packed, "names": numbers}
        drawn["left"] += len(parts) - len(packed)
    return {**drawn, "called": list(called)}


def _join_lines(shapes: NDArray[Any], names: NDArray[Any], ground: Any) -> tuple[NDArray[Any], NDArray[Any]]:
    """Lines cut to the ground, those of one name joined where they meet, and the name of each."""
    kept, number = np.unique(names, return_inverse=True)
    groups = [shapely.line_merge(shapely.multilinestrings(shapes[number == k])) for k in range(len(kept))]
    parts, of = shapely.get_parts(np.array(groups, dtype=object), return_index=True)
    inner, again = shapely.get_parts(_cut_to(parts, ground), return_index=True)
    lines = (shapely.get_type_id(inner) == 1) & ~shapely.is_empty(inner)
    return inner[lines], kept[of[again[lines]]]


def _simplify_to_fit(parts: NDArray[Any], room: int) -> NDArray[Any]:
    """The finest simplification that fits, else the finest that spares nearly as much as the coarsest."""
    if not len(parts):
        return parts
    tries = [_simplify_outlines(parts, tolerance_m) for tolerance_m in _TOLERANCES_M]
    sizes = [
        _BYTES_PER_VERTEX * shapely.get_num_coordinates(simple).sum()
        + _BYTES_PER_RING * np.maximum(shapely.get_num_interior_rings(simple) + 1, 1).sum()
        for simple in tries
    ]
    enough = max(room, _GAIN * sizes[-1])
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
    shapes, hit = _clip_near(frame_of_data[GEOMETRY].to_numpy(), ground)
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
