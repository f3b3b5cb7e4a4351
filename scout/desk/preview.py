"""What was understood of the files that were brought, before any search."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.app.look import count_values
from scout.app.settings import list_settings
from scout.app.sources import ParkFiles, build_read_parks
from scout.cautions import HAZARDS
from scout.desk.files import LayerCache, is_large, list_named
from scout.desk.settings import make_desk_request, word_error, word_text
from scout.errors import ScoutError
from scout.io.formats import OSM_SUFFIXES
from scout.io.layers import read_layers
from scout.io.rasters import read_heights
from scout.model import GEOMETRY, PARK_ID, PARK_NAME, RECORD, Layer, ParkReport, Source
from scout.parks.columns import list_attributes, split_columns
from scout.parks.sources import InMemoryParks, ParkSource
from scout.walk.reach import Box
from scout.walk.read import read_tagged
from scout.walk.ways import TaggedLayers, TagMapping, classify_access

_SHAPES = 4000  # the largest of them
_VERTICES = 60_000
_FINEST = 1 / 4000  # of the picture's width


def draw_parks(source: ParkSource | None) -> dict[str, Any] | None:
    """Outlines of parks.

    Returns
    -------
    dict
        ``bounds`` as west, south, east, north in degrees; ``parks`` with a name and rings of flat
        latitude, longitude pairs; ``more`` counts the smallest, which were left out.
    """
    box = None if source is None else _get_total_bounds(source)
    if source is None or box is None:
        return None
    west, south, east, north = source.bounds.T
    largest = np.argsort(-(east - west) * (north - south), kind="stable")[:_SHAPES]
    loaded = source.load(np.sort(largest))
    rings = _simplify_lines(shapely.boundary(loaded.geometry), max(box[2] - box[0], box[3] - box[1]))
    names = loaded.frame[PARK_NAME].tolist(), loaded.frame[PARK_ID].tolist()
    return {
        "bounds": [round(edge, 6) for edge in box],
        "parks": [
            {"name": str(name or park), "rings": _flatten_shape(ring)}
            for name, park, ring in zip(*names, rings, strict=True)
        ],
        "more": len(source.bounds) - len(largest),
    }


def _get_total_bounds(source: ParkSource) -> Box | None:
    """Bounds of all parks; None where there is none."""
    there = source.bounds[np.isfinite(source.bounds).all(axis=1)]
    if not len(there):
        return None
    west, south, east, north = np.concatenate([there[:, :2].min(axis=0), there[:, 2:].max(axis=0)]).tolist()
    return west, south, east, north


def draw_ground(frames: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Lines and areas of access data by the word for them."""
    drawn = []
    for what, frame in frames.items():
        geometry: NDArray[Any] = frame.geometry.to_numpy()
        shapes = geometry[np.argsort(-shapely.length(geometry), kind="stable")[:_SHAPES]]
        lines = np.where(shapely.get_dimensions(shapes) == 2, shapely.boundary(shapes), shapes)
        extent = shapely.total_bounds(shapes) if len(shapes) else np.zeros(4)
        width = float(max(extent[2] - extent[0], extent[3] - extent[1]))
        for one in _simplify_lines(lines, width):
            drawn += [{"what": what, "line": line} for line in _flatten_shape(one)]
    return drawn


def _simplify_lines(lines: NDArray[Any], width: float) -> NDArray[Any]:
    """Lines of no more vertices than a browser draws at once."""
    tolerance = width * _FINEST
    found: NDArray[Any] = shapely.simplify(lines, tolerance, preserve_topology=False)
    while tolerance and shapely.get_num_coordinates(found).sum() > _VERTICES and tolerance < width / 20:
        tolerance *= 2
        found = shapely.simplify(found, tolerance, preserve_topology=False)
    return found


def _flatten_shape(shape: Any) -> list[list[float]]:
    """Each part as latitude, longitude, latitude, longitude ..."""
    parts = shapely.get_parts(shape)
    return [np.round(shapely.get_coordinates(part)[:, ::-1], 6).ravel().tolist() for part in parts]


Show = Callable[[str], None]

_LINES = 20  # of each list of records; the rest is counted
_FEW_VALUES = 30  # of a column to choose records by
_SAMPLE_DEG = 1e-6  # around the place where a large file is looked into
_AROUND_DEG = 0.05  # of ground beside the parks: further than anyone walks to a spot
_WORLD: Box = (-180.0, -90.0, 180.0, 90.0)


