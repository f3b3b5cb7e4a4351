"""Zip archives looked into without unpacking them, and files mapped into memory."""

from __future__ import annotations

import mmap
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from scout.errors import InputError

__all__ = ["mapped", "members", "opened", "read"]

_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, UnicodeError)
_LARGEST = 2**30  # bytes taken from one archive member into memory; more is no plan of parks


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


def members(archive: zipfile.ZipFile, suffix: str) -> list[str]:
    """Members with that suffix, without the shadow files that macOS puts into archives."""
    paths = [PurePosixPath(member) for member in archive.namelist()]
    return [str(path) for path in paths if path.suffix.lower() == suffix and not path.name.startswith("._")]


def read(name: str, archive: zipfile.ZipFile, member: str, size: int = -1) -> bytes:
    """The first ``size`` bytes of a member, or all of it."""
    if size < 0 and archive.getinfo(member).file_size > _LARGEST:
        raise InputError(name, f"the archive member {member!r} is larger than 1 GiB", "unpack it first")
    try:
        with archive.open(member) as stream:
            return stream.read(size if size >= 0 else _LARGEST)
    except (*_DAMAGE, RuntimeError) as error:  # RuntimeError: encrypted, or an unknown compression
        raise InputError(
            name, f"the archive member {member!r} cannot be read ({error})", "unpack it"
        ) from error
