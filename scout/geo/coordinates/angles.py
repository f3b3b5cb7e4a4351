"""Coordinates written as angles: degrees, minutes and seconds, ISO 6709, geo URIs.

Degrees, minutes and seconds as people write them, read by grammar.

The text becomes a row of kinds, one letter a token: ``i`` a whole number, ``f`` one with decimals, ``I`` and
``F`` the same with a sign; ``o`` ``m`` ``s`` marks of degrees, minutes and seconds; ``:`` a colon; ``L`` a
hemisphere letter; ``,`` a separator. The row must divide into two coordinates in one way only: where it does
in several (``10 20 30 40``), the text is refused, never guessed. Values never decide how it divides.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

from scout.geo.coordinates.forms import (
    Form,
    Place,
    explain_misread,
    explain_too_many_digits,
    make_place,
    make_refusal,
)

# Marks are lower case, so that E is never an exponent and S never a second; `s` is told apart below.
_TOKEN = re.compile(
    r"(?P<number>[+-]?[0-9]+(?:\.[0-9]+)?)"
    r"|(?P<s>''|′′|’’|\"|″|”|sec(?:onds?)?)"
    r"|(?P<o>°|º|˚|deg(?:rees?)?|d)"
    r"|(?P<m>'|′|’|´|min(?:utes?)?|m)"
    r"|(?P<colon>:)|(?P<sep>[,;/])|(?P<letter>[NSEWnsew])|(?P<blank> )"
)
_ONE = re.compile(r"[iIfF]o?|[iI][o:]?[if]m?|[iI][o:]?i[m:]?[if]s?")
_MARKED = re.compile(r"([iIfF]o|[iI]o[if]m|[iI]oim[if]s|[iI]:[if]|[iI]:i:[if])")
_FORMS: tuple[Form, ...] = ("decimal degrees", "degrees and minutes", "degrees, minutes and seconds")


class _Angle(NamedTuple):
    """One coordinate: its numbers as written, its letter or "", and whether each number is marked."""

    numbers: list[str]
    letter: str
    marked: bool


def read_angles(text: str) -> Place:
    """Place of a cleaned text in decimal degrees, degrees-minutes or degrees-minutes-seconds.

    Latitude comes first unless hemisphere letters, before or after both coordinates, say otherwise.

    Examples
    --------
    >>> read_angles("170 0.0E / 12 34.5S").understood
    "-12.575000, 170.000000   12° 34.5000' S 170° 00.0000' E   read as degrees and minutes"

    Raises
    ------
    PlaceError
        When the text is not understood, in more ways than one, or names no place on the globe.
    """
    first, second = _divide_tokens(text)
    lettered = bool(first.letter)
    if len(first.numbers) != len(second.numbers) and not (lettered or (first.marked and second.marked)):
        what = "one coordinate has more parts than the other"
        raise make_refusal(
            text, what, "mark each number, such as 45° 30' 15\" 89° 15', or add hemisphere letters"
        )
    lat, lon = (second, first) if first.letter in ("E", "W") else (first, second)
    if lettered and (lat.letter not in "NS" or lon.letter not in "EW"):
        what = f"there are two {'longitudes' if lat.letter in 'EW' else 'latitudes'}"
        raise make_refusal(text, what, "N and S go with the latitude, E and W with the longitude")
    for angle in (lat, lon):
        _check_written(text, angle)
    y, x = _compute_degrees(lat, "S"), _compute_degrees(lon, "W")
    _check_range(text, y, x, lettered)
    if not lettered and re.match(r"[+-]?0[0-9]{2}", lat.numbers[0]):
        what = f"{lat.numbers[0]} has three digits, as a longitude has"
        raise make_refusal(text, what, "latitude comes first, with two digits")
    return make_place(x, y, _FORMS[max(len(lat.numbers), len(lon.numbers)) - 1])


def _divide_tokens(text: str) -> tuple[_Angle, _Angle]:
    kinds, words = _split_tokens(text)
    if "L" in kinds:
        ways = _divide_by_letters(kinds)
    else:
        ways = [
            (slice(0, k), slice(k + (kinds[k] == ","), len(kinds)))
            for k in range(1, len(kinds))
            if _ONE.fullmatch(kinds[:k]) and _ONE.fullmatch(kinds[k + (kinds[k] == ",") :])
        ]
    if len(ways) > 1:
        what = "it is not clear where latitude ends and longitude begins"
        remedy = 'put a comma between them, such as "45 30, -89 15", or mark the degrees with °'
        raise make_refusal(text, what, remedy)
    if not ways:
        raise explain_misread(text, kinds)
    first, second = (
        _Angle(
            [word for kind, word in zip(kinds[part], words[part], strict=True) if kind in "iIfF"],
            "".join(word for kind, word in zip(kinds[part], words[part], strict=True) if kind == "L"),
            bool(_MARKED.fullmatch(kinds[part].replace("L", ""))),
        )
        for part in ways[0]
    )
    return first, second


def _divide_by_letters(kinds: str) -> list[tuple[slice, slice]]:
    """Where letters stand after both coordinates, or before both."""
    patterns = (r"([^L,]+L)(,?)([^L,]+L)", r"(L[^L,]+)(,?)(L[^L,]+)")
    for pattern in patterns:
        if found := re.fullmatch(pattern, kinds):
            first, second = found.span(1), found.span(3)
            if all(_ONE.fullmatch(kinds[a:b].replace("L", "")) for a, b in (first, second)):
                return [(slice(*first), slice(*second))]
    return []


def _split_tokens(text: str) -> tuple[str, list[str]]:
    """Row of kinds and the words behind it."""
    kinds, words, at = "", [], 0
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None:
            if text[at] in "+-":
                raise make_refusal(text, "a sign stands alone", "write it before its number: 45.5,-89.25")
            if text[at] == ".":
                raise make_refusal(text, "a point lacks a digit before or after it", "write 0.5 or 5.0")
            shown = f"{text[at]!r} at character {at + 1}"
            raise make_refusal(text, f"is not understood: {shown} has no meaning in coordinates")
        kind, word = str(found.lastgroup), found[0]
        if kind == "number":
            if word[0] in "+-" and at and text[at - 1] not in " ,;/NSEWnsew":
                what = f"{word[0]!r} at character {at + 1} may be a sign or a dash"
                raise make_refusal(
                    text, what, "put a comma before a sign, or end ISO 6709 with /: +45.5-089.25/"
                )
            if len(word.lstrip("+-").partition(".")[0]) > 3:
                raise explain_too_many_digits(text, word)
            kind = "f" if "." in word else "i"
            kind = kind.upper() if word[0] in "+-" else kind
        elif kind == "letter":
            # A small s is seconds where minutes carry a letter too: 34d 54m 36s.
            seconds = word == "s" and re.search(r"(?:m|min|minutes?) ?[0-9.]+ ?$", text[:at])
            kind, word = ("s", word) if seconds else ("L", word.upper())
        if kind != "blank":
            kinds += {"colon": ":", "sep": ","}.get(kind, kind)
            words.append(word)
        at = found.end()
    return kinds, words


def _check_written(text: str, angle: _Angle) -> None:
    """Sign and letter agree; minutes and seconds are under 60."""
    sign = angle.numbers[0][0]
    if angle.letter and sign in "+-" and (sign == "-") != (angle.letter in "SW"):
        raise make_refusal(text, f"{sign} and {angle.letter} contradict each other", "leave one of them out")
    for number, what in zip(angle.numbers[1:], ("minutes", "seconds"), strict=False):
        if len(number.partition(".")[0]) > 2 or float(number) >= 60:
            raise make_refusal(text, f"{number} {what} is 60 or more", f"write {what} from 0 to 59.999")


def _compute_degrees(angle: _Angle, minus: str) -> float:
    """Degrees, the double nearest to what is written."""
    degrees, *rest = (number.lstrip("+-") for number in angle.numbers)
    size = float(degrees)
    if rest:  # a sum of doubles would stray from the lattice lines, which lie on whole minutes
        size = float(sum((Fraction(n) / 60**k for k, n in enumerate(rest, 1)), Fraction(degrees)))
    return -size if angle.letter == minus or angle.numbers[0][0] == "-" else size


def _check_range(text: str, lat: float, lon: float, lettered: bool) -> None:
    if abs(lat) > 90:
        remedy = "latitude runs from 90 S to 90 N"
        if abs(lon) <= 90 and abs(lat) <= 180 and not lettered:
            remedy = f"latitude comes first: write {lon:.9g},{lat:.9g}"
        raise make_refusal(text, f"latitude {lat:.10g} is over 90", remedy)
    if abs(lon) > 180:
        raise make_refusal(text, f"longitude {lon:.10g} is over 180", "longitude runs from -180 to 180")


# ISO 6709 texts: decimal degrees, degrees-minutes or degrees-minutes-seconds run together (annex H).
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
    >>> make_place = read_iso6709("+4012.22-07500.25/")
    >>> make_place.lon, round(make_place.lat, 6)
    (-75.00416666666666, 40.203667)

    Raises
    ------
    PlaceError
        When the text does not follow annex H, has another CRS, or is not on the globe.
    """
    found = _TEXT.fullmatch(text)
    if found is None:
        raise make_refusal(text, "is not as ISO 6709 has it", _FORM)
    ns, lat_digits, lat_rest, ew, lon_digits, lon_rest, height, crs = found.groups()
    if len(lat_digits) != len(lon_digits) - 1:
        raise make_refusal(text, "latitude and longitude have different parts", _FORM)
    if crs is not None and crs not in ("WGS_84", "WGS84"):
        raise make_refusal(text, f"its coordinate system is {crs}", "give a place in WGS 84")
    lat = _parse_degrees(text, lat_digits, lat_rest or "", 2)
    lon = _parse_degrees(text, lon_digits, lon_rest or "", 3)
    if lat > 90 or lon > 180:
        what = (
            f"latitude {float(lat):.10g} is over 90"
            if lat > 90
            else f"longitude {float(lon):.10g} is over 180"
        )
        raise make_refusal(text, what, _FORM)
    remark = _PARTS[len(lat_digits)] + (f", its height of {height} is not used" if height else "")
    return make_place(float(f"{ew}1") * float(lon), float(f"{ns}1") * float(lat), "ISO 6709", remark)


