"""Layers known by their index: bounds, ids and names of all records without reading a single outline.

The head of each geometry in a GeoPackage, the bounds columns of GeoParquet 1.1 and the outlines of FlatGeobuf
and Shapefile, run through once, tell where every record lies. Only areas in longitude and latitude are taken
so: in other systems the bounds say little about the lattice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyogrio.errors
from numpy.typing import NDArray

from scout.errors import InputError
from scout.model import RECORD, Layer
from scout.parks.columns import telling
from scout.parks.joining import OWN_ERROR, OWN_WIDENED
from scout.read.crs import Datum, datum_of
from scout.read.extents import extents
from scout.read.layers import Request, read_layer, source_of
from scout.read.misfits import find_misfits
from scout.read.offline import collected_warnings, offline
from scout.read.parquet import boxes_in, columns_in, sample_in, table_in
from scout.read.tables import boxes, table
from scout.read.trust import SHORT, UnreliableIndex, check_bounds

__all__ = ["LEAST_RECORDS", "Indexed", "indexed"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

LEAST_RECORDS = 5000  # a smaller layer is read whole: all of its records are checked then
_DRIVERS = {"GPKG", "ESRI Shapefile", "FlatGeobuf"}
_SHIFT = 0.01  # degrees; two datums may be a good hundred metres apart over one park


@dataclass(frozen=True)
class Indexed:
    """One layer by its index. ``bounds`` in degrees hold each record, NaN where it has no geometry."""

    request: Request
    records: Ints
    bounds: Floats
    table: Layer  # all records, with the columns that may tell ids and names; no geometry
    compared: int = 0  # records whose bounds were compared with their outlines before the index was believed

    def only(self, numbers: Ints) -> Indexed:
        """Some records, ascending, without their table."""
        rows = np.searchsorted(self.records, numbers)
        table = replace(self.table, frame=self.table.frame.iloc[:0])
        return Indexed(self.request, numbers, self.bounds[rows], table)

    def read(self) -> Layer:
        """The records in full.

        Raises
        ------
        InputError
            A record lies elsewhere than the index says.
        """
        with offline():
            layer = read_layer(replace(self.request, numbers=self.records))[0]
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


def indexed(
    request: Request,
    columns: Sequence[str],
    least: int = LEAST_RECORDS,
    doubts: Callable[[str], None] = lambda _: None,
) -> Indexed | None:
    """The index of a layer; None where there is none of use, and the layer has to be read.

    Parameters
    ----------
    request : Request
        Of the whole layer.
    columns : sequence of str
        Columns that are wanted beside those known to hold ids and names.
    least : int
        Records that are worth it.
    doubts : callable
        Told the line of an index that contradicts the records.
    """
    of = _of_parquet if request.opening.drivers == ("Parquet",) else _of_gdal
    try:
        with offline(), collected_warnings():
            found = of(request, columns, least)
            return None if found is None or len(found.records) < least else _filled(found)
    except UnreliableIndex as doubt:
        doubts(doubt.warning)
        return None
    except Exception:  # whatever damage makes the libraries raise: reading it whole will tell
        return None


@dataclass(frozen=True)
class _Bare:
    """What an index holds, in the layer's own system, and the columns beside it."""

    request: Request
    datum: Datum
    records: Ints  # of those with geometry
    bounds: Floats
    fields: Sequence[str]  # all columns of the file
    numbers: Ints  # of the rows of the table
    frame: pd.DataFrame
    compared: int  # records whose bounds are known to be those of their outlines


def _of_parquet(request: Request, columns: Sequence[str], least: int) -> _Bare | None:
    found = boxes_in(request.opening)
    if found is None or len(found[0]) < least:
        return None
    numbers, bounds, crs = found
    fields = columns_in(request.opening)
    datum = _lon_lat(request, crs, fields)
    if datum is None:
        return None
    places, own = sample_in(request.opening, bounds)
    check_bounds(numbers[places], bounds[places], own)
    rows = table_in(request.opening, _wanted(fields, columns))
    return _Bare(request, datum, numbers, bounds, fields, *rows, len(places))


def _of_gdal(request: Request, columns: Sequence[str], least: int) -> _Bare | None:
    opening = request.opening
    if opening.drivers[0] not in _DRIVERS or str(opening.target).startswith("/vsi"):
        return None
    info = pyogrio.read_info(opening.target, layer=request.layer, **opening.options)
    kind = str(info["geometry_type"]).removeprefix("2.5D ").split()[0]
    if info["driver"] not in opening.drivers or kind not in ("Polygon", "MultiPolygon"):
        return None
    fields = [str(name) for name in info["fields"]]
    datum = _lon_lat(request, info["crs"], fields)
    if info["features"] < least or datum is None:
        return None
    if info["driver"] == "GPKG":
        opening = replace(opening, fid_column=str(info["fid_column"]))
        if not opening.fid_column:
            return None
        file, column = Path(str(opening.target)), str(info["geometry_name"])
        found = extents(file, request.name, opening.fid_column, column, SHORT)
        records, bounds, compared = found.records, found.bounds, found.compared
        request = request.with_warnings(find_misfits(file, request.name, opening.fid_column))
    else:
        records, bounds = boxes(opening, request.layer)
        compared = len(records)  # GDAL makes them of the outlines
    if not np.isfinite(bounds).all():
        return None  # records without geometry, or without a place
    numbers, frame = table(opening, request.layer, _wanted(fields, columns))
    order = np.argsort(records)
    opening = replace(opening, warnings=request.opening.warnings)
    request = replace(request, opening=opening)
    return _Bare(request, datum, records[order], bounds[order], fields, numbers, frame, compared)


def _lon_lat(request: Request, crs: str | None, fields: Sequence[str]) -> Datum | None:
    """The layer's system, if it is longitude and latitude and the columns can be told apart."""
    stated = request.opening.crs
    datum = datum_of(crs if stated is None else stated, request.path, request.assume_crs)
    degrees = datum.geographic and abs(datum.quarter_turn - 90.0) <= 1e-9
    return datum if degrees and len(set(fields)) == len(fields) else None


def _wanted(fields: Sequence[str], columns: Sequence[str]) -> list[str]:
    return [*telling(fields, columns), *({OWN_ERROR, OWN_WIDENED} & set(fields))]


def _filled(bare: _Bare) -> Indexed | None:
    if not np.array_equal(bare.numbers, bare.records):
        return None
    numbers, before, frame = bare.numbers, bare.bounds, bare.frame
    if (np.diff(numbers) <= 0).any():  # a prepared file has parks near each other together
        order = np.argsort(numbers, kind="stable")
        numbers, before = numbers[order], before[order]
        frame = frame.iloc[order].reset_index(drop=True)
    bounds = _in_degrees(before, bare.datum)
    source = source_of(bare.request, bare.datum, len(numbers), before[np.isfinite(before[:, 0])], bounds)
    frame.insert(0, RECORD, numbers)
    known = replace(bare.request, known=source)
    layer = Layer(gpd.GeoDataFrame(frame), source, columns=tuple(bare.fields))
    return Indexed(known, numbers, bounds, layer, bare.compared)


def _in_degrees(before: Floats, datum: Datum) -> Floats:
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
