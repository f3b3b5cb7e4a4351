"""OpenStreetMap data through pyosmium: parks, or what lies around spots, from extracts of any size.

Nodes are kept as places on disk, ways and relations are sifted by their tags in C++, and only what is wanted
comes to Python. Relations are put together by libosmium's assembler.
"""

from __future__ import annotations

import math
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple, TypeAlias

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.errors import InputError
from scout.geo.antimeridian import Box
from scout.io.crs import TURNS, meets_boxes, merge_boxes_to_few
from scout.io.packed import check_texts
from scout.io.park_tags import ParkRecord, judge_park, list_park_tags
from scout.model import Credit

# As openstreetmap.org/copyright asks for.
OSM_CREDIT = Credit((), "© OpenStreetMap contributors", "ODbL 1.0, openstreetmap.org/copyright")
NODES, WAYS, RELATIONS = "nodes", "ways", "relations"  # layers; record numbers are ids
ENTRY = "entry"  # column of parks: "restricted" where their tags say so
PARK = "park_id"  # column of parks: type and id, such as way/12

Boxes: TypeAlias = Sequence[Box] | None

_AREAS = (("type", "multipolygon"), ("type", "boundary"))  # relations that stand for an area
_NOT_TELLING = frozenset(("name", "ref", "layer", "area"))  # keys by themselves no reason to read a relation
_LINE, _LINES = 1, 5  # GEOS's numbers of types
_SHOWN = 5  # names in a line
_REACH_M = 2000.0  # no building is so large that it is near a place and has no corner this near
_PER_DEG = 50  # cells of a degree
_SMALL_M = 250.0  # along its outline: what is smaller is looked for in finer cells
_FINEST_PER_DEG, _FINE_CELLS = 500, 50_000_000  # of them in a degree, and about in all
_NEGATIVE = 20_000_000_000  # ids below zero, of editors, are moved above all others
_NEGATIVE_ID = re.compile(rb"""(\s(?:id|ref)=["'])-(\d{1,9})(?=["'])""")
_PLACE = np.dtype([("id", "<u8"), ("x", "<i4"), ("y", "<i4")])  # as libosmium keeps places of nodes
_SCALE = 1e7  # of its coordinates
_PLACES_TIMES = 8  # a place takes 16 bytes, a node in a file two at the least
_AT_ONCE = 2**22  # places looked at together
_METRES_PER_DEG = 110_000.0  # of latitude, a little short


class OsmRecords(NamedTuple):
    """Records of one type: ids, columns of tags and geometries."""

    numbers: NDArray[np.int64]
    table: pd.DataFrame
    shapes: NDArray[np.object_]
    told: Sequence[str] = ()  # what is to be said of them


class WantedThings(NamedTuple):
    """What is wanted of OpenStreetMap data: all with one of some tags or, without ``keys``, the parks."""

    keys: frozenset[str] = frozenset()
    forests: bool = False  # are parks too
    # By layer, keys of which a thing needs one; layers not named are left. Else any of `keys` will do.
    telling: Mapping[str, frozenset[str]] | None = None

    @property
    def layers(self) -> tuple[str, ...]:
        """What is read."""
        return (NODES, WAYS, RELATIONS) if self.keys else (WAYS, RELATIONS)

    def list_telling(self, layer: str) -> list[str]:
        """Return the keys of which a thing of a layer needs one."""
        if self.telling is not None:
            return sorted(self.telling.get(layer, ()))
        return sorted(self.keys - {"name"} - (_NOT_TELLING if layer == RELATIONS else frozenset()))


