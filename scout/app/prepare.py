"""Boundaries made ready once: cleaned, joined and indexed, in a GeoParquet file that is searched often."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from typing import IO, TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from scout.app.find import SearchOptions
from scout.app.sources import ParkFiles
from scout.io.parquet import OURS, TURN, ParkComparison
from scout.model import ATTRIBUTES, DATUM_ERROR, ENTRY, KIND, PARK_ID, PARK_NAME, ParkReport
from scout.parks.build import UNKNOWN_DATUM_ERROR_M
from scout.parks.duplicates import OthersNote
from scout.parks.profiles import OWN_DETAILS, OWN_ENTRY, OWN_ERROR, OWN_WIDENED
from scout.parks.sources import ParkSource
from scout.quantities import format_count
from scout.search.tiles import is_near_lines

if TYPE_CHECKING:
    import pyarrow as pa


_LEVELS = (1, 2, 3)  # fields, squares, subsquares: most parks reach over the lines of finer ones
_ROWS = 5000  # parks of one row group, which is read or passed over as a whole


def prepare_parks(
    source: ParkSource,
    reading: ParkFiles,
    progress: Callable[[str], None] = lambda _: None,
    report: Callable[[ParkReport], None] = lambda _: None,
) -> Callable[[IO[bytes]], None]:
    """Make the writer of all parks of a source to an opened file, near ones together, some thousand at once.

    Parameters
    ----------
    source : ParkSource
    reading : ParkFiles
        How the source was read: the columns that it carries along, of which each gets one of its own, and how
        its parks were compared.
    progress : callable
        Called with a few words on what is being done.
    report : callable
        Given what had to be said of the parks, some thousands at a time.
    """

    def write(file: IO[bytes]) -> None:
        from pyarrow import parquet

        order = _order_records(source.bounds)
        keep = reading.keep
        notes = tuple(note for note in source.report.notes if isinstance(note, OthersNote))
        compared = ParkComparison(reading.join_pieces, reading.same_ground, notes)
        schema = _make_schema(keep, source, compared)
        # Coordinates shrink by a tenth and take longer to unpack than to read: they stay as they are.
        packed = {name: "NONE" if name == "geometry" else "ZSTD" for name in schema.names}
        with parquet.ParquetWriter(file, schema, compression=packed, use_dictionary=False) as writer:
            for done, numbers in _split_order(order):
                progress(f"preparing {done:,} of {format_count(len(order), 'park')}")
                loaded = source.load(np.sort(numbers))
                report(loaded.report)
                writer.write_table(_make_table(loaded.frame, loaded.numbers, keep, schema))

    return write


def _split_order(order: NDArray[np.int64]) -> Iterator[tuple[int, NDArray[np.int64]]]:
    for first in range(0, len(order), _ROWS):
        yield first, order[first : first + _ROWS]


def _order_records(bounds: NDArray[np.float64]) -> NDArray[np.int64]:
    """Numbers of the parks that a search at the same level needs together, neighbours near each other.

    Those near the lines of a coarse level come first: a search there passes over all others, a tenth of a
    country at square level is then a tenth of its file. Within a level they follow a Hilbert curve.
    """
    coarsest = np.full(len(bounds), _LEVELS[-1] + 1)
    for level in reversed(_LEVELS):
        coarsest[is_near_lines(bounds, level, SearchOptions().near_m)] = level
    middles = np.stack([bounds[:, [0, 2]].mean(axis=1), bounds[:, [1, 3]].mean(axis=1)], axis=1)
    curve = gpd.GeoSeries(shapely.points(middles)).hilbert_distance(total_bounds=(-360.0, -90.0, 360.0, 90.0))
    order: NDArray[np.int64] = np.lexsort((curve.to_numpy(), coarsest))
    return order


def _make_schema(keep: Sequence[str], source: ParkSource, compared: ParkComparison) -> pa.Schema:
    import pyarrow as pa

    sources = source.sources
    box = pa.struct([(side, pa.float64()) for side in ("xmin", "ymin", "xmax", "ymax")])
    fields = [
        (PARK_ID, pa.string()),
        (PARK_NAME, pa.string()),
        (TURN, pa.int64()),
        (OWN_WIDENED, pa.bool_()),
        (OWN_ERROR, pa.float64()),
        *([(OWN_ENTRY, pa.string())] if source.entry is not None else []),
        (OWN_DETAILS, pa.string()),
        *((name, pa.string()) for name in keep),
        ("bbox", box),
        ("geometry", pa.binary()),
    ]
    covering = {"bbox": {side: ["bbox", side] for side in ("xmin", "ymin", "xmax", "ymax")}}
    column = {"encoding": "WKB", "geometry_types": ["Polygon", "MultiPolygon"], "covering": covering}
    geo = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}
    ours = {
        "operation": "as prepared from "
        + "; ".join(f"{s.where}, {s.crs}, {s.operation}".replace(", none", "") for s in sources),
        "accuracy_m": max(UNKNOWN_DATUM_ERROR_M if s.accuracy_m is None else s.accuracy_m for s in sources),
        "warnings": [f"{s.where}: {text}" for s in sources for text in s.warnings],
        "joined_pieces": compared.joined_pieces,
        "same_ground": compared.same_ground,
        "compared": compared.notes,
        "credits": sorted({(one.text, one.licence) for s in sources for one in s.credits}),
    }
    return pa.schema(fields, metadata={b"geo": json.dumps(geo).encode(), OURS: json.dumps(ours).encode()})


def _make_table(
    frame: gpd.GeoDataFrame, numbers: NDArray[np.int64], keep: Sequence[str], schema: pa.Schema
) -> pa.Table:
    import pyarrow as pa

    shapes = frame.geometry.to_numpy()
    box = pa.StructArray.from_arrays(
        list(shapely.bounds(shapes).reshape(-1, 4).T), names=["xmin", "ymin", "xmax", "ymax"]
    )
    details = frame[ATTRIBUTES].tolist() if ATTRIBUTES in frame else [{}] * len(frame)
    kept = [[one.get(name) for one in details] for name in keep]
    columns: list[Any] = [
        frame[PARK_ID].tolist(),
        frame[PARK_NAME].tolist(),
        numbers,
        (frame[KIND] == "corridor").to_numpy(),
        frame[DATUM_ERROR].to_numpy(dtype=float),
        *([frame[ENTRY].tolist()] if OWN_ENTRY in schema.names else []),
        [json.dumps(one, ensure_ascii=False) if one else None for one in details],
        *kept,
        box,
        shapely.to_wkb(shapes).tolist(),
    ]
    arrays = [
        column if isinstance(column, pa.StructArray) else pa.array(column, type=field.type)
        for column, field in zip(columns, schema, strict=True)
    ]
    return pa.Table.from_arrays(arrays, schema=schema)
