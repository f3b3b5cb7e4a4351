"""One layer read: opened by the way that serves, sifted by place, gathered batch by batch, put on the globe.

Records are sifted by their places here where GDAL's own filter will not do. That filter gives up at a ring
of two points, and with it all of a file: then more is read and sifted. And it goes by the file's spatial
index, where there is one, without a look at the records: an index that has fallen behind would hide a wall or
a power line. So of the formats that have one all records are run through.
"""

from __future__ import annotations

import sqlite3
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyogrio.errors
import shapely
from numpy.typing import NDArray

from scout.errors import CrsError, InputError, RecordError
from scout.geo.coarseness import compute_rounding_error, find_rounding, may_be_rounded
from scout.geo.geodesy import compute_degree_lengths
from scout.io import geojson
from scout.io.crs import Datum, convert_box, meets_boxes, merge_boxes_to_few, understand_crs
from scout.io.curves import TOLERANCE_M, ArcStraightener, TooManyEdges, leave_out_deep
from scout.io.formats import OSM, Opening
from scout.io.geojson_features import is_worth_trying, open_by_simdjson
from scout.io.heads import find_misfits, measure_extents
from scout.io.local_files import collect_warnings
from scout.io.openstreetmap import OSM_CREDIT, Extract
from scout.io.parquet import open_by_parquet, read_own_metadata
from scout.io.reproject import CAUSES, describe_gap, reproject
from scout.io.tables import Box, LayerStream, Opener, Part, RecordBatch, isin_sorted, list_streams
from scout.io.trust import SHORT, SHORT_M, UnreliableIndex
from scout.model import GEOMETRY, RECORD, Credit, Layer, Source
from scout.quantities import format_count

_GEODATABASE = ("OpenFileGDB",)
_INDEXED = (
    "GPKG",
    "ESRI Shapefile",
    "FlatGeobuf",
    "OpenFileGDB",
)  # drivers that ask an index, where the file has one

# What GDAL is asked for: what meets the boxes, or all of the layer.
Asked = Literal["boxes", "all"]


def _open_with_sifting(
    openers: Sequence[Opener], opening: Opening, boxed: bool
) -> list[tuple[Opener, Asked]]:
    """The ways to read a layer with what GDAL is asked for, best first."""
    found: list[tuple[Opener, Asked]] = [(opener, "boxes") for opener in openers]
    if not boxed or opening.drivers in (("Parquet",), OSM):
        return found
    if opening.drivers[0] in _INDEXED[1:]:
        return [(opener, "all") for opener in openers]
    return [*found, (openers[-1], "all")]


def _numbers_near(
    opening: Opening, table: str, info: dict[str, Any], boxes: Sequence[Box | None], slack: float
) -> tuple[NDArray[np.int64] | None, int]:
    """Numbers of those records of a GeoPackage that meet boxes in their own system, and how many there are.

    None where the records do not tell. ``slack`` is how far bounds may be off.

    Raises
    ------
    UnreliableIndex
        An outline lies elsewhere than the head of its record says.
    """
    try:
        found = measure_extents(opening, table, info, slack)
    except (sqlite3.Error, RuntimeError, ValueError):
        return None, 0  # damaged, or records without numbers
    return found.records[_meet(found.bounds, boxes)], len(found.records)


def _come_near(batch: RecordBatch, boxes: Sequence[Box | None]) -> NDArray[np.bool_]:
    """Which records may meet boxes in their own system; also those without a place, or all without boxes."""
    if not boxes:
        return np.ones(len(batch.numbers), dtype=bool)
    with np.errstate(invalid="ignore"):
        bounds = shapely.bounds(shapely.from_wkb(batch.shapes, on_invalid="ignore"))
    near: NDArray[np.bool_] = np.isnan(bounds).any(axis=1) | _meet(bounds, boxes)
    return near


def _meet(bounds: NDArray[np.float64], boxes: Sequence[Box | None]) -> NDArray[np.bool_]:
    met = np.zeros(len(bounds), dtype=bool)
    for box in boxes:
        sides = (-np.inf, -np.inf, np.inf, np.inf) if box is None else box
        met |= (bounds[:, :2] <= sides[2:]).all(axis=1) & (bounds[:, 2:] >= sides[:2]).all(axis=1)
    return met


