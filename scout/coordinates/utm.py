"""Universal Transverse Mercator: zone, easting, northing. WGS 84, by pyproj."""

from __future__ import annotations

import re
from functools import cache

import pyproj

from scout.coordinates.forms import refused
from scout.coordinates.place import Place, place
from scout.coordinates.writers import checked
from scout.errors import PlaceError

__all__ = [
    "BANDS",
    "band_edges",
    "band_of",
    "looks_like_utm",
    "read_utm",
    "to_grid",
    "to_lon_lat",
    "utm",
    "zone_of",
]

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
    "41.999998, 15.000000   42° 00.000' N 015° 00.000' E   read as UTM: zone 33 north"

    Raises
    ------
    PlaceError
        When the text is not understood or ambiguous, or names no place of its zone.
    """
    found = _TEXT.fullmatch(text)
    if found is None:
        raise refused(text, "is not understood as UTM", _FORM)
    zone, letter = int(found["zone"]), found["letter"].lower()
    axes = (found["a_axis"] + found["b_axis"]).lower()
    if axes not in ("", "en", "ne"):
        raise refused(text, "its letters of easting and northing do not fit", _FORM)
    east, north = float(found["a"]), float(found["b"])
    if axes == "ne":
        east, north = north, east
    if not 1 <= zone <= 60:
        raise refused(text, f"there is no zone {zone}", "zones run from 1 to 60")
    if not 100_000 <= east < 900_000:
        what = f"easting {east:.12g} is not from 100000 to 900000"
        raise refused(text, what, f"easting comes before northing: {_FORM}")
    south = _is_south(text, letter, zone, east, north)
    at = _inside(zone, south, east, north)
    if at is None:
        what = f"northing {north:.12g} is not in the {'southern' if south else 'northern'} part of the zone"
        raise refused(text, what, "UTM runs from 80 S to 84 N")
    return place(*at, "UTM", f"zone {zone} {'south' if south else 'north'}")


def _is_south(text: str, letter: str, zone: int, east: float, north: float) -> bool:
    if letter in ("n", "north"):
        return False
    if letter == "south":
        return True
    if letter == "s":
        if not _in_band("S", zone, east, north):
            return True
        rest = f"{east:.12g} {north:.12g}"
        what = "S may mean the southern hemisphere or the band from 32 N to 40 N"
        raise refused(text, what, f'write "{zone} south {rest}" or "{zone} north {rest}"')
    band = letter.upper()
    if band not in BANDS:
        raise refused(text, f"there is no band {band} in UTM", _FORM)
    if not _in_band(band, zone, east, north):
        low, high = band_edges(band)
        what = f"band {band} holds latitudes {low} to {high}, this northing lies outside it"
        raise refused(text, what, "check the letter, or write north or south instead")
    return band < "N"


def _in_band(band: str, zone: int, east: float, north: float) -> bool:
    low, high = band_edges(band)
    at = _inside(zone, band < "N", east, north)
    return at is not None and low - _BAND_SLACK_DEG <= at[1] <= high + _BAND_SLACK_DEG


def _inside(zone: int, south: bool, east: float, north: float) -> tuple[float, float] | None:
    """Longitude and latitude where UTM is defined, else None."""
    if not 0 <= north <= 10_000_000:
        return None
    lon, lat = to_lon_lat(zone, south, east, north)
    low, high = (-80, 0) if south else (0, 84)
    return (lon, lat) if low - _BAND_SLACK_DEG <= lat <= high + _BAND_SLACK_DEG else None


def utm(lon: float, lat: float, digits: int = 0) -> str:
    """Zone, easting and northing, rounded to a metre; the letter is N in the north, the band in the south.

    S stands nowhere: it would be taken for the hemisphere by some and for the band by others.

    Examples
    --------
    >>> utm(15, 42), utm(-56.21166, -34.91)
    ('33N 500000 4649776', '21H 572017 6136654')

    Raises
    ------
    PlaceError
        Beyond 84 N and 80 S, where UTM is not defined.
    """
    lon, lat = checked(lon, lat)
    if not -80 <= lat <= 84:
        raise PlaceError(
            f"latitude {lat:g}", "UTM ends at 84 N and 80 S", "use MGRS, which goes on to the poles"
        )
    zone = zone_of(lon, lat)
    east, north = to_grid(zone, lat < 0, lon, lat)
    letter = "N" if lat >= 0 else band_of(lat)
    return f"{zone:02d}{letter} {east:.{digits}f} {north:.{digits}f}"


def zone_of(lon: float, lat: float) -> int:
    """Zone of a place, with the wide zones of south-west Norway and Svalbard.

    Examples
    --------
    >>> zone_of(5, 60), zone_of(5, 64), zone_of(20.9, 78), zone_of(-180, 0)
    (32, 31, 33, 1)
    """
    if 56 <= lat < 64 and 3 <= lon < 12:
        return 32
    if lat >= 72 and 0 <= lon < 42:
        return 31 + 2 * int((lon + 3) // 12)
    return int((lon + 180) // 6) % 60 + 1


def band_of(lat: float) -> str:
    """Letter of the latitude band, 80 S to 84 N.

    Examples
    --------
    >>> band_of(42), band_of(84), band_of(-1e-20)
    ('T', 'X', 'M')
    """
    row = min(int((lat + 80) // 8), 19)
    return BANDS[row if lat >= 0 else min(row, 9)]


def band_edges(band: str) -> tuple[int, int]:
    """South and north edge of a latitude band, degrees."""
    low = BANDS.index(band) * 8 - 80
    return low, 84 if band == "X" else low + 8


def to_grid(zone: int, south: bool, lon: float, lat: float) -> tuple[float, float]:
    """Easting and northing, metres."""
    east, north = _projection(zone, south)(lon, lat)
    return float(east), float(north)


def to_lon_lat(zone: int, south: bool, east: float, north: float) -> tuple[float, float]:
    """Longitude in [-180, 180) and latitude."""
    lon, lat = _projection(zone, south)(east, north, inverse=True)
    return checked(float(lon), float(lat))


@cache
def _projection(zone: int, south: bool) -> pyproj.Proj:
    return pyproj.Proj(proj="utm", zone=zone, south=south, ellps="WGS84")