def preview_files(
    cache: LayerCache, settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]], show: Show
) -> dict[str, Any]:
    """Read what was brought.

    Returns
    -------
    dict
        ``files`` by name, each with what was understood or the ``error`` that says why not; ``parks`` of all
        of them; the ``error`` that they make together; whether one is an ``extract`` of OpenStreetMap;
        ``columns`` to choose from; ``picture`` and ``ground`` to be drawn.
    """
    cache.keep_only([name for names in roles.values() for name in names])
    files: dict[str, Any] = {}
    reading, error = _read_reading(settings, roles)
    layers: list[Layer] = []
    large = is_large(list_named(roles.get("parks", ())))
    for name in list_named(roles.get("parks", ())):
        try:
            if large:
                some = _sample_layers(cache, name, reading, show)
                files[name] = _preview_indexed(cache.source(_limit_columns(reading, name, some), show))
            else:
                some = cache.layers(name, reading, show)
                files[name] = _preview_boundaries(some, _limit_columns(reading, name, some))
            layers += some
        except ScoutError as problem:
            files[name] = {"error": _format_problem(problem)}
    answer: dict[str, Any] = {
        "files": files,
        "columns": _list_columns(layers),
        "values": {} if large else _list_values(layers),
        "parks": None,
        "error": error,
        # What OpenStreetMap has beside parks serves for the walks.
        "extract": any(name.lower().endswith(OSM_SUFFIXES) for name in roles.get("parks", ())),
    }
    parks: ParkSource | None = None
    if layers or large:
        try:
            whole = large or not any(file.get("error") for file in files.values())
            parks = cache.source(reading, show) if whole else InMemoryParks(build_read_parks(reading, layers))
            answer["parks"] = {
                "count": len(parks.ids),
                **_preview_report(parks.report),
                "notes": list(map(word_text, parks.report.notes)),
            }
        except ScoutError as problem:
            answer["error"] = answer["error"] or word_error(problem)
    answer["picture"] = draw_parks(parks)
    answer["ground"] = _preview_ground(settings, roles, parks, files, show)
    return answer


def _limit_columns(reading: ParkFiles, name: str, layers: Sequence[Layer]) -> ParkFiles:
    """How one file is read: a column may be another file's; so may the details to show."""
    here = {column for layer in layers for column in layer.frame.columns}
    ids = {reading.id_column, *split_columns(reading.id_column)}
    return replace(
        reading,
        files=(name,),
        id_column=reading.id_column if here & ids else None,
        name_column=reading.name_column if reading.name_column in here else None,
        keep=(),
    )


def _sample_layers(cache: LayerCache, name: str, reading: ParkFiles, show: Show) -> list[Layer]:
    """A few records of a large file, with all their columns: those at its smallest park."""
    bare = replace(reading, files=(name,), id_column=None, name_column=None, where=None, keep=())
    bounds = cache.source(bare, show).bounds
    there = bounds[np.isfinite(bounds).all(axis=1)]
    if not len(there):
        return []
    smallest = there[np.argmin(np.prod(there[:, 2:] - there[:, :2], axis=1))]
    x, y = smallest.reshape(2, 2).mean(axis=0).tolist()
    box = (x - _SAMPLE_DEG, y - _SAMPLE_DEG, x + _SAMPLE_DEG, y + _SAMPLE_DEG)
    return read_layers(
        [name], reading.layer, show, bounds=box, assume_crs=reading.crs, forests=reading.forests
    )


def _preview_indexed(source: ParkSource) -> dict[str, Any]:
    """Layers of a large file, of which the index was read and no more."""
    report = source.report
    return {
        "layers": [_preview_layer(one, report, k) for k, one in enumerate(source.sources)],
        "error": "",
        "parks": len(source.ids),
        **_preview_report(report),
        "notes": ["A large file: its outlines are read where they are needed."],
    }


def _read_reading(settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]]) -> tuple[ParkFiles, Any]:
    """How the boundary files are to be read; other settings may still be wrong, and are said to be."""
    options = settings.get("options") or {}
    keys = [one.key for one in list_settings("reading")]
    files = tuple(list_named(roles.get("parks", ())))
    if not files:
        return ParkFiles(()), None
    try:
        only = {**settings, "options": {key: options.get(key) for key in keys}}
        return replace(make_desk_request(only, roles).park_files, files=files), None
    except ScoutError as problem:
        return ParkFiles(files), word_error(problem)


def _format_problem(problem: ScoutError) -> str:
    """Beside its file, the file need not be named."""
    return word_error(type(problem)("", problem.what, problem.remedy))["text"]


