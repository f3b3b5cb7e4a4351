"""What was understood of the files that were brought, file by file, and a picture of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from scout.access.readings import Reading
from scout.access.ways import Tagged, sorted_out
from scout.cli.sources import ParkFiles, parks_of
from scout.desk.names import named
from scout.desk.picture import ground_picture, parks_picture
from scout.desk.settings import asked
from scout.desk.shelf import Shelf
from scout.errors import ScoutError
from scout.model import GEOMETRY, RECORD, Layer, ParkReport, Parks
from scout.reach import Box
from scout.read.heights import read_heights
from scout.read.tagged import read_tagged

__all__ = ["understood"]

Show = Callable[[str], None]

_LINES = 20  # of each list of records; the rest is counted
_AROUND_DEG = 0.05  # of ground beside the parks: further than anyone walks to a spot
_WORLD: Box = (-180.0, -90.0, 180.0, 90.0)


def understood(
    shelf: Shelf, settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]], show: Show
) -> dict[str, Any]:
    """Read what was brought.

    Returns
    -------
    dict
        ``files`` by name, each with what was understood or the ``error`` that says why not; ``parks`` of all
        of them; the ``error`` that they make together; ``columns`` to choose from; ``picture`` and ``ground``
        to be drawn.
    """
    shelf.keep_only([name for names in roles.values() for name in names])
    files: dict[str, Any] = {}
    reading, error = _reading(settings, roles)
    layers: list[Layer] = []
    for name in named(roles.get("parks", ())):
        try:
            some = shelf.layers(name, reading, show)
            layers += some
            files[name] = _boundaries(some, reading)
        except ScoutError as problem:
            files[name] = {"error": _line(problem)}
    told: dict[str, Any] = {"files": files, "columns": _columns(layers), "parks": None, "error": error}
    parks: Parks | None = None
    if layers:
        try:
            whole = not any(file.get("error") for file in files.values())
            parks = shelf.parks(reading, show) if whole else parks_of(reading, layers)
            told["parks"] = {
                "count": len(parks.frame),
                **_report(parks.report),
                "notes": list(parks.report.notes),
            }
        except ScoutError as problem:
            told["error"] = told["error"] or {"where": problem.where, "text": str(problem)}
    told["picture"] = parks_picture(parks)
    told["ground"] = _ground(settings, roles, parks, files, show)
    return told


def _reading(settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]]) -> tuple[ParkFiles, Any]:
    """How the boundary files are to be read; other settings may still be wrong, and are said to be."""
    options = settings.get("options") or {}
    keys = ("corridor", "id-column", "name-column", "pieces", "layer", "crs")
    files = tuple(named(roles.get("parks", ())))
    if not files:
        return ParkFiles(()), None
    try:
        only = {**settings, "options": {key: options.get(key) for key in keys}}
        return replace(asked(only, roles).inputs.parks, files=files), None
    except ScoutError as problem:
        return ParkFiles(files), {"where": problem.where, "text": str(problem)}


def _line(problem: ScoutError) -> str:
    """Beside its file, the file need not be named."""
    return f"{problem.what}{f'; {problem.remedy}' if problem.remedy else ''}"


def _boundaries(layers: Sequence[Layer], reading: ParkFiles) -> dict[str, Any]:
    """Layers of one file, and what becomes of their records."""
    # A column may be another file's; so may the details to show.
    here = {column for layer in layers for column in layer.frame.columns}
    own = replace(
        reading,
        id_column=reading.id_column if reading.id_column in here else None,
        name_column=reading.name_column if reading.name_column in here else None,
        keep=(),
    )
    report, error = ParkReport(), ""
    try:
        report = parks_of(own, layers).report
    except ScoutError as problem:
        error = _line(problem)
    return {
        "layers": [
            {
                "layer": layer.source.layer,
                "records": layer.source.records,
                "crs": layer.source.crs,
                "operation": layer.source.operation,
                "accuracy_m": layer.source.accuracy_m,
                "warnings": list(layer.source.warnings),
                "id": report.id_column[k] if k < len(report.id_column) else "",
                "name": report.name_column[k] if k < len(report.name_column) else "",
            }
            for k, layer in enumerate(layers)
        ],
        "error": error,
        "parks": report.parks,
        **_report(report),
    }


def _report(report: ParkReport) -> dict[str, Any]:
    lists = {"repaired": report.repaired, "refused": report.refused, "skipped": report.skipped}
    return {
        "counts": report.counts,
        **{word: {"count": len(lines), "lines": list(lines[:_LINES])} for word, lines in lists.items()},
    }


def _columns(layers: Sequence[Layer]) -> list[str]:
    found = dict.fromkeys(str(column) for layer in layers for column in layer.frame.columns)
    return [column for column in found if column not in (RECORD, GEOMETRY)]


def _ground(
    settings: Mapping[str, Any],
    roles: Mapping[str, Sequence[str]],
    parks: Parks | None,
    files: dict[str, Any],
    show: Show,
) -> list[Any]:
    """Understand access data and heights file by file; gives what is to be drawn."""
    crs = (settings.get("options") or {}).get("crs") or None
    boxes = [_around(parks)]
    readings = [
        Reading(**{**row, "values": row.get("values") or {}})
        for row in (settings.get("more") or {}).get("tags") or ()
    ]
    drawn: list[Any] = []
    for role in ("access", "barriers", "hazards"):
        for name in named(roles.get(role, ())):
            own = [reading for reading in readings if reading.file == name]
            keys = [reading.column for reading in own if reading.column]
            try:
                around = sorted_out([Tagged(read_tagged(name, boxes, show, crs, keys), role)], own)
            except ScoutError as problem:
                files[name] = {"error": _line(problem)}
                continue
            frames = {
                "ways": around.ways,
                "places to park": around.starts,
                "barriers": around.barriers,
                "closed areas": around.closed,
                "overhead lines": around.power_lines,
            }
            files[name] = {
                "holds": {word: len(frame) for word, frame in frames.items() if len(frame)},
                # What is lacking, other files may hold: that is for the search to say.
                "notes": [note for note in around.notes if note.startswith(name)],
                "crs": sorted({source.crs for source in around.sources}),
            }
            drawn += ground_picture(frames)
    for name in roles.get("heights", ()):
        try:
            heights = read_heights(name, boxes, show, crs)
        except ScoutError as problem:
            files[name] = {"error": _line(problem)}
            continue
        cells = sum(relief.heights_m.size for relief in heights.reliefs)
        files[name] = {"holds": {"heights": cells}, "notes": list(heights.notes), "crs": []}
    return drawn


def _around(parks: Parks | None) -> Box:
    if parks is None:
        return _WORLD
    west, south, east, north = (float(edge) for edge in parks.frame.total_bounds)
    more = _AROUND_DEG
    return (west - more, max(south - more, -90.0), east + more, min(north + more, 90.0))