def _sift(
    batch: RecordBatch, again: NDArray[np.bool_], datum: Datum, prepared: bool, boxes: Sequence[Box]
) -> tuple[RecordBatch, NDArray[np.bool_]]:
    """The records of a batch that meet the boxes by their bounds, and those that tell of no place."""
    with np.errstate(invalid="ignore"):
        made = shapely.from_wkb(batch.shapes, on_invalid="ignore")
    for row in np.flatnonzero(shapely.is_missing(made)).tolist():
        wkb = batch.shapes[row]
        made[row] = None if wkb is None else geojson.extent(geojson.list_wkb_shapes(bytes(wkb)))
    placed = reproject(made, datum, prepared).geometry
    near = shapely.is_missing(placed) | meets_boxes(placed, boxes)
    return batch.rows(near), again[near]


# One layer read: batches gathered, broken rings salvaged, all of it put on the globe.
_ASKED = 40_000  # records asked for in one question
_MOST_ASKED = 0.4  # of a layer's records; more are found sooner by reading all of it
_FEW_EDGES = 1_000
_FEW = 100  # records; of fewer the bounds are not enough to know coordinates by
_SAMPLE = 500  # records looked at for the operations that PROJ used


@dataclass(frozen=True, slots=True)
class LayerRequest:
    """Which layer of what, and how: ``boxes`` in lon/lat, ``assume_crs`` for files without a system.

    ``numbers`` are the records to read, ascending; ``known`` then tells of the layer as a whole, and
    ``around`` is a box in lon/lat that they lie in.
    """

    path: str
    opening: Opening
    layer: str | int | None
    name: str
    boxes: tuple[Box, ...] | None = None
    assume_crs: str | None = None
    numbers: NDArray[np.int64] | None = None
    known: Source | None = None
    around: Box | None = None

    def with_warnings(self, warnings: Sequence[str]) -> LayerRequest:
        """The same with more to be said of the layer."""
        said = replace(self.opening, warnings=(*self.opening.warnings, *warnings))
        return replace(self, opening=said) if warnings else self


def read_layer(
    request: LayerRequest, start: Callable[[LayerRequest], LayerGathering] | None = None
) -> tuple[Layer, Counter[str]]:
    """Read one layer; ``start`` makes what gathers its records, anew for each way to read that is tried.

    Returns
    -------
    layer : Layer
    causes : Counter
        How many records were refused, by the keys of `scout.io.reproject.CAUSES`.
    """
    by_number = request.numbers is not None and not request.opening.fid_column
    by_number &= request.opening.drivers != _GEODATABASE
    # By boxes through arrow FlatGeobuf makes up a record where one holds nothing (GDAL 3.12).
    arrow = not by_number and (request.boxes is None or request.opening.drivers[0] in _INDEXED)
    openers = [open_by_parquet] if request.opening.drivers == ("Parquet",) else list_streams(arrow)
    if request.opening.extract is not None:
        openers = [_open_extract(request.opening.extract, request.boxes)]
    if is_worth_trying(request.opening):
        openers.insert(0, open_by_simdjson)
    for way in (ways := _open_with_sifting(openers, request.opening, request.boxes is not None)):
        try:
            gathering = (start or LayerGathering)(request)
            opener, gathering.asked = way
            with collect_warnings() as heard:
                gathering.read(opener)
                frame = gathering.frame()
            return gathering.layer(frame, heard), gathering.causes
        except (RuntimeError, UnicodeError, shapely.errors.ShapelyError) as error:
            # What the libraries raise over a file; the next way may do. NotImplementedError is one: curves.
            if way is ways[-1]:
                raise InputError(request.path, f"cannot be read ({error})", "export it again") from error
    raise AssertionError("no way to read")


def _open_extract(extract: Extract, boxes: Sequence[Box] | None) -> Opener:
    """How a layer of OpenStreetMap data is opened."""

    @contextmanager
    def open_one(_: Opening, layer: str | int | None, __: Part) -> Iterator[LayerStream]:
        numbers, table, shapes, told = extract.read_all(boxes)[str(layer)]
        for line in told:
            warnings.warn(line, stacklevel=1)
        batch = RecordBatch(table, numbers, shapes, made=True)
        yield LayerStream("EPSG:4326", iter([batch]), pd.concat)

    return open_one


