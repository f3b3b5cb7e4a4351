"""Coordinates written as grid references: UTM, MGRS, locators.

Military Grid Reference System: zone and band, letters of a 100 km square, digits. WGS 84.

A reference names a square, 1 m to 100 km wide, by truncation; a place is read as the centre of the square.
Lettering scheme "AA" (the one for WGS 84) and the polar squares as in NGA.SIG.0012 (from memory; the tests
compare with two independent implementations).
"""

from __future__ import annotations

import math
import re
from functools import cache

import pyproj

from scout.errors import LocatorError, PlaceError
from scout.geo.coordinates.forms import Place, check_lon_lat, make_place, make_refusal
from scout.geo.locator import LEVELS, decode

BANDS = "CDEFGHJKLMNPQRSTUVWX"  # 8 degrees each from 80 S; X has 12 (NGA.SIG.0012, from memory)

_FORM = 'write "33N 500000 4649776": zone, N or band letter, easting, northing in metres'
_BAND_SLACK_DEG = 0.001  # eastings and northings are rounded, often to 10 or 100 m
_TEXT = re.compile(
    r"(?:utm ?)?(?:zone )?(?P<zone>[0-9]{1,2}) ?(?P<letter>north|south|[a-z])[ ,]*"
    r"(?P<a>[0-9]+(?:\.[0-9]+)?) ?m? ?(?P<a_axis>[en]?)[ ,;]+"
    r"(?P<b>[0-9]+(?:\.[0-9]+)?) ?m? ?(?P<b_axis>[en]?)",
    re.IGNORECASE | re.ASCII,
)


def looks_like_utm(text: str) -> bool:
    """Whether a cleaned text is meant as UTM: it says so, or a number is too long for degrees."""
    if text[:3].lower() == "utm":
        return True
    found = _TEXT.fullmatch(text)
    return found is not None and any(len(found[name].partition(".")[0]) > 4 for name in "ab")


def read_utm(text: str) -> Place:
    """Place of ``33N 500000 4649776``; E and N may follow the numbers, then in either order.

    N is the northern hemisphere. S may be the southern hemisphere or the band from 32 to 40 N: where both
    would do, the text is refused. Any other letter is a band, and the northing must lie in it.

    Examples
    --------
    >>> read_utm("33T 500000 4649776").understood
    "41.999998, 15.000000   41° 59.9999' N 015° 00.0000' E   read as UTM: zone 33 north"

    Raises
    ------
    PlaceError
        When the text is not understood or ambiguous, or names no place of its zone.
    """
    found = _TEXT.fullmatch(text)
    if found is None:
        raise make_refusal(text, "is not understood as UTM", _FORM)
    zone, letter = int(found["zone"]), found["letter"].lower()
    axes = (found["a_axis"] + found["b_axis"]).lower()
    if axes not in ("", "en", "ne"):
        raise make_refusal(text, "its letters of easting and northing do not fit", _FORM)
    east, north = float(found["a"]), float(found["b"])
    if axes == "ne":
        east, north = north, east
    if not 1 <= zone <= 60:
        raise make_refusal(text, f"there is no zone {zone}", "zones run from 1 to 60")
    if not 100_000 <= east < 900_000:
        what = f"easting {east:.12g} is not from 100000 to 900000"
        raise make_refusal(text, what, f"easting comes before northing: {_FORM}")
    south = _is_south(text, letter, zone, east, north)
    at = _unproject_if_inside(zone, south, east, north)
    if at is None:
        what = f"northing {north:.12g} is not in the {'southern' if south else 'northern'} part of the zone"
        raise make_refusal(text, what, "UTM runs from 80 S to 84 N")
    return make_place(*at, "UTM", f"zone {zone} {'south' if south else 'north'}")


def _is_south(text: str, letter: str, zone: int, east: float, north: float) -> bool:
    if letter in ("n", "north"):
        return False
    if letter == "south":
        return True
    if letter == "s":
        if not _is_in_band("S", zone, east, north):
            return True
        rest = f"{east:.12g} {north:.12g}"
        what = "S may mean the southern hemisphere or the band from 32 N to 40 N"
        raise make_refusal(text, what, f'write "{zone} south {rest}" or "{zone} north {rest}"')
    band = letter.upper()
    if band not in BANDS:
        raise make_refusal(text, f"there is no band {band} in UTM", _FORM)
    if not _is_in_band(band, zone, east, north):
        low, high = find_band_edges(band)
        what = f"band {band} holds latitudes {low} to {high}, this northing lies outside it"
        raise make_refusal(text, what, "check the letter, or write north or south instead")
    return band < "N"


