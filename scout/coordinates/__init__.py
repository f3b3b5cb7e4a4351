"""Coordinates as people write and read them: latitude first.

One file a form: `angles`, `cell` (locators), `geo`, `iso`, `utm`, `mgrs`; `reading` finds the form of a text,
`writers` writes degrees. What a text could mean in two ways is refused with both ways spelled out, and
everything read comes with an echo.
"""

from scout.coordinates.area import parse_area
from scout.coordinates.mgrs import mgrs_text
from scout.coordinates.place import Form, Place
from scout.coordinates.reading import parse_place, read_place
from scout.coordinates.utm import utm
from scout.coordinates.writers import decimal, geo_uri, iso6709, minutes, seconds

__all__ = [
    "Form",
    "Place",
    "decimal",
    "geo_uri",
    "iso6709",
    "mgrs_text",
    "minutes",
    "parse_area",
    "parse_place",
    "read_place",
    "seconds",
    "utm",
]
