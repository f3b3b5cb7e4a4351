"""Parks left in their files and loaded by the index of each layer.

Layers known by their index: bounds, ids and names of all records without reading a single outline.

The head of each geometry in a GeoPackage, the bounds columns of GeoParquet 1.1 and the outlines of FlatGeobuf
and Shapefile, run through once, tell where every record lies. Only areas in longitude and latitude are taken
so: in other systems the bounds say little about the lattice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyogrio.errors
from numpy.typing import NDArray

from scout.errors import InputError
from scout.geo.geodesy import compute_degree_lengths
from scout.io.crs import Datum, bound_in_degrees, understand_crs
from scout.io.formats import check_named, measure_size
from scout.io.gathering import LayerRequest, make_source, read_layer
from scout.io.heads import find_misfits, measure_extents
from scout.io.layers import check_twice, keep_useful, list_requests, named
from scout.io.local_files import collect_warnings, run_offline
from scout.io.openstreetmap import WantedThings
from scout.io.parquet import ParkComparison, list_columns, read_boxes, read_comparison, read_table, sample_in
from scout.io.tables import isin_sorted, read_bounds, read_columns
from scout.io.trust import SHORT, UnreliableIndex, check_bounds, format_compared
from scout.io.unusable import Unusable
from scout.model import RECORD, Layer, ParkReport, Source
from scout.parks.build import dissolve_records, get_datum_errors, join_entry, report_records
from scout.parks.choice import (
    EVERYTHING,
    ChosenRecords,
    RecordChoice,
    RecordColumns,
    choose_records,
    read_entry,
)
from scout.parks.columns import Texts, choose_name, list_lacking, list_nameless
from scout.parks.duplicates import SAME_GROUND, drop_told_twice
from scout.parks.identity import identify_records, join_end_to_end, number_records
from scout.parks.pieces import join_touching_pieces
from scout.parks.profiles import Profile
from scout.parks.sources import LoadedParks, LoadedQuery, LoadedReport, ParkQuery, Queried
from scout.parks.spilled import LARGE, StoredLayer, WholeLayer, spill_layer
from scout.parks.usable import UsableRecords, make_usable

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

LEAST_RECORDS = 5000  # a smaller layer is read whole: all of its records are checked then
_DRIVERS = {"GPKG", "ESRI Shapefile", "FlatGeobuf", "OpenFileGDB"}
_SHIFT = 0.01  # degrees; two datums may be a good hundred metres apart over one park


@dataclass(frozen=True)
class IndexedLayer(StoredLayer):
    """A layer left in its file, whose index says where each record lies."""

    request: LayerRequest
    compared: int = 0  # records whose bounds were compared with their outlines before the index was believed

    def _cut_table(self, rows: Ints) -> Layer:
        # The file has it all: nothing of it goes to another process.
        return super()._cut_table(rows[:0])

    def read(self) -> Layer:
        """Read the records in full.

        Raises
        ------
        InputError
            A record lies elsewhere than the index says.
        """
        sides = self.bounds[np.isfinite(self.bounds[:, 0])]
        around = (*sides[:, :2].min(axis=0), *sides[:, 2:].max(axis=0)) if len(sides) else None
        with run_offline():
            layer = read_layer(replace(self.request, numbers=self.records, around=around))[0]
        rows = np.searchsorted(self.records, layer.frame[RECORD].to_numpy())
        low, high = self.bounds[rows, :2], self.bounds[rows, 2:]
        found = layer.frame.geometry.bounds.to_numpy()
        off = np.flatnonzero((found[:, :2] < low).any(axis=1) | (found[:, 2:] > high).any(axis=1))
        if len(off):
            number = int(layer.frame[RECORD].iloc[off[0]])
            where = f"{layer.source.where}: record {number}"
            raise InputError(
                where, "does not lie where the file's spatial index says", "export the file again"
            )
        return layer


def open_index(
    request: LayerRequest,
    choice: RecordChoice = EVERYTHING,
    least: int = LEAST_RECORDS,
    doubts: Callable[[str], None] = lambda _: None,
) -> IndexedLayer | None:
    """Read the index of a layer; None where there is none of use, and the layer has to be read.

    Parameters
    ----------
    request : LayerRequest
        Of the whole layer.
    choice : RecordChoice
        Says which columns are wanted beside those known to hold ids and names.
    least : int
        Records that are worth it.
    doubts : callable
        Called with the line of an index that contradicts the records.
    """
    of = _index_parquet if request.opening.drivers == ("Parquet",) else _index_gdal
    try:
        with run_offline(), collect_warnings():
            found = of(request, choice, least)
            return None if found is None or len(found.records) < least else _fill_index(found)
    except UnreliableIndex as doubt:
        doubts(doubt.warning)
        return None
    except Exception:  # whatever damage makes the libraries raise: reading it whole will tell
        return None


@dataclass(frozen=True)
class _BareIndex:
    """What an index holds, in the layer's own system, and the columns beside it."""

    request: LayerRequest
    datum: Datum
    records: Ints  # of those with geometry
    bounds: Floats
    fields: Sequence[str]  # all columns of the file
    numbers: Ints  # of the rows of the table
    frame: pd.DataFrame
    compared: int  # records whose bounds are known to be those of their outlines
    own: Floats | None = None  # bounds of some outlines, where those of the file are short numbers


