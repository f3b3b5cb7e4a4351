"""A place that was read, and what it was read as."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scout.coordinates.writers import decimal, minutes

__all__ = ["Form", "Place", "place"]

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


def place(
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
    >>> place(-89.25, 45.5, "decimal degrees").understood
    "45.500000, -89.250000   45° 30.000' N 089° 15.000' W   read as decimal degrees"
    """
    lon = -180.0 if lon == 180 else lon + 0.0
    lat = lat + 0.0  # no minus before a zero
    read_as = f"{form}{': ' if remark else ''}{remark}"
    understood = f"{decimal(lon, lat)}   {minutes(lon, lat)}   read as {read_as}"
    return Place(lon, lat, form, understood, uncertainty_m, cell)