@dataclass
class LayerGathering:
    """What has been read of a layer so far."""

    request: LayerRequest
    datum: Datum | None = None
    announced: int = -1  # records that the file says it has; -1 if it does not say
    joined: Callable[[list[Any]], pd.DataFrame] = pd.concat
    attributes: list[Any] = field(default_factory=list)
    numbers: list[NDArray[np.int64]] = field(default_factory=list)
    shapes: list[NDArray[np.object_]] = field(default_factory=list)
    bounds: list[NDArray[np.float64]] = field(default_factory=list)  # in the layer's own system
    edges: list[NDArray[np.float64]] = field(default_factory=list)  # likewise, of the first records
    refused: list[tuple[int, str]] = field(default_factory=list)
    repaired: list[tuple[int, str]] = field(default_factory=list)
    causes: Counter[str] = field(default_factory=Counter)
    written: list[Any] | None = None
    prepared: bool = False  # by this program, so that longitudes are as they should be
    asked: Asked = "boxes"  # more is sifted as it comes
    own_boxes: Sequence[Box | None] = ()  # in the layer's own system, what is asked for lies in one of them
    met: int = 0  # records that came, before any were sifted out
    doubts: list[str] = field(default_factory=list)  # of an index, of values
    arcs: ArcStraightener | None = None

    def __post_init__(self) -> None:
        self.prepared = read_own_metadata(self.request.opening) is not None

    def read(self, opener: Opener) -> None:
        """Take the records of all parts."""
        asked, parts = self.request.numbers, self._parts()
        by_places = asked is not None and self.request.opening.drivers == _GEODATABASE and parts != [None]
        for part in parts:
            # Where GDAL gives a box up at a bad ring, what it kept back is missed below.
            with suppress(RuntimeError) if by_places else nullcontext():
                self._read_part(opener, part)
        if by_places and asked is not None and len(asked) > sum(map(len, self.numbers)):
            self._read_part(opener, None)  # nor is the file's own index believed

    def _read_part(self, opener: Opener, part: Part) -> None:
        with opener(self.request.opening, self.request.layer, part) as stream:
            self.take(stream)

    def _parts(self) -> list[Part]:
        """What to ask GDAL for, in the layer's own system; ask the file which driver reads it and where."""
        opening, numbers = self.request.opening, self.request.numbers
        if numbers is not None and self.request.known is not None:
            if opening.drivers == ("Parquet",):
                return [numbers]
            if len(numbers) > _MOST_ASKED * self.request.known.records:
                return [None]
            if opening.drivers == _GEODATABASE:
                return self._around()
            fids = numbers - (opening.numbering == "fid from 0")
            return [fids[first : first + _ASKED] for first in range(0, len(fids), _ASKED)]
        if opening.numbering == "position":
            self.announced = opening.rows.get(self.request.name, -1)
            return [None]
        try:
            info = pyogrio.read_info(opening.target, layer=self.request.layer, **opening.options)
        except (IndexError, UnboundLocalError) as error:
            # pyogrio's, where a damaged file opens without a layer, or a .prj is not UTF-8.
            raise RuntimeError("its layer or its coordinate system is damaged") from error
        if info["driver"] not in opening.drivers:
            raise InputError(self.request.path, f"GDAL takes it for {info['driver']}", "export it again")
        if self.request.boxes is None:
            self.announced = self._count_announced(info)
            if info["driver"] == "GPKG" and info["fid_column"]:
                file = Path(str(opening.target))
                self.doubts += find_misfits(file, self.request.name, str(info["fid_column"]))
            return [None]
        self.datum = understand_crs(info["crs"], self.request.path, self.request.assume_crs)
        self.own_boxes = [
            part for box in merge_boxes_to_few(self.request.boxes) for part in convert_box(box, self.datum)
        ]
        if self.asked == "boxes" and opening.drivers[0] == "GPKG":
            return self._by_their_heads(info)
        if self.asked == "boxes":
            return list(self.own_boxes)
        self.announced = self._count_announced(info)
        return [None]

    def _count_announced(self, info: dict[str, Any]) -> int:
        return max(int(info["features"]), self.request.opening.rows.get(self.request.name, -1))

    def _around(self) -> list[Part]:
        """Of a geodatabase the box around the records asked for: one by one GDAL would draw arcs itself."""
        if self.request.around is None:
            return [None]
        crs = pyogrio.read_info(self.request.opening.target, layer=self.request.layer)["crs"]
        self.datum = understand_crs(crs, self.request.path, self.request.assume_crs)
        return list(convert_box(self.request.around, self.datum))

    def _by_their_heads(self, info: dict[str, Any]) -> list[Part]:
        """Of a GeoPackage the numbers of what is near; all of it where these are not known, or are most."""
        assert self.datum is not None
        opening = replace(self.request.opening, fid_column=str(info["fid_column"]))
        self.request = replace(self.request, opening=opening)
        slack = SHORT if self.datum.geographic else SHORT_M
        try:
            numbers, of = _numbers_near(opening, self.request.name, info, self.own_boxes, slack)
        except UnreliableIndex as doubt:
            self.doubts.append(doubt.warning)
            numbers, of = None, 0
        if numbers is None or len(numbers) > _MOST_ASKED * of:
            self.asked, self.announced = "all", int(info["features"])
            return [None]
        return [numbers[first : first + _ASKED] for first in range(0, len(numbers), _ASKED)]

    def take(self, stream: LayerStream) -> None:
        """Take the records of an opened layer."""
        if self.datum is None:
            stated = self.request.opening.crs
            stated = stream.crs if stated is None else stated
            self.datum = understand_crs(stated, self.request.path, self.request.assume_crs)
        self.joined = stream.joined
        self.arcs = self.arcs or ArcStraightener(self.datum.convert_metres(TOLERANCE_M))
        seen = np.concatenate(self.numbers) if self.numbers else np.empty(0, np.int64)
        for batch in stream.batches:
            self.met += len(batch.numbers)
            batch = batch if batch.made else self._straighten(batch)
            if self.request.numbers is not None:
                wanted = isin_sorted(batch.numbers, self.request.numbers)
                batch = batch.rows(wanted & ~np.isin(batch.numbers, seen))
            again = np.isin(batch.numbers, seen) if len(seen) else np.zeros(len(batch.numbers), dtype=bool)
            if self.asked != "boxes" and self.request.boxes is not None:
                batch = batch.rows(near := _come_near(batch, self.own_boxes))
                batch, again = _sift(batch, again[near], self.datum, self.prepared, self.request.boxes)
            self.keep(batch, self._placed(batch, again))

    def _straighten(self, batch: RecordBatch) -> RecordBatch:
        """The records with edges for arcs."""
        batch = replace(batch, shapes=leave_out_deep(batch.shapes))
        curved = self.arcs.find_curved(batch.shapes) if self.arcs is not None else []
        if not curved or self.arcs is None:
            return batch
        shapes = batch.shapes.copy()
        for row in curved:
            try:
                shapes[row] = self.arcs.straighten(bytes(shapes[row]))
            except TooManyEdges as error:
                shapes[row] = None
                self.refused.append((int(batch.numbers[row]), str(error)))
        return replace(batch, shapes=shapes)

    def keep(self, batch: RecordBatch, shapes: NDArray[np.object_]) -> None:
        """Add records with their shapes in longitude and latitude."""
        self.attributes.append(batch.attributes)
        self.numbers.append(batch.numbers)
        self.shapes.append(shapes)

    def _placed(self, batch: RecordBatch, again: NDArray[np.bool_]) -> NDArray[np.object_]:
        assert self.datum is not None
        made = batch.shapes
        if not batch.made:
            with np.errstate(invalid="ignore"):
                made = shapely.from_wkb(batch.shapes, on_invalid="ignore")
            made[again] = None
            self._salvage(batch, made, again)
        if sum(map(len, self.bounds)) < _FEW:
            self.edges.append(_list_edges(made[:_FEW]))
        placed = reproject(made, self.datum, self.prepared)
        self.bounds.append(placed.bounds)
        for row, (cause, text) in placed.refused.items():
            self.causes[cause] += 1
            self.refused.append((int(batch.numbers[row]), f"{text}: {CAUSES[cause][0]}"))
        self.repaired += [(int(batch.numbers[row]), text) for row, text in placed.noted.items()]
        return placed.geometry

    def _salvage(self, batch: RecordBatch, made: NDArray[np.object_], again: NDArray[np.bool_]) -> None:
        assert self.datum is not None
        found: dict[int, list[geojson.Shape]] = {}
        for row in np.flatnonzero(shapely.is_missing(made) & ~again).tolist():
            if batch.shapes[row] is not None:
                found[row] = geojson.list_wkb_shapes(bytes(batch.shapes[row]))
            elif isinstance(written := self._written(int(batch.numbers[row])), dict):
                found[row] = geojson.list_shapes(written)
        for row, shapes in found.items():
            number, kept = int(batch.numbers[row]), geojson.assemble_shapes(shapes)
            made[row] = kept.geometry
            rest = "" if kept.geometry is None else "; the rest of the record is kept"
            for text, gap in zip(kept.closed, kept.gaps, strict=True):
                self.repaired.append((number, f"{text}; it has been closed{describe_gap(gap, self.datum)}"))
            self.refused += [(number, f"{text}{rest}") for text in kept.lost]

    def _written(self, number: int) -> Any:
        """What the text of a GeoJSON file has for the geometry of a record; None in other formats."""
        if self.written is None:
            source = self.request.opening.source
            self.written = geojson.list_geometries(source) if source is not None else []
        return self.written[number - 1] if number <= len(self.written) else None

    def frame(self) -> gpd.GeoDataFrame:
        """All records but those refused, in order of their numbers."""
        shapes = np.concatenate(self.shapes) if self.shapes else np.empty(0, object)
        numbers = np.concatenate(self.numbers) if self.numbers else np.empty(0, np.int64)
        table = self.joined(self.attributes) if self.attributes else pd.DataFrame()
        table = (
            pd.DataFrame(index=range(len(numbers)))
            if not len(table.columns)
            else table.reset_index(drop=True)
        )
        table.columns = _make_distinct([str(name) for name in table.columns])
        table.insert(0, RECORD, numbers)
        frame = gpd.GeoDataFrame(table, geometry=gpd.array.GeometryArray(shapes), crs="EPSG:4326")
        gone = np.isin(numbers, [number for number, _ in self.refused]) & shapely.is_missing(shapes)
        keep = ~gone if self.request.boxes is None else meets_boxes(shapes, self.request.boxes)
        if keep.all() and (np.diff(numbers) > 0).all():
            return frame
        return frame[keep].sort_values(RECORD, kind="stable").reset_index(drop=True)

    def layer(self, frame: gpd.GeoDataFrame, heard: list[str]) -> Layer:
        """The layer with its source; ``heard`` is what the libraries warned of."""
        known = self.request.known
        source = self._source(frame, heard) if known is None else known
        refused = tuple(
            str(RecordError(f"{source.where}: record {n}", text)) for n, text in sorted(self.refused)
        )
        return Layer(frame, source, refused, tuple(sorted(self.repaired)))

    def _source(self, frame: gpd.GeoDataFrame, heard: list[str]) -> Source:
        request, datum = self.request, self.datum or understand_crs(None, self.request.path, "EPSG:4326")
        if not self.met and request.boxes is None and request.opening.rows.get(request.name, 0) > 0:
            what = f"announces {format_count(self.announced, 'record')}, of which none can be read"
            raise InputError(request.path, what, "copy or download it again")
        records = len(frame) + len({number for number, _ in self.refused} - set(frame[RECORD].tolist()))
        bounds = shapely.bounds(frame.geometry.to_numpy())
        before = np.concatenate(self.bounds) if self.bounds else np.empty((0, 4))
        # Bounds tell of coordinates enough, as an index has them; of few records the edges do.
        few = len(before) < _FEW and bool(self.edges)
        sample = np.concatenate(self.edges) if few else before
        warnings = [*self.doubts, *self._missing(), *heard]
        return make_source(request, datum, records, before, bounds, warnings, sample)

    def _missing(self) -> list[str]:
        """GDAL may end early without a word at a damaged place of a GeoPackage or a geodatabase."""
        if self.met >= self.announced:
            return []
        announced = format_count(self.announced, "record")
        return [f"the file announces {announced}, {self.met:,} could be read: it may be damaged"]


