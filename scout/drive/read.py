"""The roads of access data: files to a graph of roads, with what is to be said of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.drive import rules
from scout.drive.network import Floats, RoadLines, RoadPoints, Roads, build_roads
from scout.geo.geodesy import compute_degree_lengths
from scout.io.layers import WantedLayers, check_twice, read_file
from scout.io.local_files import run_offline
from scout.io.openstreetmap import NODES, OSM_CREDIT, WAYS, WantedThings
from scout.io.tables import Box
from scout.model import RECORD, Layer, Source
from scout.walk.read import unpack_tags
from scout.walk.tags import Mask, Tags, collect_tags
from scout.walk.ways import SplitShapes, TagMapping, apply_readings

MARGIN_KM = 20.0  # around places: the way from one to the next may lead round a mountain
_NAMED = 3  # names that a note gives
_UNLIMITED = "roads whose speed limit is not stated, driven at the usual speed of their class"
_NOT_KNOWN = (
    "driving times are estimates, from the limits and classes of roads: turn restrictions, slopes, bends and "
    "traffic are not looked at"
)
_TELLING = {NODES: frozenset(("barrier", "highway")), WAYS: frozenset(("highway", "route"))}


def read_roads(
    paths: Path | str | Sequence[Path | str],
    places: Any,
    margin_km: float = MARGIN_KM,
    progress: Callable[[str], None] | None = None,
    assume_crs: str | None = None,
    readings: Sequence[TagMapping] = (),
) -> Roads:
    """Read the roads around some places.

    Parameters
    ----------
    paths : path or sequence of path
        The formats of `scout.walk.read.read_tagged`.
    places : array_like, shape (n, 2)
        Longitude and latitude, degrees.
    margin_km : float
        How far beyond the places roads are read.
    progress : callable, optional
        Called with a line before each layer.
    assume_crs : str, optional
        Coordinate system of the files that name none.
    readings : sequence of TagMapping
        How other schemas than OpenStreetMap's are to be read.

    Raises
    ------
    InputError, CrsError
        As `scout.walk.read.read_tagged`; and a reading that is no tag.
    """
    paths = [paths] if isinstance(paths, (str, Path)) else list(dict.fromkeys(paths))
    check_twice(paths)
    at = np.asarray(places, dtype=float).reshape(-1, 2)
    keys = rules.KEYS | {reading.column for reading in readings if reading.column}
    things = WantedThings(frozenset(keys), telling=_TELLING)
    found = _FoundRoads()
    if len(at):
        wanted = WantedLayers(boxes=(make_box(at, margin_km),), assume_crs=assume_crs, osm=things)
        with run_offline():
            for path in paths:
                for layer in read_file(path, wanted, progress):
                    found.add(unpack_tags(layer, keys), readings)
    return found.build(float(at[0, 0]) if len(at) else 0.0)


def make_box(places: Floats, margin_km: float) -> Box:
    """Return the box around places and a margin: west, south, east, north in degrees; east may pass 180.

    Examples
    --------
    >>> [round(side, 2) for side in make_box(np.array([[179.9, 0.0], [-179.9, 0.0]]), 11.1)]
    [179.8, -0.1, 180.2, 0.1]
    """
    lon = places[0, 0] + (places[:, 0] - places[0, 0] + 180.0) % 360.0 - 180.0
    high = margin_km * 1000 / 110_500.0
    south, north = max(float(places[:, 1].min()) - high, -90.0), min(float(places[:, 1].max()) + high, 90.0)
    wide = margin_km * 1000 / float(compute_degree_lengths(min(max(abs(south), abs(north)), 89.0))[0])
    west, east = float(lon.min()) - wide, float(lon.max()) + wide
    if east - west >= 360.0:
        return -180.0, south, 180.0, north
    turn = 360.0 * math.floor((west + 180.0) / 360.0)
    return west - turn, south, east - turn, north


@dataclass
class _FoundRoads:
    """Roads of the layers read so far."""

    lines: list[RoadLines] = field(default_factory=list)
    ids: list[NDArray[np.int64]] = field(default_factory=list)  # of ways of OpenStreetMap, else -1
    gates: list[Floats] = field(default_factory=list)
    loose_gates: list[Floats] = field(default_factory=list)
    signals: list[Floats] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    counts: dict[str, tuple[int, dict[str, None]]] = field(default_factory=dict)  # with names
    roads: int = 0

    def add(self, layer: Layer, readings: Sequence[TagMapping]) -> None:
        """Take the roads of a layer."""
        self.sources.append(layer.source)
        more, _ = apply_readings(layer, readings)  # what is to be said of them is said of the walks
        tags = collect_tags(layer.frame, more, rules.KEYS)
        found, gate, signal = rules.select_roads(tags), rules.select_closing(tags), rules.select_signals(tags)
        shapes = SplitShapes(np.where(found.road | gate | signal, layer.frame.geometry.to_numpy(), None))
        lines = shapes.lines.of(found.road)
        columns = (getattr(found, name)[lines.row] for name in _OF_LINES)
        # OpenStreetMap's ways have ids, and its gates are nodes of the road they are on. Of other files one
        # cannot be sure.
        extract = OSM_CREDIT in layer.source.credits
        ids = layer.frame[RECORD].to_numpy()[lines.row] if extract else np.full(len(lines), -1)
        self.lines.append(RoadLines(lines.shape, *columns))
        self.ids.append(ids)
        (self.gates if extract else self.loose_gates).append(_list_points(shapes, gate))
        self.signals.append(_list_points(shapes, signal))
        self._count("ferries, not used, for their times are not known", rules.select_ferries(tags), tags)
        self._count("roads closed to cars, not used", found.closed, tags, named=False)
        self._count("roads too rough for an ordinary car, not used", found.rough, tags)
        self._count("roads with times or seasons of their own, taken as open", found.at_times, tags)
        self._count("roads through fords, taken as passable", found.wet, tags)
        self._count(_UNLIMITED, found.road & ~found.limited, tags, named=False)
        self.roads += int(found.road.sum())

    def _count(self, what: str, rows: Mask, tags: Tags, named: bool = True) -> None:
        if not rows.any():
            return
        count, names = self.counts.get(what, (0, {}))
        names |= dict.fromkeys(str(name) for name in tags.names[rows] if name and named)
        self.counts[what] = count + int(rows.sum()), names

    def build(self, around_lon: float) -> Roads:
        """Make the graph of all of them; longitudes are those nearest to one."""
        notes = []
        for what, (count, names) in self.counts.items():
            listed = ", ".join(list(names)[:_NAMED]) + (" and more" if len(names) > _NAMED else "")
            of = f" of {self.roads:,}" if what == _UNLIMITED else ""
            notes.append(f"{what}: {count:,}{of}" + (f" ({listed})" if listed else ""))
        if self.sources and not self.roads:
            notes.append("the access data holds no road for cars near the places")
        points = RoadPoints(*(_join(part) for part in (self.gates, self.loose_gates, self.signals)))
        lines = RoadLines.concat([_NO_LINES, *self.lines])
        ids = np.concatenate([np.empty(0, dtype=np.int64), *self.ids])
        roads = build_roads(lines.take(_choose_once(lines.shape, ids)), points, around_lon)
        if roads.gates:
            notes.append(f"gates, bollards and the like that close a road to cars: {roads.gates:,}")
        if len(roads):
            notes.append(_NOT_KNOWN)
        return replace(roads, sources=tuple(self.sources), notes=tuple(notes))


_OF_LINES = tuple(one.name for one in fields(RoadLines))[1:]
_NO_LINES = RoadLines(np.empty(0, object), np.empty(0), *np.zeros((6, 0), dtype=bool))


def _choose_once(shapes: NDArray[np.object_], ids: NDArray[np.int64]) -> NDArray[np.int64]:
    """Rows of the lines without those that another file has too, maybe cut at its edge."""
    longest = np.argsort(-shapely.get_num_coordinates(shapes), kind="stable")
    again = pd.Series(ids[longest]).duplicated().to_numpy() & (ids[longest] >= 0)
    rows = np.sort(longest[~again])
    same = pd.Series(list(shapely.to_wkb(shapes[rows])), dtype=object).duplicated().to_numpy()
    once: NDArray[np.int64] = rows[~same]
    return once


def _list_points(shapes: SplitShapes, rows: Mask) -> Floats:
    points: Floats = shapely.get_coordinates(shapes.points.of(rows).shape)
    return points


def _join(parts: Sequence[Floats]) -> Floats:
    return np.concatenate([np.empty((0, 2)), *parts])