def _is_in_band(band: str, zone: int, east: float, north: float) -> bool:
    low, high = find_band_edges(band)
    at = _unproject_if_inside(zone, band < "N", east, north)
    return at is not None and low - _BAND_SLACK_DEG <= at[1] <= high + _BAND_SLACK_DEG


def _unproject_if_inside(zone: int, south: bool, east: float, north: float) -> tuple[float, float] | None:
    """Longitude and latitude where UTM is defined, else None."""
    if not 0 <= north <= 10_000_000:
        return None
    lon, lat = unproject(zone, south, east, north)
    low, high = (-80, 0) if south else (0, 84)
    return (lon, lat) if low - _BAND_SLACK_DEG <= lat <= high + _BAND_SLACK_DEG else None


def format_utm(lon: float, lat: float, digits: int = 0) -> str:
    """Zone, easting and northing, rounded to a metre; the letter is N in the north, the band in the south.

    S stands nowhere: it would be taken for the hemisphere by some and for the band by others.

    Examples
    --------
    >>> format_utm(15, 42), format_utm(-56.21166, -34.91)
    ('33N 500000 4649776', '21H 572017 6136654')

    Raises
    ------
    PlaceError
        Beyond 84 N and 80 S, where UTM is not defined.
    """
    lon, lat = check_lon_lat(lon, lat)
    if not -80 <= lat <= 84:
        raise PlaceError(
            f"latitude {lat:g}", "UTM ends at 84 N and 80 S", "use MGRS, which goes on to the poles"
        )
    zone = find_zone(lon, lat)
    east, north = project_to_grid(zone, lat < 0, lon, lat)
    letter = "N" if lat >= 0 else find_band(lat)
    return f"{zone:02d}{letter} {east:.{digits}f} {north:.{digits}f}"


