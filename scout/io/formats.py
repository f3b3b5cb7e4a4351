"""One path to what has to be opened in it: formats told by content, parts of Shapefiles, archives.

From a path to what may be opened: local files of the known formats, known by suffix and by content.

GDAL picks a driver by what it finds in a file, so a text named `.geojson` can be a recipe that opens a URL.
Therefore the first bytes must be those of the format that the suffix names, before GDAL sees the file.
"""

from __future__ import annotations

import re
import zipfile
from collections import Counter
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath
from typing import Any, Literal

from scout.errors import InputError
from scout.io import database, exchange, geodatabase, geojson, local_files
from scout.io.local_files import map_file
from scout.io.openstreetmap import (
    Extract,
    WantedThings,
    check_installed,
    has_negative_ids,
    raise_negative_ids,
)
from scout.io.packed import UnpackedFolder, UnpackingRoom, unpack_osm
from scout.io.trust import find_shape_doubt

OSM_SUFFIXES = (".osm", ".osm.gz", ".osm.bz2", ".pbf")  # OpenStreetMap's own formats

_LOOKED_AT = 50_000_000  # bytes of the table that are enough to tell an encoding
_UNDECLARED = (0x00, 0x57)  # dBASE language ids that mean "none" and "whatever the writer's machine used"
_GARBLED = "the file does not say how its text is encoded: names may be garbled (a .cpg file would say)"


def is_shapefile(head: bytes) -> bool:
    """Whether the bytes begin with the file code 9994 (ESRI Shapefile Technical Description, 1998)."""
    return head[:4] == b"\x00\x00\x27\x0a"


def find_part(file: Path, suffix: str) -> Path | None:
    """The part of a Shapefile with that suffix, in lower or upper case."""
    parts = (file.with_suffix(suffix), file.with_suffix(suffix.upper()))
    return next((part for part in parts if part.exists()), None)


def choose_encoding(dbf: Path | None, cpg: Path | None) -> tuple[str | None, tuple[str, ...]]:
    """The encoding to tell GDAL, None to leave it to GDAL, and notes for the user."""
    if dbf is None or cpg is not None:
        return None, ()
    with dbf.open("rb") as stream:
        return _guess_encoding(stream.read(_LOOKED_AT))


def choose_encoding_in(
    name: str, archive: zipfile.ZipFile, member: str
) -> tuple[str | None, tuple[str, ...]]:
    """As `choose_encoding`, for a Shapefile inside an archive."""
    stem = PurePosixPath(member).with_suffix("")
    parts = {m.lower(): m for m in archive.namelist()}
    dbf = parts.get(f"{stem}.dbf".lower())
    if dbf is None or f"{stem}.cpg".lower() in parts:
        return None, ()
    return _guess_encoding(local_files.read_member(name, archive, dbf, _LOOKED_AT))


def _guess_encoding(table: bytes) -> tuple[str | None, tuple[str, ...]]:
    if len(table) < 32 or table[29] not in _UNDECLARED:
        return None, ()
    body = table[int.from_bytes(table[8:10], "little") :]
    if body.isascii():
        return None, ()
    text = body.decode("utf-8", errors="replace")
    broken = text.count("\ufffd")  # a character cut in two at the end of a field
    foreign = sum(not c.isascii() for c in text)
    return ("UTF-8", ()) if broken * 10 <= foreign else (None, (_GARBLED,))


# From a path to what may be opened: local files of the known formats, known by suffix and by content.
Numbering = Literal["fid", "fid from 0", "position"]

