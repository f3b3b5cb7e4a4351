"""An Esri file geodatabase looked at before GDAL opens it: a folder of tables, and nothing else in it.

GDAL leaves a layer out without a word where its table is missing, and takes the folder for another format
where a file of that lies in it. The names are those that GDAL's own writer and the agencies' files have.
"""

from __future__ import annotations

import os
import re
import struct
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

import pyogrio
import pyogrio.errors
import pyogrio.raw

from scout.errors import InputError
from scout.io.local_files import collect_warnings, run_offline

CATALOG = "a00000001.gdbtable"  # lists all tables by name; each lies in a file named by its number there
_PARTS = ("gdbtable", "gdbtablx", "gdbindexes", "spx", "atx", "freelist", "horizon", "lock", "cdf")
_PART = re.compile(rf"gdb|timestamps|[\w.\-]+\.(?:{'|'.join(_PARTS)})", re.IGNORECASE)
_LEFT_BY_SYSTEMS = frozenset({"thumbs.db", "desktop.ini", "icon\r"})
_AGAIN = "copy or download the whole folder again"
_HEADER = 40  # bytes of a table; the number of its records is among them


def is_part(name: str) -> bool:
    """Whether a file of that name belongs to a geodatabase."""
    return bool(_PART.fullmatch(name))


def list_folders(members: Iterable[str]) -> dict[str, list[str]]:
    """Geodatabases among the members of an archive: folders called or looking like one, with their files."""
    paths = [(member, PurePosixPath(member)) for member in members if not member.endswith("/")]
    folders = {
        str(path.parent)
        for _, path in paths
        if path.name.lower() == CATALOG or path.parent.suffix.lower() == ".gdb"
    }
    found: dict[str, list[str]] = {folder: [] for folder in sorted(folders)}
    for member, path in paths:
        if str(path.parent) in folders and is_part(path.name):
            found[str(path.parent)].append(member)
    return {folder: some for folder, some in found.items() if some}


def check_folder(name: str, folder: Path) -> dict[str, int]:
    """Look at a geodatabase.

    Returns
    -------
    dict
        How many records each of its tables says it has, by the table's name.

    Raises
    ------
    InputError
        It is none, lacks a table, or holds files that are not its own.
    """
    there = _list_parts(name, folder)
    if CATALOG not in there:
        raise InputError(name, "is no Esri file geodatabase: its list of tables is missing", _AGAIN)
    catalog = folder / there[CATALOG]
    try:
        with run_offline(), collect_warnings():
            options = {"read_geometry": False, "return_fids": True, "columns": ["Name"]}
            meta, numbers, _, columns = pyogrio.raw.read(str(catalog), **options)
    except (RuntimeError, UnicodeError, IndexError) as error:
        what = f"its list of tables cannot be read, or a table that it names ({error})"
        raise InputError(name, what, _AGAIN) from error
    if list(meta["fields"]) != ["Name"]:
        raise InputError(name, "is no Esri file geodatabase: its list of tables has no names", _AGAIN)
    rows = {}
    for number, table in zip(numbers.tolist(), columns[0].tolist(), strict=True):
        file = f"a{number:08x}"
        own = str(table).upper().startswith("GDB_")  # the format's own, some of which come with use only
        if own or f"{file}.gdbtable" in there:
            missing = [] if own else [part for part in (f"{file}.gdbtablx",) if part not in there]
        elif f"{file}.cdf" in there:
            what = f"its table {table!r} is stored compressed, which is not read"
            raise InputError(name, what, "export it uncompressed")
        else:
            missing = [f"{file}.gdbtable"]
        if missing:
            raise InputError(name, f"its table {table!r} is missing (no file {missing[0]})", _AGAIN)
        if not own:
            rows[str(table)] = _read_count(folder / there[f"{file}.gdbtable"])
    return rows


def _list_parts(name: str, folder: Path) -> dict[str, str]:
    """Names of the files in the folder, by their names in lower case."""
    found = {}
    with os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda one: one.name):
            if entry.name.startswith(".") or entry.name.lower() in _LEFT_BY_SYSTEMS:
                continue
            if not is_part(entry.name):
                what = f"{entry.name} in it is no part of a geodatabase"
                raise InputError(name, what, "move it out of the folder")
            if entry.is_symlink() or not entry.is_file():
                what = f"{entry.name} in it is no regular file"
                raise InputError(name, what, _AGAIN)
            found[entry.name.lower()] = entry.name
    return found


def _read_count(table: Path) -> int:
    """Records of a table by its own header, -1 where it has none."""
    with table.open("rb") as stream:
        header = stream.read(_HEADER)
    if len(header) < _HEADER:
        return -1
    (version,) = struct.unpack_from("<I", header)
    return int(
        struct.unpack_from("<q", header, 16)[0] if version == 4 else struct.unpack_from("<i", header, 4)[0]
    )
