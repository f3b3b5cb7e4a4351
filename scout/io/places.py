"""Planned places out of a file: CSV, GPX waypoints or GeoJSON points."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from scout.errors import InputError, PlaceError, RecordError
from scout.geo.coordinates.forms import format_decimal
from scout.geo.coordinates.parse import read_place
from scout.io import geojson
from scout.io.formats import check_local, has_outermost, make_plain_path
from scout.io.local_files import collect_warnings, run_offline

_LAT = ("latitude", "lat", "y")
_LON = ("longitude", "lon", "lng", "long", "x")
_PLACE = ("place", "locator", "position", "coordinates")
_DECIMAL = re.compile(r"\s*[+-]?\d{1,3}(\.\d+)?\s*", re.ASCII)
_NAME = ("name", "title", "label", "id")


@dataclass(frozen=True, slots=True)
class NamedPlace:
    """A place with what it is called in its file; ``cell`` when it was given as a locator."""

    name: str
    lon: float
    lat: float
    understood: str
    cell: str | None = None
    uncertainty_m: float | None = None


def read_places(path: str | Path) -> list[NamedPlace]:
    """Places of a ``.csv``, ``.gpx`` or ``.geojson`` file, in its order.

    A CSV has a row of names: latitude and longitude columns in decimal degrees, or one column of places as
    people write them.

    Raises
    ------
    InputError
        Naming the file, and the line or record.
    """
    source = check_local(str(path))
    suffix = source.suffix.lower()
    try:
        if suffix == ".csv":
            places = list(_read_csv(source))
        elif suffix in (".gpx", ".geojson", ".json"):
            places = list(_read_points(source, "waypoints" if suffix == ".gpx" else None))
        else:
            what = f"places are not read from {suffix or 'this'}"
            raise InputError(str(path), what, "give .csv, .gpx or .geojson")
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror or error})") from error
    except csv.Error as error:
        raise InputError(str(path), f"cannot be read ({error})", "save it as CSV again") from None
    if not places:
        raise InputError(str(path), "it holds no places", "give at least one")
    return places


def _read_csv(path: Path) -> Iterator[NamedPlace]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(str(path), "is not UTF-8 text", "save it as CSV in UTF-8") from None
    first = text.partition("\n")[0]
    separator = max(",;\t", key=first.count)
    rows = csv.reader(text.splitlines(), delimiter=separator)
    heads = [head.strip().lower() for head in next(rows, [])]
    lat, lon, place, name = (_find_column(heads, words) for words in (_LAT, _LON, _PLACE, _NAME))
    if place is None and (lat is None or lon is None):
        raise InputError(
            str(path),
            f"no column of places among {', '.join(heads) or 'none'}",
            "name two columns latitude and longitude, or one place",
        )
    for row in rows:
        if not any(cell.strip() for cell in row):
            continue
        where = f"{path}, line {rows.line_num}"
        wanted = [lat, lon] if lat is not None and lon is not None else [place]
        cells = [row[k] if k is not None and k < len(row) else "" for k in wanted]
        called = row[name].strip() if name is not None and name < len(row) else ""
        called = called or f"line {rows.line_num}"
        yield _parse_plain(called, cells) or _parse_named(where, called, ", ".join(cells))


def _find_column(heads: list[str], words: tuple[str, ...]) -> int | None:
    return next((heads.index(word) for word in words if word in heads), None)


def _parse_plain(name: str, cells: list[str]) -> NamedPlace | None:
    """Two plain decimals, read at once: a file may hold a hundred thousand."""
    if len(cells) != 2 or not all(_DECIMAL.fullmatch(cell) for cell in cells):
        return None
    lat, lon = float(cells[0]), float(cells[1])
    if abs(lat) > 90 or abs(lon) > 180:
        return None
    return NamedPlace(name, lon, lat, format_decimal(lon, lat))


def _parse_named(where: str, name: str, text: str) -> NamedPlace:
    try:
        found = read_place(text)
    except PlaceError as error:
        raise RecordError(where, f"{error.where} {error.what}", error.remedy) from None
    return NamedPlace(name, found.lon, found.lat, found.understood, found.cell, found.uncertainty_m)


def _choose_target(name: str, file: Path) -> tuple[str, str]:
    """What GDAL is given and the driver that has to take it, once the content is seen to fit the suffix."""
    if file.stat().st_size == 0:
        raise InputError(name, "the file is empty", "save or download it again")
    if file.suffix.lower() != ".gpx":
        geojson.check_geojson(name, file)
        return f"GeoJSON:{file.absolute()}", "GeoJSON"
    with file.open("rb") as stream:
        if not has_outermost(stream.read(65536), "gpx"):
            what = "is not what its suffix says: the outermost element is not gpx"
            raise InputError(name, what, "export it again or correct the suffix")
    return make_plain_path(name, file.absolute()), "GPX"


def _read_points(path: Path, layer: str | None) -> Iterator[NamedPlace]:
    import pyogrio
    import shapely

    target, known = _choose_target(str(path), path)
    try:
        with run_offline(), collect_warnings():
            driver = pyogrio.read_info(target, layer=layer)["driver"]
            if driver != known:
                raise InputError(str(path), f"GDAL takes it for {driver}", "export it again")
            frame = pyogrio.read_dataframe(target, layer=layer)
    except (RuntimeError, ValueError, UnboundLocalError, shapely.errors.ShapelyError) as error:
        # What GDAL says of a damaged file, a damaged layer, a broken geometry or text that is no UTF-8.
        raise InputError(str(path), f"cannot be read ({error})", "check that it is whole") from None
    if "geometry" not in frame.columns:
        raise InputError(str(path), "it holds no places", "give at least one")
    heads = {str(column).lower(): column for column in frame.columns}
    name = next((heads[word] for word in _NAME if word in heads), None)
    for number, point in enumerate(frame.geometry, start=1):
        where = f"{path}, record {number}"
        if point is None or shapely.get_type_id(point) != 0 or point.is_empty:
            raise RecordError(where, "it is no point", "give points or waypoints only")
        called = str(frame[name].iat[number - 1]) if name is not None else ""
        if not (abs(point.y) <= 90 and abs(point.x) <= 180):
            what = f"latitude {point.y:g}, longitude {point.x:g} is not on the globe"
            raise RecordError(where, what, "correct or remove it")
        called = called if called not in ("", "None", "nan") else str(number)
        yield NamedPlace(called, float(point.x), float(point.y), format_decimal(point.x, point.y))