@dataclass
class Extract:
    """A file of OpenStreetMap data, or its text, and what is wanted; read once for all of its layers."""

    name: str  # the file as the user named it
    content: Path | bytes
    wanted: WantedThings
    _read: dict[Any, dict[str, OsmRecords]] = field(default_factory=dict)

    def read_all(self, boxes: Boxes) -> dict[str, OsmRecords]:
        """Records by type; with ``boxes`` of those that are far from them most are left out.

        Raises
        ------
        InputError
            It is damaged, or holds nothing that is wanted.
        """
        key = None if boxes is None else tuple(boxes)
        if key not in self._read:
            self._read.clear()
            if isinstance(self.content, Path) and self.content.suffix.lower() == ".pbf":
                check_texts(self.name, self.content)
            try:
                with _open_passes(self.name, self.content) as passes:
                    found = _read_wanted(passes, self.wanted, boxes)
            except (RuntimeError, ValueError, LookupError, ArithmeticError) as error:
                # What pyosmium makes of libosmium's exceptions over ids, numbers and texts.
                why = " ".join(str(error).split())[:200] or type(error).__name__
                raise InputError(self.name, f"cannot be read ({why})", "download it again") from error
            self._read[key] = found
        return self._read[key]


def check_installed(name: str) -> None:
    """See that pyosmium is there.

    Raises
    ------
    InputError
    """
    try:
        import osmium  # noqa: F401
    except ImportError:
        remedy = "install it with: pip install 'lattice-scout[osm]'"
        raise InputError(name, "OpenStreetMap data needs pyosmium", remedy) from None


def has_negative_ids(content: Any) -> bool:
    """Whether the text of an XML file has ids below zero, as editors write them."""
    return _NEGATIVE_ID.search(content) is not None


def raise_negative_ids(content: bytes) -> bytes:
    """The text of an XML file with ids below zero made large ones: libosmium finds no nodes by them.

    Examples
    --------
    >>> raise_negative_ids(b'<nd ref="-7"/>')
    b'<nd ref="20000000007"/>'
    """
    return _NEGATIVE_ID.sub(lambda met: met[1] + str(_NEGATIVE + int(met[2])).encode(), content)


def _restore_id(number: int) -> int:
    return _NEGATIVE - number if number > _NEGATIVE else number


# Passes through a file, each over one type of things.
@dataclass
class _Passes:
    """Passes through one file: relations, then nodes, then ways as often as needed."""

    name: str  # of the file, as the user named it
    osmium: Any
    source: Any  # what a reader takes
    factory: Any  # makes well-known binaries
    places: Any  # handler that keeps the places of nodes and gives them to ways
    places_file: Path
    areas: Any  # puts areas together

    def _open(self, types: Any) -> Any:
        return self.osmium.io.Reader(self.source, types)

    def read_relations(self, *filters: Any) -> Iterator[Any]:
        """Relations that stand for an area and pass the filters; their areas will be put together."""
        wanted = self.osmium.filter.TagFilter(*_AREAS)
        with self._open(self.osmium.osm.RELATION) as reader:
            yield from self.osmium.OsmFileIterator(reader, wanted, *filters, self.areas.first_pass_handler())

    def read_nodes(self, *filters: Any) -> Iterator[Any]:
        """Nodes that pass the filters; the places of all are kept."""
        with self._open(self.osmium.osm.NODE) as reader:
            if filters:
                yield from self.osmium.OsmFileIterator(reader, self.places, *filters)
            else:
                self.osmium.apply(reader, self.places)

    def read_ways(self, *filters: Any) -> Iterator[Any]:
        """Ways that pass the filters, with the places of their nodes."""
        with self._open(self.osmium.osm.WAY) as reader:
            # The places last: they are looked up for the ways that pass alone.
            yield from self.osmium.OsmFileIterator(reader, *filters, self.places)

    def assemble(self, relations: Mapping[int, _Relation]) -> dict[int, Any]:
        """Areas of relations as well-known binaries; those that cannot be put together are not there."""
        members = {way for one in relations.values() for way, _ in one.members}
        found: dict[int, Any] = {}
        factory = self.factory

        class Taker:
            def area(self, area: Any) -> None:
                if not area.from_way() and area.orig_id() in relations and area.num_rings()[0]:
                    found[area.orig_id()] = factory.create_multipolygon(area)

        if members:
            handler = self.areas.second_pass_handler(Taker())
            with self._open(self.osmium.osm.WAY) as reader:
                wanted = self.osmium.filter.IdFilter(sorted(members))
                self.osmium.apply(reader, wanted, self.places, handler)
        return found

    def read_members(
        self, relations: Mapping[int, _Relation], draw_cut: Callable[[Any], Any] = lambda _: None
    ) -> dict[int, Any]:
        """Lines of the ways of some relations that are in the file; ``draw_cut`` draws those that are cut."""
        members = {way for one in relations.values() for way, _ in one.members}
        if not members:
            return {}
        ways = self.read_ways(self.osmium.filter.IdFilter(sorted(members)))
        return {way.id: self.draw_line(way) or draw_cut(way) for way in ways}

    def draw_line(self, way: Any) -> str | None:
        """Line along the nodes of a way; None where one of them is not in the file, or there is no line."""
        try:
            line: str = self.factory.create_linestring(way)
            return line
        except (self.osmium.InvalidLocationError, RuntimeError):  # of one place only
            return None

    def track_nodes(self, near: _NearBoxes) -> Any:
        """Filter for ways that have a node near some boxes."""
        tracker = self.osmium.IdTracker()
        places = np.memmap(self.places_file, dtype=_PLACE, mode="r")
        for first in range(0, len(places), _AT_ONCE):
            some = places[first : first + _AT_ONCE]
            there = near.has_places(some["x"] / _SCALE, some["y"] / _SCALE) & (some["id"] > 0)
            for number in some["id"][there].tolist():
                tracker.add_node(number)
        return tracker.contains_filter()