def _parse_degrees(text: str, digits: str, rest: str, width: int) -> Fraction:
    """Degrees, exactly, of digits run together; the decimals belong to the last part."""
    parts = [digits[:width], *re.findall("..", digits[width:])]
    parts[-1] += rest
    for part, name in zip(parts[1:], ("minutes", "seconds"), strict=False):
        if Fraction(part) >= 60:
            raise make_refusal(text, f"{part} {name} is 60 or more", _FORM)
    return sum((Fraction(part) / 60**k for k, part in enumerate(parts)), Fraction(0))


# ``geo:`` URIs read by the grammar of RFC 5870.
_FORM_GEO = "write geo:45.123,-89.456 or geo:45.123,-89.456;u=40"
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
        raise make_refusal(text, "is not a geo: URI of RFC 5870", _FORM_GEO)
    lat, lon, height, tail = float(found[1]), float(found[2]), found[3], found[4]
    if abs(lat) > 90 or abs(lon) > 180:
        axis = f"latitude {lat:.10g} is over 90" if abs(lat) > 90 else f"longitude {lon:.10g} is over 180"
        raise make_refusal(text, axis, f"latitude comes first: {_FORM_GEO}")
    uncertainty, unused = _parse_parameters(text, tail)
    remarks = [f"within {uncertainty:g} m"] if uncertainty is not None else []
    remarks += [f"its height of {height} m is not used"] if height is not None else []
    remarks += [f"its {name} is not used" for name in unused]
    return make_place(lon, lat, "geo URI", ", ".join(remarks), uncertainty)


