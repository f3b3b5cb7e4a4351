"""What a search writes, by the suffix of its path; all of it made before any of it touches the disk."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from importlib import import_module
from pathlib import Path, PurePath

from scout.app.faults import complain
from scout.app.find import cut_to_best
from scout.errors import FaultError, OutputError, ScoutError, SettingName
from scout.model import Findings
from scout.quantities import MeasuredText

FORMATS = {  # functions in `scout.output`, imported when they are used: most searches save nothing
    ".geojson": "features:to_geojson",
    ".csv": "features:to_csv",
    ".gpx": "gpx:to_gpx",
    ".kml": "kml:to_kml",
    ".kmz": "kml:to_kmz",
    ".gpkg": "features:to_gpkg",
}


def format_findings(findings: Findings, suffix: str) -> str | bytes:
    """The findings in the format of one of the suffixes of `FORMATS`."""
    module, _, name = FORMATS[suffix].partition(":")
    make: Maker = partial(getattr(import_module(f"scout.output.{module}"), name), findings)
    return make()


def export_findings(findings: Findings, path: str) -> bytes:
    """Bytes of the findings in the format of a path's suffix.

    Raises
    ------
    OutputError
        When no format goes by that suffix.
    """
    suffix = PurePath(path).suffix.lower()
    if suffix not in FORMATS:
        raise OutputError(path, f"no format goes by {suffix or 'no suffix'}", f"use {' or '.join(FORMATS)}")
    content = format_findings(findings, suffix)
    return content.encode("utf-8") if isinstance(content, str) else content


_ADD_SAVE = MeasuredText("add ", SettingName("save", "OUT"))

# What a search writes: all of it made before any of it touches the disk, and one lost loses no other.
Maker = Callable[[], str | bytes]
MAP_SPOTS = 2000  # more than anyone scrolls through; a phone still opens it


def check_outputs(
    files: Sequence[str | Path], map_path: str | None, save_paths: Sequence[str], *, listed_only: bool = False
) -> None:
    """Refuse, before the work, outputs that cannot be written or would overwrite an input."""
    if listed_only and not save_paths:
        raise OutputError(SettingName("save-listed"), "there is nothing to save", _ADD_SAVE)
    check_page("map", map_path)
    for path in save_paths:
        if Path(path).suffix.lower() not in FORMATS:
            raise OutputError(
                SettingName("save", path), "no format goes by this suffix", f"use {' or '.join(FORMATS)}"
            )
    check_targets(files, [p for p in (map_path, *save_paths) if p is not None])


def check_page(key: str, path: str | None) -> None:
    """Refuse a web page that is not named as one."""
    if path is not None and Path(path).suffix.lower() not in (".html", ".htm"):
        raise OutputError(SettingName(key, path), "this is a web page", "name it .html")


def check_changes_path(path: str | None) -> None:
    """Refuse a file of changes that is not named as GeoJSON."""
    if path is not None and Path(path).suffix.lower() not in (".geojson", ".json"):
        raise OutputError(SettingName("save", path), "what changed is written as GeoJSON", "name it .geojson")


def check_targets(files: Sequence[str | Path], targets: Sequence[str]) -> None:
    """Refuse outputs without a folder, over one of the files to read, or twice under one name."""
    inputs = {_resolve_path(f) for f in files}
    for path in targets:
        if _resolve_path(path) in inputs:
            raise OutputError(path, "this is one of the files to read", "write elsewhere")
        if not Path(path).absolute().parent.is_dir():
            raise OutputError(path, f"there is no folder {Path(path).parent}", "make it first")
    if len({_resolve_path(p) for p in targets}) < len(targets):
        raise OutputError(targets[-1], "two outputs go by this name", "give each its own")


def _resolve_path(path: str | Path) -> str:
    """Where a path leads; one that leads nowhere is reported by whoever opens it."""
    try:
        return os.path.realpath(path)
    except ValueError:  # a character that no path has
        return str(path)


def date_findings(findings: Findings, made_by: str = "") -> Findings:
    """The findings with the command that makes them, this one if none is given, and the day."""
    return replace(
        findings,
        made_by=made_by or shlex.join(["scout", *sys.argv[1:]]),
        made_on=datetime.now(UTC).strftime("%Y-%m-%d"),
    )


def make_outputs(
    everything: Findings, listed: Findings, map_path: str | None, save_paths: Sequence[str]
) -> dict[str, Maker]:
    """What makes every output, by its path: all spots to save, the listed ones for the map."""
    makers: dict[str, Maker] = {path: partial(export_findings, everything, path) for path in save_paths}
    if map_path is not None:
        makers[map_path] = lambda: _build_map(listed)
    return makers


def _build_map(listed: Findings) -> str:
    from scout.page.document import build_map  # heavy, and not every search ends in a map

    return build_map(cut_to_best(listed, MAP_SPOTS))


def write_outputs(makers: Mapping[str, Maker]) -> tuple[list[str], list[ScoutError]]:
    """Make and write outputs; give the paths of those written, and why the others could not be.

    What can be made and written takes its place together, after all of it is on the disk; of the others the
    old files stay as they were.
    """
    from scout.io.write import write_possible

    contents: dict[str, str | bytes] = {}
    failed: dict[str, ScoutError] = {}
    for path, make in makers.items():
        try:
            contents[path] = make()
        except ScoutError as error:
            failed[path] = error
        except MemoryError:
            failed[path] = OutputError(path, "there is not enough memory to make it", "narrow the search")
        except Exception as error:
            failed[path] = FaultError(path, error)
    failed |= write_possible(contents)
    return [path for path in makers if path not in failed], [
        failed[path] for path in makers if path in failed
    ]


def status_of(status: int, failed: Iterable[ScoutError]) -> int:
    """Say what could not be written, in a line each; give the exit status that this makes of one."""
    for error in failed:
        status = max(status, complain(error))
    return status
