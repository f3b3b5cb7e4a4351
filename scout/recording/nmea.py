"""NMEA 0183 logs to fixes.

The lines of an NMEA 0183 log: sentences with a sound checksum, and the values in them.

A checksum is the XOR of the bytes between ``$`` and ``*``, in two hexadecimal digits.

NMEA 0183: the sentences of one epoch joined to one fix, dates carried on over midnight.

The order of the fields is that of NMEA 0183, widely printed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import reduce
from math import hypot, isfinite, isnan, nan
from operator import xor
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from scout.errors import InputError
from scout.model import YEARS
from scout.recording.values import Fixes, ReadTally

_SENTENCE = re.compile(rb"[$!]([^$!*]+)(?:\*([0-9A-Fa-f]{2}))?")
_CHECKED = re.compile(rb"[$!][^$!*\r\n]+\*[0-9A-Fa-f]{2}")
_ADDRESS = re.compile(rb"(?:[A-Z]{2}[A-Z]{3}|P[A-Z0-9]+)(?=,|\Z)")
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
        ends = piece.endswith(b"\n")
        if len(piece) >= _PIECE and not ends:
            cut = max(piece.rfind(b"$"), piece.rfind(b"!"))
            if cut > 0:
                piece, carry = piece[:cut], piece[cut:]
        yield number, piece
        number += ends
    if carry:
        yield number, carry


def iterate_sentences(stream: BinaryIO, head: bytes, tally: ReadTally) -> Iterator[Sentence]:
    """The sound sentences of a log.

    A line may hold anything before, between or after sentences. Where the start of the log has checksums, a
    sentence without one is torn and left out; where it has none they are all taken.
    """
    checked = bool(_CHECKED.search(head))
    last = 0
    for number, line in _lines(stream):
        if line.isspace():
            continue
        if number > last:
            tally.add("lines", number)
            last = number
        match = None
        for match in _SENTENCE.finditer(line):
            body, stated = match.groups()
            if stated is not None and reduce(xor, body, 0) != int(stated, 16):
                tally.add("checksum_errors", number)
                continue
            if not _ADDRESS.match(body):
                tally.add("unreadable", number, "no sentence")
                continue
            if stated is None:
                tally.add("without_checksum", number)
                if checked:
                    continue
            tally.add("sentences", number)
            address, *fields = body.decode("latin-1").split(",")
            kind = "" if address.startswith("P") else address[2:]
            yield Sentence(number, kind, fields)
        if match is None:
            tally.add("unreadable", number, "no sentence")


_DAY_S = 86400.0
_MOST_QUALITY = 9  # one digit
_NO_DOP = 50.0  # a receiver without one says 99.9 or the like
_FARTHEST_M = 2e7  # half round the earth: no error is larger
_RADIUS_95 = 1.7308  # of RMSE_r: FGDC-STD-007.3-1998 (NSSDA), appendix 3-A
# Mode of RMC as the quality of GGA: autonomous, differential, estimated, float, manual, none, precise, RTK
# and simulator.
_QUALITY_OF_MODE = {"A": 1, "D": 2, "E": 6, "F": 5, "M": 7, "N": 0, "P": 3, "R": 4, "S": 8}


@dataclass(slots=True)
class _NmeaEpoch:
    """What the sentences of one time of day say together."""

    time_s: float = nan  # of the day
    day: int | None = None  # since 1970
    lon: float = nan
    lat: float = nan
    quality: int = -1
    satellites: float = nan
    hdop: float = nan
    dimensions: int = 0
    stated_error_m: float = nan
    no_fix: bool = False
    kinds: set[str] = field(default_factory=set)

    @property
    def has_fix(self) -> bool:
        """Whether it is a fix; what is none is of no more use when the next epoch begins."""
        return not (isnan(self.lat) or self.no_fix)


@dataclass(slots=True)
class _Log:
    """What has been read: the epochs that are fixes, and the one under way."""

    epochs: list[_NmeaEpoch] = field(default_factory=lambda: [_NmeaEpoch()])
    # Epoch under way, time of day and error wherever the receiver stated one; times without a fix.
    stated: list[tuple[int, float, float]] = field(default_factory=list)
    no_fix_s: set[float] = field(default_factory=set)


def read_nmea(path: str, stream: BinaryIO, head: bytes) -> Fixes:
    """Fixes of a log; ``head`` is its start."""
    tally, log = ReadTally(), _Log()
    for sentence in iterate_sentences(stream, head, tally):
        take = _TAKES.get(sentence.kind)
        if take is None:
            tally.add("unused", sentence.line)
            continue
        try:
            take(sentence, log, tally)
        except Unreadable as error:
            tally.add("unreadable", sentence.line, str(error))
    if not tally["sentences"] and not tally["checksum_errors"]:
        raise InputError(path, "is neither an NMEA 0183 log nor a GPX file", "record or export it again")
    found = [epoch for epoch in log.epochs if epoch.has_fix]
    if not found:
        what = f"holds no fix ({tally.summary('lines')})"
        raise InputError(path, what, "wait until the receiver has a fix, then record again")
    _give_errors(found, log)
    time_s, dated = _compute_times(found)
    return Fixes(
        path=path,
        kind="NMEA 0183",
        time_s=time_s,
        lon=np.array([epoch.lon for epoch in found]),
        lat=np.array([epoch.lat for epoch in found]),
        hdop=np.array([epoch.hdop for epoch in found]),
        satellites=np.array([epoch.satellites for epoch in found]),
        quality=np.array([epoch.quality for epoch in found], dtype=np.int64),
        dimensions=np.array([epoch.dimensions for epoch in found], dtype=np.int64),
        stated_error_m=np.array([epoch.stated_error_m for epoch in found]),
        dated=dated,
        counts=tally.counts(),
        notes=tally.notes("lines"),
    )


def _find_epoch(sentence: Sentence, log: _Log, tally: ReadTally) -> _NmeaEpoch | None:
    """The epoch a sentence belongs to, by its time; None for a second sentence of a kind in one epoch."""
    time_s, last = sentence.time_of_day(0), log.epochs[-1]
    same = time_s == last.time_s or (isnan(time_s) and isnan(last.time_s))
    if same and sentence.kind in last.kinds and not isnan(time_s):
        tally.add("repeated", sentence.line)
        return None
    if not same or sentence.kind in last.kinds:
        if not last.has_fix:
            log.epochs.pop()
        last = _NmeaEpoch(time_s)
        log.epochs.append(last)
    last.kinds.add(sentence.kind)
    return last


def _read_gga(sentence: Sentence, log: _Log, tally: ReadTally) -> None:
    quality = sentence.number(5)
    if not quality > 0:
        if isnan(quality):
            raise Unreadable("no fix quality")
        _note_no_fix(sentence, log, tally)
        return
    if quality > _MOST_QUALITY:
        raise Unreadable(f"{quality:g} is no fix quality")
    (lon, lat), satellites, hdop = sentence.place(1), sentence.number(6), sentence.number(7)
    if epoch := _find_epoch(sentence, log, tally):
        epoch.lon, epoch.lat, epoch.quality, epoch.satellites = lon, lat, int(quality), satellites
        epoch.hdop = _choose_dop(hdop, epoch.hdop)


def _read_rmc(sentence: Sentence, log: _Log, tally: ReadTally) -> None:
    mode = sentence.text(11)
    quality = _QUALITY_OF_MODE.get(mode, -1)
    if sentence.text(1) != "A" or quality == 0:
        if sentence.text(1) not in ("A", "V"):
            raise Unreadable("no status")
        _note_no_fix(sentence, log, tally)
        return
    (lon, lat), day = sentence.place(2), sentence.day(8)
    if epoch := _find_epoch(sentence, log, tally):
        epoch.day = day if day is not None else epoch.day
        if isnan(epoch.lat):
            epoch.lon, epoch.lat = lon, lat
        if epoch.quality < 0:
            epoch.quality = quality


def _note_no_fix(sentence: Sentence, log: _Log, tally: ReadTally) -> None:
    tally.add("without_fix", sentence.line)
    if epoch := _find_epoch(sentence, log, tally):
        epoch.no_fix = True
        log.no_fix_s.add(epoch.time_s)


def _read_gsa(sentence: Sentence, log: _Log, tally: ReadTally) -> None:
    """Has no time: belongs to the epoch under way. Several constellations say the same, one each."""
    dimensions, hdop = sentence.number(1), sentence.number(15)
    epoch = log.epochs[-1]
    epoch.hdop = _choose_dop(epoch.hdop, hdop)
    if dimensions in (2, 3) and not epoch.dimensions:
        epoch.dimensions = int(dimensions)


def _read_gst(sentence: Sentence, log: _Log, tally: ReadTally) -> None:
    """Sigmas of latitude and longitude; where they are empty, of the axes of the ellipse."""
    error = hypot(sentence.number(5), sentence.number(6))
    _stated(sentence, log, hypot(sentence.number(2), sentence.number(3)) if isnan(error) else error)


def _gbs(sentence: Sentence, log: _Log, tally: ReadTally) -> None:
    """Expected errors of latitude and longitude, read as sigmas (common practice)."""
    _stated(sentence, log, hypot(sentence.number(1), sentence.number(2)))


def _stated(sentence: Sentence, log: _Log, sigma_m: float) -> None:
    """Keep what the receiver says of its error until all epochs are known.

    Several talkers say it, before or after the place, with the time of the place, that of another or none:
    it neither makes an epoch nor ends one.
    """
    if not isnan(sigma_m):
        error_m = min(_RADIUS_95 * sigma_m, _FARTHEST_M)
        log.stated.append((len(log.epochs) - 1, sentence.time_of_day(0), error_m))


def _give_errors(fixes: list[_NmeaEpoch], log: _Log) -> None:
    """Give each stated error to the fix of its time, else to the nearest in the log; the largest holds."""
    for k, time_s, error_m in log.stated:
        near = range(max(min(k, len(fixes) - 1) - 2, 0), min(k + 3, len(fixes)))
        same = [n for n in near if fixes[n].time_s == time_s]
        if not same and time_s in log.no_fix_s:
            continue  # what is said without a fix is no error of one
        fix = fixes[min(same or near, key=lambda n: abs(n - k))]
        fix.stated_error_m = max(error_m, fix.stated_error_m)  # nan gives way


def _read_zda(sentence: Sentence, log: _Log, tally: ReadTally) -> None:
    day = sentence.day(1, 2, 3)
    if (epoch := _find_epoch(sentence, log, tally)) and day is not None:
        epoch.day = day


_TAKES = {
    "GGA": _read_gga,
    "RMC": _read_rmc,
    "GSA": _read_gsa,
    "GST": _read_gst,
    "GBS": _gbs,
    "ZDA": _read_zda,
}


def _choose_dop(*values: float) -> float:
    """The first that is one."""
    return next((value for value in values if 0 < value < _NO_DOP), nan)


def _compute_times(epochs: list[_NmeaEpoch]) -> tuple[NDArray[np.float64], bool]:
    """Seconds since 1970, and whether any sentence had a date.

    The day counts up where the clock falls back by more than half a day. A date holds from its epoch on; the
    fixes before the first date count back from it.
    """
    clock = np.array([epoch.time_s for epoch in epochs])
    day = np.array([nan if epoch.day is None else epoch.day for epoch in epochs])
    known = np.flatnonzero(np.isfinite(clock))
    turns = np.zeros(len(clock))
    turns[known[1:]] = np.diff(clock[known]) < -_DAY_S / 2
    turns = np.cumsum(turns)
    dates = np.flatnonzero(np.isfinite(day))
    if not len(dates):
        return clock + _DAY_S * turns, False
    before = np.clip(np.searchsorted(dates, np.arange(len(clock)), side="right") - 1, 0, None)
    origin = (day - turns)[dates[before]]
    return clock + _DAY_S * (turns + origin), True
