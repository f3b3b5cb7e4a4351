"""Degrees, minutes and seconds as people write them, read by grammar.

The text becomes a row of kinds, one letter a token: ``i`` a whole number, ``f`` one with decimals, ``I`` and
``F`` the same with a sign; ``o`` ``m`` ``s`` marks of degrees, minutes and seconds; ``:`` a colon; ``L`` a
hemisphere letter; ``,`` a separator. The row must divide into two coordinates in one way only: where it does
in several (``10 20 30 40``), the text is refused, never guessed. Values never decide how it divides.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

from scout.coordinates.forms import refused
from scout.coordinates.misread import misread, too_many_digits
from scout.coordinates.place import Form, Place, place

__all__ = ["read_angles"]

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
    "-12.575000, 170.000000   12° 34.500' S 170° 00.000' E   read as degrees and minutes"

    Raises
    ------
    PlaceError
        When the text is not understood, in more ways than one, or names no place on the globe.
    """
    first, second = _divided(text)
    lettered = bool(first.letter)
    if len(first.numbers) != len(second.numbers) and not (lettered or (first.marked and second.marked)):
        what = "one coordinate has more parts than the other"
        raise refused(text, what, "mark each number, such as 45° 30' 15\" 89° 15', or add hemisphere letters")
    lat, lon = (second, first) if first.letter in ("E", "W") else (first, second)
    if lettered and (lat.letter not in "NS" or lon.letter not in "EW"):
        what = f"there are two {'longitudes' if lat.letter in 'EW' else 'latitudes'}"
        raise refused(text, what, "N and S go with the latitude, E and W with the longitude")
    for angle in (lat, lon):
        _check_written(text, angle)
    y, x = _value(lat, "S"), _value(lon, "W")
    _check_range(text, y, x, lettered)
    if not lettered and re.match(r"[+-]?0[0-9]{2}", lat.numbers[0]):
        what = f"{lat.numbers[0]} has three digits, as a longitude has"
        raise refused(text, what, "latitude comes first, with two digits")
    return place(x, y, _FORMS[max(len(lat.numbers), len(lon.numbers)) - 1])


def _divided(text: str) -> tuple[_Angle, _Angle]:
    kinds, words = _tokens(text)
    if "L" in kinds:
        ways = _by_letters(kinds)
    else:
        ways = [
            (slice(0, k), slice(k + (kinds[k] == ","), len(kinds)))
            for k in range(1, len(kinds))
            if _ONE.fullmatch(kinds[:k]) and _ONE.fullmatch(kinds[k + (kinds[k] == ",") :])
        ]
    if len(ways) > 1:
        what = "it is not clear where latitude ends and longitude begins"
        remedy = 'put a comma between them, such as "45 30, -89 15", or mark the degrees with °'
        raise refused(text, what, remedy)
    if not ways:
        raise misread(text, kinds)
    first, second = (
        _Angle(
            [word for kind, word in zip(kinds[part], words[part], strict=True) if kind in "iIfF"],
            "".join(word for kind, word in zip(kinds[part], words[part], strict=True) if kind == "L"),
            bool(_MARKED.fullmatch(kinds[part].replace("L", ""))),
        )
        for part in ways[0]
    )
    return first, second


def _by_letters(kinds: str) -> list[tuple[slice, slice]]:
    """Where letters stand after both coordinates, or before both."""
    patterns = (r"([^L,]+L)(,?)([^L,]+L)", r"(L[^L,]+)(,?)(L[^L,]+)")
    for pattern in patterns:
        if found := re.fullmatch(pattern, kinds):
            first, second = found.span(1), found.span(3)
            if all(_ONE.fullmatch(kinds[a:b].replace("L", "")) for a, b in (first, second)):
                return [(slice(*first), slice(*second))]
    return []


def _tokens(text: str) -> tuple[str, list[str]]:
    """Row of kinds and the words behind it."""
    kinds, words, at = "", [], 0
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None:
            if text[at] in "+-":
                raise refused(text, "a sign stands alone", "write it before its number: 45.5,-89.25")
            if text[at] == ".":
                raise refused(text, "a point lacks a digit before or after it", "write 0.5 or 5.0")
            shown = f"{text[at]!r} at character {at + 1}"
            raise refused(text, f"is not understood: {shown} has no meaning in coordinates")
        kind, word = str(found.lastgroup), found[0]
        if kind == "number":
            if word[0] in "+-" and at and text[at - 1] not in " ,;/NSEWnsew":
                what = f"{word[0]!r} at character {at + 1} may be a sign or a dash"
                raise refused(text, what, "put a comma before a sign, or end ISO 6709 with /: +45.5-089.25/")
            if len(word.lstrip("+-").partition(".")[0]) > 3:
                raise too_many_digits(text, word)
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
        raise refused(text, f"{sign} and {angle.letter} contradict each other", "leave one of them out")
    for number, what in zip(angle.numbers[1:], ("minutes", "seconds"), strict=False):
        if len(number.partition(".")[0]) > 2 or float(number) >= 60:
            raise refused(text, f"{number} {what} is 60 or more", f"write {what} from 0 to 59.999")


def _value(angle: _Angle, minus: str) -> float:
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
        raise refused(text, f"latitude {lat:.10g} is over 90", remedy)
    if abs(lon) > 180:
        raise refused(text, f"longitude {lon:.10g} is over 180", "longitude runs from -180 to 180")
