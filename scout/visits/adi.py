"""Logs in the ADI form: read with every place in them, and the ADIF types of locations.

ADI text of ADIF as fields with their places in it, so that the rest can be kept byte for byte.

A data specifier is ``<NAME:LENGTH:TYPE>`` and that many characters; ``<EOH>`` ends the header and ``<EOR>`` a
contact (ADIF 3.1.7). Lengths count characters, which the standard keeps to ASCII. Programs that write UTF-8
count characters or bytes; others write Latin-1. All three are read, and kept as they are.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

from scout.errors import InputError, RecordError, make_printable
from scout.geo.geodesy import wrap_lon
from scout.geo.locator import count_columns, parse

_TAG = re.compile(r"<\s*(?:(EOH|EOR)|([^<>:,{}]+?)\s*:\s*(\d{1,9})\s*(?::([^<>]*))?)\s*>", re.IGNORECASE)
_EXPORT = "export the log again as ADI from the program that wrote it"
_SHOWN = 24  # characters of a log quoted in an error

# How lengths are counted, and the codec by which one unit is one character. Bytes first: counted as bytes, a
# length in characters leaves the end of its value over; the other way round a blank behind may hide it.
_COUNTS = {"bytes": "latin-1", "characters": "utf-8"}


@dataclass(frozen=True, slots=True)
class AdifField:
    """One data specifier and its value; ``text[start:end]`` of the log is all of it."""

    name: str  # upper case
    value: str
    start: int
    at: int  # where the value begins
    end: int
    kind: str  # the type indicator, as written


@dataclass(frozen=True)
class Contact:
    """One record: its fields, and where it and its ``<EOR>`` stand."""

    number: int  # from 1
    fields: tuple[AdifField, ...]
    start: int
    eor: int
    end: int

    @cached_property
    def by_name(self) -> dict[str, AdifField]:
        """Fields by name."""
        return {field.name: field for field in self.fields}

    def value(self, name: str) -> str:
        """The value of a field without blanks around it, empty where there is none."""
        field = self.by_name.get(name)
        return "" if field is None else field.value.strip()


@dataclass(frozen=True, slots=True)
class AdifLog:
    """A whole log: its text, one character per counted unit, and its contacts."""

    path: str
    text: str
    codec: str  # gives the bytes back
    contacts: tuple[Contact, ...]
    notes: tuple[str, ...] = ()

    def words(self, value: str) -> str:
        """A value for people: where bytes are counted, a character may be several units."""
        if self.codec != "latin-1" or value.isascii():
            return value
        try:
            return value.encode("latin-1").decode("utf-8")
        except UnicodeDecodeError:
            return value


def parse_log(data: bytes, path: str) -> AdifLog:
    """Read the bytes of an ADI file.

    Parameters
    ----------
    data : bytes
    path : str
        Named in errors.

    Raises
    ------
    InputError
        This is no ADI, is cut short, or holds no contact.
    RecordError
        The length of a field is not that of its value; or a contact names a field twice.
    """
    _refuse_others(data, path)
    if data.isascii():
        return _parse_text(data.decode("ascii"), "ascii", path)
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        note = "The log is not UTF-8; it is taken as one byte a character (Latin-1) and kept so."
        return _parse_text(data.decode("latin-1"), "latin-1", path, (note,))
    wrong: list[InputError] = []
    for counted, codec in _COUNTS.items():
        note = f"The log is UTF-8 and its lengths count {counted}; both are kept."
        try:
            return _parse_text(data.decode(codec), codec, path, (note,))
        except InputError as error:
            wrong.append(error)
    # Whichever way of counting came further is the one that was meant.
    raise max(wrong, key=lambda error: _find_line_number(error.where))


def _find_line_number(where: str) -> int:
    found = re.search(r"contact (\d+)$", where)
    return int(found[1]) if found else 0


def _refuse_others(data: bytes, path: str) -> None:
    start = data[:400].lstrip(b"\xef\xbb\xbf \t\r\n")
    if not start:
        raise InputError(path, "the log is empty", _EXPORT)
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in data:
        raise InputError(path, "this is no ADI text: it has zero bytes or is UTF-16", _EXPORT)
    if start.startswith(b"<?xml") or start[:5].upper() == b"<ADX>":
        raise InputError(path, "this is ADX, the XML form of ADIF, and only ADI is read", _EXPORT)


def _parse_text(text: str, codec: str, path: str, notes: tuple[str, ...] = ()) -> AdifLog:
    at = _skip_header(text, path)
    contacts: list[Contact] = []
    fields: list[AdifField] = []
    start = at
    while True:
        where = f"{path}, contact {len(contacts) + 1}"
        tag = _TAG.search(text, at)
        _refuse_rest(text[at : tag.start() if tag else len(text)], fields, where)
        if tag is None:
            break
        if tag[1]:
            if tag[1].upper() == "EOH":
                raise RecordError(where, "<EOH> stands among the contacts", _EXPORT)
            contacts.append(_make_contact(len(contacts) + 1, fields, start, tag, where))
            fields, at, start = [], tag.end(), tag.end()
            continue
        field = _make_field(tag, text, where)
        fields.append(field)
        at = field.end
    if fields:
        raise InputError(
            f"{path}, contact {len(contacts) + 1}", "the file ends before its <EOR>: it is cut short", _EXPORT
        )
    if not contacts:
        raise InputError(path, "this log holds no contact", _EXPORT)
    return AdifLog(path, text, codec, tuple(contacts), notes)


def _skip_header(text: str, path: str) -> int:
    """Where the contacts begin. A text that opens with a field and has no ``<EOH>`` has no header."""
    at = 0
    while (tag := _TAG.search(text, at)) is not None:
        if tag[1]:
            if tag[1].upper() == "EOH":
                return tag.end()
            break
        at = _make_field(tag, text, f"{path}, header or contact 1").end
    first = _TAG.search(text)
    if first is None:
        raise InputError(path, "this is no ADI: it has no field such as <CALL:5>", _EXPORT)
    if text[: first.start()].strip("\ufeff \t\r\n") and not text.startswith("\xef\xbb\xbf"):
        raise InputError(path, "its header has no <EOH>: it is cut short or no ADI", _EXPORT)
    return first.start()


def _make_field(tag: re.Match[str], text: str, where: str) -> AdifField:
    name, length = tag[2].strip().upper(), int(tag[3])
    end = tag.end() + length
    if end > len(text):
        raise RecordError(
            where,
            f"{make_printable(name)} states a length of {length:,}, "
            f"and the file ends {end - len(text):,} short",
            _EXPORT,
        )
    return AdifField(name, text[tag.end() : end], tag.start(), tag.end(), end, tag[4] or "")


def _refuse_rest(rest: str, fields: list[AdifField], where: str) -> None:
    """Text behind a value, inside a contact, means that its length is wrong."""
    left = rest.strip()
    if left and fields:
        shown = left if len(left) <= _SHOWN else f"{left[:_SHOWN]}..."
        last = fields[-1]
        raise RecordError(
            where,
            f"{make_printable(last.name)} states a length of {last.end - last.at:,}, and more follows: "
            f"{make_printable(shown)!r}",
            _EXPORT,
        )


def _make_contact(
    number: int, fields: list[AdifField], start: int, eor: re.Match[str], where: str
) -> Contact:
    names = [field.name for field in fields]
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise RecordError(where, f"{make_printable(twice)} stands twice: is an <EOR> missing?", _EXPORT)
    return Contact(number, tuple(fields), start, eor.start(), eor.end())


# Places as ADIF has them: the types Location, GridSquare, GridSquareExt and GridSquareList (ADIF 3.1.7).
_LOCATION = re.compile(r"([EWNS])(\d{3}) (\d{2}\.\d{3})", re.IGNORECASE)


def format_location(degrees: float, axis: str) -> str:
    """A latitude or longitude as a Location, ``XDDD MM.MMM``; a thousandth of a minute is 1.85 m.

    Parameters
    ----------
    degrees : float
    axis : str
        ``lat`` or ``lon``.

    Examples
    --------
    >>> [format_location(*one) for one in ((48.14666, "lat"), (-56.21166, "lon"), (44.99999999, "lat"))]
    ['N048 08.800', 'W056 12.700', 'N045 00.000']
    """
    if axis == "lon":
        degrees = float(wrap_lon(degrees))
    thousandths = round(abs(degrees) * 60_000)
    letter = {"lat": "NS", "lon": "EW"}[axis][degrees < 0 and thousandths > 0]
    whole, rest = divmod(thousandths, 60_000)
    return f"{letter}{whole:03d} {rest // 1000:02d}.{rest % 1000:03d}"


def parse_location(text: str) -> float | None:
    """Degrees of a Location; None for a text that is none.

    Examples
    --------
    >>> parse_location("W056 12.700"), parse_location("56.2 W")
    (-56.211666666666666, None)
    """
    found = _LOCATION.fullmatch(text)
    if found is None:
        return None
    minutes = float(found[3])
    degrees = int(found[2]) + minutes / 60
    if minutes >= 60 or degrees > (90 if found[1].upper() in "NS" else 180):
        return None
    return -degrees if found[1].upper() in "SW" else degrees


def list_grids(locators: Sequence[str]) -> tuple[str, ...]:
    """Locators as a GridSquareList takes them: four or six characters each, no more than there are cells.

    Finer locators are cut to six characters; a field (two characters) has no form there and is left out.

    Examples
    --------
    >>> list_grids(["JO22ab11", "JO22ab12", "JO22bb02"])
    ('JO22ab', 'JO22bb')
    """
    return tuple(dict.fromkeys(text[:6] for text in locators if len(text) >= 4))


def are_adjacent(locators: Sequence[str]) -> bool:
    """Whether two locators share an edge or a corner, or four share one corner.

    Examples
    --------
    >>> are_adjacent(["EM98", "FM08", "EM97", "FM07"]), are_adjacent(["EM98", "EM78"])
    (True, False)
    """
    if len({len(text) for text in locators}) != 1:
        return False
    cells = [parse(text) for text in locators]
    round_ = count_columns(cells[0][2])
    # Steps east from the first, the shorter way round the globe.
    east = [(int(i) - int(cells[0][0]) + round_ // 2) % round_ - round_ // 2 for i, _, _ in cells]
    north = [int(j) for _, j, _ in cells]
    return max(east) - min(east) <= 1 and max(north) - min(north) <= 1 and len(set(locators)) == len(locators)


def list_choices(locators: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The pairs that may be claimed of three cells: those that share an edge come first.

    Raises
    ------
    InputError
        The locators are no three.
    """
    if len(locators) != 3:
        raise InputError(" ".join(locators), "these are not three cells")
    cells = {text: parse(text)[:2] for text in locators}
    round_ = count_columns(parse(locators[0])[2])

    def apart(pair: tuple[str, ...]) -> int:
        (i, j), (k, m) = (cells[text] for text in pair)
        east = abs(int(i) - int(k))
        return min(east, round_ - east) + abs(int(j) - int(m))

    return tuple(sorted(combinations(locators, 2), key=apart))