@contextmanager
def _open_passes(name: str, content: Path | bytes) -> Iterator[_Passes]:
    import osmium

    source: Any
    if isinstance(content, bytes):
        source = osmium.io.FileBuffer(content, "osm")
    else:
        source = osmium.io.File(str(content))
    _check_room(name, content)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        file = Path(folder) / "places"
        table = osmium.index.create_map(f"sparse_file_array,{file}")
        handler = osmium.NodeLocationsForWays(table)
        handler.ignore_errors()  # nodes that are not in the file: looked at way by way
        factory, areas = osmium.geom.WKBFactory(), osmium.area.AreaManager()
        try:
            yield _Passes(name, osmium, source, factory, handler, file, areas)
        except osmium.InvalidLocationError as error:
            raise RuntimeError(str(error)) from error
        finally:
            del table, handler  # which hold the file


def _check_room(name: str, content: Path | bytes) -> None:
    """See that the places of all nodes find room: libosmium maps their file, and a full disk would end us."""
    size = len(content) if isinstance(content, bytes) else _PLACES_TIMES * content.stat().st_size
    if shutil.disk_usage(tempfile.gettempdir()).free < size:
        what = f"there is no room on the disk for the places of its nodes ({size / 1e9:.1f} GB)"
        raise InputError(name, what, "free some, or let TMPDIR name a folder with more")


class _Relation(NamedTuple):
    tags: Mapping[str, str]
    members: tuple[tuple[int, str], ...]  # ways with their roles


def _take_relation(relation: Any, tags: Mapping[str, str]) -> _Relation:
    return _Relation(tags, tuple((one.ref, one.role) for one in relation.members if one.type == "w"))


