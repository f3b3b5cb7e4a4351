"""Findings to the bytes of a file, one room per format."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import PurePath

from scout.errors import OutputError
from scout.exports.geojson import to_geojson
from scout.exports.geopackage import to_gpkg
from scout.exports.gpx import to_gpx
from scout.exports.kml import to_kml
from scout.exports.kmz import to_kmz
from scout.exports.spreadsheet import to_csv
from scout.model import Findings

__all__ = ["FORMATS", "export", "to_csv", "to_geojson", "to_gpkg", "to_gpx", "to_kml", "to_kmz"]

FORMATS: dict[str, Callable[[Findings], str | bytes]] = {
    ".geojson": to_geojson,
    ".csv": to_csv,
    ".gpx": to_gpx,
    ".kml": to_kml,
    ".kmz": to_kmz,
    ".gpkg": to_gpkg,
}


def export(findings: Findings, path: str) -> bytes:
    """Bytes of the findings in the format of a path's suffix.

    Raises
    ------
    OutputError
        When no format goes by that suffix.
    """
    suffix = PurePath(path).suffix.lower()
    if suffix not in FORMATS:
        raise OutputError(path, f"no format goes by {suffix or 'no suffix'}", f"use {' or '.join(FORMATS)}")
    content = FORMATS[suffix](findings)
    return content.encode("utf-8") if isinstance(content, str) else content
