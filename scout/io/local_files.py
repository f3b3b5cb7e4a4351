"""Files on this disk only: archives opened safely, GDAL kept off the network, digests."""

from __future__ import annotations

import hashlib
import mmap
import os
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

import pyogrio
import pyproj.network

from scout.errors import InputError

# A proxy that cannot exist: whatever a file makes GDAL fetch ends there. The drivers are forced or checked
# before GDAL sees a file (formats.py), so this is the second lock.
_NOWHERE = "socks5://0.0.0.0:0"
GDAL_OFFLINE = {
    "GDAL_HTTP_PROXY": _NOWHERE,
    "GDAL_HTTPS_PROXY": _NOWHERE,
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "/none",
    "PROJ_NETWORK": "OFF",
    # Degrees of arc per edge where GDAL makes curves straight, which it does without pyarrow only: an arc of
    # 1 km radius is kept to 4 cm.
    "OGR_ARC_STEPSIZE": "1",
    # GML names schemas and pieces that lie elsewhere; guessed kinds would make 7 of the id 007.
    "GML_DOWNLOAD_SCHEMA": "NO",
    "GML_SKIP_RESOLVE_ELEMS": "ALL",
    "GML_FIELDTYPES": "ALWAYS_STRING",
    # What GDAL says in a thread of its own reaches no handler of ours and would go to the terminal.
    "CPL_LOG": os.devnull,
}

# Documented there, though not marked as exported.
_is_networked = pyproj.network.is_network_enabled  # type: ignore[attr-defined]
_set_networked = pyproj.network.set_network_enabled  # type: ignore[attr-defined]

# What GDAL says about rings is said record by record in our own words; heights and measures are not used.
_SAID_ELSEWHERE = (
    "Non closed ring",
    "organizePolygons",
    "winding order",
    "Simple Geometry",
    "Measured",
    "invalid value encountered",
    "Best transformation is not available",
)


@contextmanager
def run_offline() -> Iterator[None]:
    """No network for GDAL and PROJ inside; the process's own settings come back afterwards."""
    before = {key: pyogrio.get_gdal_config_option(key) for key in GDAL_OFFLINE}
    networked = _is_networked()
    # The list of hosts that need no proxy would open the lock; libcurl reads both spellings.
    direct = {key: os.environ.pop(key) for key in ("no_proxy", "NO_PROXY") if key in os.environ}
    pyogrio.set_gdal_config_options(GDAL_OFFLINE)
    _set_networked(False)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)
        _set_networked(networked)
        os.environ.update(direct)


@contextmanager
def collect_warnings() -> Iterator[list[str]]:
    """What the libraries warn of inside, as texts without repeats, filled in at the end."""
    texts: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        yield texts
    for text in dict.fromkeys(" ".join(str(w.message).split()) for w in caught):
        if not any(known in text for known in _SAID_ELSEWHERE):
            texts.append(text)


# The fingerprint of a file, by which what was made of it is known to belong to it.
def compute_sha256(path: str | Path) -> str:
    """SHA-256 (FIPS 180-4) of a file's bytes, in hexadecimal digits."""
    with Path(path).open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


# Zip archives looked into without unpacking them, and files mapped into memory.
ZIP_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, UnicodeError)
_MOST = 200  # members read of one archive
TEXTS = (".prj", ".cpg", ".qpj")
_LONGEST_TEXT = 2**20  # bytes; a coordinate system takes a few thousand
_LARGEST = 2**27  # bytes taken from one archive member into memory; more is no plan of parks


@contextmanager
def map_file(file: Path) -> Iterator[mmap.mmap]:
    """A file's bytes, for searching without reading it whole."""
    with file.open("rb") as stream, mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as content:
        yield content


@contextmanager
def open_archive(name: str, file: Path) -> Iterator[zipfile.ZipFile]:
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
    except (*ZIP_DAMAGE, NotImplementedError) as error:
        raise InputError(
            name, f"is no zip archive or a damaged one ({error})", "download it again"
        ) from error


def list_members(name: str, archive: zipfile.ZipFile, suffix: str) -> list[str]:
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


def read_member(name: str, archive: zipfile.ZipFile, member: str, size: int = -1) -> bytes:
    """The first ``size`` bytes of a member, or all of it."""
    try:
        with archive.open(member) as stream:
            return stream.read(size if size >= 0 else _LARGEST)
    except (*ZIP_DAMAGE, RuntimeError) as error:  # RuntimeError: encrypted, or an unknown compression
        raise InputError(
            name, f"the archive member {member!r} cannot be read ({error})", "unpack it"
        ) from error


def make_file_name(text: str) -> str:
    """A name for a file of ours that any disk takes, and GDAL in a path."""
    return re.sub(r"[^\w.\-]+|^\.+", "_", text)[:60] or "_"
