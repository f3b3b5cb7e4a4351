"""Coordinates as people write and read them: latitude first.

One file a form: `angles`, `cell` (locators), `geo`, `iso`, `utm`, `mgrs`; `reading` finds the form of a text,
`writers` writes degrees. What a text could mean in two ways is refused with both ways spelled out, and
everything read comes with an echo.
"""

from __future__ import annotations

from scout.geo.coordinates.forms import (
    Form,
    Place,
    format_decimal,
    format_degrees_minutes,
    format_geo_uri,
    format_iso6709,
    format_seconds,
)
from scout.geo.coordinates.grids import format_mgrs, format_utm
from scout.geo.coordinates.parse import parse_area, parse_place, read_place

__all__ = [
    "Form",
    "Place",
    "format_decimal",
    "format_degrees_minutes",
    "format_geo_uri",
    "format_iso6709",
    "format_mgrs",
    "format_seconds",
    "format_utm",
    "parse_area",
    "parse_place",
    "read_place",
]