# Parks.
@dataclass
class _FoundParks:
    """Parks of one type, and what was left out."""

    ids: list[int] = field(default_factory=list)
    parks: list[ParkRecord] = field(default_factory=list)
    shapes: list[Any] = field(default_factory=list)

    def add(self, number: int, park: ParkRecord, shape: Any) -> None:
        self.ids.append(number)
        self.parks.append(park)
        self.shapes.append(shape)

    def make_records(self, kind: str) -> OsmRecords:
        """Return them as records, in order of their ids."""
        ids = np.array([_restore_id(number) for number in self.ids], dtype=np.int64)
        order = np.argsort(ids, kind="stable")
        columns: dict[str, Any] = {
            PARK: np.array([f"{kind}/{number}" for number in ids.tolist()], dtype=object),
            "name": np.array([one.name for one in self.parks], dtype=object),
            "kind": np.array([one.kind for one in self.parks], dtype=object),
            ENTRY: np.array([one.access for one in self.parks], dtype=object),
            **_make_columns([one.columns for one in self.parks]),
        }
        shapes = _make_shapes(self.shapes, np.ones(len(ids), dtype=bool))
        return OsmRecords(ids[order], pd.DataFrame(columns).iloc[order].reset_index(drop=True), shapes[order])


def _make_shapes(drawn: Sequence[Any], filled: NDArray[np.bool_]) -> NDArray[np.object_]:
    """Geometries of well-known binaries; closed lines that are ``filled`` become areas."""
    # GEOS takes six times as long over digits, as which pyosmium gives them.
    binary = [bytes.fromhex(one) if isinstance(one, str) else one for one in drawn]
    shapes: NDArray[np.object_] = np.asarray(shapely.from_wkb(np.array(binary, dtype=object)), dtype=object)
    rings = np.flatnonzero(filled & (shapely.get_type_id(shapes) == _LINE) & shapely.is_closed(shapes))
    rings = rings[shapely.get_num_points(shapes[rings]) > 3]
    points, ring = shapely.get_coordinates(shapes[rings], return_index=True)
    if len(rings):
        shapes[rings] = shapely.polygons(shapely.linearrings(points, indices=ring))
    return shapes


def _make_columns(rows: Sequence[Mapping[str, str]]) -> dict[str, Any]:
    """A column for each key there is, None where a row has none."""
    found: dict[str, Any] = {}
    for row, tags in enumerate(rows):
        for key, value in tags.items():
            if key not in found:
                found[key] = np.full(len(rows), None, dtype=object)
            found[key][row] = value
    return dict(sorted(found.items()))


def _read_parks(passes: _Passes, forests: bool) -> dict[str, OsmRecords]:
    """Parks that ways and relations are; what is left out is warned of."""
    wanted = passes.osmium.filter.TagFilter(*list_park_tags(forests))
    relations, told = {}, {}
    for one in passes.read_relations(wanted):
        tags = dict(one.tags)
        park = judge_park(tags, forests)
        if park is not None:
            relations[one.id], told[one.id] = _take_relation(one, tags), park
    left = _OmittedThings()
    list(passes.read_nodes())
    ways = _read_way_parks(passes, wanted, forests, relations, told, left)
    areas, found = passes.assemble(relations), _FoundParks()
    for number, park in told.items():
        if number not in areas:
            continue
        left.note(park, f"relation/{_restore_id(number)}")
        if park.access != "closed":
            found.add(number, park, areas[number])
    _explain_relations(passes, {n: relations[n] for n in relations if n not in areas}, told, left)
    lines = list(left.list_lines())
    if not ways.ids and not found.ids:
        known = ", ".join(f"{key}={value}" for key, value in list_park_tags(forests))
        what = "; ".join([f"holds no parks by its tags ({known})", *lines])
        raise InputError(passes.name, what, "name a file of park boundaries")
    by_way, by_relation = ways.make_records("way"), found.make_records("relation")
    if len(ways.ids):
        return {WAYS: by_way._replace(told=lines), RELATIONS: by_relation}
    return {WAYS: by_way, RELATIONS: by_relation._replace(told=lines)}


