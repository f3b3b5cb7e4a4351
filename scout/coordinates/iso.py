"""ISO 6709 texts: decimal degrees, degrees-minutes or degrees-minutes-seconds run together (annex H)."""

from __future__ import annotations

import re
from fractions import Fraction

from scout.coordinates.forms import refused
from scout.coordinates.place import Place, place

__all__ = ["read_iso6709"]

_FORM = "write +45.123-089.456/ (signs, two and three digits of degrees, / at the end)"
_TEXT = re.compile(
    r"([+-])([0-9]{2}|[0-9]{4}|[0-9]{6})(\.[0-9]+)?([+-])([0-9]{3}|[0-9]{5}|[0-9]{7})(\.[0-9]+)?"
    r"([+-][0-9]+(?:\.[0-9]+)?)?(?:CRS(.*))?/"
)
_PARTS = {2: "degrees", 4: "degrees and minutes", 6: "degrees, minutes and seconds"}


def read_iso6709(text: str) -> Place:
    """Place of an ISO 6709 text on WGS 84; a height is not used.

    Examples
    --------
    >>> place = read_iso6709("+4012.22-07500.25/")
    >>> place.lon, round(place.lat, 6)
    (-75.00416666666666, 40.203667)

    Raises
    ------
    PlaceError
        When the text does not follow annex H, has another CRS, or is not on the globe.
    """
    found = _TEXT.fullmatch(text)
    if found is None:
        raise refused(text, "is not as ISO 6709 has it", _FORM)
    ns, lat_digits, lat_rest, ew, lon_digits, lon_rest, height, crs = found.groups()
    if len(lat_digits) != len(lon_digits) - 1:
        raise refused(text, "latitude and longitude have different parts", _FORM)
    if crs is not None and crs not in ("WGS_84", "WGS84"):
        raise refused(text, f"its coordinate system is {crs}", "give a place in WGS 84")
    lat = _degrees(text, lat_digits, lat_rest or "", 2)
    lon = _degrees(text, lon_digits, lon_rest or "", 3)
    if lat > 90 or lon > 180:
        what = (
            f"latitude {float(lat):.10g} is over 90"
            if lat > 90
            else f"longitude {float(lon):.10g} is over 180"
        )
        raise refused(text, what, _FORM)
    remark = _PARTS[len(lat_digits)] + (f", its height of {height} is not used" if height else "")
    return place(float(f"{ew}1") * float(lon), float(f"{ns}1") * float(lat), "ISO 6709", remark)


def _degrees(text: str, digits: str, rest: str, width: int) -> Fraction:
    """Degrees, exactly, of digits run together; the decimals belong to the last part."""
    parts = [digits[:width], *re.findall("..", digits[width:])]
    parts[-1] += rest
    for part, name in zip(parts[1:], ("minutes", "seconds"), strict=False):
        if Fraction(part) >= 60:
            raise refused(text, f"{part} {name} is 60 or more", _FORM)
    return sum((Fraction(part) / 60**k for k, part in enumerate(parts)), Fraction(0))
