"""One window of ground, and which steps its barriers stop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.geo.geodesy import LocalFrame, wrap_lon
from scout.model import CROSSING, DRIVE, NAME, WALK, WHAT, StartKind, Surroundings
from scout.table import Table, expand_ranges

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Shapes = NDArray[np.object_]

_TURNS = (-360.0, 0.0, 360.0)
_STRAIGHT_DEG = 0.01  # edges are straight in degrees; pieces this short are straight in metres too, to 3 cm
_BORDER_POINTS, _SLACK = 9, 0.025  # of a window in degrees: points a side, share of its size
_SKIN_M = 0.05  # an area begins this far inside its outline for ways that run along it


@dataclass(frozen=True)
class WalkWindow:
    """A rectangle of metres in the frame about a place."""

    lon: float
    lat: float
    frame: LocalFrame
    bounds: tuple[float, float, float, float]  # west, south, east, north, metres from the place

    @classmethod
    def about(cls, lon: float, lat: float, half_m: float) -> WalkWindow:
        """The square whose sides are ``half_m`` from a place."""
        return cls(lon, lat, LocalFrame(lon, lat), (-half_m, -half_m, half_m, half_m))

    def measure_side(self) -> float:
        """The longer side, metres."""
        west, south, east, north = self.bounds
        return max(east - west, north - south)

    def holds(self, x: Floats, y: Floats, inset_m: float = 0.0) -> Bools:
        """Whether points lie inside, at least ``inset_m`` from the border."""
        west, south, east, north = self.bounds
        inside: Bools = (x >= west + inset_m) & (x <= east - inset_m)
        inside &= (y >= south + inset_m) & (y <= north - inset_m)
        return inside

    def box(self) -> tuple[float, float, float, float]:
        """West, south, east, north in degrees of a box around the window."""
        west, south, east, north = self.bounds
        x, y = np.linspace(west, east, _BORDER_POINTS), np.linspace(south, north, _BORDER_POINTS)
        side_x, side_y = np.repeat([west, east], _BORDER_POINTS), np.repeat([south, north], _BORDER_POINTS)
        lon, lat = self.frame.inverse(np.concatenate([x, x, side_x]), np.concatenate([side_y, y, y]))
        lon = self.lon + wrap_lon(lon - self.lon)
        wide, high = _SLACK * np.ptp(lon), _SLACK * np.ptp(lat)
        return (
            float(lon.min() - wide),
            float(lat.min() - high),
            float(lon.max() + wide),
            float(lat.max() + high),
        )


class WindowWays(NamedTuple):
    """Single lines in and around a window, by use."""

    ground: Shapes
    drive_row: Ints  # per line on the ground: row of the ways where a car may stop along it, else -1
    walk: Bools  # per line on the ground
    crossing: Shapes  # bridges and the like that may be walked, joined end to end


@dataclass(frozen=True, slots=True)
class WindowStarts(Table):
    """Parking and trailheads."""

    x: Floats
    y: Floats
    row: Ints


class WindowBarriers(NamedTuple):
    """What nobody walks across, and where it may be passed."""

    lines: Shapes  # fences, walls, cliffs, rivers: passed at openings
    shores: Shapes  # outlines of areas
    areas: Shapes  # the areas themselves, less their skin
    openings: Shapes
    buildings: Shapes  # nobody walks through them but along ways
    area_row: Ints  # row of the barriers that each area comes from


class AccessMap:
    """Surroundings prepared for being cut into windows."""

    def __init__(self, around: Surroundings) -> None:
        self._shapes = {
            name: getattr(around, name).geometry.to_numpy()
            for name in ("ways", "starts", "barriers", "openings")
        }
        self._shapes["buildings"] = np.array(around.buildings, dtype=object)
        self._shapes["busy"] = np.array(around.busy_roads, dtype=object)
        self._busy_name = list(around.busy_names)
        self.trees = {name: shapely.STRtree(shapes) for name, shapes in self._shapes.items()}
        self._walk, self._drive, self._crossing = (
            around.ways[column].to_numpy(dtype=bool) for column in (WALK, DRIVE, CROSSING)
        )
        self._start_what = around.starts[WHAT].to_numpy()
        self._start_name = around.starts[NAME].to_numpy()
        self._way_name = around.ways[NAME].to_numpy()
        self._barrier_what = around.barriers[WHAT].to_numpy()
        self._barrier_name = around.barriers[NAME].to_numpy()
        # A car is left beside the road, never on a bridge.
        self._stop = self._drive & ~self._crossing
        self.has_starts = bool(len(around.starts) or self._stop.any())

    def ways(self, window: WalkWindow) -> WindowWays:
        """Ways that may be walked or driven up to."""
        lines, row = self._cut("ways", window)
        over = self._crossing[row]
        joined = shapely.line_merge(shapely.multilinestrings(lines[over & self._walk[row]]))
        used = ~over & (self._walk | self._drive)[row]
        ground = row[used]
        drive_row = np.where(self._stop[ground], ground, -1)
        return WindowWays(lines[used], drive_row, self._walk[ground], shapely.get_parts(joined))

    def roads(self, window: WalkWindow) -> tuple[Shapes, Ints]:
        """Roads along which a car may stop, and the row of the ways that each comes from."""
        lines, row = self._cut("ways", window)
        return lines[self._stop[row]], row[self._stop[row]]

    def start(self, row: int) -> tuple[StartKind, str]:
        """Kind and name of a row of the starts."""
        return ("trailhead" if self._start_what[row] == "trailhead" else "parking"), str(
            self._start_name[row]
        )

    def road(self, row: int) -> tuple[StartKind, str]:
        """Kind and name of a start along a row of the ways."""
        return "roadside", str(self._way_name[row])

    def barrier(self, row: int) -> str:
        """What a row of the barriers is, with its name."""
        what, name = str(self._barrier_what[row]), str(self._barrier_name[row])
        return f"{what}: {name}" if name else what

    def starts(self, window: WalkWindow) -> WindowStarts:
        """Parking and trailheads."""
        points, row = self._near("starts", window)
        x, y = shapely.get_x(points), shapely.get_y(points)
        return WindowStarts(x, y, row).take(window.holds(x, y))

    def barriers(self, window: WalkWindow) -> WindowBarriers:
        """What no step crosses."""
        shapes, row = self._near("barriers", window, whole=True)
        area = np.isin(shapely.get_type_id(shapes), (3, 6))
        box = shapely.box(*window.box())
        lines = _project_shapes(_clip_parts(shapes[~area], box), window)
        shores = _project_shapes(_clip_parts(shapely.boundary(shapes[area]), box), window)
        inner = _project_shapes(shapely.clip_by_rect(shapes[area], *window.box()), window)
        inner = shapely.buffer(inner, -_SKIN_M, join_style="mitre")
        openings, _ = self._near("openings", window)
        buildings, _ = self._near("buildings", window)
        return WindowBarriers(lines, shores, inner, openings, buildings, row[area])

    def in_building(self, lon: Floats, lat: Floats) -> Bools:
        """Whether places lie in a building."""
        found = np.zeros(len(lon), dtype=bool)
        for turn in _TURNS:
            found[self.trees["buildings"].query(shapely.points(lon + turn, lat), predicate="within")[0]] = (
                True
            )
        return found

    def busy(self, window: WalkWindow) -> tuple[Shapes, list[str]]:
        """Roads along which no car may be left, and their names."""
        shapes, row = self._near("busy", window)
        return shapes, [self._busy_name[k] for k in row.tolist()]

    def _near(self, name: str, window: WalkWindow, whole: bool = False) -> tuple[Shapes, Ints]:
        """Shapes near a window in local metres; if ``whole`` in degrees, turned to the window's longitude."""
        west, south, east, north = window.box()
        found, rows = [np.empty(0, dtype=object)], [np.empty(0, dtype=np.int64)]
        for turn in _TURNS:
            row = np.sort(self.trees[name].query(shapely.box(west - turn, south, east - turn, north)))
            if len(row):
                found.append(_turn_shapes(self._shapes[name][row], turn))
                rows.append(row)
        shapes = np.concatenate(found)
        return shapes if whole else _project_shapes(shapes, window), np.concatenate(rows)

    def _cut(self, name: str, window: WalkWindow) -> tuple[Shapes, Ints]:
        """Single lines in and around a window in local metres, and the row that each comes from.

        Edges stay whole, so that points along them lie where they lie in any other window.
        """
        shapes, row = self._near(name, window, whole=True)
        points, line = shapely.get_coordinates(shapely.segmentize(shapes, _STRAIGHT_DEG), return_index=True)
        west, south, east, north = window.box()
        low, high = np.minimum(points[:-1], points[1:]), np.maximum(points[:-1], points[1:])
        met = (
            (line[1:] == line[:-1]) & (low <= (east, north)).all(axis=1) & (high >= (west, south)).all(axis=1)
        )
        edge = np.flatnonzero(met)
        heads = np.flatnonzero(np.diff(edge, prepend=-2) != 1)
        piece, point = expand_ranges(edge[heads], np.diff(heads, append=len(edge)) + 1)
        xy = np.stack(window.frame.forward(*points[point].T), axis=1)
        made: Shapes = np.atleast_1d(shapely.linestrings(xy, indices=piece))
        return made, row[line[edge[heads]]]


