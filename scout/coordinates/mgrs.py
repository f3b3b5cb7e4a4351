"""Military Grid Reference System: zone and band, letters of a 100 km square, digits. WGS 84.

A reference names a square, 1 m to 100 km wide, by truncation; a place is read as the centre of the square.
Lettering scheme "AA" (the one for WGS 84) and the polar squares as in NGA.SIG.0012 (from memory; the tests
compare with two independent implementations).
"""

from __future__ import annotations

import math
import re
from functools import cache

import pyproj

from scout.coordinates.forms import refused
from scout.coordinates.place import Place, place
from scout.coordinates.utm import band_edges, band_of, to_grid, to_lon_lat, zone_of
from scout.coordinates.writers import checked

__all__ = ["looks_like_mgrs", "mgrs_text", "read_mgrs"]

_FORM = 'write "33T WG 00000 49776": zone and band, square, easting, northing'
_COLUMNS = ("STUVWXYZ", "ABCDEFGH", "JKLMNPQR")  # by zone modulo 3, eastwards from 100 km
_ROWS = "ABCDEFGHJKLMNPQRSTUV"  # northwards, again and again; odd zones start at A, even ones at F
_POLAR_COLUMNS = "ABCFGHJKLPQRSTUXYZ"  # A is the first east of the pole, Z the first west of it
_POLAR_ROWS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
_POLAR_FIRST = {True: 8, False: 13}  # first row and column, in 100 km: southern, northern
_POLE_M = 2_000_000  # easting and northing of the pole
_SNAP_M = 1e-6  # a grid line that the projection misses by its rounding is still that line
_TEXT = re.compile(
    r"(?:([0-9]{1,2}) ?([C-HJ-NP-Xc-hj-np-x])|([ABYZabyz])) ?([A-HJ-NP-Za-hj-np-z]{2}) ?"
    r"((?:[0-9]+(?: [0-9]+)*)?)"
)


def looks_like_mgrs(text: str) -> bool:
    """Whether a cleaned text has the shape of a reference; at the poles at least a pair of digits."""
    found = _TEXT.fullmatch(text)
    return found is not None and "deg" not in text and (found[3] is None or found[5] != "")


def read_mgrs(text: str) -> Place:
    """Place of a reference: the centre of its square, half the diagonal as uncertainty.

    Examples
    --------
    >>> place = read_mgrs("33T WG 000 497")
    >>> place.understood
    "41.999764, 15.000604   41° 59.986' N 015° 00.036' E   read as MGRS: centre of a 100 m square"
    >>> round(place.uncertainty_m, 1)
    70.7

    Raises
    ------
    PlaceError
        When there is no such square, or its digits do not halve.
    """
    found = _TEXT.fullmatch(text)
    if found is None:
        raise refused(text, "is not understood as MGRS", _FORM)
    halves = found[5].split()
    if len(halves) == 1 and len(halves[0]) % 2 == 0:
        half = len(halves[0]) // 2
        halves = [halves[0][:half], halves[0][half:]]
    digits = len(halves[0]) if halves else 0
    if halves and (len(halves) != 2 or len(halves[1]) != digits or digits > 5):
        raise refused(text, "easting and northing need the same number of digits, 1 to 5 each", _FORM)
    size = 10 ** (5 - digits)
    within = tuple(int(half) * size for half in halves) or (0, 0)
    letters = found[4].upper()
    if found[3]:
        at = _polar(text, found[3].upper(), letters, within, size)
    else:
        at = _in_zone(text, int(found[1]), found[2].upper(), letters, within, size)
    width = f"{size // 1000} km" if size >= 1000 else f"{size} m"
    return place(*at, "MGRS", f"centre of a {width} square", math.hypot(size, size) / 2)


