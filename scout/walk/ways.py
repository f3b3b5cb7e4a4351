"""Access data becomes ways, starts and barriers, other schemas mapped to tags."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cautions import HAZARDS
from scout.errors import InputError
from scout.geo.geodesy import compute_degree_lengths
from scout.io.formats import OSM_SUFFIXES
from scout.model import (
    CROSSING,
    DRIVE,
    GEOMETRY,
    HAZARD,
    NAME,
    OPENING_HOURS,
    RECORD,
    WALK,
    WHAT,
    Layer,
    Surroundings,
)
from scout.table import Table
from scout.walk import tags as rules
from scout.walk.tags import Mask, Tags, Texts, collect_tags, convert_to_texts

_POINT, _LINE, _RING, _AREA = 0, 1, 2, 3  # GEOS's numbers of types


@dataclass(frozen=True, slots=True)
class ShapeParts(Table):
    """Single shapes and the records they come from."""

    shape: NDArray[np.object_]
    row: NDArray[np.int64]

    def of(self, rows: Mask) -> ShapeParts:
        """Return those of some records."""
        return self.take(rows[self.row])


class SplitShapes:
    """All parts of some geometries by dimension.

    Attributes
    ----------
    points, lines, areas : ShapeParts
        Lines have a length, areas are valid polygons with an area.
    repaired, lost : int
        Areas repaired; records without a shape that can be used.
    """

    def __init__(self, geometry: Any) -> None:
        shapes, row = shapely.get_parts(np.asarray(geometry, dtype=object), return_index=True)
        shapes, inner = shapely.get_parts(shapes, return_index=True)  # a collection may hold several
        every = ShapeParts(shapes, row[inner])
        kind = shapely.get_type_id(shapes)
        self.points = every.take((kind == _POINT) & ~shapely.is_empty(shapes))
        self.lines = every.take(np.isin(kind, (_LINE, _RING)) & (shapely.length(shapes) > 0))
        areas = every.take(kind == _AREA)
        broken = ~shapely.is_valid(areas.shape)
        self.areas = _repair_areas(areas)
        self.repaired = int(broken.sum())
        kept = np.concatenate([part.row for part in (self.points, self.lines, self.areas)])
        self.lost = len(geometry) - len(np.unique(kept))

    def as_lines(self, rows: Mask) -> ShapeParts:
        """Return lines of some records: their own, and the outlines of their areas."""
        areas = self.areas.of(rows)
        outlines, inner = shapely.get_parts(shapely.boundary(areas.shape), return_index=True)
        return ShapeParts.concat([self.lines.of(rows), ShapeParts(outlines, areas.row[inner])])

    def as_areas(self, rows: Mask) -> tuple[ShapeParts, ShapeParts]:
        """Return areas of some records, with lines that end where they start; and the lines left over."""
        lines = self.lines.of(rows)
        closed = shapely.is_closed(lines.shape) & (shapely.get_num_coordinates(lines.shape) >= 4)
        rings = shapely.get_coordinates(lines.shape[closed])
        counts = shapely.get_num_coordinates(lines.shape[closed])
        made = shapely.polygons(shapely.linearrings(rings, indices=np.repeat(np.arange(len(counts)), counts)))
        rings_made = _repair_areas(ShapeParts(np.atleast_1d(made), lines.row[closed]))
        return ShapeParts.concat([self.areas.of(rows), rings_made]), lines.take(~closed)


def _repair_areas(areas: ShapeParts) -> ShapeParts:
    """Areas made valid, in single polygons; what has no area is left out."""
    broken = ~shapely.is_valid(areas.shape)
    if broken.any():
        repaired = areas.shape.copy()
        repaired[broken] = shapely.make_valid(areas.shape[broken], method="structure", keep_collapsed=False)
        shapes, inner = shapely.get_parts(repaired, return_index=True)
        areas = ShapeParts(shapes, areas.row[inner])
    return areas.take((shapely.get_type_id(areas.shape) == _AREA) & (shapely.area(areas.shape) > 0))


# Other schemas in OpenStreetMap's words: columns of a file to tags, as the outing file maps them.
@dataclass(frozen=True)
class TagMapping:
    """How the records of one file are to be read.

    ``values`` gives the tags for each text of ``column``, such as ``{"Trail": "highway=path"}``; ``all``
    gives those of every record. Several tags are parted by semicolons.
    """

    file: str
    layer: str | None = None
    column: str | None = None
    values: Mapping[str, str] = field(default_factory=dict)
    all: str | None = None

    def meets(self, layer: Layer) -> bool:
        """Return whether it is about this layer."""
        named, path = (text.replace("\\", "/") for text in (self.file, layer.source.path))
        same = path == named or path.endswith("/" + named.removeprefix("./"))
        return same and self.layer in (None, layer.source.layer)


def apply_readings(layer: Layer, readings: Sequence[TagMapping]) -> tuple[dict[str, Texts], list[str]]:
    """Tags for the records of a layer, empty where a reading says nothing, and notes.

    Raises
    ------
    InputError
        A text that is no tag.
    """
    tags: dict[str, Texts] = {}
    notes: list[str] = []
    for reading in readings:
        if not reading.meets(layer):
            continue
        if reading.all:
            _put_tags(tags, reading, reading.all, np.ones(len(layer.frame), dtype=bool))
        if reading.column is None:
            continue
        if reading.column not in _list_columns(layer):
            notes.append(_describe_missing_column(layer, reading.column))
            continue
        texts = convert_to_texts(layer.frame[reading.column])
        for value, words in reading.values.items():
            _put_tags(tags, reading, words, texts == " ".join(str(value).split()))
        left = sorted(
            {str(text) for text in texts} - {" ".join(str(v).split()) for v in reading.values} - {""}
        )
        if left:
            listed = ", ".join(map(repr, left[:5])) + (" and more" if len(left) > 5 else "")
            notes.append(
                f"{layer.source.where}: [[tags]] say nothing of these values of {reading.column}: {listed}"
            )
    return tags, notes


def list_unused(layers: Sequence[Layer], readings: Sequence[TagMapping]) -> list[str]:
    """Notes on readings that fit no layer."""
    named = [
        f"{one.file} (layer {one.layer})" if one.layer else one.file
        for one in readings
        if not any(one.meets(layer) for layer in layers)
    ]
    return [f"{name}: named in [[tags]], but nothing of it was read" for name in named]


def _list_columns(layer: Layer) -> list[Any]:
    return [column for column in layer.frame.columns if column not in (GEOMETRY, RECORD)]


def _describe_missing_column(layer: Layer, column: str) -> str:
    names = [str(name) for name in _list_columns(layer)]
    near = difflib.get_close_matches(column, names, 1)
    hint = f"did you mean {near[0]!r}?" if near else f"its columns are: {', '.join(names) or 'none'}"
    return f"{layer.source.where}: has no column {column!r}, named in [[tags]]; {hint}"


def _put_tags(tags: dict[str, Texts], reading: TagMapping, words: str, rows: Any) -> None:
    for word in words.split(";"):
        key, equals, value = (part.strip() for part in word.partition("="))
        if not (key and equals and value):
            where, what = f"[[tags]] of {reading.file}", f"{word.strip()!r} is no tag"
            raise InputError(where, what, "write key=value, as in highway=path")
        column = tags.setdefault(key.lower(), np.full(len(rows), "", dtype=object))
        column[rows] = value


# What records mean to each other: tracks that leave busy roads, buildings around the places of cars.
_JOINED_DEG = 2e-5  # about 2 m: ways that meet share a point in OpenStreetMap, not in every schema
_MOUTH_M = 15.0  # of a track, where a car stands off the road


def find_mouths(side: gpd.GeoDataFrame, busy: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The first metres of side ways where they leave busy roads, as ways along which a car may stop.

    Parameters
    ----------
    side, busy : GeoDataFrame
        Lines with their names.

    Returns
    -------
    GeoDataFrame
        With the columns of ways; each bears the name of the road it leaves.
    """
    lines, roads = side.geometry.to_numpy(), busy.geometry.to_numpy()
    line, road = shapely.STRtree(roads).query(lines, "dwithin", _JOINED_DEG)
    points, pair = shapely.get_coordinates(lines[line], return_index=True)
    at = np.flatnonzero(shapely.dwithin(shapely.points(points), roads[road[pair]], _JOINED_DEG))
    shapes: list[Any] = []
    rows: list[int] = []
    for step in (-1, 1):
        other = at + step
        inside = (other >= 0) & (other < len(pair))
        here, there = at[inside], other[inside]
        here, there = here[pair[here] == pair[there]], there[pair[here] == pair[there]]
        shapes += list(_take_first_metres(points[here], points[there]))
        rows += road[pair[here]].tolist()
    names: Texts = busy[NAME].to_numpy(dtype=object)[rows]
    yes, no = np.ones(len(rows), dtype=bool), np.zeros(len(rows), dtype=bool)
    columns = {
        WHAT: np.full(len(rows), "track", dtype=object),
        NAME: names,
        WALK: yes,
        DRIVE: yes,
        CROSSING: no,
    }
    return gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:4326")


