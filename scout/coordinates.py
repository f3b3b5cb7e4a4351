"""Coordinates as people write and read them: latitude first."""

from __future__ import annotations

import re

from scout.errors import PlaceError
from scout.locator import decode

__all__ = ["decimal", "geo_uri", "minutes", "parse_area", "parse_place"]

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
_PAIR = re.compile(rf"\s*({_NUMBER})\s*(?:,|;|\s)\s*({_NUMBER})\s*")
_FORM = 'write LAT,LON in decimal degrees, such as 45.123,-89.456, or a locator such as "EN55"'


def parse_place(text: str) -> tuple[float, float]:
    """Longitude and latitude of ``LAT,LON`` in decimal degrees or of a locator's centre.

    Examples
    --------
    >>> parse_place("45.5, -89.25")
    (-89.25, 45.5)
    >>> parse_place("JJ00")
    (1.0, 0.5)
    """
    if pair := _PAIR.fullmatch(text):
        lat, lon = float(pair[1]), float(pair[2])
        if abs(lat) > 90:
            remedy = "latitude comes first" if abs(lon) <= 90 else _FORM
            raise PlaceError(f"place {text!r}", f"latitude {lat:g} is over 90", remedy)
        if abs(lon) > 180:
            raise PlaceError(f"place {text!r}", f"longitude {lon:g} is over 180", _FORM)
        return (lon, lat)
    if re.fullmatch(r"\s*[A-Za-z]{2}.*", text):
        cell = decode(text)
        return (float(cell.lon), float(cell.lat))
    if text.count(",") == 3:
        raise PlaceError(f"place {text!r}", "these look like decimal commas", _FORM)
    raise PlaceError(f"place {text!r}", "is not understood", _FORM)


def parse_area(text: str) -> tuple[float, float, float, float]:
    """Box (west, south, east, north) of a locator's cell or of ``SOUTH,WEST,NORTH,EAST``.

    ``EAST`` under ``WEST`` is a box over the antimeridian.
    """
    numbers = [part.strip() for part in text.split(",")]
    if len(numbers) == 1:
        cell = decode(text)
        return (float(cell.west), float(cell.south), float(cell.east), float(cell.north))
    form = "write SOUTH,WEST,NORTH,EAST in decimal degrees, or a locator"
    if len(numbers) != 4 or not all(re.fullmatch(_NUMBER, n) for n in numbers):
        raise PlaceError(f"area {text!r}", "is not understood", form)
    south, west, north, east = (float(n) for n in numbers)
    if not -90 <= south < north <= 90:
        raise PlaceError(f"area {text!r}", "south must lie under north, both within 90", form)
    if abs(west) > 180 or abs(east) > 180 or west == east:
        raise PlaceError(f"area {text!r}", "west and east must differ and lie within 180", form)
    return (west, south, east, north)


def decimal(lon: float, lat: float, digits: int = 6) -> str:
    """Signed decimal degrees, latitude first.

    Examples
    --------
    >>> decimal(-89.456, 45.123456789)
    '45.123457, -89.456000'
    """
    return f"{lat:.{digits}f}, {lon:.{digits}f}"


def minutes(lon: float, lat: float) -> str:
    """Degrees and decimal minutes with hemispheres, latitude first; a thousandth is 1.9 m.

    Examples
    --------
    >>> minutes(-56.2116667, -34.91)
    "34° 54.600' S 056° 12.700' W"
    """
    return f"{_dm(lat, 2, 'N', 'S')} {_dm(lon, 3, 'E', 'W')}"


def _dm(value: float, width: int, plus: str, minus: str) -> str:
    thousandths = round(abs(value) * 60_000)
    degrees, rest = divmod(thousandths, 60_000)
    return f"{degrees:0{width}d}° {rest / 1000:06.3f}' {plus if value >= 0 else minus}"


def geo_uri(lon: float, lat: float) -> str:
    """``geo:`` URI of RFC 5870, WGS 84.

    Examples
    --------
    >>> geo_uri(16.371648, 48.198634)
    'geo:48.198634,16.371648'
    """
    return f"geo:{lat:.6f},{lon:.6f}"
