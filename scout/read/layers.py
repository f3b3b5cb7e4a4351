"""One layer read: batches gathered, broken rings salvaged, all of it put on the globe."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyogrio.errors
import shapely
from numpy.typing import NDArray

from scout.errors import CrsError, InputError, RecordError
from scout.model import GEOMETRY, RECORD, Layer, Source
from scout.read import geojson, salvage
from scout.read.boxes import asked, meets, together
from scout.read.crs import Datum, datum_of
from scout.read.features import by_simdjson, worth_trying
from scout.read.formats import Opening
from scout.read.globe import CAUSES, describe_gap, place
from scout.read.misfits import find_misfits
from scout.read.offline import collected_warnings
from scout.read.parquet import by_parquet, ours_in
from scout.read.sifting import INDEXED, Asked, come_near, numbers_near, sift, with_sifting
from scout.read.tables import Batch, Box, Opener, Part, Stream, among, streams
from scout.read.trust import SHORT, SHORT_M, UnreliableIndex

_ASKED = 40_000  # records asked for in one question
_MOST_ASKED = 0.4  # of a layer's records; more are found sooner by reading all of it
_SAMPLE = 500  # records looked at for the operations that PROJ used

__all__ = ["Gathering", "Request", "read_layer", "source_of"]


@dataclass(frozen=True, slots=True)
class Request:
    """Which layer of what, and how: ``boxes`` in lon/lat, ``assume_crs`` for files without a system.

    ``numbers`` are the records to read, ascending; ``known`` then tells of the layer as a whole.
    """

    path: str
    opening: Opening
    layer: str | int | None
    name: str
    boxes: tuple[Box, ...] | None = None
    assume_crs: str | None = None
    numbers: NDArray[np.int64] | None = None
    known: Source | None = None

    def with_warnings(self, warnings: Sequence[str]) -> Request:
        """The same with more to be said of the layer."""
        said = replace(self.opening, warnings=(*self.opening.warnings, *warnings))
        return replace(self, opening=said) if warnings else self


def read_layer(
    request: Request, start: Callable[[Request], Gathering] | None = None
) -> tuple[Layer, Counter[str]]:
    """Read one layer; ``start`` makes what gathers its records, anew for each way to read that is tried.

    Returns
    -------
    layer : Layer
    causes : Counter
        How many records were refused, by the keys of `globe.CAUSES`.
    """
    by_number = request.numbers is not None and not request.opening.fid_column
    # By boxes through arrow FlatGeobuf makes up a record where one holds nothing (GDAL 3.12).
    arrow = not by_number and (request.boxes is None or request.opening.drivers[0] in INDEXED)
    openers = [by_parquet] if request.opening.drivers == ("Parquet",) else streams(arrow)
    if worth_trying(request.opening):
        openers.insert(0, by_simdjson)
    for way in (ways := with_sifting(openers, request.opening, request.boxes is not None)):
        try:
            gathering = (start or Gathering)(request)
            opener, gathering.asked = way
            with collected_warnings() as heard:
                gathering.read(opener)
                frame = gathering.frame()
            return gathering.layer(frame, heard), gathering.causes
        except (RuntimeError, UnicodeError, shapely.errors.ShapelyError) as error:
            # What the libraries raise over a file; the next way may do. NotImplementedError is one: curves.
            if way is ways[-1]:
                raise InputError(request.path, f"cannot be read ({error})", "export it again") from error
    raise AssertionError("no way to read")


@dataclass
class Gathering:
    """What has been read of a layer so far."""

    request: Request
    datum: Datum | None = None
    announced: int = -1  # records that the file says it has; -1 if it does not say
    joined: Callable[[list[Any]], pd.DataFrame] = pd.concat
    attributes: list[Any] = field(default_factory=list)
    numbers: list[NDArray[np.int64]] = field(default_factory=list)
    shapes: list[NDArray[np.object_]] = field(default_factory=list)
    bounds: list[NDArray[np.float64]] = field(default_factory=list)  # in the layer's own system
    refused: list[tuple[int, str]] = field(default_factory=list)
    repaired: list[tuple[int, str]] = field(default_factory=list)
    causes: Counter[str] = field(default_factory=Counter)
    written: list[Any] | None = None
    prepared: bool = False  # by this program, so that longitudes are as they should be
    asked: Asked = "boxes"  # more is sifted as it comes
    own_boxes: Sequence[Box | None] = ()  # in the layer's own system, what is asked for lies in one of them
    met: int = 0  # records that came, before any were sifted out
    doubts: list[str] = field(default_factory=list)  # of an index, of values

    def __post_init__(self) -> None:
        self.prepared = ours_in(self.request.opening) is not None

    def read(self, opener: Opener) -> None:
        """Take the records of all parts."""
        for part in self._parts():
            with opener(self.request.opening, self.request.layer, part) as stream:
                self._take(stream)

    def _parts(self) -> list[Part]:
        """What to ask GDAL for, in the layer's own system; ask the file which driver reads it and where."""
        opening, numbers = self.request.opening, self.request.numbers
        if numbers is not None and self.request.known is not None:
            if opening.drivers == ("Parquet",):
                return [numbers]
            if len(numbers) > _MOST_ASKED * self.request.known.records:
                return [None]
            fids = numbers - (opening.numbering == "fid from 0")
            return [fids[first : first + _ASKED] for first in range(0, len(fids), _ASKED)]
        if opening.numbering == "position":
            return [None]
        try:
            info = pyogrio.read_info(opening.target, layer=self.request.layer, **opening.options)
        except (IndexError, UnboundLocalError) as error:
            # pyogrio's, where a damaged file opens without a layer, or a .prj is not UTF-8.
            raise RuntimeError("its layer or its coordinate system is damaged") from error
        if info["driver"] not in opening.drivers:
            raise InputError(self.request.path, f"GDAL takes it for {info['driver']}", "export it again")
        if self.request.boxes is None:
            self.announced = int(info["features"])
            if info["driver"] == "GPKG" and info["fid_column"]:
                file = Path(str(opening.target))
                self.doubts += find_misfits(file, self.request.name, str(info["fid_column"]))
            return [None]
        self.datum = datum_of(info["crs"], self.request.path, self.request.assume_crs)
        if opening.one_pass:
            return self._in_one_pass()
        self.own_boxes = [part for box in together(self.request.boxes) for part in asked(box, self.datum)]
        if self.asked == "boxes" and opening.drivers[0] == "GPKG":
            return self._by_their_heads(info)
        if self.asked == "boxes":
            return list(self.own_boxes)
        self.announced = int(info["features"])
        return [None]

    def _by_their_heads(self, info: dict[str, Any]) -> list[Part]:
        """Of a GeoPackage the numbers of what is near; all of it where these cannot be told, or are most."""
        assert self.datum is not None
        opening = replace(self.request.opening, fid_column=str(info["fid_column"]))
        self.request = replace(self.request, opening=opening)
        slack = SHORT if self.datum.geographic else SHORT_M
        try:
            numbers, of = numbers_near(opening, self.request.name, info, self.own_boxes, slack)
        except UnreliableIndex as doubt:
            self.doubts.append(doubt.warning)
            numbers, of = None, 0
        if numbers is None or len(numbers) > _MOST_ASKED * of:
            self.asked, self.announced = "all", int(info["features"])
            return [None]
        return [numbers[first : first + _ASKED] for first in range(0, len(numbers), _ASKED)]

    def _in_one_pass(self) -> list[Part]:
        """Without an index every question is another pass through the file, so there is one."""
        if self.asked == "all":
            return [None]
        assert self.datum is not None
        boxes = self.request.boxes or ()
        parts = [part for box in boxes for part in asked(box, self.datum, turned=False)]
        drawn = shapely.box(*np.array(parts).T)
        return [shapely.union_all(drawn)] if self.asked == "boxes" else [tuple(shapely.total_bounds(drawn))]

    def _take(self, stream: Stream) -> None:
        if self.datum is None:
            stated = self.request.opening.crs
            stated = stream.crs if stated is None else stated
            self.datum = datum_of(stated, self.request.path, self.request.assume_crs)
        self.joined = stream.joined
        seen = np.concatenate(self.numbers) if self.numbers else np.empty(0, np.int64)
        for batch in stream.batches:
            self.met += len(batch.numbers)
            if self.request.numbers is not None:
                batch = batch.rows(among(batch.numbers, self.request.numbers))
            again = np.isin(batch.numbers, seen) if len(seen) else np.zeros(len(batch.numbers), dtype=bool)
            if self.asked != "boxes" and self.request.boxes is not None:
                batch = batch.rows(near := come_near(batch, self.own_boxes))
                batch, again = sift(batch, again[near], self.datum, self.prepared, self.request.boxes)
            self.keep(batch, self._placed(batch, again))

    def keep(self, batch: Batch, shapes: NDArray[np.object_]) -> None:
        """Add records with their shapes in longitude and latitude."""
        self.attributes.append(batch.attributes)
        self.numbers.append(batch.numbers)
        self.shapes.append(shapes)

    def _placed(self, batch: Batch, again: NDArray[np.bool_]) -> NDArray[np.object_]:
        assert self.datum is not None
        made = batch.shapes
        if not batch.made:
            with np.errstate(invalid="ignore"):
                made = shapely.from_wkb(batch.shapes, on_invalid="ignore")
            made[again] = None
            self._salvage(batch, made, again)
        placed = place(made, self.datum, self.prepared)
        self.bounds.append(placed.bounds)
        for row, (cause, text) in placed.refused.items():
            self.causes[cause] += 1
            self.refused.append((int(batch.numbers[row]), f"{text}: {CAUSES[cause][0]}"))
        self.repaired += [(int(batch.numbers[row]), text) for row, text in placed.noted.items()]
        return placed.geometry

    def _salvage(self, batch: Batch, made: NDArray[np.object_], again: NDArray[np.bool_]) -> None:
        assert self.datum is not None
        found: dict[int, list[salvage.Shape]] = {}
        for row in np.flatnonzero(shapely.is_missing(made) & ~again).tolist():
            if batch.shapes[row] is not None:
                found[row] = salvage.shapes_of_wkb(bytes(batch.shapes[row]))
            elif isinstance(written := self._written(int(batch.numbers[row])), dict):
                found[row] = geojson.shapes_of(written)
        for row, shapes in found.items():
            number, kept = int(batch.numbers[row]), salvage.assemble(shapes)
            made[row] = kept.geometry
            rest = "" if kept.geometry is None else "; the rest of the record is kept"
            for text, gap in zip(kept.closed, kept.gaps, strict=True):
                self.repaired.append((number, f"{text}; it has been closed{describe_gap(gap, self.datum)}"))
            self.refused += [(number, f"{text}{rest}") for text in kept.lost]

    def _written(self, number: int) -> Any:
        """What the text of a GeoJSON file has for the geometry of a record; None in other formats."""
        if self.written is None:
            source = self.request.opening.source
            self.written = geojson.geometries(source) if source is not None else []
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
        table.columns = _distinct([str(name) for name in table.columns])
        table.insert(0, RECORD, numbers)
        frame = gpd.GeoDataFrame(table, geometry=gpd.array.GeometryArray(shapes), crs="EPSG:4326")
        gone = np.isin(numbers, [number for number, _ in self.refused]) & shapely.is_missing(shapes)
        keep = ~gone if self.request.boxes is None else meets(shapes, self.request.boxes)
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
        request, datum = self.request, self.datum or datum_of(None, self.request.path, "EPSG:4326")
        records = len(frame) + len({number for number, _ in self.refused} - set(frame[RECORD].tolist()))
        bounds = shapely.bounds(frame.geometry.to_numpy())
        before = np.concatenate(self.bounds) if self.bounds else np.empty((0, 4))
        return source_of(request, datum, records, before, bounds, [*self.doubts, *self._missing(), *heard])

    def _missing(self) -> list[str]:
        """GDAL may end early without a word at a damaged place of a GeoPackage."""
        if self.met >= self.announced:
            return []
        return [f"the file announces {self.announced} records, {self.met} could be read: it may be damaged"]