def _take_first_metres(here: Any, there: Any) -> Any:
    east, north = compute_degree_lengths(here[:, 1])
    along = there - here
    metres = np.maximum(np.hypot(along[:, 0] * east, along[:, 1] * north), 1e-6)
    ends = here + along * np.minimum(_MOUTH_M / metres, 1.0)[:, None]
    return shapely.linestrings(np.stack([here, ends], axis=1))


def build_walls(buildings: Any, starts: Any) -> Any:
    """Buildings but those that hold a place where walks start: a car park has a way out."""
    has_start = np.zeros(len(buildings), dtype=bool)
    has_start[shapely.STRtree(buildings).query(starts, predicate="intersects")[1]] = True
    return buildings[~has_start]


# Access data as read becomes surroundings: its tags are understood, its shapes made what they stand for.
_BESIDE_DEG = 2e-5  # about 2 m: the strip that a public way keeps open through private ground
_NAMED = 3  # names that a note gives
_USES = {WALK: bool, DRIVE: bool, CROSSING: bool}
_HINT = "say what they are with [[tags]] in the outing file"


class TaggedLayers(NamedTuple):
    """Layers and the option they were given under: access, barriers or hazards."""

    layers: Sequence[Layer]
    role: str


def classify_access(tagged: Sequence[TaggedLayers], readings: Sequence[TagMapping] = ()) -> Surroundings:
    """Understand access data.

    Everything is taken from every file, whatever it was given as. What its tags leave unsaid follows from the
    option: in a barriers file it is a barrier, in a hazards file a line is an overhead line.

    Parameters
    ----------
    tagged : sequence of TaggedLayers
        As `scout.walk.read.read_tagged` gives them; a file may stand in several.
    readings : sequence of TagMapping
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
    found = _ClassifiedRows()
    for key, layer in layers.items():
        # A file given as several things is an extract of everything: what it leaves unsaid is nothing.
        _classify_layer(found, layer, roles[key].pop() if len(roles[key]) == 1 else "access", readings)
    found.notes += list_unused(list(layers.values()), readings)
    _note_files(found, list(layers.values()))
    return found.join(tuple(layer.source for layer in layers.values()))


@dataclass
class _ClassifiedRows:
    """Rows of the frames to be, and what is to be said."""

    ways: list[gpd.GeoDataFrame] = field(default_factory=list)
    starts: list[gpd.GeoDataFrame] = field(default_factory=list)
    barriers: list[gpd.GeoDataFrame] = field(default_factory=list)
    openings: list[gpd.GeoDataFrame] = field(default_factory=list)
    hazards: list[gpd.GeoDataFrame] = field(default_factory=list)
    private: list[gpd.GeoDataFrame] = field(default_factory=list)  # closed, but not to expressly public ways
    public: list[Any] = field(default_factory=list)  # lines of those
    buildings: list[Any] = field(default_factory=list)  # arrays of polygons
    busy: list[gpd.GeoDataFrame] = field(default_factory=list)  # roads none may stop on
    side: list[gpd.GeoDataFrame] = field(
        default_factory=list
    )  # ways with room for a car where they join those
    landmarks: list[gpd.GeoDataFrame] = field(default_factory=list)
    understood: dict[str, int] = field(default_factory=dict)  # records per file
    notes: list[str] = field(default_factory=list)

    def join(self, sources: tuple[Any, ...]) -> Surroundings:
        private, busy = _join_frames(self.private), _join_frames(self.busy)
        starts, ways = (
            _join_frames(self.starts, {OPENING_HOURS: object}),
            _join_frames([*self.ways, find_mouths(_join_frames(self.side), busy)], _USES),
        )
        if sources and not len(starts) and not ways[DRIVE].any():
            self.notes.append("the access data holds no parking and no drivable road near the places")
        return Surroundings(
            ways,
            starts,
            _join_frames([*self.barriers, _open_strips(private, self.public)]),
            _join_frames(self.openings),
            _join_frames([*self.hazards, private.assign(**{HAZARD: "closed"})], {HAZARD: object}),
            sources,
            tuple(dict.fromkeys(self.notes)),
            build_walls(np.concatenate([np.empty(0, object), *self.buildings]), starts.geometry.to_numpy()),
            busy.geometry.to_numpy(),
            busy[NAME].tolist(),
            _join_frames(self.landmarks),
        )


def _classify_layer(found: _ClassifiedRows, layer: Layer, role: str, readings: Sequence[TagMapping]) -> None:
    where = layer.source.where
    more, notes = apply_readings(layer, readings)
    tags, shapes = collect_tags(layer.frame, more), SplitShapes(layer.frame.geometry.to_numpy())
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
    _classify_ways(found, where, tags, shapes)
    _classify_starts(found, where, tags, shapes)
    _classify_barriers(found, where, tags, shapes)
    _classify_ground(found, where, tags, shapes)
    _classify_hazards(found, tags, shapes)
    _classify_landmarks(found, tags, shapes)
    _note_unknown(found, layer, role, tags, shapes, ~known)


def _classify_ways(found: _ClassifiedRows, where: str, tags: Tags, shapes: SplitShapes) -> None:
    ways = rules.select_ways(tags)
    lines = shapes.as_lines(ways.way)
    uses = {WALK: ways.walk, DRIVE: ways.drive, CROSSING: ways.crossing}
    found.ways.append(_make_rows(lines, ways.what, tags, uses))
    found.public.append(shapes.as_lines(ways.walk & tags.foot_open).shape)
    roads = shapes.as_lines(ways.busy)
    called = np.where(tags.names != "", tags.names, tags["ref"]).astype(object)
    found.busy.append(_make_frame({WHAT: ways.what[roads.row], NAME: called[roads.row]}, roads.shape))
    found.side.append(_make_rows(shapes.as_lines(ways.side), ways.what, tags))
    _note_records(found, where, "ways closed to walkers, not used", ways.shut, tags)
    _note_records(found, where, "ways for climbers, not used", ways.climb, tags)


def _classify_starts(found: _ClassifiedRows, where: str, tags: Tags, shapes: SplitShapes) -> None:
    parking, refused = rules.select_parking(tags)
    for rows, word in ((parking, "parking"), (rules.select_trailheads(tags) & ~parking, "trailhead")):
        areas, lines = shapes.as_areas(rows)
        inside = ShapeParts(shapely.point_on_surface(areas.shape), areas.row)
        halfway = ShapeParts(shapely.line_interpolate_point(lines.shape, 0.5, normalized=True), lines.row)
        points = ShapeParts.concat([shapes.points.of(rows), inside, halfway])
        hours = {OPENING_HOURS: tags[OPENING_HOURS]}
        found.starts.append(_make_rows(points, np.full(len(tags), word, dtype=object), tags, hours))
    _note_records(found, where, "parking that is not for everyone, not taken", refused, tags)


def _classify_barriers(found: _ClassifiedRows, where: str, tags: Tags, shapes: SplitShapes) -> None:
    rows, what = rules.select_area_barriers(tags)
    areas, left = shapes.as_areas(rows)
    found.barriers += [_make_rows(areas, what, tags), _make_rows(left, what, tags)]
    lines, words = rules.select_line_barriers(tags)
    lines &= ~rows
    filled = lines & rules.select_outline_areas(tags)
    found.barriers += [
        _make_rows(shapes.areas.of(filled), words, tags),
        _make_rows(shapes.lines.of(filled), words, tags),
        _make_rows(shapes.as_lines(lines & ~filled), words, tags),
    ]
    found.buildings.append(shapes.as_areas(rules.select_buildings(tags))[0].shape)
    passed, shut, kinds = rules.select_openings(tags)
    # A gate may be drawn as the piece of line that it fills.
    gates = shapes.lines.of(passed & tags.has("barrier"))
    middles = ShapeParts(shapely.line_interpolate_point(gates.shape, 0.5, normalized=True), gates.row)
    found.openings.append(_make_rows(ShapeParts.concat([shapes.points.of(passed), middles]), kinds, tags))
    _note_records(
        found, where, "gates that are locked or closed to walkers, not taken for openings", shut, tags
    )
    _note_records(
        found, where, "wetland, not taken for a barrier: look how wet it is", rules.select_wetland(tags), tags
    )


def _classify_hazards(found: _ClassifiedRows, tags: Tags, shapes: SplitShapes) -> None:
    linear = {kind.key for kind in HAZARDS if kind.linear}
    for key, rows, what in rules.select_hazards(tags):
        parts = [shapes.as_lines(rows)] if key in linear else list(shapes.as_areas(rows))
        found.hazards += [_make_hazards(part, what, tags, key) for part in parts]


def _classify_landmarks(found: _ClassifiedRows, tags: Tags, shapes: SplitShapes) -> None:
    woods, places, what = rules.select_landmarks(tags)
    found.landmarks += [
        _make_rows(shapes.as_areas(woods)[0], what, tags),
        _make_rows(shapes.points.of(places), what, tags),
    ]


def _classify_ground(found: _ClassifiedRows, where: str, tags: Tags, shapes: SplitShapes) -> None:
    rows, military, what = rules.select_closed_ground(tags)
    areas, left = shapes.as_areas(rows)
    found.hazards.append(_make_hazards(areas.of(military), what, tags, "closed"))
    found.barriers.append(_make_rows(areas.of(military), what, tags))
    found.private.append(_make_rows(areas.of(~military), what, tags))
    open_lines = np.isin(np.arange(len(tags)), left.row) & military
    _note_records(
        found, where, "military ground drawn as a line that does not close, not taken", open_lines, tags
    )


def _note_unknown(
    found: _ClassifiedRows, layer: Layer, role: str, tags: Tags, shapes: SplitShapes, unknown: Mask
) -> None:
    if not unknown.any() or layer.source.path.lower().endswith(OSM_SUFFIXES):
        return
    where, left, lines = layer.source.where, unknown.copy(), np.zeros(len(tags), dtype=bool)
    word = np.full(len(tags), "barrier" if role == "barriers" else "overhead line", dtype=object)
    lines[shapes.lines.row] = True
    if role == "barriers":
        lines[shapes.areas.row] = True
        found.barriers += [_make_rows(part.of(unknown), word, tags) for part in (shapes.lines, shapes.areas)]
    elif role == "hazards":
        found.hazards.append(_make_hazards(shapes.lines.of(unknown), word, tags, "power"))
    if role in ("barriers", "hazards"):
        left = unknown & ~lines
        taken = "barriers" if role == "barriers" else "overhead lines"
        _note_records(
            found, where, f"records without tags that are known, taken for {taken}", unknown & lines, tags
        )
    _note_records(found, where, "records without tags that are known, not used", left, tags)


def _note_files(found: _ClassifiedRows, layers: Sequence[Layer]) -> None:
    records: dict[str, int] = {}
    for layer in layers:
        records[layer.source.path] = records.get(layer.source.path, 0) + len(layer.frame)
    for path, count in records.items():
        if not count:
            found.notes.append(f"{path}: holds nothing near the places")
        elif not found.understood.get(path):
            found.notes.append(f"{path}: no record ({count}) has tags that are known; {_HINT}")


def _note_records(found: _ClassifiedRows, where: str, what: str, rows: Mask, tags: Tags) -> None:
    """A note that counts records and names some."""
    if not rows.any():
        return
    names = list(dict.fromkeys(str(name) for name in tags.names[rows] if name))
    listed = f" ({', '.join(names[:_NAMED])}{' and more' if len(names) > _NAMED else ''})" if names else ""
    found.notes.append(f"{where}: {what}: {int(rows.sum())}{listed}")


def _make_rows(
    parts: ShapeParts, what: Texts, tags: Tags, more: Mapping[str, NDArray[Any]] | None = None
) -> gpd.GeoDataFrame:
    """A frame of parts; ``more`` are columns by record."""
    columns: dict[str, Any] = {WHAT: what[parts.row], NAME: tags.names[parts.row]}
    columns |= {name: column[parts.row] for name, column in (more or {}).items()}
    return _make_frame(columns, parts.shape)


def _make_hazards(parts: ShapeParts, what: Texts, tags: Tags, key: str) -> gpd.GeoDataFrame:
    return _make_rows(parts, what, tags, {HAZARD: np.full(len(tags), key, dtype=object)})


def _make_frame(columns: dict[str, Any], shapes: Any) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=gpd.array.GeometryArray(shapes), crs="EPSG:4326")


def _join_frames(
    frames: Sequence[gpd.GeoDataFrame], more: Mapping[str, type] | None = None
) -> gpd.GeoDataFrame:
    """Join frames, with the right columns also where there are none; ``more`` are beside what and name."""
    kinds: dict[str, type] = {WHAT: object, NAME: object, **(more or {})}
    columns: dict[str, Any] = {
        name: np.concatenate([np.empty(0, kind), *(frame[name].to_numpy() for frame in frames)]).astype(kind)
        for name, kind in kinds.items()
    }
    shapes = [frame.geometry.to_numpy() for frame in frames]
    return _make_frame(columns, np.concatenate([np.empty(0, object), *shapes]).astype(object))


def _open_strips(private: gpd.GeoDataFrame, public: Sequence[Any]) -> gpd.GeoDataFrame:
    """Private ground as a barrier: ways that walkers are expressly let onto stay open through it."""
    lines = np.concatenate([np.empty(0, object), *public])
    shapes = private.geometry.to_numpy().copy()
    area, line = shapely.STRtree(lines).query(shapes, predicate="intersects")
    for row in np.unique(area).tolist():
        strips = shapely.union_all(shapely.buffer(lines[line[area == row]], _BESIDE_DEG, quad_segs=2))
        shapes[row] = shapely.difference(shapes[row], strips)
    parts, row = shapely.get_parts(shapes, return_index=True)
    return _make_frame({WHAT: private[WHAT].to_numpy()[row], NAME: private[NAME].to_numpy()[row]}, parts)