def make_source(
    request: LayerRequest,
    datum: Datum,
    records: int,
    before: NDArray[np.float64],
    bounds: NDArray[np.float64],
    warnings: Sequence[str] = (),
    coordinates: NDArray[np.float64] | None = None,
) -> Source:
    """Where a layer comes from and how good its places are.

    ``before`` are the bounds of its records in their own system, ``bounds`` those in degrees, shape (n, 4).
    ``coordinates`` are those by which rounding is known, if not ``before``.

    Raises
    ------
    CrsError
        The records look like degrees and the file says otherwise.
    """
    sample = _sample_corners(before)
    if not datum.geographic and len(sample) and (np.abs(sample) <= [360, 90]).all():
        what = f"the coordinates look like degrees, but the file says {datum.text}"
        raise CrsError(request.path, what, "give the file its right coordinate system")
    finite = np.isfinite(bounds[:, 0])
    bounds = bounds if finite.all() else bounds[finite]
    judged = datum.judge(sample, (bounds[:, 0] + bounds[:, 2]) / 2, (bounds[:, 1] + bounds[:, 3]) / 2)
    ours = read_own_metadata(request.opening) or {}
    # Of prepared parks each has its error with it.
    rounding, said = (
        (0.0, "") if ours else _judge_rounding(before if coordinates is None else coordinates, datum)
    )
    return Source(
        path=request.path,
        layer=request.name,
        records=records,
        crs=datum.text,
        operation=ours.get("operation", judged.operation),
        accuracy_m=ours.get("accuracy_m", judged.accuracy_m),
        warnings=(
            *request.opening.warnings,
            *ours.get("warnings", ()),
            *judged.warnings,
            *([said] if said else []),
            *warnings,
        ),
        rounding_m=rounding,
        credits=_list_credits(request.opening, ours),
    )


