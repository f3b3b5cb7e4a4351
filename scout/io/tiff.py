"""What a TIFF holds, from its directories alone: how much each block unpacks to, and which system it names.

A few hundred bytes can name a strip of gigabytes, which the library unpacks whole for one cell. So all
directories of a file are looked at before it is opened (TIFF 6.0; BigTIFF; OGC GeoTIFF 1.1, 19-008r4).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import pyproj
from pyproj.exceptions import CRSError

from scout.errors import CrsError, InputError

_HEADS = {b"II*\0": ("<", False), b"MM\0*": (">", False), b"II+\0": ("<", True), b"MM\0+": (">", True)}
_WIDTH, _HEIGHT, _BITS, _PACKING, _SAMPLES, _ROWS, _PLANES = 256, 257, 258, 259, 277, 278, 284
_TILE_WIDTH, _TILE_HEIGHT, _BELOW, _KEYS = 322, 323, 330, 34735
_WANTED = (_WIDTH, _HEIGHT, _BITS, _PACKING, _SAMPLES, _ROWS, _PLANES, _TILE_WIDTH, _TILE_HEIGHT, _BELOW)
_FORMS = {1: "B", 3: "H", 4: "I", 13: "I", 16: "Q", 18: "Q"}  # whole numbers by their types
_MOST_DIRECTORIES = 200  # overviews and masks make two dozen
_MOST_VALUES = 4096  # of one tag
_LARGEST_BLOCK = 2**28  # bytes unpacked
_GEOGRAPHIC, _PROJECTED = 2048, 3072  # keys with a code of EPSG
_CODES = range(1024, 32767)  # below are codes of no register, above are private ones


def is_tiff(head: bytes) -> bool:
    """Whether a file begins as a TIFF does, in either order of bytes."""
    return head[:4] in _HEADS


def check_tiff(path: str, file: Path) -> None:
    """Refuse a TIFF whose blocks are too large to unpack, or that names a system nobody knows.

    Raises
    ------
    InputError
        A block of over 256 MiB unpacked that the file cannot hold as it is; directories that lead in a ring.
    CrsError
        A code of EPSG that PROJ's register does not have. GDAL would take WGS 84 instead.
    """
    with file.open("rb") as stream:
        size = file.stat().st_size
        for tags in _list_directories(path, stream):
            block = _measure_blocks(tags)
            if block > _LARGEST_BLOCK and (block > size or tags.get(_PACKING, [1])[0] != 1):
                what = f"one of its blocks unpacks to {block / 1e9:,.1f} GB"
                raise InputError(path, what, "export it as GeoTIFF in tiles of 512 by 512 cells")
            _check_codes(path, tags.get(_KEYS, []))


def _list_directories(path: str, stream: BinaryIO) -> Iterator[dict[int, list[int]]]:
    """The tags of each directory that are whole numbers and of use here, those below others too."""
    order, big = _HEADS[stream.read(4)]
    todo, seen = [], set[int]()
    try:
        if big:
            stream.seek(8)
        (first,) = struct.unpack(order + ("Q" if big else "I"), stream.read(8 if big else 4))
        todo = [first]
        while todo:
            at = todo.pop()
            if at == 0 or at in seen:
                continue
            seen.add(at)
            if len(seen) > _MOST_DIRECTORIES:
                raise InputError(path, "holds hundreds of pictures", "export the heights alone as GeoTIFF")
            tags, after = _read_directory(stream, at, order, big)
            todo += [after, *tags.get(_BELOW, [])]
            yield tags
    except (struct.error, OSError, OverflowError, ValueError):
        return  # cut short or damaged: the library says so in its own words


def _read_directory(stream: BinaryIO, at: int, order: str, big: bool) -> tuple[dict[int, list[int]], int]:
    """Tags of the directory at a place, and where the next one is."""
    head, entry, word = ("Q", "HHQ", "Q") if big else ("H", "HHI", "I")
    stream.seek(at)
    (count,) = struct.unpack(order + head, stream.read(struct.calcsize(order + head)))
    size, wide = struct.calcsize(order + entry), struct.calcsize(order + word)
    body = stream.read(min(count, _MOST_VALUES) * (size + wide))
    after = stream.read(wide)
    tags: dict[int, list[int]] = {}
    for start in range(0, len(body) - size - wide + 1, size + wide):
        tag, kind, number = struct.unpack_from(order + entry, body, start)
        form = _FORMS.get(kind)
        if form is None or (tag not in _WANTED and tag != _KEYS):
            continue
        number = min(number, _MOST_VALUES)
        layout = order + str(number) + form
        length = struct.calcsize(layout)
        value = body[start + size : start + size + wide]
        if length > wide:
            stream.seek(struct.unpack(order + word, value)[0])
            value = stream.read(length)
        if len(value) >= length and number:
            tags.setdefault(tag, list(struct.unpack(layout, value[:length])))
    return tags, struct.unpack(order + word, after)[0] if len(after) == wide else 0


def _measure_blocks(tags: dict[int, list[int]]) -> int:
    """Bytes of the largest strip or tile once it is unpacked."""

    def one(tag: int, otherwise: int) -> int:
        return tags.get(tag, [otherwise])[0]

    wide, high = one(_WIDTH, 0), one(_HEIGHT, 0)
    if _TILE_WIDTH in tags:
        wide, high = one(_TILE_WIDTH, 0), one(_TILE_HEIGHT, 0)
    else:
        high = min(high, one(_ROWS, high))
    samples = one(_SAMPLES, 1) if one(_PLANES, 1) == 1 else 1
    return wide * high * samples * max(max(tags.get(_BITS, [1])) // 8, 1)


def _check_codes(path: str, keys: list[int]) -> None:
    """Look up the codes among geo keys: four numbers each, where the second is 0 the fourth is the value."""
    for start in range(4, len(keys) - 3, 4):
        key, place, _, code = keys[start : start + 4]
        if key not in (_GEOGRAPHIC, _PROJECTED) or place != 0 or code not in _CODES:
            continue
        try:
            pyproj.CRS.from_epsg(code)
        except CRSError as error:
            what = f"the coordinate system EPSG:{code} is not known"
            raise CrsError(path, what, "export it with a known one, such as EPSG:4326") from error
