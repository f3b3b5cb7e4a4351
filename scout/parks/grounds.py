"""The usable ground of one layer: areas mended, lines widened, all else skipped and said so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.cores import by_rows
from scout.errors import RecordError
from scout.model import RECORD, Layer
from scout.parks.columns import Texts
from scout.parks.corridor import corridor
from scout.parks.repair import Allowance, mended

__all__ = ["Grounds", "grounds_of"]

_LONGEST = 60  # characters of a name in a line
_NAMED = 5  # record numbers listed in a line about many records
_POINTS, _LINES, _AREAS, _MIXED = (0, 4), (1, 2, 5), (3, 6), (7,)  # shapely's type ids


@dataclass(frozen=True, slots=True)
class Grounds:
    """Arrays with one element per usable record, and the lines about the others."""

    geometry: NDArray[np.object_]
    used: NDArray[np.bool_]  # of the layer's records, those that are here
    skipped_rows: NDArray[np.bool_]  # those that have no area to use; the others are refused
    repaired_rows: NDArray[np.bool_]
    records: NDArray[np.int64]
    names: Texts
    corridor: NDArray[np.bool_]
    repaired: tuple[str, ...]
    refused: tuple[str, ...]
    skipped: tuple[str, ...]
    lines_skipped: int
    points_skipped: int


def grounds_of(layer: Layer, names: Texts, corridor_m: float | None) -> Grounds:
    """Sort out one layer.

    Parameters
    ----------
    layer : Layer
        As read.
    names : array of str
        Of all its records.
    corridor_m : float or None
        Half-width around lines.
    """
    sorting = _Sorting(layer, names, corridor_m)
    with np.errstate(over="ignore", invalid="ignore"):  # of coordinates that damage made huge
        sorting.sort()
    used = ~shapely.is_missing(sorting.ground)
    return Grounds(
        sorting.ground[used],
        used,
        sorting.skipped_rows,
        sorting.repaired_rows & used,
        sorting.records[used],
        names[used],
        sorting.widened[used],
        tuple(sorting.repaired),
        tuple(sorting.refused),
        tuple(sorting.skipped),
        sorting.lines_skipped,
        sorting.points_skipped,
    )


class _Sorting:
    """Ground record by record; ``ground`` is None where there is none."""

    def __init__(self, layer: Layer, names: Texts, corridor_m: float | None) -> None:
        self.where = layer.source.where
        self.names, self.corridor_m = names, corridor_m
        self.records = layer.frame[RECORD].to_numpy(dtype=np.int64)
        self.ground: NDArray[np.object_] = np.array(layer.frame.geometry.array, dtype=object)
        self.lines = np.full(len(self.ground), None, dtype=object)
        self.widened = np.zeros(len(self.ground), dtype=bool)
        self.skipped_rows = np.zeros(len(self.ground), dtype=bool)
        rows = ((np.flatnonzero(self.records == number), text) for number, text in layer.repaired)
        self.repaired: list[str] = []
        self.repaired_rows = np.zeros(len(self.ground), dtype=bool)
        for row, text in rows:
            self._repaired(row[:1].tolist(), text)
        self.refused: list[str] = []
        self.skipped: list[str] = []
        self.lines_skipped = self.points_skipped = 0

    def sort(self) -> None:
        self._skip(shapely.is_missing(self.ground) | shapely.is_empty(self.ground), "without geometry", "")
        kind = shapely.get_type_id(self.ground)
        for row in np.flatnonzero(np.isin(kind, _MIXED)).tolist():
            self._take_apart(row)
        kind = shapely.get_type_id(self.ground)
        points = np.isin(kind, _POINTS)
        self.points_skipped = int(points.sum())
        self._skip(points, "of points", "a point has no area")
        self._mend(np.flatnonzero(np.isin(kind, _AREAS) & ~by_rows(shapely.is_valid, self.ground)))
        alone = np.isin(kind, _LINES)
        self.lines[alone] = self.ground[alone]
        self.ground[alone] = None
        self._widen(alone)

    def _repaired(self, rows: Sequence[int], text: str) -> None:
        for row in rows:
            self.repaired.append(self._line(row, text))
            self.repaired_rows[row] = True

    def _line(self, row: int, text: str) -> str:
        name = self.names[row]
        name = f" ({name if len(name) <= _LONGEST else name[:_LONGEST] + '...'})" if name else ""
        return str(RecordError(f"{self.where}: record {self.records[row]}{name}", text))

    def _skip(self, rows: NDArray[np.bool_], what: str, why: str) -> None:
        self.ground[rows] = None
        self.skipped_rows |= rows
        self._tell(rows, f"{what} skipped", why)

    def _tell(self, rows: NDArray[np.bool_], what: str, why: str) -> None:
        count = int(rows.sum())
        if not count:
            return
        named = ", ".join(str(number) for number in self.records[rows][:_NAMED])
        more = " ..." if count > _NAMED else ""
        records = "record" if count == 1 else "records"
        self.skipped.append(
            f"{self.where}: {count} {records} {what} ({named}{more}){f'; {why}' if why else ''}"
        )

    def _take_apart(self, row: int) -> None:
        """A collection is its areas, and its lines beside them; points in it bound nothing."""
        parts = _leaves(self.ground[row])
        areas = [part for part in parts if part.geom_type == "Polygon"]
        lines = [part for part in parts if part.geom_type in ("LineString", "LinearRing")]
        if areas:
            self.ground[row] = shapely.multipolygons(areas)
            self.lines[row] = shapely.multilinestrings(lines) if lines else None
        else:
            self.ground[row] = shapely.multilinestrings(lines) if lines else shapely.multipoints(parts)

    def _mend(self, rows: NDArray[np.int64]) -> None:
        allowance = Allowance()
        for row in rows.tolist():
            made, reason = mended(self.ground[row], allowance)
            self.ground[row] = made
            if made is None:
                self.refused.append(self._line(row, reason))
            else:
                self._repaired([row], f"made valid: {reason}")

    def _widen(self, alone: NDArray[np.bool_]) -> None:
        """Lines become corridors if asked for; those of a collection join its areas."""
        lines = ~shapely.is_missing(self.lines)
        if self.corridor_m is None:
            self.lines_skipped = int(alone.sum())
            self.skipped_rows |= alone
            why = "give a corridor, such as --corridor 30.48, to use them"
            self._tell(alone, "of lines skipped", why)
            self._tell(lines & ~alone, "of areas with lines, which are left out", why)
            return
        for row in np.flatnonzero(lines).tolist():
            made = corridor(self.lines[row], self.corridor_m)
            if made is None:
                self.refused.append(self._line(row, "too near a pole for a corridor"))
            elif alone[row]:
                self.ground[row], self.widened[row] = made, True
            elif self.ground[row] is not None:
                self.ground[row] = shapely.union(self.ground[row], made)


def _leaves(collection: shapely.Geometry) -> list[shapely.Geometry]:
    parts = shapely.get_parts(collection).tolist()
    while any(hasattr(part, "geoms") for part in parts):
        parts = shapely.get_parts(parts).tolist()
    return [part for part in parts if not part.is_empty]
