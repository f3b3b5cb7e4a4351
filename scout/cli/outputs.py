"""What a search writes: all of it made before any of it touches the disk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from scout.errors import OutputError
from scout.exports import FORMATS, export
from scout.model import Findings
from scout.write import write_file

__all__ = ["check_outputs", "outputs", "write_all"]

_MAP_SPOTS = 1000  # more than anyone scrolls through; a phone still opens it


def check_outputs(files: Sequence[str | Path], map_path: str | None, save_paths: Sequence[str]) -> None:
    """Refuse, before the work, outputs that cannot be written or would overwrite an input."""
    inputs = {Path(f).resolve() for f in files}
    if map_path is not None and Path(map_path).suffix.lower() not in (".html", ".htm"):
        raise OutputError(f"--map {map_path}", "the map is a web page", "name it .html")
    for path in save_paths:
        if Path(path).suffix.lower() not in FORMATS:
            raise OutputError(
                f"--save {path}", "no format goes by this suffix", f"use {' or '.join(FORMATS)}"
            )
    targets = [p for p in (map_path, *save_paths) if p is not None]
    for path in targets:
        if Path(path).resolve() in inputs:
            raise OutputError(path, "this is one of the files to read", "write elsewhere")
        if not Path(path).absolute().parent.is_dir():
            raise OutputError(path, f"there is no folder {Path(path).parent}", "make it first")
    if len({Path(p).resolve() for p in targets}) < len(targets):
        raise OutputError(targets[-1], "two outputs go by this name", "give each its own")


def outputs(
    findings: Findings, map_path: str | None, save_paths: Sequence[str], title: str, made_by: str
) -> dict[str, str]:
    """Text of every output by its path."""
    from scout.page import build

    findings = replace(findings, title=title, made_by=made_by, made_on=datetime.now(UTC).strftime("%Y-%m-%d"))
    texts = {path: export(findings, path) for path in save_paths}
    if map_path is not None:
        texts[map_path] = build(_for_map(findings))
    return texts


def _for_map(findings: Findings) -> Findings:
    """The findings with no more spots than a map can show; the rest is counted."""
    from scout.model import PARK_ID, LeftOut

    more = len(findings.spots) - _MAP_SPOTS
    if more <= 0:
        return findings
    shown = findings.spots[:_MAP_SPOTS]
    named = {park for r in shown for park in r.spot.verdict.parks}
    named |= {r.spot.near.park for r in shown if r.spot.near is not None}
    return replace(
        findings,
        spots=shown,
        left_out=(
            *findings.left_out,
            LeftOut(f"ranked below the best {_MAP_SPOTS}, which the map shows", more),
        ),
        parks=findings.parks[findings.parks[PARK_ID].isin(named)].reset_index(drop=True),
    )


def write_all(texts: Mapping[str, str]) -> None:
    """Write every output."""
    for path, text in texts.items():
        write_file(path, text)
