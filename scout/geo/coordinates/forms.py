"""Forms of coordinates: what a text was understood as, how positions are written, what is refused."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from scout.errors import PlaceError

FORMS = (
    'write LAT,LON such as 45.123,-89.456 or "45 30.5 N 89 15.2 W", or a locator such as "EN55", '
    "a geo: URI, ISO 6709, UTM or MGRS"
)
LONGEST = 200  # characters; the longest form, a geo: URI with parameters, stays far below

_BLANKS = str.maketrans(dict.fromkeys("\t\r\n\u00a0\u2009\u202f", " ") | {"\u2212": "-"})


def clean_text(text: str) -> str:
    """The text with one kind of blank, none at its ends, and one kind of minus.

    Only the blanks and the minus that type-setting puts into coordinates are taken as such; everything
    else stays, so that a reader that does not expect it refuses it.
    """
    return " ".join(text.translate(_BLANKS).split(" ")).strip(" ") if len(text) <= LONGEST else text


def make_refusal(text: str, what: str, remedy: str = FORMS) -> PlaceError:
    """Error for a text that is not a place; a long text is quoted by its start.

    Examples
    --------
    >>> print(make_refusal("91,0", "latitude 91 is over 90", "write 0,91"))
    place '91,0': latitude 91 is over 90; write 0,91
    """
    quoted = repr(text) if len(text) <= 60 else f"{text[:57]!r}..."
    return PlaceError(f"place {quoted}", what, remedy)


# Why a text is no pair of coordinates, and what its writer probably meant.
_RUN_TOGETHER = re.compile(
    r"([0-9]{2})([0-9]{2})([0-9]{2})?(\.[0-9]*)? ?,? ?([NSns]) ?,? ?"
    r"([0-9]{3})([0-9]{2})([0-9]{2})?(\.[0-9]*)? ?,? ?([EWew])"
)
_COMMAS = re.compile(r"([+-]?[0-9]+),([0-9]+)[ ;/,]+([+-]?[0-9]+),([0-9]+)")


def explain_too_many_digits(text: str, number: str) -> PlaceError:
    """Error for more than three digits before the point: degrees and minutes run together, or metres.

    Examples
    --------
    >>> print(explain_too_many_digits("4807.038,N,01131.000,E", "4807.038"))
    place '4807.038,N,01131.000,E': degrees and minutes run together; write "48 07.038 N 011 31.000 E"
    """
    if found := _RUN_TOGETHER.fullmatch(text):
        parts = [part or "" for part in found.groups()]
        lat, lon = (" ".join(filter(None, p[:3])) + p[3] for p in (parts[:4], parts[5:9]))
        remedy = f'write "{lat} {parts[4].upper()} {lon} {parts[9].upper()}"'
        return make_refusal(text, "degrees and minutes run together", remedy)
    remedy = 'write degrees and minutes apart, "45 30.5 N 89 15.2 W", and UTM as "33N 500000 4649776"'
    return make_refusal(text, f"{number} has too many digits for degrees", remedy)


def explain_misread(text: str, kinds: str) -> PlaceError:
    """Error for a row of kinds that does not divide into two coordinates (kinds: see `angles`).

    Examples
    --------
    >>> print(explain_misread("45,5 -89,2", "i,iI,i"))
    place '45,5 -89,2': these look like decimal commas; write 45.5,-89.2
    """
    if found := _COMMAS.fullmatch(text):
        remedy = "write {}.{},{}.{}".format(*found.groups())
        return make_refusal(text, "these look like decimal commas", remedy)
    if re.fullmatch("[iIfF],[iIfF],[iIfF]", kinds):
        return make_refusal(text, "there are three numbers", "give latitude and longitude only")
    if kinds.count("L") == 1:
        what = "is not understood: only one coordinate has a hemisphere letter"
        return make_refusal(text, what, "give both a letter, or none")
    if re.search("[0-9],[0-9]", text) and ("L" in kinds or kinds.count(",") > 1):
        return make_refusal(text, "these look like decimal commas")
    if len(re.findall("[iIfF]", kinds)) == 1:
        return make_refusal(text, "is not understood: it holds one number, a place needs two")
    return make_refusal(text, "is not understood")


# Degrees written for people and machines: latitude first, carried rightly, longitude 180 as -180.
def format_decimal(lon: float, lat: float, digits: int = 6) -> str:
    """Signed decimal degrees, latitude first; 6 digits are 0.11 m.

    Examples
    --------
    >>> format_decimal(-89.456, 45.123456789)
    '45.123457, -89.456000'
    >>> format_decimal(179.9999999, -0.0000001)
    '0.000000, -180.000000'
    """
    lon, lat = _round_lon_lat(lon, lat, digits)
    return f"{lat:.{digits}f}, {lon:.{digits}f}"


def format_degrees_minutes(lon: float, lat: float, digits: int = 4) -> str:
    """Degrees and decimal minutes with hemispheres, latitude first.

    Four decimals are 0.19 m; with three a station would be moved by up to 0.9 m.

    Examples
    --------
    >>> format_degrees_minutes(-56.2116667, -34.91)
    "34° 54.6000' S 056° 12.7000' W"
    >>> format_degrees_minutes(9.99999999, 44.99999999)
    "45° 00.0000' N 010° 00.0000' E"
    """
    lon, lat = check_lon_lat(lon, lat)
    parts = []
    for whole, rest, width, letter in _split_degrees(lon, lat, 60 * 10**digits):
        parts.append(f"{whole:0{width}d}° {_format_fixed(rest, digits)}' {letter}")
    return " ".join(parts)


def format_seconds(lon: float, lat: float, digits: int = 2) -> str:
    r"""Degrees, minutes and decimal seconds with hemispheres, latitude first; a hundredth is 0.3 m.

    Examples
    --------
    >>> format_seconds(-89.25, 45.5041666667)
    '45° 30\' 15.00" N 089° 15\' 00.00" W'
    """
    lon, lat = check_lon_lat(lon, lat)
    parts = []
    for whole, rest, width, letter in _split_degrees(lon, lat, 3600 * 10**digits):
        minute, second = divmod(rest, 60 * 10**digits)
        parts.append(f"{whole:0{width}d}° {minute:02d}' {_format_fixed(second, digits)}\" {letter}")
    return " ".join(parts)


def format_geo_uri(lon: float, lat: float) -> str:
    """``geo:`` URI of RFC 5870, WGS 84, 6 digits; at a pole longitude is 0, as its section 3.4.2 has it.

    Examples
    --------
    >>> format_geo_uri(16.371648, 48.198634)
    'geo:48.198634,16.371648'
    """
    lon, lat = _round_lon_lat(lon, lat, 6)
    return f"geo:{lat:.6f},{0.0 if abs(lat) == 90 else lon:.6f}"


def format_iso6709(lon: float, lat: float, digits: int = 6) -> str:
    """Decimal degrees as in annex H of ISO 6709:2008.

    Examples
    --------
    >>> format_iso6709(-75.00417, 40.20361, digits=5)
    '+40.20361-075.00417/'
    >>> format_iso6709(180, -0.0, digits=1)
    '+00.0-180.0/'
    """
    lon, lat = _round_lon_lat(lon, lat, digits)
    point = digits + 1 if digits else 0
    return f"{lat:+0{3 + point}.{digits}f}{lon:+0{4 + point}.{digits}f}/"


def check_lon_lat(lon: float, lat: float) -> tuple[float, float]:
    """Longitude in [-180, 180) and latitude, refused when they are not on the globe."""
    if not (abs(lon) <= 540 and abs(lat) <= 90):  # also refuses NaN
        raise PlaceError(f"lat {lat:g}, lon {lon:g}", "is not on the globe", "give degrees, latitude first")
    return (lon if -180 <= lon < 180 else (lon + 180) % 360 - 180, lat)


def _round_lon_lat(lon: float, lat: float, digits: int) -> tuple[float, float]:
    lon, lat = check_lon_lat(lon, lat)
    lon, lat = round(lon, digits) + 0.0, round(lat, digits) + 0.0  # + 0.0: no minus before a zero
    return (-180.0 if lon >= 180 else lon, lat)


def _split_degrees(lon: float, lat: float, units: int) -> list[tuple[int, int, int, str]]:
    """Latitude, then longitude: whole degrees, rest in units of a degree, width and hemisphere letter."""
    parts = []
    for value, width, plus, minus in ((lat, 2, "N", "S"), (lon, 3, "E", "W")):
        count = round(abs(value) * units)
        west = width == 3 and count == 180 * units
        letter = minus if (value < 0 and count) or west else plus
        parts.append((*divmod(count, units), width, letter))
    return parts


def _format_fixed(count: int, digits: int) -> str:
    """Two digits and decimals from a whole number of last places, so that no 60 comes by rounding."""
    whole, rest = divmod(count, 10**digits)
    return f"{whole:02d}.{rest:0{digits}d}" if digits else f"{whole:02d}"


# A place that was read, and what it was read as.
Form = Literal[
    "decimal degrees",
    "degrees and minutes",
    "degrees, minutes and seconds",
    "locator",
    "geo URI",
    "ISO 6709",
    "UTM",
    "MGRS",
]


@dataclass(frozen=True, slots=True)
class Place:
    """A place on WGS 84 and how its text was understood.

    Attributes
    ----------
    lon, lat : float
        Degrees; longitude -180 up to but not 180. The centre, where the text names an area.
    form : Form
        The form the text was read as.
    understood : str
        One line for the user: the place in decimal degrees and in degrees and minutes, and the form.
    uncertainty_m : float or None
        Radius in metres: what a ``geo:`` URI states with ``u=``, or half the diagonal of a square of MGRS.
        None where the text says nothing of it, and for a locator, whose whole cell is meant.
    cell : str or None
        The locator, where the text was one.
    """

    lon: float
    lat: float
    form: Form
    understood: str
    uncertainty_m: float | None = None
    cell: str | None = None


def make_place(
    lon: float,
    lat: float,
    form: Form,
    remark: str = "",
    uncertainty_m: float | None = None,
    cell: str | None = None,
) -> Place:
    """Place with its echo; longitude 180 becomes -180.

    Examples
    --------
    >>> make_place(-89.25, 45.5, "decimal degrees").understood
    "45.500000, -89.250000   45° 30.0000' N 089° 15.0000' W   read as decimal degrees"
    """
    lon = -180.0 if lon == 180 else lon + 0.0
    lat = lat + 0.0  # no minus before a zero
    read_as = f"{form}{': ' if remark else ''}{remark}"
    understood = f"{format_decimal(lon, lat)}   {format_degrees_minutes(lon, lat)}   read as {read_as}"
    return Place(lon, lat, form, understood, uncertainty_m, cell)