def _index_parquet(request: LayerRequest, choice: RecordChoice, least: int) -> _BareIndex | None:
    found = read_boxes(request.opening)
    if found is None or len(found[0]) < least:
        return None
    numbers, bounds, crs = found
    fields = list_columns(request.opening)
    datum = _find_lon_lat(request, crs, fields)
    if datum is None:
        return None
    places, own = sample_in(request.opening, bounds)
    check_bounds(numbers[places], bounds[places], own)
    rows = read_table(request.opening, choice.select_columns(fields))
    short = np.array_equal(bounds, bounds.astype(np.float32), equal_nan=True)
    return _BareIndex(request, datum, numbers, bounds, fields, *rows, len(places), own if short else None)


def _index_gdal(request: LayerRequest, choice: RecordChoice, least: int) -> _BareIndex | None:
    opening = request.opening
    if opening.drivers[0] not in _DRIVERS or str(opening.target).startswith("/vsi"):
        return None
    info = pyogrio.read_info(opening.target, layer=request.layer, **opening.options)
    kind = str(info["geometry_type"]).removeprefix("2.5D ").split()[0]
    if info["driver"] not in opening.drivers or kind not in ("Polygon", "MultiPolygon"):
        return None
    fields = [str(name) for name in info["fields"]]
    datum = _find_lon_lat(request, info["crs"], fields)
    if info["features"] < least or datum is None:
        return None
    wanted = choice.select_columns(fields)
    if info["driver"] == "GPKG":
        opening = replace(opening, fid_column=str(info["fid_column"]))
        found = measure_extents(opening, request.name, info, SHORT, wanted)
        records, bounds, compared, known = found.records, found.bounds, found.compared, found.frame
        if found.misfits:
            file = Path(str(opening.target))
            request = request.with_warnings(find_misfits(file, request.name, opening.fid_column))
    else:
        records, bounds = read_bounds(opening, request.layer)
        compared, known = len(records), None  # GDAL makes them of the outlines
        if len(records) < request.opening.rows.get(request.name, 0):
            return None  # damaged: reading it whole tells
    sound = np.isfinite(bounds).all(axis=1)
    if info["driver"] == "OpenFileGDB":
        sound |= np.isnan(bounds).all(axis=1)  # records without geometry: databases have some, and say so
    if not sound.all():
        return None  # records without geometry, or without a place
    numbers, frame = (records, known) if known is not None else read_columns(opening, request.layer, wanted)
    order = np.argsort(records)
    opening = replace(opening, warnings=request.opening.warnings)
    request = replace(request, opening=opening)
    return _BareIndex(request, datum, records[order], bounds[order], fields, numbers, frame, compared)


def _find_lon_lat(request: LayerRequest, crs: str | None, fields: Sequence[str]) -> Datum | None:
    """The layer's system, if it is longitude and latitude and the columns can be told apart.

    A geodatabase may be in any: agencies keep their countries in metres, and it is read by places quickly.
    """
    stated = request.opening.crs
    datum = understand_crs(crs if stated is None else stated, request.path, request.assume_crs)
    degrees = datum.geographic and abs(datum.quarter_turn - 90.0) <= 1e-9
    degrees |= not datum.geographic and request.opening.drivers == ("OpenFileGDB",)
    return datum if degrees and len(set(fields)) == len(fields) else None


