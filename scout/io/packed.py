"""Single files packed by gzip or bzip2, unpacked into memory as far as that is reasonable."""

from __future__ import annotations

import bz2
import gzip
import zlib
from pathlib import Path

from scout.errors import InputError

_AT_ONCE = 2**20  # bytes
_LARGEST_OSM = 2**29  # bytes
_TIMES = 40  # maps as XML pack to a tenth or a twentieth


def unpack(name: str, file: Path, most: int) -> bytes:
    """Unpack a `.gz` or `.bz2`.

    Parameters
    ----------
    name : str
        The file as the user named it.
    file : path
    most : int
        Bytes that may come out.

    Raises
    ------
    InputError
        Damaged, cut short, or larger than ``most``.
    """
    parts, left = [], most
    try:
        with gzip.open(file) if file.suffix.lower() == ".gz" else bz2.open(file) as stream:
            while left >= 0 and (part := stream.read(_AT_ONCE)):
                parts.append(part)
                left -= len(part)
    except (OSError, EOFError, zlib.error, ValueError) as error:
        raise InputError(name, f"cannot be unpacked ({error})", "download it again") from error
    if left < 0:
        raise InputError(name, f"what it holds is larger than {most // 2**20} MiB", "unpack it first")
    return b"".join(parts)


def unpack_osm(name: str, file: Path) -> bytes:
    """Unpack a `.osm.gz` or `.osm.bz2`.

    Raises
    ------
    InputError
        Another file, a damaged one, over 512 MiB or packed so tightly that it is no map.
    """
    if not file.stem.lower().endswith(".osm"):
        raise InputError(name, "packed files are read as .osm.gz and .osm.bz2 only", "unpack it first")
    return unpack(name, file, min(_LARGEST_OSM, _AT_ONCE + _TIMES * file.stat().st_size))
