"""Zip archives looked into without unpacking them, and files mapped into memory."""

from __future__ import annotations

import mmap
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from scout.errors import InputError

__all__ = ["TEXTS", "check_beside", "check_size", "check_text", "mapped", "members", "opened", "read"]

_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, UnicodeError)
_MOST = 200  # members read of one archive
TEXTS = (".prj", ".cpg", ".qpj")
_LONGEST_TEXT = 2**20  # bytes; a coordinate system takes a few thousand
_LARGEST = 2**27  # bytes taken from one archive member into memory; more is no plan of parks


@contextmanager
def mapped(file: Path) -> Iterator[mmap.mmap]:
    """A file's bytes, for searching without reading it whole."""
    with file.open("rb") as stream, mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as content:
        yield content


@contextmanager
def opened(name: str, file: Path) -> Iterator[zipfile.ZipFile]:
    """An archive whose members all stay inside it.

    Raises
    ------
    InputError
        No zip archive, a damaged one, or a member whose path leads out of it.
    """
    try:
        with zipfile.ZipFile(file) as archive:
            for member in archive.namelist():
                parts = PurePosixPath(member.replace("\\", "/"))
                if parts.is_absolute() or ".." in parts.parts or ":" in member:
                    raise InputError(name, f"the archive member {member!r} leads out of it", "pack it again")
            yield archive
    except (*_DAMAGE, NotImplementedError) as error:
        raise InputError(
            name, f"is no zip archive or a damaged one ({error})", "download it again"
        ) from error


def members(name: str, archive: zipfile.ZipFile, suffix: str) -> list[str]:
    """Members with that suffix, without the shadow files that macOS puts into archives.

    Raises
    ------
    InputError
        So many that the archive is no plan of parks: a small one can hold thousands of large members.
    """
    found = list(dict.fromkeys(info.filename for info in archive.infolist()))
    paths = [(member, PurePosixPath(member)) for member in found]
    kept = [m for m, path in paths if path.suffix.lower() == suffix and not path.name.startswith("._")]
    if len(kept) > _MOST:
        raise InputError(name, f"holds {len(kept):,} {suffix} files", f"pack up to {_MOST} together")
    return kept


def check_size(name: str, archive: zipfile.ZipFile, some: Sequence[str]) -> None:
    """Refuse members that are too much to hold in memory together."""
    if sum(archive.getinfo(member).file_size for member in some) > _LARGEST:
        raise InputError(name, "what it holds is larger than 128 MiB", "unpack it first")


def check_beside(name: str, archive: zipfile.ZipFile, member: str) -> None:
    """Refuse the texts beside a Shapefile, which GDAL unpacks whole, where they are too long."""
    stem = PurePosixPath(member).with_suffix("")
    for info in archive.infolist():
        path = PurePosixPath(info.filename)
        text = path.suffix.lower() in TEXTS and path.with_suffix("") == stem
        if text:
            check_text(name, path.name, info.file_size)


def check_text(name: str, part: str, size: int) -> None:
    """Refuse a text beside a Shapefile that is too long to be one: GDAL would take minutes over it."""
    if size > _LONGEST_TEXT:
        raise InputError(name, f"its {part} is larger than 1 MiB", "export it again")


def read(name: str, archive: zipfile.ZipFile, member: str, size: int = -1) -> bytes:
    """The first ``size`` bytes of a member, or all of it."""
    try:
        with archive.open(member) as stream:
            return stream.read(size if size >= 0 else _LARGEST)
    except (*_DAMAGE, RuntimeError) as error:  # RuntimeError: encrypted, or an unknown compression
        raise InputError(
            name, f"the archive member {member!r} cannot be read ({error})", "unpack it"
        ) from error
