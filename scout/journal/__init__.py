"""Visits to the text of a file: a table, points for a GIS, a journal to read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import PurePath

from scout.errors import OutputError
from scout.journal.document import Particulars, to_html
from scout.journal.tables import to_csv, to_geojson
from scout.visits import Visit

__all__ = ["FORMATS", "Particulars", "check_format", "export", "to_csv", "to_geojson", "to_html"]

FORMATS: dict[str, Callable[[Sequence[Visit], Particulars], str]] = {
    ".csv": lambda visits, _: to_csv(visits),
    ".geojson": lambda visits, _: to_geojson(visits),
    ".html": to_html,
}


def export(visits: Sequence[Visit], path: str, particulars: Particulars) -> str:
    """Text of the visits in the format of a path's suffix.

    Raises
    ------
    OutputError
        When no format goes by that suffix.
    """
    check_format(path)
    return FORMATS[PurePath(path).suffix.lower()](visits, particulars)


def check_format(path: str) -> None:
    """Refuse a path whose suffix no format goes by."""
    suffix = PurePath(path).suffix.lower()
    if suffix not in FORMATS:
        raise OutputError(path, f"no format goes by {suffix or 'no suffix'}", f"use {' or '.join(FORMATS)}")
