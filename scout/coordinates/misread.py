"""Why a text is no pair of coordinates, and what its writer probably meant."""

from __future__ import annotations

import re

from scout.coordinates.forms import refused
from scout.errors import PlaceError

__all__ = ["misread", "too_many_digits"]

_RUN_TOGETHER = re.compile(
    r"([0-9]{2})([0-9]{2})([0-9]{2})?(\.[0-9]*)? ?,? ?([NSns]) ?,? ?"
    r"([0-9]{3})([0-9]{2})([0-9]{2})?(\.[0-9]*)? ?,? ?([EWew])"
)
_COMMAS = re.compile(r"([+-]?[0-9]+),([0-9]+)[ ;/,]+([+-]?[0-9]+),([0-9]+)")


def too_many_digits(text: str, number: str) -> PlaceError:
    """Error for more than three digits before the point: degrees and minutes run together, or metres.

    Examples
    --------
    >>> print(too_many_digits("4807.038,N,01131.000,E", "4807.038"))
    place '4807.038,N,01131.000,E': degrees and minutes run together; write "48 07.038 N 011 31.000 E"
    """
    if found := _RUN_TOGETHER.fullmatch(text):
        parts = [part or "" for part in found.groups()]
        lat, lon = (" ".join(filter(None, p[:3])) + p[3] for p in (parts[:4], parts[5:9]))
        remedy = f'write "{lat} {parts[4].upper()} {lon} {parts[9].upper()}"'
        return refused(text, "degrees and minutes run together", remedy)
    remedy = 'write degrees and minutes apart, "45 30.5 N 89 15.2 W", and UTM as "33N 500000 4649776"'
    return refused(text, f"{number} has too many digits for degrees", remedy)


def misread(text: str, kinds: str) -> PlaceError:
    """Error for a row of kinds that does not divide into two coordinates (kinds: see `angles`).

    Examples
    --------
    >>> print(misread("45,5 -89,2", "i,iI,i"))
    place '45,5 -89,2': these look like decimal commas; write 45.5,-89.2
    """
    if found := _COMMAS.fullmatch(text):
        remedy = "write {}.{},{}.{}".format(*found.groups())
        return refused(text, "these look like decimal commas", remedy)
    if re.fullmatch("[iIfF],[iIfF],[iIfF]", kinds):
        return refused(text, "there are three numbers", "give latitude and longitude only")
    if kinds.count("L") == 1:
        what = "is not understood: only one coordinate has a hemisphere letter"
        return refused(text, what, "give both a letter, or none")
    if re.search("[0-9],[0-9]", text) and ("L" in kinds or kinds.count(",") > 1):
        return refused(text, "these look like decimal commas")
    if len(re.findall("[iIfF]", kinds)) == 1:
        return refused(text, "is not understood: it holds one number, a place needs two")
    return refused(text, "is not understood")