def _read_way_parks(
    passes: _Passes,
    wanted: Any,
    forests: bool,
    relations: Mapping[int, _Relation],
    told: Mapping[int, ParkRecord],
    left: _OmittedThings,
) -> _FoundParks:
    outlines = {
        way: told[number].name
        for number, one in relations.items()
        for way, role in one.members
        if role != "inner"
    }
    found = _FoundParks()
    for way in passes.read_ways(wanted):
        tags = dict(way.tags)
        park = judge_park(tags, forests)
        if park is None:
            continue
        if way.id in outlines and park.name in ("", outlines[way.id]):
            continue  # the outline of a relation that is this park
        label = f"way/{_restore_id(way.id)}"
        if tags.get("area") == "no" or not way.is_closed() or len(way.nodes) < 4:
            left.lines += 1
            continue
        line = passes.draw_line(way)
        if line is None:
            left.cut.append(_name_park(park, label))
            continue
        left.note(park, label)
        if park.access != "closed":
            found.add(way.id, park, line)
    return found


def _explain_relations(
    passes: _Passes,
    relations: Mapping[int, _Relation],
    told: Mapping[int, ParkRecord],
    left: _OmittedThings,
) -> None:
    """Note why no area could be made of some relations."""
    there = passes.read_members(relations)
    for number, one in relations.items():
        label = _name_park(told[number], f"relation/{_restore_id(number)}")
        here = [way for way, _ in one.members if way in there]
        if len(here) < len(one.members) or any(there[way] is None for way in here):
            if here:  # else all of it lies elsewhere
                left.cut.append(label)
        else:
            left.broken.append(label)


@dataclass
class _OmittedThings:
    """Things with the tags of a park that are left out, and parks to be told of."""

    closed: list[str] = field(default_factory=list)
    restricted: list[str] = field(default_factory=list)
    cut: list[str] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
    lines: int = 0

    def note(self, park: ParkRecord, label: str) -> None:
        """Note who may enter."""
        if park.access == "closed":
            self.closed.append(_name_park(park, label))
        elif park.access == "restricted":
            self.restricted.append(_name_park(park, label))

    def list_lines(self) -> Iterator[str]:
        """What is to be said."""
        for what, names in (
            ("cut at the edge of the data, so that their inside is not known, and left out", self.cut),
            ("outlines that do not close or cross themselves, left out", self.broken),
            ("closed to the public by their tags (access=no, private), left out", self.closed),
            ("with restricted access (such as access=permit), taken: ask before you go", self.restricted),
        ):
            if names:
                yield f"parks {what}: {len(names):,} ({_list_some(names)})"
        if self.lines:
            yield f"lines with the tags of a park, left out: {self.lines:,}"


def _name_park(park: ParkRecord, label: str) -> str:
    return f"{park.name}, {label}" if park.name else label


def _list_some(names: Sequence[str]) -> str:
    return "; ".join(names[:_SHOWN]) + ("; and more" if len(names) > _SHOWN else "")


