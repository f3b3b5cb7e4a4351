"""Any text of a place: which form it is in, and the place."""

from __future__ import annotations

from scout.coordinates.angles import read_angles
from scout.coordinates.cell import looks_like_locator, read_locator
from scout.coordinates.forms import LONGEST, cleaned, refused
from scout.coordinates.geo import read_geo
from scout.coordinates.iso import read_iso6709
from scout.coordinates.mgrs import looks_like_mgrs, read_mgrs
from scout.coordinates.place import Place
from scout.coordinates.utm import looks_like_utm, read_utm

__all__ = ["parse_place", "read_place"]


def read_place(text: str) -> Place:
    """Place of a text in any of the forms, with what it was understood as.

    Decimal degrees, degrees-minutes or degrees-minutes-seconds, latitude first unless hemisphere letters
    say otherwise; locators of one to five pairs; ``geo:`` URIs; ISO 6709; UTM; MGRS. The shapes of the forms
    do not overlap, so that the order of the questions below decides nothing.

    Examples
    --------
    >>> read_place("45 30.5 N 89 15 W").understood
    "45.508333, -89.250000   45° 30.500' N 089° 15.000' W   read as degrees and minutes"
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
        raise refused(text, f"it is longer than {LONGEST} characters")
    clean = cleaned(text)
    if not clean:
        raise refused(text, "is not understood: it is empty")
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
