"""What is packed, unpacked as far as that is reasonable: single files into memory, members into a folder."""

from __future__ import annotations

import bz2
import gzip
import os
import shutil
import tempfile
import weakref
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from scout.errors import InputError
from scout.io.local_files import ZIP_DAMAGE

_AT_ONCE = 2**20  # bytes
_LARGEST_BLOCK = 2**25  # bytes of a block in a PBF, as its description limits it
_DATA = b"OSMData"
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


# What GDAL has to find on the disk: a geodatabase is read to and fro, a zip inside a zip from its end.
_SMALL = 2**26  # bytes that any archive may unpack to


class UnpackedFolder:
    """A folder of this process alone; it goes when nothing that was opened in it is left."""

    def __init__(self) -> None:
        self.path = Path(tempfile.mkdtemp(prefix="scout-"))  # 0700 by definition
        self.remove = weakref.finalize(self, _remove, self.path, os.getpid())  # at once, where it is called

    def __reduce__(self) -> Any:
        """To another process goes the path: it reads there while this one keeps it."""
        return Path, (str(self.path),)

    def add(self, name: str) -> Path:
        """Make a folder of that name in a place of its own."""
        made = Path(tempfile.mkdtemp(dir=self.path)) / name
        made.mkdir()
        return made

    def show(self, *files: Path) -> Path:
        """Show files alone, so that nothing beside them is found and nothing is left there.

        Returns
        -------
        path
            Of the first of them.
        """
        place = Path(tempfile.mkdtemp(dir=self.path))
        for file in files:
            try:
                (place / file.name).symlink_to(file)
            except OSError:  # not allowed to everyone on Windows
                shutil.copyfile(file, place / file.name)
        return place / files[0].name


def _remove(path: Path, owner: int) -> None:
    if os.getpid() == owner:  # and not in a fork of it
        shutil.rmtree(path, ignore_errors=True)


class UnpackingRoom:
    """How much may still be unpacked of one file and of what is inside it."""

    def __init__(self, name: str, file: Path) -> None:
        self.name = name  # as the user named it
        self.folder = UnpackedFolder()
        self.left = self.most = _SMALL + _TIMES * file.stat().st_size

    def unpack(self, archive: zipfile.ZipFile, members: dict[str, Path]) -> None:
        """Unpack members, each to a file of its own.

        Raises
        ------
        InputError
            Damaged, locked, too large by what the archive says, or no room on the disk.
        """
        free = shutil.disk_usage(self.folder.path).free
        stated = sum(archive.getinfo(member).file_size for member in members)
        if stated > self.left:
            raise self._explain_size()
        if stated > free:
            what = f"unpacked it takes {stated / 1e6:,.0f} MB, and {free / 1e6:,.0f} MB are free"
            raise InputError(self.name, what, "free some, or let TMPDIR name a folder with more")
        self.left -= stated
        for member, target in members.items():
            try:
                # No more comes out than the archive says: the rest is damage.
                with archive.open(member) as source, target.open("xb") as out:
                    shutil.copyfileobj(source, out, _AT_ONCE)
            except (*ZIP_DAMAGE, RuntimeError) as error:  # RuntimeError: encrypted, or an unknown compression
                what = f"the archive member {member!r} cannot be read ({error})"
                raise InputError(self.name, what, "download it again") from error

    def _explain_size(self) -> InputError:
        return InputError(
            self.name, f"what it holds is larger than {self.most // 2**20} MiB", "unpack it first"
        )


# OpenStreetMap's PBF: blocks, each packed by itself, with a table of the texts of its tags at its start.
def check_texts(name: str, file: Path) -> None:
    """See that no text in a PBF has a zero byte: libosmium ends there and reads on in what is none of its.

    Whatever else is amiss with the blocks is left to libosmium.

    Raises
    ------
    InputError
    """
    for packed in _iterate_blocks(file):
        try:
            unpacked = zlib.decompressobj()
            start = unpacked.decompress(packed, 11)
            if start[:1] != b"\x0a":  # the field of the table
                continue
            size, at = _read_varint(start, 1)
            if size > _LARGEST_BLOCK:
                continue
            more = unpacked.decompress(unpacked.unconsumed_tail, max(at + size - len(start), 1))
            texts = (start + more)[at : at + size]
            # The first text is empty by definition: its length is a zero, and in a sound table no other.
            damaged = texts.count(0) > texts.startswith(b"\x0a\0") and _has_zero(texts)
        except (zlib.error, IndexError):
            continue
        if damaged:
            raise InputError(name, "is damaged: a text in it has a zero byte", "download it again")


def _iterate_blocks(file: Path) -> Iterator[bytes]:
    """Packed contents of the blocks of a PBF up to where it is damaged."""
    with file.open("rb") as stream:
        while len(length := stream.read(4)) == 4 and (count := int.from_bytes(length, "big")) <= 2**16:
            head = stream.read(count)
            try:
                at = head.index(b"\x18", 2 + head[1]) if head[:1] == b"\x0a" else len(head)
                size, _ = _read_varint(head, at + 1)
            except (IndexError, ValueError):
                return
            if size > _LARGEST_BLOCK:
                return
            block = stream.read(size)
            if _DATA in head:
                yield block[_find_packed(block) :]


def _find_packed(block: bytes) -> int:
    """Where the zlib data of a block begins, after its field's key and length; 0 where there is none."""
    at = 0
    try:
        while block[at] != 0x1A:  # another field, such as the size unpacked
            _, at = _read_varint(block, at + 1)
        return _read_varint(block, at + 1)[1]
    except IndexError:
        return 0


def _read_varint(data: bytes, at: int) -> tuple[int, int]:
    """A number of protocol buffers, and where what follows begins."""
    number = shift = 0
    while True:
        number |= (data[at] & 127) << shift
        shift, at = shift + 7, at + 1
        if data[at - 1] < 128:
            return number, at


def _has_zero(texts: bytes) -> bool:
    """Whether one of the texts of a table has a zero byte, one by one."""
    at = 0
    while at < len(texts):
        size, at = _read_varint(texts, at + 1)
        if 0 in texts[at : at + size]:
            return True
        at += size
    return False
