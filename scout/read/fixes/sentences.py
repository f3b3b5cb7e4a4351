"""The lines of an NMEA 0183 log: sentences with a sound checksum, and the values in them.

A checksum is the XOR of the bytes between ``$`` and ``*``, in two hexadecimal digits.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import reduce
from math import isfinite, nan
from operator import xor
from typing import BinaryIO

from scout.read.fixes.tally import Tally
from scout.visits import YEARS

__all__ = ["Sentence", "Unreadable", "sentences"]

_SENTENCE = re.compile(rb"[$!]([^$!*]+)(?:\*([0-9A-Fa-f]{2}))?")
_CHECKED = re.compile(rb"[$!][^$!*\r\n]+\*[0-9A-Fa-f]{2}")
_ADDRESS = re.compile(r"[A-Z]{2}[A-Z]{3}|P[A-Z0-9]+")
_DECIMAL = re.compile(r"\d+\.?\d*|\.\d+", re.ASCII)
_CLOCK = re.compile(r"(\d\d)(\d\d)(\d\d(?:\.\d*)?)", re.ASCII)
_PIECE = 4096  # bytes; a sentence has 82 at most
_FIRST_DAY = date(1970, 1, 1)


class Unreadable(Exception):
    """A value that cannot be; the text says which."""


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence: its line, its kind (GGA, RMC ...) and the fields after that."""

    line: int
    kind: str
    fields: list[str]

    def text(self, field: int) -> str:
        """A field, empty where the sentence is too short."""
        return self.fields[field].strip() if field < len(self.fields) else ""

    def number(self, field: int) -> float:
        """A number from 0 up; nan where empty."""
        text = self.text(field)
        if not text:
            return nan
        if not _DECIMAL.fullmatch(text):
            raise Unreadable(f"{text!r} is no number")
        if not isfinite(float(text)):
            raise Unreadable("a number is too large")
        return float(text)

    def time_of_day(self, field: int) -> float:
        """Seconds after midnight of ``hhmmss.sss``; nan where empty."""
        text = self.text(field)
        if not text:
            return nan
        parts = _CLOCK.fullmatch(text)
        if not parts or int(parts[1]) > 23 or int(parts[2]) > 59 or float(parts[3]) >= 61:
            raise Unreadable(f"{text!r} is no time")
        return int(parts[1]) * 3600 + int(parts[2]) * 60 + float(parts[3])

    def place(self, field: int) -> tuple[float, float]:
        """Longitude and latitude of four fields: ``ddmm.mmm``, N or S, ``dddmm.mmm``, E or W."""
        return self._angle(field + 2, "EW", 180.0), self._angle(field, "NS", 90.0)

    def _angle(self, field: int, signs: str, most: float) -> float:
        value, sign = self.number(field), self.text(field + 1)
        degrees, minutes = divmod(value, 100)
        angle = degrees + minutes / 60
        if sign not in tuple(signs) or not (minutes < 60 and angle <= most):
            raise Unreadable(f"'{self.text(field)},{sign}' is no {'longitude' if most > 90 else 'latitude'}")
        return -angle if sign == signs[1] else angle

    def day(self, *fields: int) -> int | None:
        """Days since 1970 of ``ddmmyy`` in one field, or of day, month, year in three; None where empty."""
        texts = [self.text(field) for field in fields]
        if not all(texts):
            return None
        text = "".join(texts)
        if len(texts) == 1 and len(text) == 6:
            text = f"{text[:4]}{'19' if text[4:] >= '80' else '20'}{text[4:]}"
        try:
            day = date(int(text[4:]), int(text[2:4]), int(text[:2]))
        except (ValueError, OverflowError) as error:
            raise Unreadable(f"{','.join(texts)!r} is no date") from error
        if day.year not in YEARS:
            raise Unreadable(f"{day.year} is no year of a recording")
        return (day - _FIRST_DAY).days


def _lines(stream: BinaryIO) -> Iterator[tuple[int, bytes]]:
    """Give number and bytes of each line; a very long one comes in pieces, cut where a sentence begins."""
    number, carry = 1, b""
    while piece := stream.readline(_PIECE - len(carry)):
        piece, carry = carry + piece, b""
        if len(piece) >= _PIECE and not piece.endswith(b"\n"):
            cut = max(piece.rfind(b"$"), piece.rfind(b"!"))
            if cut > 0:
                piece, carry = piece[:cut], piece[cut:]
        yield number, piece
        number += piece.endswith(b"\n")
    if carry:
        yield number, carry


def sentences(stream: BinaryIO, head: bytes, tally: Tally) -> Iterator[Sentence]:
    """The sound sentences of a log.

    A line may hold anything before, between or after sentences. Where the start of the log has checksums, a
    sentence without one is torn and left out; where it has none they are all taken.
    """
    checked = bool(_CHECKED.search(head))
    last = 0
    for number, line in _lines(stream):
        if not line.strip():
            continue
        if number > last:
            tally.add("lines", number)
            last = number
        if not _SENTENCE.search(line):
            tally.add("unreadable", number, "no sentence")
        for match in _SENTENCE.finditer(line):
            body, stated = match.groups()
            if stated is not None and reduce(xor, body, 0) != int(stated, 16):
                tally.add("checksum_errors", number)
                continue
            address, *fields = body.decode("latin-1").split(",")
            if not _ADDRESS.fullmatch(address):
                tally.add("unreadable", number, "no sentence")
                continue
            if stated is None:
                tally.add("without_checksum", number)
                if checked:
                    continue
            tally.add("sentences", number)
            kind = "" if address.startswith("P") else address[2:]
            yield Sentence(number, kind, fields)
