"""ADI text of ADIF as fields with their places in it, so that the rest can be kept byte for byte.

A data specifier is ``<NAME:LENGTH:TYPE>`` and that many characters; ``<EOH>`` ends the header and ``<EOR>`` a
contact (ADIF 3.1.7). Lengths count characters, which the standard keeps to ASCII. Programs that write UTF-8
count characters or bytes; others write Latin-1. All three are read, and kept as they are.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property

from scout.errors import InputError, RecordError, printable

__all__ = ["Contact", "Field", "Log", "parse_log"]

_TAG = re.compile(r"<\s*(?:(EOH|EOR)|([^<>:,{}]+?)\s*:\s*(\d{1,9})\s*(?::([^<>]*))?)\s*>", re.IGNORECASE)
_EXPORT = "export the log again as ADI from the program that wrote it"
_SHOWN = 24  # characters of a log quoted in an error

# How lengths are counted, and the codec by which one unit is one character. Bytes first: counted as bytes, a
# length in characters leaves the end of its value over; the other way round a blank behind may hide it.
_COUNTS = {"bytes": "latin-1", "characters": "utf-8"}


@dataclass(frozen=True, slots=True)
class Field:
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
    fields: tuple[Field, ...]
    start: int
    eor: int
    end: int

    @cached_property
    def by_name(self) -> dict[str, Field]:
        """Fields by name."""
        return {field.name: field for field in self.fields}

    def value(self, name: str) -> str:
        """The value of a field without blanks around it, empty where there is none."""
        field = self.by_name.get(name)
        return "" if field is None else field.value.strip()


@dataclass(frozen=True, slots=True)
class Log:
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


def parse_log(data: bytes, path: str) -> Log:
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
        return _parsed(data.decode("ascii"), "ascii", path)
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        note = "The log is not UTF-8; it is taken as one byte a character (Latin-1) and kept so."
        return _parsed(data.decode("latin-1"), "latin-1", path, (note,))
    wrong: list[InputError] = []
    for counted, codec in _COUNTS.items():
        note = f"The log is UTF-8 and its lengths count {counted}; both are kept."
        try:
            return _parsed(data.decode(codec), codec, path, (note,))
        except InputError as error:
            wrong.append(error)
    # Whichever way of counting came further is the one that was meant.
    raise max(wrong, key=lambda error: _number_in(error.where))


def _number_in(where: str) -> int:
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


def _parsed(text: str, codec: str, path: str, notes: tuple[str, ...] = ()) -> Log:
    at = _after_header(text, path)
    contacts: list[Contact] = []
    fields: list[Field] = []
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
            contacts.append(_contact(len(contacts) + 1, fields, start, tag, where))
            fields, at, start = [], tag.end(), tag.end()
            continue
        field = _field(tag, text, where)
        fields.append(field)
        at = field.end
    if fields:
        raise InputError(
            f"{path}, contact {len(contacts) + 1}", "the file ends before its <EOR>: it is cut short", _EXPORT
        )
    if not contacts:
        raise InputError(path, "this log holds no contact", _EXPORT)
    return Log(path, text, codec, tuple(contacts), notes)


def _after_header(text: str, path: str) -> int:
    """Where the contacts begin. A text that opens with a field and has no ``<EOH>`` has no header."""
    at = 0
    while (tag := _TAG.search(text, at)) is not None:
        if tag[1]:
            if tag[1].upper() == "EOH":
                return tag.end()
            break
        at = _field(tag, text, f"{path}, header or contact 1").end
    first = _TAG.search(text)
    if first is None:
        raise InputError(path, "this is no ADI: it has no field such as <CALL:5>", _EXPORT)
    if text[: first.start()].strip("\ufeff \t\r\n") and not text.startswith("\xef\xbb\xbf"):
        raise InputError(path, "its header has no <EOH>: it is cut short or no ADI", _EXPORT)
    return first.start()


def _field(tag: re.Match[str], text: str, where: str) -> Field:
    name, length = tag[2].strip().upper(), int(tag[3])
    end = tag.end() + length
    if end > len(text):
        raise RecordError(
            where,
            f"{printable(name)} states a length of {length:,}, and the file ends {end - len(text):,} short",
            _EXPORT,
        )
    return Field(name, text[tag.end() : end], tag.start(), tag.end(), end, tag[4] or "")


def _refuse_rest(rest: str, fields: list[Field], where: str) -> None:
    """Text behind a value, inside a contact, means that its length is wrong."""
    left = rest.strip()
    if left and fields:
        shown = left if len(left) <= _SHOWN else f"{left[:_SHOWN]}..."
        last = fields[-1]
        raise RecordError(
            where,
            f"{printable(last.name)} states a length of {last.end - last.at:,}, and more follows: "
            f"{printable(shown)!r}",
            _EXPORT,
        )


def _contact(number: int, fields: list[Field], start: int, eor: re.Match[str], where: str) -> Contact:
    names = [field.name for field in fields]
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise RecordError(where, f"{printable(twice)} stands twice: is an <EOR> missing?", _EXPORT)
    return Contact(number, tuple(fields), start, eor.start(), eor.end())