_READS = (
    "GeoJSON (also as a sequence), GeoPackage, Shapefile and Esri file geodatabase (also zipped), "
    "FlatGeobuf, GeoParquet, KML, KMZ, EsriJSON, TopoJSON, GML, MapInfo, CSV with WKT and OpenStreetMap's "
    ".osm and .osm.pbf are read"
)
_LARGEST_KML = 2**29  # bytes; GDAL takes several times as much
KML = ("LIBKML", "KML")  # drivers
_DEEPEST = 4  # zips within zips
OSM = ("pyosmium",)
SHAPEFILE_PARTS = (".dbf", ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qix")
PARTS = {".shp": SHAPEFILE_PARTS, **exchange.MAPINFO_PARTS}  # what lies beside the file that is named


@dataclass(frozen=True, slots=True)
class Opening:
    """One thing to open.

    ``target`` is what GDAL or pyarrow is given. ``numbering`` says how record numbers follow from GDAL's
    feature ids. ``crs`` is set where the format or the text fixes it, empty where the file says that it has
    none, and None where GDAL has to be asked.
    """

    target: str | bytes
    stem: str
    drivers: tuple[str, ...]
    numbering: Numbering = "position"
    many_layers: bool = False
    crs: str | None = None
    assumed: str | None = None  # the system that is taken, and said, where nothing names one
    encoding: str | None = None
    source: Path | None = None  # the text file itself, where lost records can be looked up
    warnings: tuple[str, ...] = ()
    layers: tuple[str, ...] = ()  # of many, those to look at; empty: all
    fid_column: str = ""  # of a database, where records are asked for by number
    extract: Extract | None = None  # of OpenStreetMap data
    options: dict[str, Any] = field(default_factory=dict)  # for GDAL's driver
    rows: dict[str, int] = field(default_factory=dict)  # records by layer, where the file itself tells them
    folder: UnpackedFolder | None = None  # where the target lies, if not where the user has it


def open_file(path: str | Path, wanted: WantedThings | None = None) -> list[Opening]:
    """Check one path and say what to open in it.

    Parameters
    ----------
    path : path
    wanted : WantedThings, optional
        Of OpenStreetMap's own formats, which hold everything; parks if not given.

    Raises
    ------
    InputError
        Not a local file, a folder, an unknown suffix, or content that does not fit the suffix.
    """
    name, file = str(path), Path(path)
    try:
        if _is_geodatabase(file):
            return _open_geodatabase(name, file.absolute())
        check_local(name)
        opener = _OPENERS.get(file.suffix.lower())
        osm = _OSM_OPENERS.get(file.suffix.lower())
        if opener is None and osm is None:
            raise _explain_suffix(name, file)
        if file.stat().st_size == 0:
            raise InputError(name, "the file is empty", "save or download it again")
        if osm is not None:
            return osm(name, file.absolute(), wanted or WantedThings())
        assert opener is not None
        return opener(name, file.absolute())
    except OSError as error:
        raise InputError(name, f"cannot be read ({error.strerror or error})") from error


def check_named(path: str | Path) -> None:
    """See that a path is that of a file of a known format, whatever is in it.

    Raises
    ------
    InputError
    """
    name, file = str(path), Path(path)
    if _is_geodatabase(file):
        return
    check_local(name)
    if file.suffix.lower() not in _OPENERS | _OSM_OPENERS:
        raise _explain_suffix(name, file)


def check_local(name: str) -> Path:
    """The path of a file on this machine; folders, devices and addresses are an InputError."""
    file = Path(name)
    try:
        file.is_file()
    except OSError as error:  # a name too long, a folder that may not be looked into
        raise InputError(name[:200], f"cannot be read ({error.strerror})", "check the path") from error
    if file.is_dir():
        raise InputError(name, "is a folder", "name the files in it")
    if file.exists() and not file.is_file():
        raise InputError(name, "is no regular file", "save it as a file")
    if not file.exists():
        if re.match(r"/vsi|[A-Za-z][A-Za-z0-9+.-]+:", name):
            raise InputError(name, "is not a local file", "download it and name the copy")
        raise InputError(name, "there is no such file", "check the path")
    return file


def _is_geodatabase(file: Path) -> bool:
    """Whether it is the one kind of folder that is read."""
    return file.suffix.lower() == ".gdb" and file.is_dir()


def measure_size(path: str | Path) -> int:
    """Bytes of a file, or of the files in a geodatabase."""
    file = Path(path)
    files = [one for one in file.iterdir() if one.is_file()] if _is_geodatabase(file) else [file]
    return sum(one.stat().st_size for one in files)


def _explain_suffix(name: str, file: Path) -> InputError:
    for suffix, parts in PARTS.items():
        if file.suffix.lower() in parts:
            what = "a Shapefile" if suffix == ".shp" else "a MapInfo file"
            return InputError(name, f"is one part of {what}", f"name the {suffix} file, its parts beside it")
    if file.suffix.lower() == ".gdb":
        return InputError(name, "is no folder, as an Esri file geodatabase is", "copy the whole folder again")
    return InputError(name, f"the suffix {file.suffix or '(none)'} is not that of a known format", _READS)


def _read_head(file: Path, size: int = 100) -> bytes:
    with file.open("rb") as stream:
        return stream.read(size)


def _explain_mismatch(name: str, what: str) -> InputError:
    return InputError(name, f"is not what its suffix says: {what}", "export it again or correct the suffix")


def make_plain_path(name: str, file: Path) -> str:
    """The path as text that pyogrio takes for a path."""
    # pyogrio takes these characters in a path for an address inside an archive.
    if any(mark in str(file) for mark in "!;?"):
        raise InputError(name, "a path with ! ; or ? cannot be opened", "rename the file or folder")
    return str(file)


def _open_json(name: str, file: Path) -> list[Opening]:
    opener = {"ESRIJSON": _open_esri_json, "TopoJSON": _open_topology}.get(exchange.find_json_kind(file))
    return _open_geojson(name, file) if opener is None else opener(name, file)


def _open_esri_json(name: str, file: Path) -> list[Opening]:
    notes = exchange.check_esri_json(name, file)
    return [Opening(f"ESRIJSON:{file}", file.stem, ("ESRIJSON",), warnings=notes)]


def _open_topology(name: str, file: Path) -> list[Opening]:
    crs = exchange.check_topology(name, file)
    return [Opening(f"TopoJSON:{file}", file.stem, ("TopoJSON",), many_layers=True, crs=crs)]


def _open_sequence(name: str, file: Path) -> list[Opening]:
    rows = {file.stem: exchange.count_sequence(name, file)}
    options = {"DATE_AS_STRING": "YES"}
    return [
        Opening(f"GeoJSONSeq:{file}", file.stem, ("GeoJSONSeq",), crs="EPSG:4326", rows=rows, options=options)
    ]


def _open_gml(name: str, file: Path) -> list[Opening]:
    notes, folder = exchange.check_gml(name, file), UnpackedFolder()
    target = make_plain_path(name, folder.show(file))  # a schema beside it is not looked for, nor made
    options = {"WRITE_GFS": "NO", "DOWNLOAD_SCHEMA": "NO"}
    return [
        Opening(
            target,
            file.stem,
            ("GML",),
            "fid from 0",
            many_layers=True,
            warnings=notes,
            options=options,
            folder=folder,
        )
    ]


def _open_mapinfo(name: str, file: Path) -> list[Opening]:
    parts, notes = exchange.list_mapinfo_parts(name, file)
    folder = UnpackedFolder()
    target = make_plain_path(name, folder.show(*parts))
    return [Opening(target, file.stem, ("MapInfo File",), "fid", warnings=notes, folder=folder)]


def _open_wkt_table(name: str, file: Path) -> list[Opening]:
    options, folder = exchange.find_wkt_column(name, file), UnpackedFolder()
    target = f"CSV:{folder.show(file)}"  # kinds of columns beside it are not looked for
    return [Opening(target, file.stem, ("CSV",), "fid", assumed="EPSG:4326", options=options, folder=folder)]


def _open_geojson(name: str, file: Path) -> list[Opening]:
    crs = geojson.check_geojson(name, file)
    # The prefix keeps every driver but GeoJSON's away from the text.
    target, options = f"GeoJSON:{file}", {"DATE_AS_STRING": "YES"}
    return [Opening(target, file.stem, ("GeoJSON",), crs=crs, source=file, options=options)]


def _open_geopackage(name: str, file: Path) -> list[Opening]:
    head = _read_head(file)
    if not head.startswith(b"SQLite format 3\0"):
        raise _explain_mismatch(name, "no GeoPackage")
    tables, notes = database.check(name, file)
    return [
        Opening(
            make_plain_path(name, file),
            file.stem,
            ("GPKG",),
            numbering="fid",
            many_layers=True,
            layers=tables,
            warnings=notes,
            options={"IMMUTABLE": "YES"},  # else SQLite leaves or folds in files beside it
        )
    ]


def _open_shapefile(name: str, file: Path) -> list[Opening]:
    if not is_shapefile(_read_head(file)):
        raise _explain_mismatch(name, "no Shapefile")
    for part in {*SHAPEFILE_PARTS, *local_files.TEXTS}:
        beside = find_part(file, part)
        if beside is not None and not beside.is_file():
            raise InputError(name, f"{beside.name} beside it is no regular file", "remove or replace it")
        if beside is not None and part in local_files.TEXTS:
            local_files.check_text(name, beside.name, beside.stat().st_size)
    missing = [part for part in (".shx", ".dbf") if not find_part(file, part)]
    if ".shx" in missing:
        raise InputError(name, "its .shx file is missing", "keep all parts of a Shapefile in one folder")
    index, table = find_part(file, ".shx"), find_part(file, ".dbf")
    if index is not None:
        head = b"" if table is None else _read_head(table)
        size = file.stat().st_size
        _refuse_doubtful(name, find_shape_doubt(index.read_bytes(), head, size, lambda: map_file(file)))
    encoding, notes = choose_encoding(table, find_part(file, ".cpg"))
    if missing:
        notes = (*notes, "the .dbf file is missing: there are no ids and no names")
    return [_make_shape_opening(make_plain_path(name, file), file.stem, encoding, notes)]


def _refuse_doubtful(name: str, doubt: str) -> None:
    if doubt:
        raise InputError(name, f"{doubt}: records would be lost", "export it again")


def _make_shape_opening(target: str, stem: str, encoding: str | None, notes: tuple[str, ...]) -> Opening:
    return Opening(target, stem, ("ESRI Shapefile",), "fid from 0", encoding=encoding, warnings=notes)


def _open_geodatabase(name: str, folder: Path, unpacked: UnpackedFolder | None = None) -> list[Opening]:
    rows = geodatabase.check_folder(name, folder)
    target, drivers = make_plain_path(name, folder), ("OpenFileGDB",)
    return [Opening(target, folder.stem, drivers, "fid", many_layers=True, rows=rows, folder=unpacked)]


def _open_zip(name: str, file: Path) -> list[Opening]:
    room = UnpackingRoom(name, file)
    try:
        openings = _open_archive(name, file, room, 1)
        if not openings:
            what, remedy = "holds no Shapefile and no geodatabase", "unpack it and name the file inside"
            raise InputError(name, what, remedy)
    except BaseException:
        room.folder.remove()  # and not only when nothing refers to the error any more
        raise
    return _name_apart(openings)


def _open_archive(name: str, file: Path, room: UnpackingRoom, depth: int) -> list[Opening]:
    """Shapefiles where they are; geodatabases, and archives inside, unpacked."""
    folder = room.folder if depth > 1 else None  # what lies there needs it to stay
    openings: list[Opening] = []
    with local_files.open_archive(name, file) as archive:
        for place, parts in geodatabase.list_folders(archive.namelist()).items():
            stem = Path(place).stem or _strip_suffixes(file)
            unpacked = room.folder.add(f"{local_files.make_file_name(stem)}.gdb")
            room.unpack(archive, {part: unpacked / PurePosixPath(part).name for part in parts})
            openings += _open_geodatabase(_name_member(name, place), unpacked, room.folder)
        for member in local_files.list_members(name, archive, ".shp"):
            if not is_shapefile(local_files.read_member(name, archive, member, 100)):
                raise _explain_mismatch(_name_member(name, member), "no Shapefile")
            local_files.check_beside(name, archive, member)
            _refuse_doubtful(_name_member(name, member), _find_doubt_in(name, archive, member))
            encoding, notes = choose_encoding_in(name, archive, member)
            target = f"/vsizip/{{{file}}}/{member}"
            made = _make_shape_opening(target, Path(member).stem, encoding, notes)
            openings.append(replace(made, folder=folder))
        inside = local_files.list_members(name, archive, ".zip")
        if inside and depth == _DEEPEST:
            raise InputError(name, f"holds zips within zips over {_DEEPEST} deep", "unpack it first")
        for member in inside:
            packed = room.folder.add("in") / f"{local_files.make_file_name(Path(member).stem)}.zip"
            room.unpack(archive, {member: packed})
            openings += _open_archive(_name_member(name, member), packed, room, depth + 1)
    return openings


def _name_member(name: str, member: str) -> str:
    return f"{name} ({member})"


def _strip_suffixes(file: Path) -> str:
    return file.name.partition(".")[0]


def _name_apart(openings: list[Opening]) -> list[Opening]:
    """Shapefiles of one name in several archives, told apart by the archive's."""
    of = Counter(one.stem for one in openings)
    return [
        replace(one, stem=f"{Path(str(one.target).partition('}')[0]).stem}/{one.stem}")
        if of[one.stem] > 1 and one.folder is not None and not one.many_layers
        else one
        for one in openings
    ]


def _find_doubt_in(name: str, archive: zipfile.ZipFile, member: str) -> str:
    parts = {str(PurePosixPath(one)).lower(): one for one in archive.namelist()}
    index, table = (
        parts.get(f"{PurePosixPath(member).with_suffix('')}{end}".lower()) for end in (".shx", ".dbf")
    )
    if index is None:
        return ""
    head = b"" if table is None else local_files.read_member(name, archive, table, 100)
    size = archive.getinfo(member).file_size
    content = local_files.read_member(name, archive, index)
    return find_shape_doubt(
        content, head, size, lambda: nullcontext(local_files.read_member(name, archive, member))
    )


def _open_flatgeobuf(name: str, file: Path) -> list[Opening]:
    if not _read_head(file).startswith(b"fgb\x03fgb"):
        raise _explain_mismatch(name, "no FlatGeobuf of version 3")
    return [Opening(make_plain_path(name, file), file.stem, ("FlatGeobuf",), "fid from 0")]


def _open_geoparquet(name: str, file: Path) -> list[Opening]:
    if not _read_head(file).startswith(b"PAR1"):
        raise _explain_mismatch(name, "no Parquet")
    return [Opening(str(file), file.stem, ("Parquet",))]


def _open_kml(name: str, file: Path) -> list[Opening]:
    if file.stat().st_size > _LARGEST_KML:
        raise InputError(
            name, "is larger than 512 MiB", "convert it to GeoPackage: KML is held in memory whole"
        )
    with map_file(file) as content:
        links = content.find(b"<NetworkLink") >= 0
    return [_make_kml_opening(name, make_plain_path(name, file), file.stem, _read_head(file, 65536), links)]


def _open_kmz(name: str, file: Path) -> list[Opening]:
    with local_files.open_archive(name, file) as archive:
        members = local_files.list_members(name, archive, ".kml")
        if not members:
            raise InputError(name, "holds no KML file")
        local_files.check_size(name, archive, members)
        texts = [local_files.read_member(name, archive, member) for member in members]
    return [
        _make_kml_opening(name, text, Path(member).stem, text[:65536], b"<NetworkLink" in text)
        for member, text in zip(members, texts, strict=True)
    ]


def _make_kml_opening(name: str, target: str | bytes, stem: str, start: bytes, links: bool) -> Opening:
    if not has_outermost(start, "kml"):
        raise _explain_mismatch(name, "the outermost element is not kml")
    notes = ("links to other files and places in the KML are not followed",) if links else ()
    return Opening(target, stem, KML, many_layers=True, crs="EPSG:4326", warnings=notes)


def has_outermost(start: bytes, element: str) -> bool:
    """Whether a text is XML with that outermost element, and no recipe for another driver."""
    head = start.decode("utf-8", errors="replace").lstrip("\ufeff \t\r\n")
    prologue = r"(?:<\?.*?\?>|<!--.*?-->|\s)*"
    return bool(re.match(prologue + rf"<(?:\w+:)?{element}[\s>]", head, re.DOTALL)) and "<OGRVRT" not in head


def _open_osm_text(name: str, file: Path, wanted: WantedThings) -> list[Opening]:
    text = b"" if file.suffix.lower() == ".osm" else unpack_osm(name, file)
    if not has_outermost(text[:65536] or _read_head(file, 65536), "osm"):
        raise _explain_mismatch(name, "the outermost element is not osm")
    if not text:
        with map_file(file) as content:
            text = content[:] if has_negative_ids(content) else b""
    return [_make_osm_opening(name, file, raise_negative_ids(text) if text else file, wanted)]


def _open_osm_binary(name: str, file: Path, wanted: WantedThings) -> list[Opening]:
    # A length, then the first field of a blob's header: its type, see the format's published description.
    if _read_head(file, 15)[4:] != b"\x0a\x09OSMHeader":
        raise _explain_mismatch(name, "no OpenStreetMap PBF")
    return [_make_osm_opening(name, file, file, wanted)]


def _make_osm_opening(name: str, file: Path, content: Path | bytes, wanted: WantedThings) -> Opening:
    check_installed(name)
    extract, stem = Extract(name, content, wanted), file.stem.removesuffix(".osm")
    return Opening(
        str(file), stem, OSM, many_layers=True, crs="EPSG:4326", layers=wanted.layers, extract=extract
    )


_OPENERS: dict[str, Callable[[str, Path], list[Opening]]] = {
    ".geojson": _open_json,
    ".json": _open_json,
    ".geojsons": _open_sequence,
    ".geojsonl": _open_sequence,
    ".ndjson": _open_sequence,
    ".esrijson": _open_esri_json,
    ".topojson": _open_topology,
    ".gpkg": _open_geopackage,
    ".shp": _open_shapefile,
    ".zip": _open_zip,
    ".shz": _open_zip,
    ".fgb": _open_flatgeobuf,
    ".parquet": _open_geoparquet,
    ".geoparquet": _open_geoparquet,
    ".kml": _open_kml,
    ".kmz": _open_kmz,
    ".gml": _open_gml,
    ".tab": _open_mapinfo,
    ".mif": _open_mapinfo,
    ".csv": _open_wkt_table,
}
_OSM_OPENERS = dict.fromkeys((".osm", ".gz", ".bz2"), _open_osm_text) | {".pbf": _open_osm_binary}

BOUNDARY_SUFFIXES = tuple(_OPENERS | _OSM_OPENERS)
