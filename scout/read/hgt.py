"""Tiles of heights in the form of the Shuttle Radar Topography Mission: `.hgt`, also packed.

A square of big-endian 16-bit metres, -32768 for unknown, that covers one degree and shares its outer rows and
columns with its neighbours; its place is the name alone, that of its south-west corner (N47E009).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from scout.errors import InputError
from scout.read import archives
from scout.read.packed import unpack

__all__ = ["SUFFIXES", "hgt_tiles"]

SUFFIXES = (".hgt", ".zip", ".gz")
_BYTES = {2 * rows * cols for rows, cols in ((1201, 1201), (3601, 3601), (3601, 1801))}
_LARGEST = max(_BYTES)
_CORNER = re.compile(r"(?<![A-Z0-9])([NS])(\d\d)([EW])(\d\d\d)(?![A-Z0-9])", re.IGNORECASE)


def hgt_tiles(path: str, file: Path) -> Iterator[tuple[str, str, bytes]]:
    """The tiles of one file: how each is called in a message, a name that tells its place, its bytes.

    Raises
    ------
    InputError
        A name that is no place, a size that no tile has, a damaged archive or one without a tile.
    """
    if file.suffix.lower() == ".zip":
        with archives.opened(path, file) as archive:
            members = archives.members(path, archive, ".hgt")
            if not members:
                raise InputError(path, "holds no .hgt tile", "name the heights themselves")
            for member in members:
                called = path if len(members) == 1 else f"{path} ({member})"
                size = archive.getinfo(member).file_size
                _check_size(called, size)
                yield (
                    called,
                    _placed(called, PurePosixPath(member).name),
                    archives.read(path, archive, member),
                )
        return
    packed = file.suffix.lower() == ".gz"
    if packed and not file.stem.lower().endswith(".hgt"):
        raise InputError(path, "is no .hgt tile", "heights packed by gzip are read as .hgt.gz only")
    if not packed:
        _check_size(path, file.stat().st_size)
    data = unpack(path, file, _LARGEST) if packed else file.read_bytes()
    _check_size(path, len(data))
    yield path, _placed(path, file.name), data


def _placed(called: str, name: str) -> str:
    """The name of a tile as GDAL's driver expects it."""
    found = _CORNER.search(name)
    if not found or int(found[2]) > 90 or int(found[4]) > 180:
        what = "the name does not say where the tile lies"
        raise InputError(called, what, "name it by its south-west corner, such as N47E009.hgt")
    return f"{found[0].upper()}.hgt"


def _check_size(called: str, size: int) -> None:
    if size not in _BYTES:
        what = f"{size:,} bytes are no square of 1201 or 3601 rows of heights"
        raise InputError(called, what, "download the tile again")
