"""``geo:`` URIs read by the grammar of RFC 5870."""

from __future__ import annotations

import re

from scout.coordinates.forms import refused
from scout.coordinates.place import Place, place

__all__ = ["read_geo"]

_FORM = "write geo:45.123,-89.456 or geo:45.123,-89.456;u=40"
_NUMBER = r"-?[0-9]+(?:\.[0-9]+)?"
_URI = re.compile(rf"geo:({_NUMBER}),({_NUMBER})(?:,({_NUMBER}))?((?:;[^;]*)*)", re.IGNORECASE | re.ASCII)
_LABEL = re.compile(r"[A-Za-z0-9-]+")
_VALUE = re.compile(r"(?:[A-Za-z0-9\[\]:&+$_.!~*'()-]|%[0-9A-Fa-f]{2})+")


def read_geo(text: str) -> Place:
    """Place of a ``geo:`` URI on WGS 84; ``u`` becomes the uncertainty, a height is not used.

    Examples
    --------
    >>> read_geo("geo:48.198634,16.371648;crs=wgs84;u=40").uncertainty_m
    40.0

    Raises
    ------
    PlaceError
        When the URI does not follow the grammar, has another ``crs``, or is not on the globe.
    """
    found = _URI.fullmatch(text)
    if found is None:
        raise refused(text, "is not a geo: URI of RFC 5870", _FORM)
    lat, lon, height, tail = float(found[1]), float(found[2]), found[3], found[4]
    if abs(lat) > 90 or abs(lon) > 180:
        axis = f"latitude {lat:.10g} is over 90" if abs(lat) > 90 else f"longitude {lon:.10g} is over 180"
        raise refused(text, axis, f"latitude comes first: {_FORM}")
    uncertainty, unused = _parameters(text, tail)
    remarks = [f"within {uncertainty:g} m"] if uncertainty is not None else []
    remarks += [f"its height of {height} m is not used"] if height is not None else []
    remarks += [f"its {name} is not used" for name in unused]
    return place(lon, lat, "geo URI", ", ".join(remarks), uncertainty)


def _parameters(text: str, tail: str) -> tuple[float | None, list[str]]:
    """Uncertainty, and the names of parameters that mean nothing to us."""
    uncertainty: float | None = None
    names: list[str] = []
    for parameter in tail.split(";")[1:]:
        name, equals, value = parameter.partition("=")
        name = name.lower()
        sound = _LABEL.fullmatch(name) and (_VALUE.fullmatch(value) if equals else True)
        if not sound or name in names:
            raise refused(text, f"parameter {parameter!r} is malformed or given twice", _FORM)
        names.append(name)
        if name == "crs":
            if value.lower() != "wgs84":
                raise refused(text, f"its coordinate system is {value}", "give a place in crs=wgs84")
            if names != ["crs"]:
                raise refused(text, "crs must come before the other parameters", _FORM)
        elif name == "u":
            if not re.fullmatch(r"[0-9]+(?:\.[0-9]+)?", value):
                raise refused(text, f"its uncertainty u={value} is not a length", f"give metres: {_FORM}")
            if set(names) - {"crs", "u"}:
                raise refused(text, "u must come before the other parameters", _FORM)
            uncertainty = float(value)
    return uncertainty, [name for name in names if name not in ("crs", "u")]
