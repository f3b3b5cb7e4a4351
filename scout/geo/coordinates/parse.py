"""A text in any of the forms becomes a place or an area."""

from __future__ import annotations

import re

from scout.errors import PlaceError
from scout.geo.coordinates.angles import read_angles, read_geo, read_iso6709
from scout.geo.coordinates.forms import LONGEST, Place, clean_text, make_refusal
from scout.geo.coordinates.grids import (
    looks_like_locator,
    looks_like_mgrs,
    looks_like_utm,
    read_locator,
    read_mgrs,
    read_utm,
)
from scout.geo.locator import decode


def read_place(text: str) -> Place:
    """Place of a text in any of the forms, with what it was understood as.

    Decimal degrees, degrees-minutes or degrees-minutes-seconds, latitude first unless hemisphere letters
    say otherwise; locators of one to five pairs; ``geo:`` URIs; ISO 6709; UTM; MGRS. The shapes of the forms
    do not overlap, so that the order of the questions below decides nothing.

    Examples
    --------
    >>> read_place("45 30.5 N 89 15 W").understood
    "45.508333, -89.250000   45° 30.5000' N 089° 15.0000' W   read as degrees and minutes"
    >>> read_place("geo:45.5,-89.25;u=40").uncertainty_m
    40.0
    >>> read_place("EN55").cell
    'EN55'

    Raises
    ------
    PlaceError
        When the text is not understood, could be understood in more ways than one, or names no place on
        the globe; its text shows how to write it.
    """
    if len(text) > LONGEST:
        raise make_refusal(text, f"it is longer than {LONGEST} characters")
    clean = clean_text(text)
    if not clean:
        raise make_refusal(text, "is not understood: it is empty")
    if clean[:4].lower() == "geo:":
        return read_geo(clean)
    if clean[0] in "+-" and clean[-1] == "/":
        return read_iso6709(clean)
    if looks_like_mgrs(clean):
        return read_mgrs(clean)
    if looks_like_utm(clean):
        return read_utm(clean)
    if looks_like_locator(clean):
        return read_locator(clean)
    return read_angles(clean)


def parse_place(text: str) -> tuple[float, float]:
    """Longitude and latitude of a text in any of the forms of `read_place`.

    Examples
    --------
    >>> parse_place("45.5, -89.25")
    (-89.25, 45.5)
    >>> parse_place("JJ00")
    (1.0, 0.5)
    """
    place = read_place(text)
    return (place.lon, place.lat)


# Boxes as people write them.
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")


def parse_area(text: str) -> tuple[float, float, float, float]:
    """Box (west, south, east, north) of a locator's cell or of ``SOUTH,WEST,NORTH,EAST``.

    ``EAST`` under ``WEST`` is a box over the antimeridian.

    Examples
    --------
    >>> parse_area("EN55")
    (-90.0, 45.0, -88.0, 46.0)
    """
    numbers = [part.strip(" ") for part in clean_text(text).split(",")]
    if looks_like_locator(numbers[0]) and len(numbers) == 1:
        cell = decode(numbers[0])
        return (float(cell.west), float(cell.south), float(cell.east), float(cell.north))
    form = "write SOUTH,WEST,NORTH,EAST in decimal degrees, or a locator"
    if len(numbers) != 4 or not all(_NUMBER.fullmatch(n) for n in numbers):
        raise PlaceError(f"area {text!r}", "is not understood", form)
    south, west, north, east = (float(n) for n in numbers)
    if not -90 <= south < north <= 90:
        raise PlaceError(f"area {text!r}", "south must lie under north, both within 90", form)
    if abs(west) > 180 or abs(east) > 180 or west == east:
        raise PlaceError(f"area {text!r}", "west and east must differ and lie within 180", form)
    return (west, south, east, north)