def _fill_index(bare: _BareIndex) -> IndexedLayer | None:
    if not np.array_equal(bare.numbers, bare.records):
        return None
    numbers, before, frame = bare.numbers, bare.bounds, bare.frame
    if (np.diff(numbers) <= 0).any():  # a prepared file has parks near each other together
        order = np.argsort(numbers, kind="stable")
        numbers, before = numbers[order], before[order]
        frame = frame.iloc[order].reset_index(drop=True)
    convert = _convert_bounds if bare.datum.geographic else bound_in_degrees
    bounds = convert(before, bare.datum)
    if bounds is None:
        return None
    there = before[np.isfinite(before[:, 0])]
    source = make_source(bare.request, bare.datum, len(numbers), there, bounds, coordinates=bare.own)
    frame.insert(0, RECORD, numbers)
    known = replace(bare.request, known=source)
    table = Layer(gpd.GeoDataFrame(frame), source, columns=tuple(bare.fields))
    return IndexedLayer(numbers, bounds, table, known, bare.compared)


def _convert_bounds(before: Floats, datum: Datum) -> Floats:
    """Bounds that hold the records in WGS 84, however their longitudes are to be understood."""
    bounds = before.copy()
    pad = SHORT
    if not datum.identity:
        pad = _SHIFT
        for low in (0, 2):
            x, y = datum.transformer.transform(before[:, low], before[:, low + 1])
            bounds[:, low], bounds[:, low + 1] = x, y
    bounds += np.array([-pad, -pad, pad, pad])
    # Across the antimeridian, or no longitudes at all: such a record may be anywhere.
    bounds[before[:, 2] - before[:, 0] > 180.0, ::2] = -360.0, 360.0
    return bounds


# Records of files, and the parks they belong to, read when these are wanted.
@dataclass(frozen=True, slots=True)
class ParkReading:
    """How records become parks, as `read_layers` and `build_parks` take it."""

    layer: str | None = None
    assume_crs: str | None = None
    id_column: str | None = None
    name_column: str | None = None
    corridor_m: float | None = None
    keep: tuple[str, ...] = ()
    join_pieces: bool = True
    where: str | None = None
    profiles: tuple[Profile, ...] = ()
    same_ground: float = SAME_GROUND
    forests: bool = False  # of OpenStreetMap data are parks

    @property
    def choice(self) -> RecordChoice:
        """What of it is asked of records and columns."""
        return RecordChoice(self.id_column, self.name_column, self.where, self.keep, self.profiles)


@dataclass(frozen=True)
class LayerParks:
    """One layer with the ids of its records; ``park`` is the number of each record's park."""

    layer: StoredLayer
    first: int  # row of its first record among those of all layers
    number: tuple[int, int]  # of the layer, and how many there are
    park: Ints
    records: Ints
    ids: Texts
    columns: RecordColumns

    def only(self, parks: Ints) -> LayerParks:
        """Return the records of some parks."""
        rows = np.flatnonzero(isin_sorted(self.park, parks))
        records = self.records[rows]
        return replace(
            self, layer=self.layer.only(records), park=self.park[rows], records=records, ids=self.ids[rows]
        )

    def make_usable(self, layer: Layer, reading: ParkReading) -> UsableRecords:
        """Return the usable geometry of its records as they were read."""
        return make_usable(layer, choose_name(layer, self.columns.name)[1], reading.corridor_m)

    def load_shapes(self, rows: Ints, reading: ParkReading) -> NDArray[np.object_]:
        """Load the usable geometry of its records among some rows of all layers; None where there is none."""
        records = self.records[
            rows[(rows >= self.first) & (rows < self.first + len(self.records))] - self.first
        ]
        shapes = np.full(len(records), None, dtype=object)
        if len(records):
            one = self.make_usable(self.layer.only(records).read(), reading)
            shapes[np.searchsorted(records, one.records)] = one.geometry
        return shapes

    def number_unused(self, layer: Layer, one: UsableRecords) -> tuple[Ints, Ints, Ints]:
        """Return its records refused, skipped and repaired, by numbers that no other layer has."""
        read = layer.frame[RECORD].to_numpy(dtype=np.int64)
        skipped, repaired = read[one.skipped_rows], read[one.repaired_rows]
        refused = np.setdiff1d(self.records, np.concatenate([one.records, skipped]))
        number, count = self.number
        return refused * count + number, skipped * count + number, repaired * count + number