def source_of(
    request: Request,
    datum: Datum,
    records: int,
    before: NDArray[np.float64],
    bounds: NDArray[np.float64],
    warnings: Sequence[str] = (),
) -> Source:
    """Where a layer comes from and how good its places are.

    ``before`` are the bounds of its records in their own system, ``bounds`` those in degrees, shape (n, 4).

    Raises
    ------
    CrsError
        The records look like degrees and the file says otherwise.
    """
    sample = _sample(before)
    if not datum.geographic and len(sample) and (np.abs(sample) <= [360, 90]).all():
        what = f"the coordinates look like degrees, but the file says {datum.text}"
        raise CrsError(request.path, what, "give the file its right coordinate system")
    finite = np.isfinite(bounds[:, 0])
    bounds = bounds if finite.all() else bounds[finite]
    judged = datum.judge(sample, (bounds[:, 0] + bounds[:, 2]) / 2, (bounds[:, 1] + bounds[:, 3]) / 2)
    ours = ours_in(request.opening) or {}
    return Source(
        path=request.path,
        layer=request.name,
        records=records,
        crs=datum.text,
        operation=ours.get("operation", judged.operation),
        accuracy_m=ours.get("accuracy_m", judged.accuracy_m),
        warnings=(*request.opening.warnings, *ours.get("warnings", ()), *judged.warnings, *warnings),
    )


def _sample(bounds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Some corners of records spread over a layer, its extremes among them, shape (n, 2)."""
    if not len(bounds):
        return np.empty((0, 2))
    ends = [f(bounds[:, k]) for k, f in ((0, np.argmin), (1, np.argmin), (2, np.argmax), (3, np.argmax))]
    chosen = bounds[[*range(0, len(bounds), max(len(bounds) // _SAMPLE, 1)), *ends]]
    return chosen.reshape(-1, 2)


def _distinct(names: list[str]) -> list[str]:
    """Column names without repeats and without the names that are ours."""
    taken: list[str] = []
    for name in names:
        new, count = name, 2
        while new in taken or new in (GEOMETRY, RECORD):
            new, count = f"{name} ({count})", count + 1
        taken.append(new)
    return taken