def find_zone(lon: float, lat: float) -> int:
    """Zone of a place, with the wide zones of south-west Norway and Svalbard.

    Examples
    --------
    >>> find_zone(5, 60), find_zone(5, 64), find_zone(20.9, 78), find_zone(-180, 0)
    (32, 31, 33, 1)
    """
    if 56 <= lat < 64 and 3 <= lon < 12:
        return 32
    if lat >= 72 and 0 <= lon < 42:
        return 31 + 2 * int((lon + 3) // 12)
    return int((lon + 180) // 6) % 60 + 1


def find_band(lat: float) -> str:
    """Letter of the latitude band, 80 S to 84 N.

    Examples
    --------
    >>> find_band(42), find_band(84), find_band(-1e-20)
    ('T', 'X', 'M')
    """
    row = min(int((lat + 80) // 8), 19)
    return BANDS[row if lat >= 0 else min(row, 9)]


def find_band_edges(band: str) -> tuple[int, int]:
    """South and north edge of a latitude band, degrees."""
    low = BANDS.index(band) * 8 - 80
    return low, 84 if band == "X" else low + 8


def project_to_grid(zone: int, south: bool, lon: float, lat: float) -> tuple[float, float]:
    """Easting and northing, metres."""
    east, north = _get_projection(zone, south)(lon, lat)
    return float(east), float(north)


def unproject(zone: int, south: bool, east: float, north: float) -> tuple[float, float]:
    """Longitude in [-180, 180) and latitude."""
    lon, lat = _get_projection(zone, south)(east, north, inverse=True)
    return check_lon_lat(float(lon), float(lat))


@cache
def _get_projection(zone: int, south: bool) -> pyproj.Proj:
    return pyproj.Proj(proj="utm", zone=zone, south=south, ellps="WGS84")


_FORM_MGRS = 'write "33T WG 00000 49776": zone and band, square, easting, northing'
_COLUMNS = ("STUVWXYZ", "ABCDEFGH", "JKLMNPQR")  # by zone modulo 3, eastwards from 100 km
_ROWS = "ABCDEFGHJKLMNPQRSTUV"  # northwards, again and again; odd zones start at A, even ones at F
_POLAR_COLUMNS = "ABCFGHJKLPQRSTUXYZ"  # A is the first east of the pole, Z the first west of it
_POLAR_ROWS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
_POLAR_FIRST = {True: 8, False: 13}  # first row and column, in 100 km: southern, northern
_POLE_M = 2_000_000  # easting and northing of the pole
_SNAP_M = 1e-6  # a grid line that the projection misses by its rounding is still that line
_TEXT_MGRS = re.compile(
    r"(?:([0-9]{1,2}) ?([C-HJ-NP-Xc-hj-np-x])|([ABYZabyz])) ?([A-HJ-NP-Za-hj-np-z]{2}) ?"
    r"((?:[0-9]+(?: [0-9]+)*)?)"
)


def looks_like_mgrs(text: str) -> bool:
    """Whether a cleaned text has the shape of a reference; at the poles at least a pair of digits."""
    found = _TEXT_MGRS.fullmatch(text)
    return found is not None and "deg" not in text and (found[3] is None or found[5] != "")


def read_mgrs(text: str) -> Place:
    """Place of a reference: the centre of its square, half the diagonal as uncertainty.

    Examples
    --------
    >>> make_place = read_mgrs("33T WG 000 497")
    >>> make_place.understood
    "41.999764, 15.000604   41° 59.9858' N 015° 00.0362' E   read as MGRS: centre of a 100 m square"
    >>> round(make_place.uncertainty_m, 1)
    70.7

    Raises
    ------
    PlaceError
        When there is no such square, or its digits do not halve.
    """
    found = _TEXT_MGRS.fullmatch(text)
    if found is None:
        raise make_refusal(text, "is not understood as MGRS", _FORM_MGRS)
    halves = found[5].split()
    if len(halves) == 1 and len(halves[0]) % 2 == 0:
        half = len(halves[0]) // 2
        halves = [halves[0][:half], halves[0][half:]]
    digits = len(halves[0]) if halves else 0
    if halves and (len(halves) != 2 or len(halves[1]) != digits or digits > 5):
        raise make_refusal(
            text, "easting and northing need the same number of digits, 1 to 5 each", _FORM_MGRS
        )
    size = 10 ** (5 - digits)
    within = tuple(int(half) * size for half in halves) or (0, 0)
    letters = found[4].upper()
    if found[3]:
        at = _locate_polar(text, found[3].upper(), letters, within, size)
    else:
        at = _locate_in_zone(text, int(found[1]), found[2].upper(), letters, within, size)
    width = f"{size // 1000} km" if size >= 1000 else f"{size} m"
    return make_place(*at, "MGRS", f"centre of a {width} square", math.hypot(size, size) / 2)


def _locate_in_zone(
    text: str, zone: int, band: str, letters: str, within: tuple[int, ...], size: int
) -> tuple[float, float]:
    """Longitude and latitude of a square's centre between 80 S and 84 N."""
    columns = _COLUMNS[zone % 3]
    if not 1 <= zone <= 60 or (band == "X" and zone in (32, 34, 36)):
        raise make_refusal(text, f"there is no zone {zone}{band}", "check the zone")
    if letters[0] not in columns or letters[1] not in _ROWS:
        raise make_refusal(text, f"there is no square {letters} in zone {zone}", "check the letters")
    east = (columns.index(letters[0]) + 1) * 100_000 + within[0]
    row = (_ROWS.index(letters[1]) - (0 if zone % 2 else 5)) % len(_ROWS)
    low, high = find_band_edges(band)
    for turn in range(5):  # the rows begin again every 2000 km; a band is far lower
        north = row * 100_000 + turn * 2_000_000 + within[1]
        if north >= 10_000_000:
            break
        edges = [
            unproject(zone, band < "N", x, y) for x in (east, east + size) for y in (north, north + size)
        ]
        south_edge, north_edge = min(lat for _, lat in edges), max(lat for _, lat in edges)
        if south_edge < high and north_edge > low:
            lon, lat = unproject(zone, band < "N", east + size / 2, north + size / 2)
            if any(_touches_zone(zone, x, min(max(lat, low), high - 1e-9)) for x, _ in [*edges, (lon, lat)]):
                return lon, lat
    raise make_refusal(
        text, f"square {letters} does not reach into zone {zone}{band}", "check zone, band and letters"
    )


def _touches_zone(zone: int, lon: float, lat: float) -> bool:
    """Whether a longitude lies in the zone at that latitude, with a metre for its edges."""
    return zone in (find_zone(lon - 1e-5, lat), find_zone(lon, lat), find_zone(lon + 1e-5, lat))


def _locate_polar(
    text: str, zone: str, letters: str, within: tuple[int, ...], size: int
) -> tuple[float, float]:
    """Longitude and latitude of a square's centre at a pole."""
    south, west = zone in "AB", zone in "AY"
    first = _POLAR_FIRST[south]
    reach = _POLE_M // 100_000 - first
    columns = _POLAR_COLUMNS[-reach:] if west else _POLAR_COLUMNS[:reach]
    rows = _POLAR_ROWS[: 2 * reach]
    if letters[0] not in columns or letters[1] not in rows:
        raise make_refusal(text, f"there is no square {letters} in zone {zone}", "check the letters")
    column = columns.index(letters[0]) + (first if west else first + reach)
    east, north = column * 100_000 + within[0], (rows.index(letters[1]) + first) * 100_000 + within[1]
    edges = [_unproject_polar(south, x, y)[1] for x in (east, east + size) for y in (north, north + size)]
    if max(abs(lat) for lat in edges) <= (80 if south else 84):
        raise make_refusal(text, f"square {letters} does not reach into zone {zone}", "check the letters")
    return _unproject_polar(south, east + size / 2, north + size / 2)


def format_mgrs(lon: float, lat: float, digits: int = 5) -> str:
    """Reference of the square that holds a place; 5 digits are a metre, each fewer ten times as much.

    Examples
    --------
    >>> format_mgrs(15, 42), format_mgrs(15, 42, digits=3), format_mgrs(0, 90)
    ('33T WG 00000 49776', '33T WG 000 497', 'Z AH 00000 00000')
    """
    lon, lat = check_lon_lat(lon, lat)
    if -80 <= lat < 84:
        zone, band = find_zone(lon, lat), find_band(lat)
        x, y = (math.floor(v + _SNAP_M) for v in project_to_grid(zone, lat < 0, lon, lat))
        y = min(y, 9_999_999)  # the equator, seen from the south
        row = y // 100_000 + (0 if zone % 2 else 5)
        head = f"{zone:02d}{band} {_COLUMNS[zone % 3][x // 100_000 - 1]}{_ROWS[row % len(_ROWS)]}"
    else:
        south = lat < 0
        x, y = (math.floor(v + _SNAP_M) for v in _get_polar_projection(south)(lon, lat))
        zone_letter = ("A" if south else "Y") if x < _POLE_M else ("B" if south else "Z")
        column = _POLAR_COLUMNS[x // 100_000 - _POLE_M // 100_000]
        head = f"{zone_letter} {column}{_POLAR_ROWS[y // 100_000 - _POLAR_FIRST[south]]}"
    if digits == 0:
        return head
    size = 10 ** (5 - digits)
    return f"{head} {x % 100_000 // size:0{digits}d} {y % 100_000 // size:0{digits}d}"


def _unproject_polar(south: bool, east: float, north: float) -> tuple[float, float]:
    lon, lat = _get_polar_projection(south)(east, north, inverse=True)
    return check_lon_lat(float(lon), float(lat))


@cache
def _get_polar_projection(south: bool) -> pyproj.Proj:
    """Universal Polar Stereographic."""
    return pyproj.Proj(proj="ups", south=south, ellps="WGS84")


# Locators as places.
_SHAPE = re.compile(r"[A-Za-z]{2}(?:(?=[!-~]*[0-9])[!-~]+)?")


def looks_like_locator(text: str) -> bool:
    """Whether a cleaned text is meant as a locator: two letters alone, or before something with a digit."""
    return bool(_SHAPE.fullmatch(text))


def read_locator(text: str) -> Place:
    """Place of a locator: the centre of its cell, which is carried along.

    Examples
    --------
    >>> make_place = read_locator("en55")
    >>> make_place.lon, make_place.lat, make_place.cell
    (-89.0, 45.5, 'EN55')
    >>> make_place.understood
    "45.500000, -89.000000   45° 30.0000' N 089° 00.0000' W   read as locator: centre of the square EN55"

    Raises
    ------
    PlaceError
        Naming the first bad character and its position.
    """
    try:
        cell = decode(text)
    except LocatorError as error:
        raise make_refusal(text, f"is not a locator: {error.what}", error.remedy) from error
    level = LEVELS[len(cell.locator) // 2 - 1]
    name = {"extended": "extended square", "fifth": "cell"}.get(level, level)
    return make_place(
        cell.lon, cell.lat, "locator", f"centre of the {name} {cell.locator}", cell=cell.locator
    )
