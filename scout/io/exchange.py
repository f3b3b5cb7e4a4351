"""Formats in which services and older systems hand boundaries on, looked at before GDAL opens them.

EsriJSON, TopoJSON, GML, MapInfo, GeoJSON sequences and tables with well-known text. What GDAL leaves out of
them without a word is looked for here, and what may lead to another file or place.
"""

from __future__ import annotations

import csv
import json
import mmap
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

from scout.errors import InputError, SettingName
from scout.io.local_files import map_file
from scout.quantities import MeasuredText

_AGAIN = "export it again"
_LARGEST_JSON = 2**28  # bytes
_MOST_LISTS = 1_500_000  # in a JSON text, places among them; GDAL holds up to a kilobyte for each
_MOST_PLACES = 10_000_000  # that the arcs of a topology come to, each as often as it is named
_HEAD = 65536  # bytes in which a text says what it is

JsonKind = Literal["GeoJSON", "ESRIJSON", "TopoJSON"]


def find_json_kind(file: Path) -> JsonKind:
    """Which of the three formats that share a suffix a text is most likely in."""
    with map_file(file) as content:
        start = content.find(b'"features"')
        outside = content[: min(start if start >= 0 else len(content), _HEAD)]
        if re.search(rb'"type"\s*:\s*"Topology"', outside):
            return "TopoJSON"
        if re.search(rb'"type"\s*:\s*"Feature', outside):
            return "GeoJSON"
        found = re.search(
            rb'"geometryType"\s*:\s*"esri|"spatialReference"\s*:|"(?:curveR|r)ings"\s*:', content[:_HEAD]
        )
        return "ESRIJSON" if found else "GeoJSON"


