"""GeoJSON of sound shapes with plain values, through simdjson: several times as fast as GDAL.

A text that holds anything else, or anything amiss, is left to GDAL, which tells of it record by record.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import chain, islice
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scout.io.formats import Opening
from scout.io.tables import LayerStream, Part, RecordBatch

_LARGEST = 350_000_000  # bytes; the parsed text takes three times as much
_BATCH = 2000  # records
_INT64 = 2**63
# Of each type: what one part is made of, and how several are joined.
_POINT, _LINE, _AREA = (
    shapely.GeometryType.POINT,
    shapely.GeometryType.LINESTRING,
    shapely.GeometryType.POLYGON,
)
_KINDS: dict[str, tuple[shapely.GeometryType, Callable[..., Any] | None]] = {
    "Point": (_POINT, None),
    "MultiPoint": (_POINT, shapely.multipoints),
    "LineString": (_LINE, None),
    "MultiLineString": (_LINE, shapely.multilinestrings),
    "Polygon": (_AREA, None),
    "MultiPolygon": (_AREA, shapely.multipolygons),
}


class _PropertyColumns(NamedTuple):
    """Values of the properties of some features, by name, None where one lacks it."""

    size: int
    values: dict[str, list[Any]]
    numbered: bool  # whether features have ids of their own


def is_worth_trying(opening: Opening) -> bool:
    """Whether a file may be read this way."""
    if opening.drivers != ("GeoJSON",) or opening.source is None:
        return False
    return importlib.util.find_spec("simdjson") is not None and opening.source.stat().st_size <= _LARGEST


@contextmanager
def open_by_simdjson(opening: Opening, _: str | int | None, part: Part) -> Iterator[LayerStream]:
    """Open the one layer of a file, all of it.

    Raises
    ------
    RuntimeError
        It is not as plain as it has to be; also while it is being read.
    """
    import simdjson

    if part is not None:
        raise RuntimeError("only whole files are read this way")
    with _refuse_odd_text():
        collection: Any = simdjson.Parser().load(str(opening.source))
        features = collection["features"]
        _refuse_repeated_names(collection, 2)
        if collection["type"] != "FeatureCollection" or not isinstance(features, simdjson.Array):
            raise RuntimeError("no collection of features")
    yield LayerStream(None, _make_batches(iter(features)), _make_frame)


@contextmanager
def _refuse_odd_text() -> Iterator[None]:
    try:
        yield
    except (
        ValueError,
        TypeError,
        KeyError,
        AttributeError,
        MemoryError,  # GDAL needs less
        shapely.errors.ShapelyError,
    ) as error:
        raise RuntimeError(str(error)) from error


def _make_batches(features: Iterator[Any]) -> Iterator[RecordBatch]:
    start = 0
    while some := list(islice(features, _BATCH)):
        with _refuse_odd_text():
            shapes, columns = _make_shapes([one.get("geometry") for one in some]), _collect_columns(some)
        yield RecordBatch(columns, np.arange(start + 1, start + len(some) + 1), shapes, made=True)
        start += len(some)


def _make_shapes(geometries: list[Any]) -> NDArray[np.object_]:
    """Geometries of all; None stays."""
    rows: dict[str, list[int]] = {}
    for row, geometry in enumerate(geometries):
        if geometry is not None:
            _refuse_repeated_names(geometry, 2)
            rows.setdefault(geometry["type"], []).append(row)
    made = np.full(len(geometries), None, dtype=object)
    for kind, mine in rows.items():
        if kind not in _KINDS:
            raise RuntimeError(f"a geometry of type {kind}")
        base, join = _KINDS[kind]
        coordinates = [geometries[row]["coordinates"] for row in mine]
        if join is None:
            made[mine] = _make_parts(coordinates, base)
            continue
        several = [list(parts) for parts in coordinates]
        sizes = [len(parts) for parts in several]
        if not all(sizes):
            raise RuntimeError("a geometry without parts")
        made[mine] = join(
            _make_parts(list(chain(*several)), base), indices=np.repeat(range(len(mine)), sizes)
        )
    return made


def _refuse_repeated_names(thing: Any, known: int) -> None:
    """Of two members of one name another reader may take the other; ``known`` of them are there for sure."""
    if len(thing) != known:
        names = list(thing.keys())
        if len(set(names)) < len(names):
            raise RuntimeError("two members of one name")


def _make_parts(coordinates: list[Any], base: shapely.GeometryType) -> NDArray[np.object_]:
    """Points, lines or polygons, all at once."""
    made: NDArray[np.object_]
    if base == _POINT:
        made = shapely.points(_collect_positions(coordinates, np.ones(len(coordinates), dtype=np.int64)))
        return made
    paths = list(chain(*coordinates)) if base == _AREA else coordinates
    sizes = np.array([len(path) for path in paths], dtype=np.int64)
    xy, ends = _collect_positions(paths, sizes), np.concatenate([[0], np.cumsum(sizes)])
    if base == _LINE:
        if (sizes < 2).any():
            raise RuntimeError("a line that is none")
        made = shapely.from_ragged_array(base, xy, (ends,))
        return made
    rings = np.array([len(part) for part in coordinates], dtype=np.int64)
    if (sizes < 4).any() or (rings < 1).any() or (xy[ends[:-1]] != xy[ends[1:] - 1]).any():
        raise RuntimeError("a ring that is none")
    made = shapely.from_ragged_array(base, xy, (ends, np.concatenate([[0], np.cumsum(rings)])))
    return made


def _collect_positions(paths: list[Any], sizes: NDArray[np.int64]) -> NDArray[np.float64]:
    """Longitudes and latitudes of all paths of so many positions each, end to end, without heights."""
    numbers = [np.frombuffer(path.as_buffer(of_type="d")) for path in paths]
    across = np.array([len(some) for some in numbers], dtype=np.int64)
    if (across == 2 * sizes).all():
        return np.concatenate(numbers).reshape(-1, 2)
    if not ((across == 2 * sizes) | (across == 3 * sizes)).all():
        raise RuntimeError("positions of other than two or three numbers")
    pairs = zip(numbers, sizes.tolist(), strict=True)
    return np.concatenate([some.reshape(size, -1)[:, :2] for some, size in pairs])


def _collect_columns(features: list[Any]) -> _PropertyColumns:
    found: dict[str, list[Any]] = {}
    numbered = False
    for row, feature in enumerate(features):
        if feature["type"] != "Feature":
            raise RuntimeError("a member that is no feature")
        own, properties = feature.get("id"), feature.get("properties")
        numbered |= own is not None
        _refuse_repeated_names(
            feature, sum(name in feature for name in ("type", "geometry", "properties", "id"))
        )
        if own is not None and not isinstance(own, int):
            raise RuntimeError("an id of a feature that is a text")  # GDAL makes it a column
        for name, value in ({} if properties is None else properties.as_dict()).items():
            column = found.setdefault(name, [])
            column += [None] * (row - len(column))
            column.append(value)
    for column in found.values():
        column += [None] * (len(features) - len(column))
    return _PropertyColumns(len(features), found, numbered)


def _make_frame(parts: list[_PropertyColumns]) -> pd.DataFrame:
    """Columns in order of first appearance, each of one type."""
    made = {}
    if any(part.numbered for part in parts) and any("id" in part.values for part in parts):
        raise RuntimeError("ids of features and a property of that name")
    for name in dict.fromkeys(name for part in parts for name in part.values):
        columns = (part.values.get(name) or [None] * part.size for part in parts)
        made[name] = _convert_column(list(chain(*columns)))
    return pd.DataFrame(made, index=range(sum(part.size for part in parts)))


def _convert_column(values: list[Any]) -> pd.Series:
    """A column as GDAL would have it."""
    kinds = set(map(type, values))
    there = kinds - {type(None)}
    if there == {str}:
        if any("\0" in value for value in values if value):
            raise RuntimeError("a text with an end in it")
        return pd.Series(values, dtype="str")
    if there in ({float}, {int, float}):
        return pd.Series(values, dtype=float)
    if there == {int}:
        if max(map(abs, filter(None, values)), default=0) >= _INT64:
            raise RuntimeError("numbers beyond 64 bits")
        return pd.Series(values, dtype=np.int64 if kinds == there else object)
    if there and there != {bool}:
        raise RuntimeError("values of several kinds, or within values")
    return pd.Series(values, dtype=object)
