"""Degrees written for people and machines: latitude first, carried rightly, longitude 180 as -180."""

from __future__ import annotations

from scout.errors import PlaceError

__all__ = ["checked", "decimal", "geo_uri", "iso6709", "minutes", "seconds"]


def decimal(lon: float, lat: float, digits: int = 6) -> str:
    """Signed decimal degrees, latitude first; 6 digits are 0.11 m.

    Examples
    --------
    >>> decimal(-89.456, 45.123456789)
    '45.123457, -89.456000'
    >>> decimal(179.9999999, -0.0000001)
    '0.000000, -180.000000'
    """
    lon, lat = _rounded(lon, lat, digits)
    return f"{lat:.{digits}f}, {lon:.{digits}f}"


def minutes(lon: float, lat: float, digits: int = 3) -> str:
    """Degrees and decimal minutes with hemispheres, latitude first; a thousandth is 1.9 m.

    Examples
    --------
    >>> minutes(-56.2116667, -34.91)
    "34° 54.600' S 056° 12.700' W"
    >>> minutes(9.99999999, 44.99999999)
    "45° 00.000' N 010° 00.000' E"
    """
    lon, lat = checked(lon, lat)
    parts = []
    for whole, rest, width, letter in _split(lon, lat, 60 * 10**digits):
        parts.append(f"{whole:0{width}d}° {_fixed(rest, digits)}' {letter}")
    return " ".join(parts)


def seconds(lon: float, lat: float, digits: int = 2) -> str:
    r"""Degrees, minutes and decimal seconds with hemispheres, latitude first; a hundredth is 0.3 m.

    Examples
    --------
    >>> seconds(-89.25, 45.5041666667)
    '45° 30\' 15.00" N 089° 15\' 00.00" W'
    """
    lon, lat = checked(lon, lat)
    parts = []
    for whole, rest, width, letter in _split(lon, lat, 3600 * 10**digits):
        minute, second = divmod(rest, 60 * 10**digits)
        parts.append(f"{whole:0{width}d}° {minute:02d}' {_fixed(second, digits)}\" {letter}")
    return " ".join(parts)


def geo_uri(lon: float, lat: float) -> str:
    """``geo:`` URI of RFC 5870, WGS 84, 6 digits; at a pole longitude is 0, as its section 3.4.2 has it.

    Examples
    --------
    >>> geo_uri(16.371648, 48.198634)
    'geo:48.198634,16.371648'
    """
    lon, lat = _rounded(lon, lat, 6)
    return f"geo:{lat:.6f},{0.0 if abs(lat) == 90 else lon:.6f}"


def iso6709(lon: float, lat: float, digits: int = 6) -> str:
    """Decimal degrees as in annex H of ISO 6709:2008.

    Examples
    --------
    >>> iso6709(-75.00417, 40.20361, digits=5)
    '+40.20361-075.00417/'
    >>> iso6709(180, -0.0, digits=1)
    '+00.0-180.0/'
    """
    lon, lat = _rounded(lon, lat, digits)
    point = digits + 1 if digits else 0
    return f"{lat:+0{3 + point}.{digits}f}{lon:+0{4 + point}.{digits}f}/"


def checked(lon: float, lat: float) -> tuple[float, float]:
    """Longitude in [-180, 180) and latitude, refused when they are not on the globe."""
    if not (abs(lon) <= 540 and abs(lat) <= 90):  # also refuses NaN
        raise PlaceError(f"lat {lat:g}, lon {lon:g}", "is not on the globe", "give degrees, latitude first")
    return (lon if -180 <= lon < 180 else (lon + 180) % 360 - 180, lat)


def _rounded(lon: float, lat: float, digits: int) -> tuple[float, float]:
    lon, lat = checked(lon, lat)
    lon, lat = round(lon, digits) + 0.0, round(lat, digits) + 0.0  # + 0.0: no minus before a zero
    return (-180.0 if lon >= 180 else lon, lat)


def _split(lon: float, lat: float, units: int) -> list[tuple[int, int, int, str]]:
    """Latitude, then longitude: whole degrees, rest in units of a degree, width and hemisphere letter."""
    parts = []
    for value, width, plus, minus in ((lat, 2, "N", "S"), (lon, 3, "E", "W")):
        count = round(abs(value) * units)
        west = width == 3 and count == 180 * units
        letter = minus if (value < 0 and count) or west else plus
        parts.append((*divmod(count, units), width, letter))
    return parts


def _fixed(count: int, digits: int) -> str:
    """Two digits and decimals from a whole number of last places, so that no 60 comes by rounding."""
    whole, rest = divmod(count, 10**digits)
    return f"{whole:02d}.{rest:0{digits}d}" if digits else f"{whole:02d}"
