"""Boxes as people write them."""

from __future__ import annotations

import re

from scout.coordinates.cell import looks_like_locator
from scout.coordinates.forms import cleaned
from scout.errors import PlaceError
from scout.locator import decode

__all__ = ["parse_area"]

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")


def parse_area(text: str) -> tuple[float, float, float, float]:
    """Box (west, south, east, north) of a locator's cell or of ``SOUTH,WEST,NORTH,EAST``.

    ``EAST`` under ``WEST`` is a box over the antimeridian.

    Examples
    --------
    >>> parse_area("EN55")
    (-90.0, 45.0, -88.0, 46.0)
    """
    numbers = [part.strip(" ") for part in cleaned(text).split(",")]
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