def _list_credits(opening: Opening, ours: dict[str, Any]) -> tuple[Credit, ...]:
    """Credits that a format brings along, also into what was prepared from it."""
    kept = tuple(Credit((), text, licence) for text, licence in ours.get("credits", ()))
    return (OSM_CREDIT,) if opening.extract is not None else kept


def _list_edges(made: NDArray[np.object_]) -> NDArray[np.float64]:
    """Bounds of the edges of some outlines, shape (n, 4); of a few where these are not rounded."""
    xy, of = shapely.get_coordinates(made, return_index=True)
    if not may_be_rounded(xy):
        step = len(xy) // _FEW_EDGES + 1
        xy, of = xy[::step], of[::step]
    pairs = np.flatnonzero(of[1:] == of[:-1])
    return np.column_stack([np.minimum(xy[pairs], xy[pairs + 1]), np.maximum(xy[pairs], xy[pairs + 1])])


def _judge_rounding(sample: NDArray[np.float64], datum: Datum) -> tuple[float, str]:
    """The 95 % radial error of rounded coordinates, and the line that says so; 0 where none are seen."""
    unit = datum.crs.axis_info[0].unit_name if datum.crs.axis_info else ""
    found = find_rounding(sample, datum.geographic)
    if found is None:
        return 0.0, ""
    if datum.geographic:
        to_degrees = 90.0 / datum.quarter_turn
        # The largest that it comes to: nearest to the equator.
        lat = min(float(np.abs(sample[:, 1::2]).min()) * to_degrees, 89.0)
        east, north = (found.step * to_degrees * float(m) for m in compute_degree_lengths(lat))
    else:
        east = north = found.step * float(datum.crs.axis_info[0].unit_conversion_factor)
    error = compute_rounding_error(east, north)
    text = (
        f"its coordinates are rounded to {found.step:g} {unit}, all of {found.values:,} different ones; for "
        f"that {error:.2g} m are added to the boundary error (95 %)"
    )
    return error, text


def _sample_corners(bounds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Some corners of records spread over a layer, its extremes among them, shape (n, 2)."""
    if not len(bounds):
        return np.empty((0, 2))
    ends = [f(bounds[:, k]) for k, f in ((0, np.argmin), (1, np.argmin), (2, np.argmax), (3, np.argmax))]
    chosen = bounds[[*range(0, len(bounds), max(len(bounds) // _SAMPLE, 1)), *ends]]
    return chosen.reshape(-1, 2)


def _make_distinct(names: list[str]) -> list[str]:
    """Column names without repeats and without the names that are ours."""
    taken: list[str] = []
    for name in names:
        new, count = name, 2
        while new in taken or new in (GEOMETRY, RECORD):
            new, count = f"{name} ({count})", count + 1
        taken.append(new)
    return taken
