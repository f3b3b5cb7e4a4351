"""Access data near some places: any format of boundaries, and OpenStreetMap's own, tags as columns."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from scout.io.layers import WantedLayers, check_twice, read_file
from scout.io.local_files import run_offline
from scout.io.openstreetmap import WantedThings
from scout.io.tables import Box
from scout.model import GEOMETRY, RECORD, Layer, Source
from scout.walk.tags import KEYS

_OTHER = "other_tags"  # where exports by GDAL have tags without a column of their own, as PostgreSQL's hstore
_PAIR = re.compile(r'"((?:[^"\\]|\\.)*)"=>"((?:[^"\\]|\\.)*)"')


def read_tagged(
    paths: Path | str | Sequence[Path | str],
    boxes: Sequence[Box],
    progress: Callable[[str], None] | None = None,
    assume_crs: str | None = None,
    keys: Collection[str] = (),
) -> list[Layer]:
    """Read what lies near some places.

    Parameters
    ----------
    paths : path or sequence of path
        The formats of `scout.io.layers.read_layers`, and OpenStreetMap data as `.osm`, `.osm.gz`, `.osm.bz2`
        or `.osm.pbf`.
    boxes : sequence of tuple
        West, south, east, north in degrees; only records whose own bounds meet one are kept. East may exceed
        180.
    progress : callable, optional
        Called with a line before each layer.
    assume_crs : str, optional
        Coordinate system of the files that name none.
    keys : collection of str
        More tags of OpenStreetMap data to keep than those that are read anyway.

    Returns
    -------
    list of Layer
        As `read_layers` gives them. Of OpenStreetMap data only records with a tag that is read are
        kept; their record numbers are the ids of nodes, ways and relations. A file that holds nothing there
        gives one layer without records.

    Raises
    ------
    InputError
        A file cannot be used at all.
    CrsError
        A file names no coordinate system and none is assumed, or one that leads nowhere.
    """
    paths = [paths] if isinstance(paths, (str, Path)) else paths
    check_twice(paths)
    if not boxes:
        return [_make_empty_layer(str(path)) for path in paths]
    kept = KEYS | set(keys)
    wanted = WantedLayers(boxes=tuple(boxes), assume_crs=assume_crs, osm=WantedThings(kept))
    with run_offline():
        found: list[Layer] = []
        for path in paths:
            layers = [unpack_tags(layer, kept) for layer in read_file(path, wanted, progress)]
            found += [layer for layer in layers if len(layer.frame) or layer.refused] or [
                _make_empty_layer(str(path))
            ]
    return found


def unpack_tags(layer: Layer, keys: Collection[str]) -> Layer:
    """Return the layer with its other tags as columns; an export by GDAL has them in one text."""
    frame = layer.frame
    if _OTHER not in frame.columns:
        return layer
    found: dict[str, dict[int, str]] = {}
    for row, text in enumerate(frame[_OTHER].to_numpy(dtype=object)):
        for key, value in _PAIR.findall(text) if isinstance(text, str) else ():
            if key in keys:
                found.setdefault(key, {})[row] = re.sub(r"\\(.)", r"\1", value)
    columns = {key: _make_column(values, len(frame)) for key, values in found.items()}
    table = pd.DataFrame(frame.drop(columns=[_OTHER, GEOMETRY]))
    for key, column in columns.items():
        table[key] = table[key].where(table[key].notna(), column) if key in table.columns else column
    return replace(layer, frame=gpd.GeoDataFrame(table, geometry=frame.geometry.array, crs=frame.crs))


def _make_column(values: dict[int, str], rows: int) -> Any:
    column = np.full(rows, None, dtype=object)
    column[list(values)] = list(values.values())
    return column


def _make_empty_layer(path: str) -> Layer:
    frame = gpd.GeoDataFrame({RECORD: np.empty(0, np.int64)}, geometry=[], crs="EPSG:4326")
    return Layer(frame, Source(path, Path(path).stem, 0, "EPSG:4326 (WGS 84)", "none", 0.0))
