"""Recordings in NMEA or GPX to fixes.

GPX 1.0 and 1.1: the points of tracks, or the waypoints where there is no track.

Read with expat, as it tells the line of every fault and can refuse a document type before any entity is
expanded.

Reading recorded fixes: an NMEA 0183 log or a GPX file, told apart by what is in it.

Both readers are our own, as the libraries tried let wrong places pass: a sentence with a bad hemisphere came
out at latitude 0 and minutes over 60 were added up; of a GPX file one bad point cost the whole, and entities
were expanded. The libraries serve as oracles in the tests.
"""

from __future__ import annotations

import re
from collections.abc import Container
from datetime import UTC, datetime
from math import isnan, nan
from pathlib import Path
from typing import BinaryIO
from xml.parsers import expat

import numpy as np

from scout.errors import InputError
from scout.model import YEARS
from scout.recording.nmea import read_nmea
from scout.recording.values import Fixes, ReadTally, convert_radius_68

_DECIMAL = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,2})?", re.ASCII)
_CHILDREN = ("time", "hdop", "sat", "fix")
# Fix types of the GPX schema as quality of the GGA sentence, and dimensions.
_FIX_TYPES = {"none": (0, 0), "2d": (1, 2), "3d": (1, 3), "dgps": (2, 0), "pps": (3, 0)}
# What a map of ours, recording in a browser, adds to a point: the radius that the device states, metres.
RECORDING_SPACE = "urn:scout:recording"
_RADIUS = f"{RECORDING_SPACE} radius68"
_FROM_A_BROWSER = (
    "A map in a browser recorded this, which is not told how a fix was made. The radius that "
    "the device states is taken to hold 68 % of fixes, as phones mean it, and made one of 95 %."
)
_CUT_OFF = (
    expat.errors.codes[expat.errors.XML_ERROR_NO_ELEMENTS],
    expat.errors.codes[expat.errors.XML_ERROR_UNCLOSED_TOKEN],
)
_AGAIN = "record or export it again"
_PIECE = 2**20  # bytes
_LONGEST_TEXT = 200  # characters that are looked at; what is longer is no number and no time
_NO_DOP = 50.0  # a receiver without one says 99.9 or the like; nor are there so many satellites in view


def read_gpx(path: str, stream: BinaryIO) -> Fixes:
    """Fixes of a file."""
    reading = _GpxPass(path)
    cut_off = reading.parse(stream)
    tracks, waypoints = reading.points["trkpt"], reading.points["wpt"]
    points, notes = tracks or waypoints, reading.tally.notes("points")
    if not points:
        what = f"holds no fix ({reading.tally.summary('points')})"
        raise InputError(path, " ".join([what, *notes]).removesuffix("."), _AGAIN)
    if tracks and waypoints:
        notes += (f"Waypoints beside the track are not used: {len(waypoints)}.",)
    elif waypoints:
        notes += (f"There is no track: waypoints are taken, {len(waypoints)}.",)
    if cut_off:
        notes += (f"The file breaks off in line {cut_off}.",)
    columns = [np.array(column, dtype=float) for column in zip(*points, strict=True)]
    lon, lat, time_s, hdop, satellites, quality, dimensions, stated_error_m = columns
    if np.isfinite(stated_error_m).any():
        notes += (_FROM_A_BROWSER,)
    return Fixes(
        path=path,
        kind="GPX",
        time_s=time_s,
        lon=lon,
        lat=lat,
        hdop=hdop,
        satellites=satellites,
        quality=quality.astype(np.int64),
        dimensions=dimensions.astype(np.int64),
        stated_error_m=stated_error_m,
        counts=reading.tally.counts(),
        notes=notes,
    )