# What lies around places: everything with one of some tags.
class _CellsAround:
    """Cells of a grid over the globe that lie within reach of some boxes."""

    def __init__(self, boxes: Sequence[Box], reach_m: float, per_deg: int) -> None:
        self._per_deg, self._around = per_deg, 360 * per_deg
        grown = np.array([_grow_box(box, reach_m) for box in boxes])
        low, high = self._number(grown[:, 0], grown[:, 1]), self._number(grown[:, 2], grown[:, 3])
        corner = low.min(axis=1)
        size = np.minimum(high.max(axis=1) - corner + 1, self._around)
        cells = np.zeros(size, dtype=bool)
        for (west, south), (east, north) in zip((low.T - corner), (high.T - corner), strict=True):
            cells[np.arange(west, east + 1) % len(cells), south : north + 1] = True
        self._cells, self._corner = cells, corner
        self._west, self._south = corner.tolist()
        self._columns, self._rows = map(int, cells.shape)
        self._flat = cells.tobytes()  # of which one is read in a fifth of the time

    def _number(self, lon: Any, lat: Any) -> NDArray[np.int64]:
        cells: NDArray[np.int64] = np.floor(np.stack([lon, lat]) * self._per_deg).astype(np.int64)
        return cells

    def has_places(self, lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Which places lie within reach of a box; those a little further away may be among them."""
        column, row = self._number(lon, lat) - self._corner[:, None]
        column %= self._around
        inside = (column < self._columns) & (row >= 0) & (row < self._rows)
        found = np.zeros(len(lon), dtype=bool)
        found[inside] = self._cells[column[inside], row[inside]]
        return found

    def has_point(self, lon: float, lat: float) -> bool:
        """As `has_places`, for one place."""
        column = (math.floor(lon * self._per_deg) - self._west) % self._around
        row = math.floor(lat * self._per_deg) - self._south
        inside = column < self._columns and 0 <= row < self._rows
        return bool(inside and self._flat[column * self._rows + row])


class _NearBoxes:
    """Whether things may come near some boxes: by cells within reach of one, else by few boxes."""

    def __init__(self, boxes: Sequence[Box], osmium: Any) -> None:
        self._few = [_grow_box(box, 0.0) for box in merge_boxes_to_few(boxes)]
        self._wide = _CellsAround(boxes, _REACH_M, _PER_DEG)
        # Most ways are houses: the finer the cells, the fewer of them come this far in vain.
        west, south, east, north = np.array(boxes).T
        deg = max((east.max() - west.min()) * (north.max() - south.min()), 1e-6)
        fine = int(np.clip(np.sqrt(_FINE_CELLS / deg), _PER_DEG, _FINEST_PER_DEG))
        self._close = _CellsAround(boxes, _SMALL_M, fine)
        self.has_places, self.has_point = self._wide.has_places, self._wide.has_point
        self._measure, self._lost = osmium.geom.haversine_distance, osmium.InvalidLocationError

    def may_have_way(self, way: Any) -> bool:
        """Whether a way may reach a box: nothing of it or of its inside is further off than its length."""
        nodes = way.nodes
        try:
            first = nodes[0]
            lon, lat, away = first.lon, first.lat, self._measure(nodes)
        except self._lost:  # a node is not in the file
            return True
        if away < _SMALL_M:
            return self._close.has_point(lon, lat)
        return self.has_point(lon, lat) if away < _REACH_M else self._comes_near(lon, lat, away)

    def _comes_near(self, lon: float, lat: float, away_m: float) -> bool:
        west, south, east, north = _grow_box((lon, lat, lon, lat), away_m)
        return any(
            west <= box[2] + turn and east >= box[0] + turn and south <= box[3] and north >= box[1]
            for box in self._few
            for turn in TURNS
        )


def _grow_box(box: Box, metres: float) -> Box:
    """The box with so many metres around it, and a little more."""
    west, south, east, north = box
    high = metres / _METRES_PER_DEG
    wide = high / max(math.cos(math.radians(min(max(abs(south), abs(north)) + high, 89.9))), 1e-3)
    return (west - wide, south - high, east + wide, north + high)


@dataclass
class _FoundTagged:
    """Things of one type with their tags."""

    ids: list[int] = field(default_factory=list)
    tags: list[Mapping[str, str]] = field(default_factory=list)
    shapes: list[Any] = field(default_factory=list)

    def make_records(self, boxes: Boxes) -> OsmRecords:
        """Return those that meet the boxes, in order of their ids."""
        ids = np.array([_restore_id(number) for number in self.ids], dtype=np.int64)
        filled = np.array([tags.get("area") == "yes" for tags in self.tags], dtype=bool)
        shapes = _make_shapes(self.shapes, filled)
        near = np.ones(len(ids), dtype=bool) if boxes is None else meets_boxes(shapes, boxes)
        rows = np.flatnonzero(near)
        rows = rows[np.argsort(ids[rows], kind="stable")]
        table = pd.DataFrame(_make_columns([self.tags[row] for row in rows.tolist()]), index=range(len(rows)))
        return OsmRecords(ids[rows], table, shapes[rows])


def _read_wanted(passes: _Passes, wanted: WantedThings, boxes: Boxes) -> dict[str, OsmRecords]:
    return _read_tagged(passes, wanted, boxes) if wanted.keys else _read_parks(passes, wanted.forests)


def _read_tagged(passes: _Passes, wanted: WantedThings, boxes: Boxes) -> dict[str, OsmRecords]:
    """Nodes, ways and relations with one of some tags; their frames have the tags of all keys wanted."""
    osmium, keys = passes.osmium, wanted.keys
    near = None if boxes is None else _NearBoxes(boxes, osmium)

    def take_tags(thing: Any) -> dict[str, str]:
        return {key: value for key, value in thing.tags if key in keys}

    relations = {}
    if of_relations := wanted.list_telling(RELATIONS):
        for one in passes.read_relations(osmium.filter.KeyFilter(*of_relations)):
            relations[one.id] = _take_relation(one, take_tags(one))
    nodes, ways = _FoundTagged(), _FoundTagged()
    for node in passes.read_nodes(osmium.filter.KeyFilter(*wanted.list_telling(NODES))):
        place = node.location
        if place.valid() and (near is None or near.has_point(place.lon, place.lat)):
            nodes.ids.append(node.id)
            nodes.tags.append(take_tags(node))
            nodes.shapes.append(passes.factory.create_point(place))
    _read_tagged_ways(passes, wanted.list_telling(WAYS), near, take_tags, ways)
    found = _assemble_tagged(passes, relations)
    areas = found.make_records(boxes)
    drawn = int((shapely.get_type_id(areas.shapes) == _LINES).sum())
    if drawn:
        what = "relations cut at the edge of the data, or that do not close, taken as lines"
        areas = areas._replace(told=(f"{what}: {drawn:,}",))
    return {NODES: nodes.make_records(boxes), WAYS: ways.make_records(boxes), RELATIONS: areas}


def _read_tagged_ways(
    passes: _Passes,
    telling: Sequence[str],
    near: _NearBoxes | None,
    take_tags: Callable[[Any], dict[str, str]],
    found: _FoundTagged,
) -> None:
    """Take ways near the boxes; buildings, which are most ways, are sifted by their nodes, in C++."""
    key_filter, others = passes.osmium.filter.KeyFilter, [key for key in telling if key != "building"]
    passed = [[key_filter(*telling)]]
    if near is not None and "building" in telling:
        passed = [[key_filter(*others)], [key_filter("building"), passes.track_nodes(near)]]
    seen: set[int] = set()
    for filters in passed:
        for way in passes.read_ways(*filters):
            if way.id in seen or not (near is None or near.may_have_way(way)):
                continue
            line = passes.draw_line(way) or _draw_rest(way)
            if line is None:
                continue
            seen.add(way.id)
            found.ids.append(way.id)
            found.tags.append(take_tags(way))
            found.shapes.append(line)


def _draw_rest(way: Any) -> Any:
    """Line along those of a way's nodes that are in the file; None where there is none."""
    places = (node.location for node in way.nodes)
    there = [(place.lon, place.lat) for place in places if place.valid()]
    return shapely.to_wkb(shapely.LineString(there)) if len(set(there)) > 1 else None


def _assemble_tagged(passes: _Passes, relations: Mapping[int, _Relation]) -> _FoundTagged:
    """Areas of relations; where none can be made, the lines that are there: a shore is a shore."""
    found, areas = _FoundTagged(), passes.assemble(relations)
    rest = {number: one for number, one in relations.items() if number not in areas}
    there = {way: line for way, line in passes.read_members(rest, _draw_rest).items() if line}
    shapes: dict[int, Any] = dict(areas)
    for number, one in rest.items():
        lines = [there[way] for way, _ in one.members if way in there]
        if lines:
            shapes[number] = shapely.to_wkb(shapely.multilinestrings(list(shapely.from_wkb(lines))))
    for number, shape in shapes.items():
        found.ids.append(number)
        found.tags.append(relations[number].tags)
        found.shapes.append(shape)
    return found