def check_esri_json(name: str, file: Path) -> tuple[str, ...]:
    """Look at EsriJSON; return what is to be said of it.

    Raises
    ------
    InputError
        No such text, or one too large to be held.
    """
    _check_size(name, file)
    with map_file(file) as content:
        if not content[:64].removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{"):
            raise InputError(name, "is no EsriJSON object", _AGAIN)
        if content.find(b'"features"') < 0 or find_json_kind(file) != "ESRIJSON":
            raise InputError(name, "is no EsriJSON: it has no features of Esri's kind", _AGAIN)
        notes = []
        if re.search(rb'"exceededTransferLimit"\s*:\s*true', content):
            notes.append(
                "the service that made it cut it off (exceededTransferLimit): there are more records"
            )
        if content.find(b'"curveRings"') >= 0 or content.find(b'"curvePaths"') >= 0:
            notes.append("it has curves, which are not read from EsriJSON; ask the service for none")
    return tuple(notes)


def _check_size(name: str, file: Path) -> None:
    remedy = "convert it to GeoPackage: this format is held in memory whole"
    if file.stat().st_size > _LARGEST_JSON:
        raise InputError(name, f"is larger than {_LARGEST_JSON // 2**20} MiB", remedy)
    with map_file(file) as content:
        if _count(content, b"[") > _MOST_LISTS:
            raise InputError(name, f"has more than {_MOST_LISTS:,} places and lists of them", remedy)


def _count(content: mmap.mmap, mark: bytes) -> int:
    return sum(content[at : at + 2**24].count(mark) for at in range(0, len(content), 2**24))


def check_topology(name: str, file: Path) -> str:
    """Look at TopoJSON; return the coordinate system, which is WGS 84 unless a member names another.

    GDAL leaves out arcs that are not there. See the TopoJSON Format Specification, 2.1.4.

    Raises
    ------
    InputError
        No topology, or one whose outlines name arcs that it does not have.
    """
    _check_size(name, file)
    try:
        whole = json.loads(file.read_text("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise InputError(name, f"is no TopoJSON or a damaged one ({error})", _AGAIN) from error
    arcs = whole.get("arcs") if isinstance(whole, dict) else None
    objects = whole.get("objects") if isinstance(whole, dict) else None
    if not isinstance(arcs, list) or not isinstance(objects, dict) or whole.get("type") != "Topology":
        raise InputError(name, "is no TopoJSON: it lacks objects or arcs", _AGAIN)
    for number, arc in enumerate(arcs):
        if not _is_run(arc):
            raise InputError(name, f"its arc {number} is no line of two or more places", _AGAIN)
    places = 0
    for label, one in objects.items():
        for arc in _list_arcs(one):
            if type(arc) is not int or not -len(arcs) <= arc < len(arcs):
                what = f"an outline of {str(label)[:60]!r} names arc {str(arc)[:20]} of {len(arcs):,}"
                raise InputError(name, what, _AGAIN)
            places += len(arcs[arc if arc >= 0 else ~arc])
    if places > _MOST_PLACES:
        what = f"its outlines come to {places:,} places, for they name the same arcs again and again"
        raise InputError(name, what, "export it in another format")
    crs = whole.get("crs")
    if crs is None:
        return "EPSG:4326"
    try:
        return str(crs["properties"]["name"])
    except (TypeError, KeyError) as error:
        raise InputError(name, "its crs member is no name", "name the system by its code") from error


def _is_run(arc: Any) -> bool:
    if not isinstance(arc, list) or len(arc) < 2:
        return False
    return all(
        isinstance(place, list) and len(place) >= 2 and all(type(x) in (int, float) for x in place[:2])
        for place in arc
    )


def _list_arcs(geometry: Any) -> Iterator[Any]:
    """All that an object and the geometries in it name as arcs."""
    todo = [geometry]
    while todo:
        one = todo.pop()
        if not isinstance(one, dict):
            continue
        members = one.get("geometries")
        todo += members if isinstance(members, list) else []
        runs = [one["arcs"]] if "arcs" in one else []
        while runs:
            run = runs.pop()
            if isinstance(run, list):
                runs += run
            else:
                yield run


def count_sequence(name: str, file: Path) -> int:
    """Count the records of a GeoJSON text sequence (RFC 8142), or of one record a line.

    Raises
    ------
    InputError
        No such text.
    """
    with map_file(file) as content:
        head = content[:64].removeprefix(b"\xef\xbb\xbf").lstrip()
        if not re.match(rb"\x1e?\s*\{", head):
            raise InputError(name, "is no sequence of GeoJSON records", _AGAIN)
        separated = head.startswith(b"\x1e")
    with file.open("rb") as stream:
        if separated:
            return sum(part.count(b"\x1e") for part in iter(lambda: stream.read(2**20), b""))
        return sum(bool(line.strip()) for line in stream)


# XML: what it refers to is not fetched.
_PLACED_ELSEWHERE = re.compile(
    rb"<(?:\w+:)?(?:\w+Members?|exterior|interior|\w+Property|patches|segments|baseSurface|\w*[Gg]eom\w*)"
    rb"(?:\s[^>]*)?\sxlink:href\s*=",
)


def check_gml(name: str, file: Path) -> tuple[str, ...]:
    """Look at a GML; return what is to be said of it.

    Raises
    ------
    InputError
        Other XML, one with a document type (whose entities may name other files or grow without end), or
        outlines that are put together by references.
    """
    with map_file(file) as content:
        head = content[:_HEAD]
        if not re.match(rb"(?:\xef\xbb\xbf)?\s*<", head) or b"opengis.net/gml" not in head:
            raise InputError(
                name, "is not what its suffix says: no GML", "export it again or correct the suffix"
            )
        if content.find(b"<!DOCTYPE") >= 0 or content.find(b"<!ENTITY") >= 0 or b"<OGRVRT" in head:
            raise InputError(name, "has a document type or entities, which are not read", "export it without")
        elsewhere = _PLACED_ELSEWHERE.search(content)
        if elsewhere:
            what = "its outlines are put together by references (xlink:href), which are not followed"
            raise InputError(name, what, "export it with all outlines in place")
        # Pairs of a namespace and where its schema lies (XML Schema Part 1, 2.6.3).
        pairs = re.search(rb'schemaLocation\s*=\s*["\']([^"\']*)', head)
        remote = pairs is not None and any(place.startswith(b"http") for place in pairs[1].split()[1::2])
    return ("the schema that it names is not fetched: all columns are read as text",) if remote else ()


# MapInfo: a table may be a view of others, wherever they are.
_TABLE_PARTS = (".dat", ".map", ".id")
MAPINFO_PARTS = {".tab": _TABLE_PARTS, ".mif": (".mid",)}  # what lies beside
_ELSEWHERE = re.compile(r"create\s+view|isseamless|open\s+table|\bfile\s+\"", re.IGNORECASE)


def list_mapinfo_parts(name: str, file: Path) -> tuple[list[Path], tuple[str, ...]]:
    """The files of a MapInfo table or interchange file, itself first, and what is to be said of them.

    Raises
    ------
    InputError
        No such file, one of its parts is missing, or it is made of other tables.
    """
    with file.open("rb") as stream:
        head = stream.read(_HEAD).decode("latin-1")
    if file.suffix.lower() == ".mif":
        if not re.match(r"\s*version\s", head, re.IGNORECASE):
            raise InputError(name, "is not what its suffix says: no MapInfo interchange file", _AGAIN)
        beside = _find_part(name, file, ".mid")
        if beside is None:
            return [file], ("its .mid file is missing: there are no ids and no names",)
        return [file, beside], ()
    if not re.match(r"\s*!table", head, re.IGNORECASE):
        raise InputError(name, "is not what its suffix says: no MapInfo table", _AGAIN)
    kind = re.search(r"^\s*type\s+(\w+)", head, re.IGNORECASE | re.MULTILINE)
    if _ELSEWHERE.search(head) or kind is None or kind[1].lower() != "native":
        what = "is a view of other tables or files, which are not opened"
        raise InputError(name, what, "save a copy of it as a table of its own")
    found = [file]
    for suffix in _TABLE_PARTS:
        part = _find_part(name, file, suffix)
        if part is None:
            raise InputError(name, f"its {suffix} file is missing", "keep all parts of a table in one folder")
        found.append(part)
    return found, ()


def _find_part(name: str, file: Path, suffix: str) -> Path | None:
    for part in (file.with_suffix(suffix), file.with_suffix(suffix.upper())):
        if part.is_file():
            return part
        if part.exists():
            raise InputError(name, f"{part.name} beside it is no regular file", "remove or replace it")
    return None


# Tables: one column holds the outlines as text.
_WKT = re.compile(
    r"\s*(?:multi)?(?:polygon|surface|curvepolygon|linestring|curve|compoundcurve|point|geometrycollection)"
    r"\s*(?:zm?|m)?\s*(?:\(|empty)",
    re.IGNORECASE,
)
_SEPARATORS = {",": "COMMA", ";": "SEMICOLON", "\t": "TAB", "|": "PIPE"}
_LOOKED_AT = 2**22  # bytes of a table in which an outline is to be found
_ROWS = 50
_FEW_LINES, _SHORTEST = (
    100_000,
    16,
)  # bytes a line on the average where there are many: millions fit into 10 MB


def find_wkt_column(name: str, file: Path) -> dict[str, str]:
    """How GDAL is to read a table, by its first rows.

    Raises
    ------
    InputError
        No text, quotation marks that do not close, or no column of well-known text.
    """
    with map_file(file) as content:
        head = content[:_LOOKED_AT]
        if b"\0" in head:
            raise InputError(name, "is no table in plain text", "save it as CSV in UTF-8")
        lines = _count(content, b"\n")
        if lines > _FEW_LINES and len(content) < _SHORTEST * lines:
            what = f"has {lines:,} lines too short to hold an outline"
            raise InputError(name, what, "leave out rows without an outline")
        if _count(content, b'"') % 2:
            raise InputError(name, "has a quotation mark that is never closed", "export it again as CSV")
    text = head.decode("utf-8-sig", errors="replace")
    first = text.partition("\n")[0]
    separator = max(_SEPARATORS, key=first.count)
    rows = _read_rows(text, separator)
    columns = rows[0] if rows else []
    for place, column in enumerate(columns):
        values = [row[place] for row in rows[1:] if place < len(row) and row[place].strip()]
        if values and re.match(r"\s*SRID\s*=", values[0], re.IGNORECASE):
            what = f"its column {column[:60]!r} has outlines that begin with SRID="
            raise InputError(
                name, what, MeasuredText("export plain WKT, and name the system with ", SettingName("crs"))
            )
        if values and _WKT.match(values[0]):
            plain = re.fullmatch(r"[^*,\"]{1,100}", column) and column == column.strip()
            if not plain or columns.count(column) > 1:
                raise InputError(name, f"its column {column[:60]!r} has an odd name or a twin", "rename it")
            return {
                "SEPARATOR": _SEPARATORS[separator],
                "GEOM_POSSIBLE_NAMES": column,
                "KEEP_GEOM_COLUMNS": "NO",
                "AUTODETECT_TYPE": "NO",
                "HEADERS": "YES",
                "MAX_LINE_SIZE": "-1",
            }
    shown = ", ".join(column[:30] for column in columns[:20]) or "none"
    what = f"has no column with outlines as text, such as POLYGON ((...)); its columns are: {shown}"
    raise InputError(name, what, "export the outlines as WKT, or in another format")


def _read_rows(text: str, separator: str) -> list[list[str]]:
    """The header and some rows."""
    rows: list[list[str]] = []
    before = csv.field_size_limit(_LOOKED_AT)
    try:
        for row in csv.reader(text.splitlines(keepends=True), delimiter=separator):
            rows.append(row)
            if len(rows) > _ROWS:
                break
    except csv.Error:
        pass  # what was read tells enough
    finally:
        csv.field_size_limit(before)
    return rows