@dataclass(frozen=True)
class IndexedQuery:
    """Some parks of files, to be read where this is sent to."""

    layers: tuple[LayerParks, ...]
    reading: ParkReading

    def load(self) -> LoadedParks:
        """Read them."""
        reading = self.reading
        layers = [one.layer.read() for one in self.layers]
        usable = [one.make_usable(layer, reading) for layer, one in zip(layers, self.layers, strict=True)]
        rows = [
            np.searchsorted(one.records, some.records) for one, some in zip(self.layers, usable, strict=True)
        ]
        ids = np.concatenate([one.ids[some] for one, some in zip(self.layers, rows, strict=True)])
        numbers = np.concatenate([one.park[some] for one, some in zip(self.layers, rows, strict=True)])
        frame = dissolve_records(ids, layers, usable, [one.columns for one in self.layers])
        number = pd.unique(numbers)
        asked = np.unique(np.concatenate([one.park for one in self.layers]))
        unused = [
            one.number_unused(layer, some)
            for one, layer, some in zip(self.layers, layers, usable, strict=True)
        ]
        refused, skipped, repaired = (np.concatenate(some) for some in zip(*unused, strict=True))
        lines = report_records(layers, usable)
        report = LoadedReport(
            repaired=lines.repaired,
            refused=lines.refused,
            skipped=lines.skipped,
            parks_without=np.setdiff1d(asked, number),
            refused_numbers=refused,
            skipped_numbers=skipped,
            repaired_numbers=repaired,
        )
        # A park whose first record has to be refused comes later than its number.
        order = np.argsort(number, kind="stable")
        return LoadedParks(frame, number, report).take(order)


def widen_bounds(layer: StoredLayer, corridor_m: float | None) -> Floats:
    """Bounds that hold each record with the ground beside it, where it is a line."""
    if corridor_m is None or isinstance(layer, IndexedLayer):  # which serves areas only
        return layer.bounds
    bounds = layer.bounds
    high = np.minimum(np.abs(bounds[:, 1::2]).max(axis=1) + 1.0, 89.9)
    pad = 1.01 * corridor_m / np.stack(compute_degree_lengths(high), axis=1)
    return np.asarray(bounds + np.concatenate([-pad, pad], axis=1))


# Parks left in their files until a search wants them: ids, names and bounds of all, outlines of few.
def _read_whole(request: LayerRequest) -> tuple[WholeLayer, Counter[str]]:
    with run_offline():
        layer, causes = read_layer(request)
    return WholeLayer.hold(layer), causes


def open_indexed(
    paths: Sequence[Path | str],
    reading: ParkReading,
    progress: Callable[[str], None] = lambda _: None,
    least: int = LEAST_RECORDS,
    large: int = LARGE,
    unusable: Unusable | None = None,
) -> IndexedParks | None:
    """Look at the indexes of some files; None where none is of use, and everything is best read at once.

    Parameters
    ----------
    paths : sequence of path
    reading : ParkReading
    progress : callable
        Called with one line before each layer.
    least : int
        Records that make an index worth it.
    large : int
        Bytes of a file whose outlines are spilled to disk where there is no index of use.

    Raises
    ------
    InputError
        A file cannot be used at all.
    """
    check_twice(paths)
    out = unusable or Unusable()
    for path in paths:
        check_named(path)
    every: list[LayerRequest] = []
    for path in paths:
        with out.guard():
            every += list_requests(
                path, reading.layer, reading.assume_crs, WantedThings(forests=reading.forests)
            )
    wanted, known, doubted = [], [], False
    layers_of = Counter(one.path for one in every)
    for one in every:
        progress(f"looking into {one.path}")
        with out.guard(), named(one.name, layers_of[one.path] > 1):
            said: list[str] = []
            known.append(open_index(one, reading.choice, least, said.append))
            wanted.append(one.with_warnings(said))
            doubted |= bool(said)
    if not any(known) and not doubted and not any(_measure_size(one) > large for one in wanted):
        return None
    found = _read_rest(wanted, known, reading.choice, large, progress, out)
    layers = [one for one in found if len(one.records) or one.table.refused]
    if not any(len(one.records) for one in layers):
        return None  # reading everything tells why there is nothing
    try:
        chosen = choose_records([one.table for one in layers], reading.choice)
    except InputError:
        return None  # such as a column that is nowhere: reading everything tells it, with all there are
    if not any(one.kept.any() for one in chosen):
        return None  # likewise
    parks = _make_indexed(layers, chosen, reading, progress)
    return replace(parks, report=out.add_to(parks.report))


