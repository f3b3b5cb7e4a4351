"""Access data as read becomes surroundings: its tags are understood, its shapes made what they stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import shapely

from scout.access import rules
from scout.access.beside import mouths, walled
from scout.access.readings import Reading, applied, unused
from scout.access.shapes import Parts, Shapes
from scout.access.tags import OSM_SUFFIXES, Mask, Tags, Texts, tags_of
from scout.model import Layer
from scout.surroundings import CROSSING, DRIVE, NAME, WALK, WHAT, Surroundings

__all__ = ["Reading", "Tagged", "sorted_out"]

_BESIDE_DEG = 2e-5  # about 2 m: the strip that a public way keeps open through private ground
_NAMED = 3  # names that a note gives
_HINT = "say what they are with [[tags]] in the outing file"


class Tagged(NamedTuple):
    """Layers and the option they were given under: access, barriers or hazards."""

    layers: Sequence[Layer]
    role: str


def sorted_out(tagged: Sequence[Tagged], readings: Sequence[Reading] = ()) -> Surroundings:
    """Understand access data.

    Everything is taken from every file, whatever it was given as. What its tags leave unsaid follows from the
    option: in a barriers file it is a barrier, in a hazards file a line is an overhead line.

    Parameters
    ----------
    tagged : sequence of Tagged
        As `scout.read.tagged.read_tagged` gives them; a file may stand in several.
    readings : sequence of Reading
        How other schemas than OpenStreetMap's are to be read.

    Returns
    -------
    Surroundings
        Frames of single parts: LineStrings, Points and Polygons. Ways of no use are left out.

    Raises
    ------
    InputError
        A reading that is no tag.
    """
    roles: dict[tuple[str, str], set[str]] = {}
    layers: dict[tuple[str, str], Layer] = {}
    for group in tagged:
        for layer in group.layers:
            key = (layer.source.path, layer.source.layer)
            layers.setdefault(key, layer)
            roles.setdefault(key, set()).add(group.role)
    found = _Found()
    for key, layer in layers.items():
        # A file given as several things is an extract of everything: what it leaves unsaid is nothing.
        _take(found, layer, roles[key].pop() if len(roles[key]) == 1 else "access", readings)
    found.notes += unused(list(layers.values()), readings)
    _say_of_files(found, list(layers.values()))
    return found.surroundings(tuple(layer.source for layer in layers.values()))


@dataclass
class _Found:
    """Rows of the frames to be, and what is to be said."""

    ways: list[gpd.GeoDataFrame] = field(default_factory=list)
    starts: list[gpd.GeoDataFrame] = field(default_factory=list)
    barriers: list[gpd.GeoDataFrame] = field(default_factory=list)
    openings: list[gpd.GeoDataFrame] = field(default_factory=list)
    closed: list[gpd.GeoDataFrame] = field(default_factory=list)
    private: list[gpd.GeoDataFrame] = field(default_factory=list)  # closed, but not to expressly public ways
    public: list[Any] = field(default_factory=list)  # lines of those
    buildings: list[Any] = field(default_factory=list)  # arrays of polygons
    busy: list[gpd.GeoDataFrame] = field(default_factory=list)  # roads none may stop on
    side: list[gpd.GeoDataFrame] = field(
        default_factory=list
    )  # ways with room for a car where they join those
    power_lines: list[gpd.GeoDataFrame] = field(default_factory=list)
    understood: dict[str, int] = field(default_factory=dict)  # records per file
    notes: list[str] = field(default_factory=list)

    def surroundings(self, sources: tuple[Any, ...]) -> Surroundings:
        private, busy = _joined(self.private), _joined(self.busy)
        starts, ways = _joined(self.starts), _joined([*self.ways, mouths(_joined(self.side), busy)], True)
        if sources and not len(starts) and not ways[DRIVE].any():
            self.notes.append("the access data holds no parking and no drivable road near the places")
        return Surroundings(
            ways,
            starts,
            _joined([*self.barriers, _with_strips(private, self.public)]),
            _joined(self.openings),
            _joined([*self.closed, private]),
            _joined(self.power_lines),
            sources,
            tuple(dict.fromkeys(self.notes)),
            walled(np.concatenate([np.empty(0, object), *self.buildings]), starts.geometry.to_numpy()),
            busy.geometry.to_numpy(),
            busy[NAME].tolist(),
        )


def _take(found: _Found, layer: Layer, role: str, readings: Sequence[Reading]) -> None:
    where = layer.source.where
    more, notes = applied(layer, readings)
    tags, shapes = tags_of(layer.frame, more), Shapes(layer.frame.geometry.to_numpy())
    known = tags.described() | (np.isin(tags["access"].astype(str), ("no", "private")))
    if layer.refused:
        some = "; ".join(line.removeprefix(f"{where}: ") for line in layer.refused[:_NAMED])
        notes.append(f"{where}: records that cannot be used: {len(layer.refused)}, such as: {some}")
    if shapes.repaired:
        notes.append(f"{where}: areas repaired: {shapes.repaired}")
    if shapes.lost:
        notes.append(f"{where}: records without a shape that can be used: {shapes.lost}")
    found.notes += notes
    path = layer.source.path
    found.understood[path] = found.understood.get(path, 0) + int(known.sum())
    _take_ways(found, where, tags, shapes)
    _take_starts(found, where, tags, shapes)
    _take_barriers(found, where, tags, shapes)
    _take_ground(found, where, tags, shapes)
    rows, what = rules.power_lines(tags)
    found.power_lines.append(_rows(shapes.as_lines(rows), what, tags))
    _take_unknown(found, layer, role, tags, shapes, ~known)


def _take_ways(found: _Found, where: str, tags: Tags, shapes: Shapes) -> None:
    ways = rules.ways(tags)
    lines = shapes.as_lines(ways.way)
    uses = {WALK: ways.walk, DRIVE: ways.drive, CROSSING: ways.crossing}
    found.ways.append(_rows(lines, ways.what, tags, uses))
    found.public.append(shapes.as_lines(ways.walk & tags.foot_open).shape)
    roads = shapes.as_lines(ways.busy)
    called = np.where(tags.names != "", tags.names, tags["ref"]).astype(object)
    found.busy.append(_frame({WHAT: ways.what[roads.row], NAME: called[roads.row]}, roads.shape))
    found.side.append(_rows(shapes.as_lines(ways.side), ways.what, tags))
    _say(found, where, "ways closed to walkers, not used", ways.shut, tags)
    _say(found, where, "ways for climbers, not used", ways.climb, tags)


def _take_starts(found: _Found, where: str, tags: Tags, shapes: Shapes) -> None:
    parking, refused = rules.parking(tags)
    for rows, word in ((parking, "parking"), (rules.trailheads(tags) & ~parking, "trailhead")):
        areas, lines = shapes.as_areas(rows)
        inside = Parts(shapely.point_on_surface(areas.shape), areas.row)
        halfway = Parts(shapely.line_interpolate_point(lines.shape, 0.5, normalized=True), lines.row)
        points = shapes.points.of(rows).with_(inside).with_(halfway)
        found.starts.append(_rows(points, np.full(len(tags), word, dtype=object), tags))
    _say(found, where, "parking that is not for everyone, not taken", refused, tags)


def _take_barriers(found: _Found, where: str, tags: Tags, shapes: Shapes) -> None:
    rows, what = rules.area_barriers(tags)
    areas, left = shapes.as_areas(rows)
    found.barriers += [_rows(areas, what, tags), _rows(left, what, tags)]
    lines, words = rules.line_barriers(tags)
    lines &= ~rows
    filled = lines & rules.outline_areas(tags)
    found.barriers += [
        _rows(shapes.areas.of(filled), words, tags),
        _rows(shapes.lines.of(filled), words, tags),
        _rows(shapes.as_lines(lines & ~filled), words, tags),
    ]
    found.buildings.append(shapes.as_areas(rules.buildings(tags))[0].shape)
    passed, shut, kinds = rules.openings(tags)
    # A gate may be drawn as the piece of line that it fills.
    gates = shapes.lines.of(passed & tags.has("barrier"))
    middles = Parts(shapely.line_interpolate_point(gates.shape, 0.5, normalized=True), gates.row)
    found.openings.append(_rows(shapes.points.of(passed).with_(middles), kinds, tags))
    _say(found, where, "gates that are locked or closed to walkers, not taken for openings", shut, tags)
    _say(found, where, "wetland, not taken for a barrier: look how wet it is", rules.wetland(tags), tags)


def _take_ground(found: _Found, where: str, tags: Tags, shapes: Shapes) -> None:
    rows, military, what = rules.closed_ground(tags)
    areas, left = shapes.as_areas(rows)
    found.closed.append(_rows(areas.of(military), what, tags))
    found.barriers.append(_rows(areas.of(military), what, tags))
    found.private.append(_rows(areas.of(~military), what, tags))
    open_lines = np.isin(np.arange(len(tags)), left.row) & military
    _say(found, where, "military ground drawn as a line that does not close, not taken", open_lines, tags)


def _take_unknown(found: _Found, layer: Layer, role: str, tags: Tags, shapes: Shapes, unknown: Mask) -> None:
    if not unknown.any() or layer.source.path.lower().endswith(OSM_SUFFIXES):
        return
    where, left, lines = layer.source.where, unknown.copy(), np.zeros(len(tags), dtype=bool)
    word = np.full(len(tags), "barrier" if role == "barriers" else "overhead line", dtype=object)
    lines[shapes.lines.row] = True
    if role == "barriers":
        lines[shapes.areas.row] = True
        found.barriers += [_rows(part.of(unknown), word, tags) for part in (shapes.lines, shapes.areas)]
    elif role == "hazards":
        found.power_lines.append(_rows(shapes.lines.of(unknown), word, tags))
    if role in ("barriers", "hazards"):
        left = unknown & ~lines
        taken = "barriers" if role == "barriers" else "overhead lines"
        _say(found, where, f"records without tags that are known, taken for {taken}", unknown & lines, tags)
    _say(found, where, "records without tags that are known, not used", left, tags)


def _say_of_files(found: _Found, layers: Sequence[Layer]) -> None:
    records: dict[str, int] = {}
    for layer in layers:
        records[layer.source.path] = records.get(layer.source.path, 0) + len(layer.frame)
    for path, count in records.items():
        if not count:
            found.notes.append(f"{path}: holds nothing near the places")
        elif not found.understood.get(path):
            found.notes.append(f"{path}: no record ({count}) has tags that are known; {_HINT}")


def _say(found: _Found, where: str, what: str, rows: Mask, tags: Tags) -> None:
    """A note that counts records and names some."""
    if not rows.any():
        return
    names = list(dict.fromkeys(str(name) for name in tags.names[rows] if name))
    listed = f" ({', '.join(names[:_NAMED])}{' and more' if len(names) > _NAMED else ''})" if names else ""
    found.notes.append(f"{where}: {what}: {int(rows.sum())}{listed}")


def _rows(parts: Parts, what: Texts, tags: Tags, uses: dict[str, Mask] | None = None) -> gpd.GeoDataFrame:
    columns: dict[str, Any] = {WHAT: what[parts.row], NAME: tags.names[parts.row]}
    columns |= {name: mask[parts.row] for name, mask in (uses or {}).items()}
    return _frame(columns, parts.shape)


def _frame(columns: dict[str, Any], shapes: Any) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=gpd.array.GeometryArray(shapes), crs="EPSG:4326")


def _joined(frames: Sequence[gpd.GeoDataFrame], uses: bool = False) -> gpd.GeoDataFrame:
    """One frame of many, of the right columns also where there are none."""
    kinds = {WHAT: object, NAME: object} | ({WALK: bool, DRIVE: bool, CROSSING: bool} if uses else {})
    columns = {
        name: np.concatenate([np.empty(0, kind), *(frame[name].to_numpy() for frame in frames)]).astype(kind)
        for name, kind in kinds.items()
    }
    shapes = [frame.geometry.to_numpy() for frame in frames]
    return _frame(columns, np.concatenate([np.empty(0, object), *shapes]).astype(object))


def _with_strips(private: gpd.GeoDataFrame, public: Sequence[Any]) -> gpd.GeoDataFrame:
    """Private ground as a barrier: ways that walkers are expressly let onto stay open through it."""
    lines = np.concatenate([np.empty(0, object), *public])
    shapes = private.geometry.to_numpy().copy()
    area, line = shapely.STRtree(lines).query(shapes, predicate="intersects")
    for row in np.unique(area).tolist():
        strips = shapely.union_all(shapely.buffer(lines[line[area == row]], _BESIDE_DEG, quad_segs=2))
        shapes[row] = shapely.difference(shapes[row], strips)
    parts, row = shapely.get_parts(shapes, return_index=True)
    return _frame({WHAT: private[WHAT].to_numpy()[row], NAME: private[NAME].to_numpy()[row]}, parts)
