"""Bounds of all records of a GeoPackage, out of the heads of their geometries.

The R-tree beside a table is another program's copy of these, which may have fallen behind: it is never asked.
The bounds in ``gpkg_contents`` are only informative (OGC 12-128, table 4) and stay wide when records go.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.read.database import opened
from scout.read.trust import check_bounds

__all__ = ["Extents", "extents"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

_ENVELOPE = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}  # bytes, OGC 12-128 2.1.3.1.1
_HEAD = 40  # bytes of a geometry up to the end of its bounds
_ROWS, _OUTLINES = 20_000, 2000  # heads and outlines asked for at a time
_ANYWHERE = (-np.inf, -np.inf, np.inf, np.inf)
_LEAST, _SHARE = 200, 100  # records compared: at least so many, and one in so many


@dataclass(frozen=True)
class Extents:
    """Numbers of all records, ascending, and their bounds, shape (n, 4), in the layer's own system.

    NaN where there is no geometry, without end where it cannot be read. ``compared`` were looked at in full.
    """

    records: Ints
    bounds: Floats
    compared: int


def extents(file: Path, table: str, fid: str, column: str, slack: float) -> Extents:
    """Read them, and compare some with the outlines, by ``slack`` in the unit of the layer.

    Raises
    ------
    UnreliableIndex
        An outline lies outside the bounds that its head gives it.
    sqlite3.Error, ValueError, TypeError, OverflowError
        The table is damaged, or its records have no numbers.
    """
    asked = _Asked(table, fid, column)
    numbers, parts = [np.empty(0, np.int64)], [np.empty((0, 4))]
    with opened(file) as database:
        found = database.execute(asked.heads)
        while rows := found.fetchmany(_ROWS):
            numbers.append(np.array([row[0] for row in rows], dtype=np.int64))
            parts.append(_from_heads([row[1] for row in rows]))
        records, bounds = np.concatenate(numbers), np.concatenate(parts)
        order = np.argsort(records, kind="stable")
        records, bounds = records[order], bounds[order]
        said = bounds[:, 0] != -np.inf
        unsaid, rest = np.flatnonzero(~said), np.flatnonzero(said)
        for first in range(0, len(unsaid), _OUTLINES):
            some = unsaid[first : first + _OUTLINES]
            bounds[some] = _from_outlines(database, asked, records[some])
        size = min(len(rest), max(_LEAST, len(rest) // _SHARE))
        places = rest[np.unique(np.linspace(0, len(rest) - 1, size).astype(np.int64))]
        for first in range(0, len(places), _OUTLINES):
            some = places[first : first + _OUTLINES]
            own = _from_outlines(database, asked, records[some])
            known = own[:, 0] > -np.inf  # broken rings have no bounds; reading them tells what is amiss
            check_bounds(records[some][known], bounds[some][known], own[known], slack)
    return Extents(records, bounds, len(unsaid) + len(places))


class _Asked:
    """Questions to one table."""

    def __init__(self, table: str, fid: str, column: str) -> None:
        table, fid, column = ('"' + name.replace('"', '""') + '"' for name in (table, fid, column))
        self.heads = f"select {fid}, substr({column}, 1, {_HEAD}) from {table}"
        self.outlines = f"select {column} from {table} where {fid} in ({{}}) order by {fid}"


def _from_heads(heads: list[Any]) -> Floats:
    """Bounds out of the first bytes of geometries (OGC 12-128 2.1.3.1.1), without end where not said."""
    sound = np.array([isinstance(head, bytes) and head[:2] == b"GP" and len(head) == _HEAD for head in heads])
    blank = bytes(_HEAD)
    joined = b"".join(head if ok else blank for head, ok in zip(heads, sound.tolist(), strict=True))
    data = np.frombuffer(joined, dtype=np.uint8).reshape(-1, _HEAD)
    kind, little = data[:, 3] >> 1 & 7, data[:, 3] & 1 == 1
    bounds = np.tile(_ANYWHERE, (len(heads), 1))
    for rows, order in ((np.flatnonzero(little), "<f8"), (np.flatnonzero(~little), ">f8")):
        bounds[rows] = np.ascontiguousarray(data[rows, 8:40]).view(order)[:, [0, 2, 1, 3]]
    bounds[~sound | (kind < 1) | (kind > max(_ENVELOPE))] = _ANYWHERE
    bounds[~(bounds[:, :2] <= bounds[:, 2:]).all(axis=1)] = _ANYWHERE
    bounds[[head is None for head in heads]] = np.nan
    return bounds


def _from_outlines(database: sqlite3.Connection, asked: _Asked, records: Ints) -> Floats:
    """Bounds of some records, ascending, from all their points; without end where these cannot be read."""
    found = database.execute(asked.outlines.format(",".join(map(str, records.tolist()))))
    shapes = shapely.from_wkb([_wkb(blob) for (blob,) in found], on_invalid="ignore")
    bounds: Floats = shapely.bounds(shapes)
    bounds[shapely.is_missing(shapes)] = _ANYWHERE
    return bounds


def _wkb(blob: Any) -> bytes | None:
    """Well-known binary in a GeoPackage's own, whose header is OGC 12-128 2.1.3.1.1."""
    if not isinstance(blob, bytes) or len(blob) < 9 or blob[:2] != b"GP":
        return None
    return blob[8 + _ENVELOPE.get(blob[3] >> 1 & 7, 0) :]