def _measure_size(request: LayerRequest) -> int:
    """Bytes of what may be spilled; of OpenStreetMap data only parks come to memory anyway."""
    return 0 if request.opening.extract is not None else measure_size(request.path)


def _read_rest(
    wanted: Sequence[LayerRequest],
    known: Sequence[StoredLayer | None],
    choice: RecordChoice,
    large: int,
    progress: Callable[[str], None],
    out: Unusable,
) -> list[StoredLayer]:
    """Read the layers that have no index of use; return all."""
    found: list[tuple[str, StoredLayer]] = []
    causes: dict[str, Counter[str]] = {}
    layers_of = Counter(request.path for request in wanted)
    for request, kept in zip(wanted, known, strict=True):
        with out.guard(), named(request.name, layers_of[request.path] > 1):
            if kept is None:
                progress(f"reading {request.path}")
                kept, why = (
                    spill_layer(request, choice.select_columns)
                    if _measure_size(request) > large
                    else _read_whole(request)
                )
                causes.setdefault(request.path, Counter()).update(why)
            found.append((request.path, kept))
    for path, why in causes.items():
        before = len(out.errors)
        with out.guard():
            keep_useful(path, [kept.table for of, kept in found if of == path], why)
        if len(out.errors) > before:
            found = [(of, kept) for of, kept in found if of != path]
    return [kept for _, kept in found]


def _make_indexed(
    layers: Sequence[StoredLayer],
    chosen: Sequence[ChosenRecords],
    reading: ParkReading,
    progress: Callable[[str], None],
) -> IndexedParks:
    left_out = sum(one.left_out for one in chosen)
    gone = sum(one.table.source.records - len(one.records) for one in layers)
    layers = [one.choose(some) for one, some in zip(layers, chosen, strict=True)]
    numbered = [
        number_records(one.table, one.records, some.columns.id, some.columns.name)
        for one, some in zip(layers, chosen, strict=True)
    ]
    there = [np.isfinite(one.bounds[:, 0]) for one in layers]
    records = [one.take(some) for one, some in zip(numbered, there, strict=True)]
    bounds = join_end_to_end(
        [widen_bounds(one, reading.corridor_m)[some] for one, some in zip(layers, there, strict=True)]
    )
    errors = join_end_to_end(
        [get_datum_errors(one.table)[some] for one, some in zip(layers, there, strict=True)]
    )
    known = identify_records(records)

    def split_by_layer() -> tuple[LayerParks, ...]:
        ids = known.unique.take(known.park)
        first, made = 0, []
        for k, (one, of) in enumerate(zip(layers, records, strict=True)):
            rows = slice(first, first + len(of.records))
            number = k, len(layers)
            columns = replace(chosen[k].columns, name=of.name_column or None)
            made.append(LayerParks(one, first, number, known.park[rows], of.records, ids[rows], columns))
            first = rows.stop
        return tuple(made)

    def shapes_of(rows: Ints) -> NDArray[np.object_]:
        progress(f"comparing {len(rows):,} records of equal names or outlines")
        return np.concatenate([one.load_shapes(rows, reading) for one in split_by_layer()])

    before = _find_comparison(layers, chosen)
    if reading.join_pieces and not before.joined_pieces:
        known = join_touching_pieces(records, known, bounds, shapes_of)
    if reading.same_ground and 0 < before.same_ground <= reading.same_ground:
        known = known._replace(notes=(*known.notes, *before.notes))
    elif reading.same_ground:
        kept, found = drop_told_twice(records, known, bounds, shapes_of, reading.same_ground)
        ends = np.cumsum([0, *(len(one.records) for one in records)])
        records = [one.take(kept[a:b]) for one, (a, b) in zip(records, pairwise(ends), strict=True)]
        known, bounds, errors = found, bounds[kept], errors[kept]
        there = [np.isin(one.records, some.records) for one, some in zip(layers, records, strict=True)]
        left_out += int(np.count_nonzero(~kept))
    total = sum(one.table.source.records for one in layers)
    report = ParkReport(
        records=total,
        parks=len(known.unique),
        id_column=tuple(one.ids.column for one in numbered),
        name_column=tuple(one.name_column for one in numbered),
        used=len(known.park),
        refused_records=gone,
        skipped_records=total - gone - left_out - len(known.park),
        left_out_records=left_out,
        merged=len(known.park) - len(known.unique),
        refused=tuple(line for one in layers for line in one.table.refused),
        notes=(
            *(note for one in chosen for note in one.notes),
            *known.notes,
            *(
                line
                for one, of in zip(layers, numbered, strict=True)
                for line in list_nameless(one.table, of.ids.column, of.name_column)
                if len(one.records)
            ),
            *(line for one in layers for line in list_lacking(one.table, reading.keep)),
            *(line for one in layers for line in _list_compared(one)),
        ),
    )
    names = join_end_to_end([one.names for one in records])
    if len(known.unique) < len(known.park):
        names, bounds, errors = _group_by_park(known.park, np.array(names, dtype=object), bounds, errors)
    entry = None
    if any(some.columns.entry is not None for some in chosen):
        said = [
            read_entry(one.table, some.columns)[has]
            for one, some, has in zip(layers, chosen, there, strict=True)
        ]
        entry = join_entry(np.concatenate(said), known.park, len(known.unique))
    return IndexedParks(split_by_layer(), reading, known.unique, names, bounds, errors, entry, report)