def _preview_boundaries(layers: Sequence[Layer], reading: ParkFiles) -> dict[str, Any]:
    """Layers of one file, and what becomes of their records."""
    report, error = ParkReport(), ""
    try:
        report = build_read_parks(reading, layers).report
    except ScoutError as problem:
        error = _format_problem(problem)
    return {
        "layers": [_preview_layer(layer.source, report, k) for k, layer in enumerate(layers)],
        "error": error,
        "parks": report.parks,
        **_preview_report(report),
    }


def _preview_layer(source: Source, report: ParkReport, k: int) -> dict[str, Any]:
    return {
        "layer": source.layer,
        "records": source.records,
        "crs": source.crs,
        "operation": source.operation,
        "accuracy_m": source.accuracy_m,
        "warnings": list(map(word_text, source.warnings)),
        "id": report.id_column[k] if k < len(report.id_column) else "",
        "name": report.name_column[k] if k < len(report.name_column) else "",
    }


def _preview_report(report: ParkReport) -> dict[str, Any]:
    lists = {"repaired": report.repaired, "refused": report.refused, "skipped": report.skipped}
    return {
        "counts": report.counts,
        **{
            word: {"count": len(lines), "lines": list(map(word_text, lines[:_LINES]))}
            for word, lines in lists.items()
        },
    }


def _list_columns(layers: Sequence[Layer]) -> list[str]:
    found = dict.fromkeys(str(column) for layer in layers for column in layer.frame.columns)
    return [column for column in found if column not in (RECORD, GEOMETRY)]


def _list_values(layers: Sequence[Layer]) -> dict[str, list[tuple[str, int]]]:
    """Values of the columns that have few different ones, the most frequent first, with their counts."""
    found: dict[str, Counter[str]] = {}
    for layer in layers:
        for name in list_attributes(layer):
            counts = found.setdefault(name, Counter())
            if len(counts) <= _FEW_VALUES:
                counts.update(count_values(layer.frame[name]).to_dict())
    # Where most values come once, as ids and names do, there is nothing to choose by.
    return {
        name: counts.most_common()
        for name, counts in found.items()
        if 1 < len(counts) <= min(_FEW_VALUES, counts.total() / 2)
    }


def _preview_ground(
    settings: Mapping[str, Any],
    roles: Mapping[str, Sequence[str]],
    parks: ParkSource | None,
    files: dict[str, Any],
    show: Show,
) -> list[Any]:
    """Understand access data and heights file by file; gives what is to be drawn."""
    crs = (settings.get("options") or {}).get("crs") or None
    boxes = [_find_bounds(parks)]
    readings = [
        TagMapping(**{**row, "values": row.get("values") or {}})
        for row in (settings.get("more") or {}).get("tags") or ()
    ]
    drawn: list[Any] = []
    for role in ("access", "barriers", "hazards"):
        for name in list_named(roles.get(role, ())):
            own = [reading for reading in readings if reading.file == name]
            keys = [reading.column for reading in own if reading.column]
            try:
                around = classify_access([TaggedLayers(read_tagged(name, boxes, show, crs, keys), role)], own)
            except ScoutError as problem:
                files[name] = {"error": _format_problem(problem)}
                continue
            frames = {
                "ways": around.ways,
                "places to park": around.starts,
                "barriers": around.barriers,
                **{kind.counted: around.hazards_of(kind.key) for kind in HAZARDS},
            }
            files[name] = {
                "holds": {word: len(frame) for word, frame in frames.items() if len(frame)},
                # What is lacking, other files may hold: that is for the search to say.
                "notes": [word_text(note) for note in around.notes if note.startswith(name)],
                "crs": sorted({source.crs for source in around.sources}),
            }
            drawn += draw_ground(frames)
    for name in roles.get("heights", ()):
        try:
            heights = read_heights(name, boxes, show, crs)
        except ScoutError as problem:
            files[name] = {"error": _format_problem(problem)}
            continue
        cells = sum(relief.heights_m.size for relief in heights.reliefs)
        files[name] = {"holds": {"heights": cells}, "notes": list(map(word_text, heights.notes)), "crs": []}
    return drawn


def _find_bounds(parks: ParkSource | None) -> Box:
    box = None if parks is None else _get_total_bounds(parks)
    if box is None:
        return _WORLD
    west, south, east, north = box
    more = _AROUND_DEG
    return (west - more, max(south - more, -90.0), east + more, min(north + more, 90.0))
