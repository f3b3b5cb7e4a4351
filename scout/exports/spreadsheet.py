"""CSV that a spreadsheet opens as data: no cell becomes a formula."""

from __future__ import annotations

import csv
import io
import unicodedata
from typing import Any

from scout.exports.antimeridian import place
from scout.exports.properties import PROPERTIES, properties
from scout.model import Findings

__all__ = ["as_data", "to_csv"]

_FIRST = ("rank", "kind", "latitude", "longitude", "corner_latitude", "corner_longitude")
_REST = tuple(key for key in PROPERTIES if key not in ("rank", "kind", "corner"))
# The full-width forms too: some spreadsheets read them as the plain ones.
_FORMULA = tuple("=+-@＝＋－＠")
_LINE_LED = ("\t", "\r", "\n")


def to_csv(findings: Findings) -> str:
    """One row per spot with latitude and longitude first; lists are joined by blanks or ``; ``."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow([*_FIRST, *(name for key in _REST for name in _columns(key))])
    for ranked in findings.spots:
        values = properties(ranked)
        spot = ranked.spot
        row: list[Any] = [ranked.rank, spot.kind, *_pair(place(spot.lon, spot.lat)), *_pair(values["corner"])]
        for key in _REST:
            row += _pair(values[key]) if key == "parking" else [_cell(key, values[key])]
        table.writerow(row)
    return out.getvalue()


def _columns(key: str) -> tuple[str, ...]:
    return ("parking_latitude", "parking_longitude") if key == "parking" else (key,)


def _pair(lon_lat: Any) -> tuple[str, str]:
    """Latitude first, as people expect."""
    return ("", "") if lon_lat is None else (f"{lon_lat[1]:.8f}", f"{lon_lat[0]:.8f}")


def _cell(key: str, value: Any) -> Any:
    """A cell a spreadsheet takes as data: text that would start a formula is led by an apostrophe."""
    if value is None:
        return ""
    if isinstance(value, list):
        value = (" " if key == "locators" else "; ").join(value)
    return as_data(value) if isinstance(value, str) else value


def as_data(text: str) -> str:
    """A text that a spreadsheet takes as data: an apostrophe leads what would start a formula.

    What follows a semicolon as well, for in many countries spreadsheets part cells there.

    Examples
    --------
    >>> as_data("=1+1"), as_data("Quiet Cove;=1+1"), as_data("a=b; c")
    ("'=1+1", "Quiet Cove;'=1+1", 'a=b; c')
    """
    return ";".join(f"'{part}" if _starts_formula(part) else part for part in text.split(";"))


def _starts_formula(text: str) -> bool:
    """Whether a spreadsheet may compute a text, once it has dropped what nobody sees at its start."""
    if text.startswith(_LINE_LED):
        return True
    seen = next((c for c in text if not c.isspace() and unicodedata.category(c) not in ("Cc", "Cf")), "")
    return seen in _FORMULA
