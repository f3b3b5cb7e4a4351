"""Access data of one window in local metres: ways as points and edges, barriers, starts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.geodesy import LocalFrame, degree_lengths
from scout.surroundings import CROSSING, DRIVE, NAME, WALK, WHAT, StartKind, Surroundings

__all__ = ["Barriers", "Map", "Starts", "Ways", "Window"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Shapes = NDArray[np.object_]

_TURNS = (-360.0, 0.0, 360.0)
_STRAIGHT_DEG = 0.01  # edges are straight in degrees; pieces this short are straight in metres too, to 3 cm
_SKIN_M = 0.05  # an area begins this far inside its outline for ways that run along it


@dataclass(frozen=True)
class Window:
    """A square about a place."""

    lon: float
    lat: float
    half_m: float
    frame: LocalFrame

    @classmethod
    def about(cls, lon: float, lat: float, half_m: float) -> Window:
        """The square whose sides are ``half_m`` from a place."""
        return cls(lon, lat, half_m, LocalFrame(lon, lat))

    def box(self) -> tuple[float, float, float, float]:
        """West, south, east, north in degrees of a box around the window."""
        per_lon, per_lat = degree_lengths(min(abs(self.lat) + self.half_m / 110e3, 89.9))
        wide, high = 1.05 * self.half_m / per_lon, 1.05 * self.half_m / per_lat
        return (self.lon - wide, self.lat - high, self.lon + wide, self.lat + high)


class Ways(NamedTuple):
    """Single lines inside a window, by use."""

    ground: Shapes
    drive_row: Ints  # per line on the ground: row of the ways where a car may stop along it, else -1
    walk: Bools  # per line on the ground
    crossing: Shapes  # bridges and the like that may be walked, joined end to end


class Starts(NamedTuple):
    """Parking and trailheads."""

    x: Floats
    y: Floats
    row: Ints


class Barriers(NamedTuple):
    """What nobody walks across, and where it may be passed."""

    lines: Shapes  # fences, walls, cliffs, rivers: passed at openings
    shores: Shapes  # outlines of areas
    areas: Shapes  # the areas themselves, less their skin
    openings: Shapes
    buildings: Shapes  # nobody walks through them but along ways
    area_row: Ints  # row of the barriers that each area comes from


class Map:
    """Surroundings prepared for being cut into windows."""

    def __init__(self, around: Surroundings) -> None:
        self._shapes = {
            name: getattr(around, name).geometry.to_numpy()
            for name in ("ways", "starts", "barriers", "openings")
        }
        self._shapes["buildings"] = np.array(around.buildings, dtype=object)
        self._shapes["busy"] = np.array(around.busy_roads, dtype=object)
        self._busy_name = list(around.busy_names)
        self._trees = {name: shapely.STRtree(shapes) for name, shapes in self._shapes.items()}
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

    def ways(self, window: Window) -> Ways:
        """Ways that may be walked or driven up to."""
        lines, row = self._cut("ways", window)
        over = self._crossing[row]
        joined = shapely.line_merge(shapely.multilinestrings(lines[over & self._walk[row]]))
        used = ~over & (self._walk | self._drive)[row]
        ground = row[used]
        drive_row = np.where(self._stop[ground], ground, -1)
        return Ways(lines[used], drive_row, self._walk[ground], shapely.get_parts(joined))

    def roads(self, window: Window) -> tuple[Shapes, Ints]:
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

    def starts(self, window: Window) -> Starts:
        """Parking and trailheads."""
        points, row = self._near("starts", window)
        x, y = shapely.get_x(points), shapely.get_y(points)
        inside = (np.abs(x) <= window.half_m) & (np.abs(y) <= window.half_m)
        return Starts(x[inside], y[inside], row[inside])

    def barriers(self, window: Window) -> Barriers:
        """What no step crosses."""
        shapes, row = self._near("barriers", window, whole=True)
        area = np.isin(shapely.get_type_id(shapes), (3, 6))
        box = shapely.box(*window.box())
        lines = _local(_parts_in(shapes[~area], box), window)
        shores = _local(_parts_in(shapely.boundary(shapes[area]), box), window)
        inner = _local(shapely.clip_by_rect(shapes[area], *window.box()), window)
        inner = shapely.buffer(inner, -_SKIN_M, join_style="mitre")
        openings, _ = self._near("openings", window)
        buildings, _ = self._near("buildings", window)
        return Barriers(lines, shores, inner, openings, buildings, row[area])

    def in_building(self, lon: Floats, lat: Floats) -> Bools:
        """Whether places lie in a building."""
        found = np.zeros(len(lon), dtype=bool)
        for turn in _TURNS:
            found[self._trees["buildings"].query(shapely.points(lon + turn, lat), predicate="within")[0]] = (
                True
            )
        return found

    def busy(self, window: Window) -> tuple[Shapes, list[str]]:
        """Roads along which no car may be left, and their names."""
        shapes, row = self._near("busy", window)
        return shapes, [self._busy_name[k] for k in row.tolist()]

    def _near(self, name: str, window: Window, whole: bool = False) -> tuple[Shapes, Ints]:
        """Shapes near a window in local metres; if ``whole`` in degrees, turned to the window's longitude."""
        west, south, east, north = window.box()
        found, rows = [np.empty(0, dtype=object)], [np.empty(0, dtype=np.int64)]
        for turn in _TURNS:
            row = np.sort(self._trees[name].query(shapely.box(west - turn, south, east - turn, north)))
            if len(row):
                found.append(_turned(self._shapes[name][row], turn))
                rows.append(row)
        shapes = np.concatenate(found)
        return shapes if whole else _local(shapes, window), np.concatenate(rows)

    def _cut(self, name: str, window: Window) -> tuple[Shapes, Ints]:
        """Single lines inside a window, and the row that each comes from."""
        shapes, row = self._near(name, window, whole=True)
        near = _local(shapely.clip_by_rect(shapes, *window.box()), window)
        half = window.half_m
        lines, part = shapely.get_parts(
            shapely.clip_by_rect(near, -half, -half, half, half), return_index=True
        )
        kept = shapely.length(lines) > 0
        return lines[kept], row[part[kept]]


def _turned(shapes: Shapes, turn: float) -> Shapes:
    if not turn:
        return shapes
    made: Shapes = shapely.transform(shapes, lambda lonlat: lonlat + np.array([turn, 0.0]))
    return made


def _parts_in(shapes: Shapes, box: Any) -> Shapes:
    """Single lines of what lies in a box."""
    lines = shapely.get_parts(shapely.clip_by_rect(shapes, *box.bounds))
    kept: Shapes = lines[shapely.length(lines) > 0]
    return kept


def _local(shapes: Shapes, window: Window) -> Shapes:
    """Shapes in metres, long edges split first."""

    def forward(lonlat: Floats) -> Floats:
        return np.column_stack(window.frame.forward(lonlat[:, 0], lonlat[:, 1]))

    made: Shapes = shapely.transform(shapely.segmentize(shapes, _STRAIGHT_DEG), forward)
    return made
