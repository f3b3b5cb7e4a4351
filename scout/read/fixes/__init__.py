"""Reading recorded fixes: an NMEA 0183 log or a GPX file, told apart by what is in it.

Both readers are our own, as the libraries tried let wrong places pass: a sentence with a bad hemisphere came
out at latitude 0 and minutes over 60 were added up; of a GPX file one bad point cost the whole, and entities
were expanded. The libraries serve as oracles in the tests.
"""

from __future__ import annotations

from pathlib import Path

from scout.errors import InputError
from scout.read.fixes.gpx import read_gpx
from scout.read.fixes.nmea import read_nmea
from scout.standstill import Fixes

__all__ = ["read_fixes"]

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