def _turn_shapes(shapes: Shapes, turn: float) -> Shapes:
    if not turn:
        return shapes
    made: Shapes = shapely.transform(shapes, lambda lonlat: lonlat + np.array([turn, 0.0]))
    return made


def _clip_parts(shapes: Shapes, box: Any) -> Shapes:
    """Single lines of what lies in a box."""
    lines = shapely.get_parts(shapely.clip_by_rect(shapes, *box.bounds))
    kept: Shapes = lines[shapely.length(lines) > 0]
    return kept


def _project_shapes(shapes: Shapes, window: WalkWindow) -> Shapes:
    """Shapes in metres, long edges split first."""

    def forward(lonlat: Floats) -> Floats:
        return np.column_stack(window.frame.forward(lonlat[:, 0], lonlat[:, 1]))

    made: Shapes = shapely.transform(shapely.segmentize(shapes, _STRAIGHT_DEG), forward)
    return made


# Which edges a barrier stops: barriers are lines, so that nothing depends on where a grid begins.
_GATE_M = 3.0  # an opening lets through what passes it this near


class BarrierIndex:
    """The barriers of a window, asked which edges they stop.

    Off the ways an edge may not even touch a fence or an outline. Ways may run along an outline and may touch
    a fence's loose end, as roads do where fields end. A place or a start may stand on either.
    """

    def __init__(self, barriers: WindowBarriers) -> None:
        self.fences = _EdgeIndex(barriers.lines)
        self._trimmed = _EdgeIndex(_trim_ends(barriers.lines))
        walls = shapely.get_parts(shapely.boundary(barriers.buildings))
        self.shores = _EdgeIndex(np.concatenate([barriers.shores, walls]))
        self._areas = barriers.areas[~shapely.is_empty(barriers.areas)]
        self._closed = np.concatenate([self._areas, barriers.buildings])
        self._openings = shapely.STRtree(barriers.openings)
        self.gated = np.zeros(len(self.fences.pieces), dtype=bool)  # per piece of a fence: near an opening
        self.gated[self._openings.query(self.fences.pieces, "dwithin", _GATE_M)[0]] = True
        self.any = bool(len(self.fences.pieces) or len(self.shores.pieces))

    def at_opening(self, points: Floats) -> Bools:
        """Whether points, shape (n, 2), are so near an opening that a fence may be passed there."""
        found = np.zeros(len(points), dtype=bool)
        if len(points) and len(self._openings):
            found[self._openings.query(shapely.points(points), predicate="dwithin", distance=_GATE_M)[0]] = (
                True
            )
        return found

    def are_near(self, points: Floats, within_m: float) -> Bools:
        """Whether barriers may stop steps from points, shape (n, 2), to what lies so near."""
        places = shapely.points(points)
        near = _meet(places, self._closed, "contains")
        for lines in (self.fences, self.shores):
            near[lines.tree.query(places, "dwithin", within_m)[0]] = True
        return near

    def stop_links(self, a: Floats, b: Floats, from_way: Bools) -> Bools:
        """Whether barriers stop short steps to the grid that begin on a way, or else at a place."""
        steps = _make_edges(_step_towards(a, b), b)
        fence_steps = np.where(from_way, _make_edges(a, b), steps)
        # What begins on an outline may lead inside without crossing it.
        return self._stopped_by_fences(fence_steps, self.fences) | self.shores.meet(steps) | self.inside(b)

    def stop_hops(self, a: Floats, b: Floats) -> Bools:
        """Whether barriers stop short steps from a place to a way, both perhaps on an outline."""
        hops = _make_edges(_step_towards(a, b), _step_towards(b, a))
        return self._stopped_by_fences(hops, self.fences) | _meet(hops, self._closed) | self.inside(a)

    def stop_ways(self, a: Floats, b: Floats, landing: Bools) -> Bools:
        """Whether barriers stop edges of ways; areas do not stop those that lead off a bridge.

        Nor does a line that such an edge meets just where the bridge ends: shores and bridges share points.
        ``landing`` has two columns, an end each. Buildings stop none: who drew a way through one knew of a
        passage.
        """
        edges = _make_edges(
            np.where(landing[:, :1], _step_towards(a, b), a), np.where(landing[:, 1:], _step_towards(b, a), b)
        )
        return self._stopped_by_fences(edges, self._trimmed) | (
            _meet(edges, self._areas) & ~landing.any(axis=1)
        )

    def inside(self, points: Floats) -> Bools:
        """Whether points, shape (n, 2), lie in an area or a building."""
        return _meet(shapely.points(points), self._closed, "contains")

    def _stopped_by_fences(self, steps: Shapes, fences: _EdgeIndex) -> Bools:
        step, fence = fences.pairs(steps)
        if len(step) and len(self._openings):
            at = shapely.intersection(steps[step], fences.pieces[fence])
            passed = self._openings.query(at, predicate="dwithin", distance=_GATE_M)[0]
            step = np.delete(step, np.unique(passed))
        stopped = np.zeros(len(steps), dtype=bool)
        stopped[step] = True
        return stopped


