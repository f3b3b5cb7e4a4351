"""The usable ground of one layer: areas repaired, lines widened, all else skipped and said so.

Corridors: all ground within so many metres of a line, such as a trail or a river.

Error budget, each in metres: arcs 0.03 + 0.003 % of the half-width, thinning of the line 0.01 and of the
outline 0.02, edges straight in longitude and latitude drawn straight in the plane 0.02, the plane itself
under 0.001 % within 30 km. Together below 0.1 m + 0.01 %.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.errors import RecordError, SettingName
from scout.geo.boundaries import polygonal_parts
from scout.geo.geodesy import A_M, LocalFrame, compute_degree_lengths
from scout.model import RECORD, Layer
from scout.parks.columns import Texts
from scout.parks.repair import Allowance, repair_polygon
from scout.quantities import MeasuredText
from scout.threads import map_rows

WIDEST_M = 10_000.0  # half-width; wider is no corridor, and the plane would no longer do
_LONGEST_EDGE_M = 1000.0
_PIECE_M = 10_000.0
_STRAY_M = 0.02  # between an edge straight in degrees and one straight in the plane
_ARC_M, _ARC_SHARE = 0.03, 3e-5
_THIN_LINE_M, _THIN_OUTLINE_M = 0.01, 0.02
_NEAREST_POLE_DEG = 89.5

Points = NDArray[np.float64]


def make_corridor(line: shapely.Geometry, half_width_m: float) -> shapely.Geometry | None:
    """The corridor of a line, with round ends.

    Parameters
    ----------
    line : LineString or MultiLineString
        In degrees, longitudes continuous in each part; edges are straight in longitude and latitude.
    half_width_m : float
        To either side, 0 to `WIDEST_M`.

    Returns
    -------
    Polygon, MultiPolygon or None
        Valid, right to 0.1 m + 0.01 % of the half-width. None beyond latitude 89.5, where longitude turns
        too fast for an outline in degrees.
    """
    south, north = line.bounds[1], line.bounds[3]
    if max(north, -south) + half_width_m / 111_000 > _NEAREST_POLE_DEG:
        return None
    pieces = []
    for part in shapely.get_parts(line):
        dense = _densify(shapely.get_coordinates(part))
        pieces += [_buffer_piece(piece, half_width_m) for piece in _split_run(dense)]
    whole = shapely.union_all(pieces)
    return (
        whole
        if whole.is_valid
        else polygonal_parts(shapely.make_valid(whole, method="structure", keep_collapsed=False))
    )


def _measure_edges(run: Points) -> NDArray[np.float64]:
    per_lon, per_lat = compute_degree_lengths((run[:-1, 1] + run[1:, 1]) / 2)
    step = np.diff(run, axis=0)
    lengths: NDArray[np.float64] = np.hypot(step[:, 0] * per_lon, step[:, 1] * per_lat)
    return lengths


def _choose_longest_edge(lat: NDArray[np.float64]) -> NDArray[np.float64]:
    """Metres that an edge may have and, straight in degrees or in the plane, stray less than ``_STRAY_M``.

    The sagitta of a parallel's arc of length L is L^2 tan(lat) / 8 a.
    """
    steep = np.maximum(np.tan(np.radians(np.minimum(np.abs(lat), _NEAREST_POLE_DEG))), 1e-6)
    longest: NDArray[np.float64] = np.minimum(_LONGEST_EDGE_M, np.sqrt(8 * A_M * _STRAY_M / steep))
    return longest


def _densify(run: Points) -> Points:
    """The run with more vertices, so that edges may be drawn straight in the plane."""
    longest = _choose_longest_edge(np.maximum(np.abs(run[:-1, 1]), np.abs(run[1:, 1])))
    counts = np.maximum(np.ceil(_measure_edges(run) / longest).astype(int), 1)
    edge = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(len(edge)) - np.repeat(np.cumsum(counts) - counts, counts)) / np.repeat(counts, counts)
    dense = run[edge] + (run[edge + 1] - run[edge]) * share[:, None]
    return np.concatenate([dense, run[-1:]])


def _split_run(run: Points) -> Iterator[Points]:
    along = np.concatenate([[0.0], np.cumsum(_measure_edges(run))])
    cuts = np.flatnonzero(np.diff((along / _PIECE_M).astype(int))) + 1
    ends = [0, *cuts.tolist(), len(run) - 1]
    for start, end in pairwise(ends):
        if end > start:
            yield run[start : end + 1]


def _buffer_piece(piece: Points, half_width_m: float) -> shapely.Geometry:
    lon, lat = (piece.min(axis=0) + piece.max(axis=0)) / 2
    frame = LocalFrame(float(lon), float(lat))
    line = shapely.simplify(shapely.linestrings(np.column_stack(frame.forward(*piece.T))), _THIN_LINE_M)
    run = shapely.get_coordinates(line)
    # Segment by segment: a buffer of the whole line is not exact, it thins the line by a share of the width.
    segments = shapely.linestrings(np.stack([run[:-1], run[1:]], axis=1))
    stadiums = shapely.buffer(segments, half_width_m, quad_segs=_count_quarter_arcs(half_width_m))
    outline = shapely.simplify(shapely.union_all(stadiums), _THIN_OUTLINE_M)
    poleward = np.abs(piece[:, 1]).max(keepdims=True) + half_width_m / 111_000
    outline = shapely.segmentize(outline, _choose_longest_edge(poleward)[0])

    def degrees(points: Points) -> Points:
        east, north = frame.inverse(*points.T)
        return np.column_stack([lon + (east - lon + 180) % 360 - 180, north])

    return shapely.transform(outline, degrees)


def _count_quarter_arcs(radius_m: float) -> int:
    """Edges per quarter circle: an edge of angle t lies r (1 - cos t/2) inside the circle."""
    inside = min(_ARC_M + _ARC_SHARE * radius_m, radius_m / 2)
    return max(math.ceil(math.pi / 4 / math.acos(1 - inside / radius_m)), 4)


# The usable geometry of one layer: areas repaired, lines widened, all else skipped and reported.
_LONGEST = 60  # characters of a name in a line
_NAMED = 5  # record numbers listed in a line about many records
_POINTS, _LINES, _AREAS, _MIXED = (0, 4), (1, 2, 5), (3, 6), (7,)  # shapely's type ids


@dataclass(frozen=True, slots=True)
class UsableRecords:
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

    def drop(self, kept: NDArray[np.bool_]) -> UsableRecords:
        """Return them without some; ``kept`` has an element for each."""
        used = self.used.copy()
        used[used] = kept
        return replace(
            self,
            geometry=self.geometry[kept],
            used=used,
            records=self.records[kept],
            names=self.names[kept],
            corridor=self.corridor[kept],
        )


def make_usable(layer: Layer, names: Texts, corridor_m: float | None) -> UsableRecords:
    """Find the usable geometry of one layer.

    Parameters
    ----------
    layer : Layer
        As read.
    names : array of str
        Of all its records.
    corridor_m : float or None
        Half-width around lines.
    """
    sorting = _RecordSorter(layer, names, corridor_m)
    with np.errstate(over="ignore", invalid="ignore"):  # of coordinates that damage made huge
        sorting.sort()
    used = ~shapely.is_missing(sorting.ground)
    return UsableRecords(
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


class _RecordSorter:
    """The usable geometry record by record; ``ground`` is None where there is none."""

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
            self._report_repaired(row[:1].tolist(), text)
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
        self._repair(np.flatnonzero(np.isin(kind, _AREAS) & ~map_rows(shapely.is_valid, self.ground)))
        alone = np.isin(kind, _LINES)
        self.lines[alone] = self.ground[alone]
        self.ground[alone] = None
        self._widen(alone)

    def _report_repaired(self, rows: Sequence[int], text: str) -> None:
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
        self._report_skipped(rows, f"{what} skipped", why)

    def _report_skipped(self, rows: NDArray[np.bool_], what: str, why: str) -> None:
        count = int(rows.sum())
        if not count:
            return
        named = ", ".join(str(number) for number in self.records[rows][:_NAMED])
        more = " ..." if count > _NAMED else ""
        records = "record" if count == 1 else "records"
        told = f"{self.where}: {count} {records} {what} ({named}{more})"
        self.skipped.append(MeasuredText(told, "; ", why) if why else told)

    def _take_apart(self, row: int) -> None:
        """A collection is its areas, and its lines beside them; points in it bound nothing."""
        parts = _list_leaves(self.ground[row])
        areas = [part for part in parts if part.geom_type == "Polygon"]
        lines = [part for part in parts if part.geom_type in ("LineString", "LinearRing")]
        if areas:
            self.ground[row] = shapely.multipolygons(areas)
            self.lines[row] = shapely.multilinestrings(lines) if lines else None
        else:
            self.ground[row] = shapely.multilinestrings(lines) if lines else shapely.multipoints(parts)

    def _repair(self, rows: NDArray[np.int64]) -> None:
        allowance = Allowance()
        for row in rows.tolist():
            made, reason = repair_polygon(self.ground[row], allowance)
            self.ground[row] = made
            if made is None:
                self.refused.append(self._line(row, reason))
            else:
                self._report_repaired([row], f"made valid: {reason}")

    def _widen(self, alone: NDArray[np.bool_]) -> None:
        """Lines become corridors if asked for; those of a collection join its areas."""
        lines = ~shapely.is_missing(self.lines)
        if self.corridor_m is None:
            self.lines_skipped = int(alone.sum())
            self.skipped_rows |= alone
            why = MeasuredText("give a corridor, such as ", SettingName("corridor", 30.48), ", to use them")
            self._report_skipped(alone, "of lines skipped", why)
            self._report_skipped(lines & ~alone, "of areas with lines, which are left out", why)
            return
        for row in np.flatnonzero(lines).tolist():
            made = make_corridor(self.lines[row], self.corridor_m)
            if made is None:
                self.refused.append(self._line(row, "too near a pole for a corridor"))
            elif alone[row]:
                self.ground[row], self.widened[row] = made, True
            elif self.ground[row] is not None:
                self.ground[row] = shapely.union(self.ground[row], made)


def _list_leaves(collection: shapely.Geometry) -> list[shapely.Geometry]:
    parts = shapely.get_parts(collection).tolist()
    while any(hasattr(part, "geoms") for part in parts):
        parts = shapely.get_parts(parts).tolist()
    return [part for part in parts if not part.is_empty]