def _in_zone(
    text: str, zone: int, band: str, letters: str, within: tuple[int, ...], size: int
) -> tuple[float, float]:
    """Longitude and latitude of a square's centre between 80 S and 84 N."""
    columns = _COLUMNS[zone % 3]
    if not 1 <= zone <= 60 or (band == "X" and zone in (32, 34, 36)):
        raise refused(text, f"there is no zone {zone}{band}", "check the zone")
    if letters[0] not in columns or letters[1] not in _ROWS:
        raise refused(text, f"there is no square {letters} in zone {zone}", "check the letters")
    east = (columns.index(letters[0]) + 1) * 100_000 + within[0]
    row = (_ROWS.index(letters[1]) - (0 if zone % 2 else 5)) % len(_ROWS)
    low, high = band_edges(band)
    for turn in range(5):  # the rows begin again every 2000 km; a band is far lower
        north = row * 100_000 + turn * 2_000_000 + within[1]
        if north >= 10_000_000:
            break
        edges = [
            to_lon_lat(zone, band < "N", x, y) for x in (east, east + size) for y in (north, north + size)
        ]
        south_edge, north_edge = min(lat for _, lat in edges), max(lat for _, lat in edges)
        if south_edge < high and north_edge > low:
            lon, lat = to_lon_lat(zone, band < "N", east + size / 2, north + size / 2)
            if any(_touches(zone, x, min(max(lat, low), high - 1e-9)) for x, _ in [*edges, (lon, lat)]):
                return lon, lat
    raise refused(
        text, f"square {letters} does not reach into zone {zone}{band}", "check zone, band and letters"
    )


def _touches(zone: int, lon: float, lat: float) -> bool:
    """Whether a longitude lies in the zone at that latitude, with a metre for its edges."""
    return zone in (zone_of(lon - 1e-5, lat), zone_of(lon, lat), zone_of(lon + 1e-5, lat))


def _polar(text: str, zone: str, letters: str, within: tuple[int, ...], size: int) -> tuple[float, float]:
    """Longitude and latitude of a square's centre at a pole."""
    south, west = zone in "AB", zone in "AY"
    first = _POLAR_FIRST[south]
    reach = _POLE_M // 100_000 - first
    columns = _POLAR_COLUMNS[-reach:] if west else _POLAR_COLUMNS[:reach]
    rows = _POLAR_ROWS[: 2 * reach]
    if letters[0] not in columns or letters[1] not in rows:
        raise refused(text, f"there is no square {letters} in zone {zone}", "check the letters")
    column = columns.index(letters[0]) + (first if west else first + reach)
    east, north = column * 100_000 + within[0], (rows.index(letters[1]) + first) * 100_000 + within[1]
    edges = [_polar_lon_lat(south, x, y)[1] for x in (east, east + size) for y in (north, north + size)]
    if max(abs(lat) for lat in edges) <= (80 if south else 84):
        raise refused(text, f"square {letters} does not reach into zone {zone}", "check the letters")
    return _polar_lon_lat(south, east + size / 2, north + size / 2)


def mgrs_text(lon: float, lat: float, digits: int = 5) -> str:
    """Reference of the square that holds a place; 5 digits are a metre, each fewer ten times as much.

    Examples
    --------
    >>> mgrs_text(15, 42), mgrs_text(15, 42, digits=3), mgrs_text(0, 90)
    ('33T WG 00000 49776', '33T WG 000 497', 'Z AH 00000 00000')
    """
    lon, lat = checked(lon, lat)
    if -80 <= lat < 84:
        zone, band = zone_of(lon, lat), band_of(lat)
        x, y = (math.floor(v + _SNAP_M) for v in to_grid(zone, lat < 0, lon, lat))
        y = min(y, 9_999_999)  # the equator, seen from the south
        row = y // 100_000 + (0 if zone % 2 else 5)
        head = f"{zone:02d}{band} {_COLUMNS[zone % 3][x // 100_000 - 1]}{_ROWS[row % len(_ROWS)]}"
    else:
        south = lat < 0
        x, y = (math.floor(v + _SNAP_M) for v in _polar_projection(south)(lon, lat))
        zone_letter = ("A" if south else "Y") if x < _POLE_M else ("B" if south else "Z")
        column = _POLAR_COLUMNS[x // 100_000 - _POLE_M // 100_000]
        head = f"{zone_letter} {column}{_POLAR_ROWS[y // 100_000 - _POLAR_FIRST[south]]}"
    if digits == 0:
        return head
    size = 10 ** (5 - digits)
    return f"{head} {x % 100_000 // size:0{digits}d} {y % 100_000 // size:0{digits}d}"


def _polar_lon_lat(south: bool, east: float, north: float) -> tuple[float, float]:
    lon, lat = _polar_projection(south)(east, north, inverse=True)
    return checked(float(lon), float(lat))


@cache
def _polar_projection(south: bool) -> pyproj.Proj:
    """Universal Polar Stereographic."""
    return pyproj.Proj(proj="ups", south=south, ellps="WGS84")