class _EdgeIndex:
    """Lines cut into their single edges: an index then finds the few that matter."""

    def __init__(self, lines: Shapes) -> None:
        points, row = shapely.get_coordinates(lines, return_index=True)
        a = np.flatnonzero(np.diff(row, append=-1) == 0)
        self.start, self.end = points[a], points[a + 1]
        self.pieces = _make_edges(self.start, self.end)
        self.tree = shapely.STRtree(self.pieces)

    def pairs(self, steps: Shapes) -> Any:
        """Steps and pieces that touch, as an array of two rows."""
        return self.tree.query(steps, predicate="intersects")

    def meet(self, steps: Shapes) -> Bools:
        """Whether steps touch any of the lines."""
        met = np.zeros(len(steps), dtype=bool)
        met[self.pairs(steps)[0]] = True
        return met


def _meet(shapes: Shapes, areas: Shapes, how: str = "intersects") -> Bools:
    """Whether any of the areas meets each shape."""
    met = np.zeros(len(shapes), dtype=bool)
    if len(shapes) and len(areas):
        met[shapely.STRtree(shapes).query(areas, predicate=how)[1]] = True
    return met


def _make_edges(a: Floats, b: Floats) -> Shapes:
    made: Shapes = shapely.linestrings(np.stack([a, b], axis=1))
    return made


def _step_towards(a: Floats, b: Floats) -> Floats:
    """Points a skin away from ``a``, on the way to ``b``."""
    length = np.maximum(np.hypot(*(b - a).T), 1e-9)
    moved: Floats = a + (b - a) * np.minimum(_SKIN_M / length, 0.4)[:, None]
    return moved


def _trim_ends(lines: Shapes) -> Shapes:
    """Lines whose loose ends are cut off by a skin; ends where two lines meet are not loose."""
    if not len(lines):
        return lines
    points, row = shapely.get_coordinates(lines, return_index=True)
    heads = np.flatnonzero(np.diff(row, prepend=-1))
    tails = np.append(heads[1:], len(row)) - 1
    ends, nexts = np.concatenate([heads, tails]), np.concatenate([heads + 1, tails - 1])
    _, which, count = np.unique(np.rint(points[ends] * 100), axis=0, return_inverse=True, return_counts=True)
    loose = count[which.reshape(-1)] == 1
    moved = points.copy()
    moved[ends[loose]] = _step_towards(points[ends[loose]], points[nexts[loose]])
    made: Shapes = shapely.linestrings(moved, indices=row)
    return made