def _parse_parameters(text: str, tail: str) -> tuple[float | None, list[str]]:
    """Uncertainty, and the names of parameters that mean nothing to us."""
    uncertainty: float | None = None
    names: list[str] = []
    for parameter in tail.split(";")[1:]:
        name, equals, value = parameter.partition("=")
        name = name.lower()
        sound = _LABEL.fullmatch(name) and (_VALUE.fullmatch(value) if equals else True)
        if not sound or name in names:
            raise make_refusal(text, f"parameter {parameter!r} is malformed or given twice", _FORM_GEO)
        names.append(name)
        if name == "crs":
            if value.lower() != "wgs84":
                raise make_refusal(text, f"its coordinate system is {value}", "give a place in crs=wgs84")
            if names != ["crs"]:
                raise make_refusal(text, "crs must come before the other parameters", _FORM_GEO)
        elif name == "u":
            if not re.fullmatch(r"[0-9]+(?:\.[0-9]+)?", value):
                raise make_refusal(
                    text, f"its uncertainty u={value} is not a length", f"give metres: {_FORM_GEO}"
                )
            if set(names) - {"crs", "u"}:
                raise make_refusal(text, "u must come before the other parameters", _FORM_GEO)
            uncertainty = float(value)
    return uncertainty, [name for name in names if name not in ("crs", "u")]
