"""Locators as places."""

from __future__ import annotations

import re

from scout.coordinates.forms import refused
from scout.coordinates.place import Place, place
from scout.errors import LocatorError
from scout.locator import LEVELS, decode

__all__ = ["looks_like_locator", "read_locator"]

_SHAPE = re.compile(r"[A-Za-z]{2}(?:(?=[!-~]*[0-9])[!-~]+)?")


def looks_like_locator(text: str) -> bool:
    """Whether a cleaned text is meant as a locator: two letters alone, or before something with a digit."""
    return bool(_SHAPE.fullmatch(text))


def read_locator(text: str) -> Place:
    """Place of a locator: the centre of its cell, which is carried along.

    Examples
    --------
    >>> place = read_locator("en55")
    >>> place.lon, place.lat, place.cell
    (-89.0, 45.5, 'EN55')
    >>> place.understood
    "45.500000, -89.000000   45° 30.000' N 089° 00.000' W   read as locator: centre of the square EN55"

    Raises
    ------
    PlaceError
        Naming the first bad character and its position.
    """
    try:
        cell = decode(text)
    except LocatorError as error:
        raise refused(text, f"is not a locator: {error.what}", error.remedy) from error
    level = LEVELS[len(cell.locator) // 2 - 1]
    name = {"extended": "extended square", "fifth": "cell"}.get(level, level)
    return place(cell.lon, cell.lat, "locator", f"centre of the {name} {cell.locator}", cell=cell.locator)
