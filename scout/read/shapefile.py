"""What GDAL does not find out about Shapefiles by itself: the encoding of their texts."""

from __future__ import annotations

import zipfile
from pathlib import Path, PurePosixPath

from scout.read import archives

__all__ = ["beside", "encoding", "encoding_in", "is_shapefile"]

_LOOKED_AT = 50_000_000  # bytes of the table that are enough to tell an encoding
_UNDECLARED = (0x00, 0x57)  # dBASE language ids that mean "none" and "whatever the writer's machine used"
_GARBLED = "the file does not say how its text is encoded: names may be garbled (a .cpg file would say)"


def is_shapefile(head: bytes) -> bool:
    """Whether the bytes begin with the file code 9994 (ESRI Shapefile Technical Description, 1998)."""
    return head[:4] == b"\x00\x00\x27\x0a"


def beside(file: Path, suffix: str) -> Path | None:
    """The part of a Shapefile with that suffix, in lower or upper case."""
    parts = (file.with_suffix(suffix), file.with_suffix(suffix.upper()))
    return next((part for part in parts if part.exists()), None)


def encoding(dbf: Path | None, cpg: Path | None) -> tuple[str | None, tuple[str, ...]]:
    """The encoding to tell GDAL, None to leave it to GDAL, and notes for the user."""
    if dbf is None or cpg is not None:
        return None, ()
    with dbf.open("rb") as stream:
        return _guess(stream.read(_LOOKED_AT))


def encoding_in(name: str, archive: zipfile.ZipFile, member: str) -> tuple[str | None, tuple[str, ...]]:
    """As `encoding`, for a Shapefile inside an archive."""
    stem = PurePosixPath(member).with_suffix("")
    parts = {m.lower(): m for m in archive.namelist()}
    dbf = parts.get(f"{stem}.dbf".lower())
    if dbf is None or f"{stem}.cpg".lower() in parts:
        return None, ()
    return _guess(archives.read(name, archive, dbf, _LOOKED_AT))


def _guess(table: bytes) -> tuple[str | None, tuple[str, ...]]:
    if len(table) < 32 or table[29] not in _UNDECLARED:
        return None, ()
    body = table[int.from_bytes(table[8:10], "little") :]
    if body.isascii():
        return None, ()
    text = body.decode("utf-8", errors="replace")
    broken = text.count("\ufffd")  # a character cut in two at the end of a field
    foreign = sum(not c.isascii() for c in text)
    return ("UTF-8", ()) if broken * 10 <= foreign else (None, (_GARBLED,))