class _GpxPass:
    """One pass of the parser over a file."""

    def __init__(self, path: str) -> None:
        self.tally = ReadTally()
        self.points: dict[str, list[tuple[float, ...]]] = {"trkpt": [], "wpt": []}
        self._path = path
        self._open: list[str] = []  # elements from the root on, by their whole names
        self._space = ""  # of the root
        self._place: tuple[float, float] | None = None  # of the point under way, where it is sound
        self._said: dict[str, str] = {}  # by its children
        self._text = ""
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.buffer_text = True
        self._parser.StartDoctypeDeclHandler = self._refuse
        self._parser.StartElementHandler = self._start
        self._parser.CharacterDataHandler = self._more
        self._parser.EndElementHandler = self._end

    def parse(self, stream: BinaryIO) -> int:
        """Read to the end; the line where a file breaks off after some points, else 0."""
        try:
            # In large pieces: expat begins a tag anew with every piece, and one may be all of the file.
            while piece := stream.read(_PIECE):
                self._parser.Parse(piece, False)
            self._parser.Parse(b"", True)
        except expat.ExpatError as error:
            if error.code in _CUT_OFF and any(self.points.values()):
                return error.lineno
            what = f"is no well-formed XML ({expat.ErrorString(error.code)})"
            raise InputError(f"{self._path}: line {error.lineno}", what, _AGAIN) from error
        except (ValueError, LookupError) as error:  # an encoding that Python does not know, or not for XML
            raise InputError(self._path, f"is in an encoding that is not read ({error})", _AGAIN) from error
        return 0

    def _refuse(self, *_: object) -> None:
        where = f"{self._path}: line {self._parser.CurrentLineNumber}"
        raise InputError(where, "has a document type, which no GPX file needs", "export it again without")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        space, _, local = name.rpartition(" ")
        if not self._open:
            self._space = space
            if local != "gpx":
                what = f"is no GPX file: its outermost element is {local!r}"
                raise InputError(self._path, what, "give an NMEA 0183 log or a GPX file")
        self._open.append(name)
        self._text = ""
        if self._is(name, self.points):
            line = self._parser.CurrentLineNumber
            self.tally.add("lines", line)
            self._said = {}
            try:
                lon = _parse_within(attributes, "lon", 180)
                self._place = (lon, _parse_within(attributes, "lat", 90))
            except ValueError as error:
                self.tally.add("unreadable", line, str(error))
                self._place = None

    def _more(self, text: str) -> None:
        if len(self._text) < _LONGEST_TEXT:
            self._text += text

    def _end(self, name: str) -> None:
        self._open.pop()
        if self._is(name, _CHILDREN) and self._open and self._is(self._open[-1], self.points):
            self._said[name.rpartition(" ")[2]] = self._text.strip()
        elif name == _RADIUS and len(self._open) > 1 and self._is(self._open[-1], ("extensions",)):
            if self._is(self._open[-2], self.points):
                self._said[_RADIUS] = self._text.strip()
        elif self._is(name, self.points) and self._place is not None:
            self._finish(name.rpartition(" ")[2], self._place)

    def _is(self, name: str, locals_: Container[str]) -> bool:
        space, _, local = name.rpartition(" ")
        return space == self._space and local in locals_

    def _finish(self, kind: str, place: tuple[float, float]) -> None:
        quality, dimensions = _FIX_TYPES.get(self._said.get("fix", "").lower(), (-1, 0))
        line = self._parser.CurrentLineNumber
        if quality == 0:
            self.tally.add("without_fix", line)
            return
        hdop, satellites = (_parse_positive(self._said.get(child, "")) for child in ("hdop", "sat"))
        time_s = _parse_utc(self._said.get("time", ""))
        if self._said.get("time") and isnan(time_s):
            self.tally.add("bad_times", line, repr(self._said["time"]))
        radius = self._said.get(_RADIUS, "")
        stated = convert_radius_68(float(radius)) if _DECIMAL.fullmatch(radius) else nan
        self.points[kind].append((*place, time_s, hdop, satellites, quality, dimensions, stated))


def _parse_within(attributes: dict[str, str], name: str, most: float) -> float:
    text = attributes.get(name, "").strip()
    if not _DECIMAL.fullmatch(text) or abs(float(text)) > most:
        raise ValueError(f"{name} is {text!r}" if text else f"{name} is missing")
    return float(text)


def _parse_positive(text: str) -> float:
    value = float(text) if _DECIMAL.fullmatch(text) else nan
    return value if 0 < value < _NO_DOP else nan


def _parse_utc(text: str) -> float:
    """Seconds since 1970; one without a zone is UTC, as the schema asks; nan if no recording has it."""
    try:
        time = datetime.fromisoformat(text) if "T" in text.upper() else None
    except ValueError:
        time = None
    if time is None or time.year not in YEARS:
        return nan
    return (time if time.tzinfo else time.replace(tzinfo=UTC)).timestamp()


_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")  # byte order marks


def read_fixes(path: Path | str) -> Fixes:
    """Read one recording.

    Parameters
    ----------
    path : path
        NMEA 0183 log (GGA and RMC give fixes; GSA, GST and ZDA add to them) or GPX 1.0 or 1.1 (track points;
        waypoints if there are none). The suffix does not matter.

    Returns
    -------
    Fixes
        In the order of the file, with counts of what was left out.

    Raises
    ------
    InputError
        The file cannot be read, is of neither kind, is XML with a document type, or holds no fix.
    """
    name, file = str(path), Path(path)
    try:
        if file.is_dir():
            raise InputError(name, "is a folder", "name the file of the recording")
        if not file.exists():
            raise InputError(name, "there is no such file", "check the path")
        if not file.is_file():
            raise InputError(name, "is no regular file", "save it as a file")
        with file.open("rb") as stream:
            head = stream.read(65536)
            stream.seek(0)
            if not head.strip():
                raise InputError(name, "the file is empty", "record again")
            return read_gpx(name, stream) if _is_xml(head) else read_nmea(name, stream, head)
    except OSError as error:
        raise InputError(name, f"cannot be read ({error.strerror or error})") from error


def _is_xml(head: bytes) -> bool:
    for mark in _MARKS:
        head = head.removeprefix(mark)
    return head.lstrip(b" \t\r\n\0").startswith(b"<")