def _find_comparison(layers: Sequence[StoredLayer], chosen: Sequence[ChosenRecords]) -> ParkComparison:
    """How the parks of all layers were compared before, by the ids and names they have now."""
    one, columns = layers[0], chosen[0].columns
    if len(layers) > 1 or not isinstance(one, IndexedLayer) or columns.id or columns.name:
        return ParkComparison()
    return read_comparison(one.request.opening)


def _list_compared(layer: StoredLayer) -> Iterator[str]:
    """What was not checked of a layer's index, if it has one."""
    line = format_compared(layer.compared, len(layer.records)) if isinstance(layer, IndexedLayer) else ""
    if line:
        yield f"{layer.table.source.where}: {line}"


def _group_by_park(
    park: Ints, names: NDArray[np.object_], bounds: Floats, errors: Floats
) -> tuple[NDArray[np.object_], Floats, Floats]:
    """Name, bounds and datum error of each park, where some have several records."""
    first = np.unique(park, return_index=True)[1]
    name, joined, error = names[first].copy(), bounds[first].copy(), errors[first].copy()
    np.minimum.at(joined[:, 0], park, bounds[:, 0])
    np.minimum.at(joined[:, 1], park, bounds[:, 1])
    np.maximum.at(joined[:, 2], park, bounds[:, 2])
    np.maximum.at(joined[:, 3], park, bounds[:, 3])
    np.maximum.at(error, park, errors)
    for row in np.flatnonzero((name[park] == "") & (names != "")).tolist():
        name[park[row]] = name[park[row]] or names[row]
    return name, joined, error


@dataclass(frozen=True)
class IndexedParks(Queried):
    """Parks left in their files or spilled to disk, layer by layer; see `scout.parks.sources.ParkSource`."""

    layers: tuple[LayerParks, ...]
    reading: ParkReading
    ids: Any
    names: Any
    bounds: Floats
    datum_error_m: Floats
    entry: NDArray[np.object_] | None
    report: ParkReport
    kept: LoadedParks | None = None  # some that are in memory already

    @property
    def sources(self) -> tuple[Source, ...]:
        """The layers of the files."""
        return tuple(one.layer.table.source for one in self.layers)

    def keep(self, loaded: LoadedParks) -> IndexedParks:
        """Return the same source with some parks held in memory, so that they are not read again."""
        return replace(self, kept=loaded)

    def query(self, numbers: Ints) -> ParkQuery:
        """Ask for some parks, ascending; nothing is read yet."""
        if self.kept is None:
            return IndexedQuery(tuple(one.only(numbers) for one in self.layers), self.reading)
        here = np.isin(numbers, self.kept.numbers)
        found = replace(self.kept, report=ParkReport()).take(
            np.searchsorted(self.kept.numbers, numbers[here])
        )
        return LoadedQuery(found, None if here.all() else replace(self, kept=None).query(numbers[~here]))
