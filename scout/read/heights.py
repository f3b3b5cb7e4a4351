"""Heights near some places, from GeoTIFFs: metres, with NaN where nothing is known.

Only the GTiff driver is given a file, and only one that begins as a TIFF does, so no recipe that points
elsewhere is ever followed.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pyproj

from scout.errors import CrsError, InputError
from scout.read.boxes import thrifty
from scout.read.crs import Datum, datum_of
from scout.read.files import check_twice
from scout.read.formats import check_local
from scout.read.offline import GDAL_OFFLINE, collected_warnings, offline
from scout.read.tables import Box
from scout.read.windows import coarser_by, relief_of, windows_of
from scout.surroundings import Relief

__all__ = ["HEIGHT_SUFFIXES", "Heights", "read_heights"]

HEIGHT_SUFFIXES = (".tif", ".tiff", ".gtiff")
_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")  # TIFF 6.0 and BigTIFF, either order of bytes
_FOOT, _SURVEY_FOOT = 0.3048, 1200 / 3937  # metres; international yard of 1959, US survey foot
_UNITS = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("ft", "foot", "feet", "international foot", "foot_international", "ft_intl"), _FOOT),
    **dict.fromkeys(
        ("us-ft", "ftus", "us_ft", "us survey foot", "us survey feet", "foot_us", "us foot"), _SURVEY_FOOT
    ),
    **dict.fromkeys(("cm", "centimetre", "centimeter"), 0.01),
    **dict.fromkeys(("dm", "decimetre", "decimeter"), 0.1),
}
_MOST_CELLS = 100_000_000  # 400 MB for all files; where it would be more, they are averaged further


class Heights(NamedTuple):
    """Windows of rasters, and what is to be said of them."""

    reliefs: list[Relief]
    notes: list[str]


def read_heights(
    paths: Path | str | Sequence[Path | str],
    boxes: Sequence[Box],
    progress: Callable[[str], None] | None = None,
    assume_crs: str | None = None,
) -> Heights:
    """Read heights near some places.

    Parameters
    ----------
    paths : path or sequence of path
        GeoTIFFs, also cloud-optimised ones, rotated or not. The first band is taken.
    boxes : sequence of tuple
        West, south, east, north in degrees; east may exceed 180.
    progress : callable, optional
        Told one line before each file.
    assume_crs : str, optional
        Coordinate system of the files that name none.

    Returns
    -------
    Heights
        In order of the files. `Relief.to_pixel` counts from the corner of the first cell: its middle is at
        column 0.5, row 0.5. Cells finer than 5 m are averaged to 10 m
        at most. Scale, offset and units are applied; nodata,
        masks and heights where there is no land (under -500 m, over 9,000 m) are NaN.

    Raises
    ------
    InputError
        No GeoTIFF, a picture, heights in a unit that is not known, or rasterio is not installed.
    CrsError
        No coordinate system, or one that leads nowhere.
    """
    paths = [paths] if isinstance(paths, (str, Path)) else paths
    check_twice(paths)
    few, found = thrifty(boxes), Heights([], [])
    most = _MOST_CELLS // max(len(paths), 1)
    with offline():
        for path in paths:
            if progress is not None:
                progress(f"reading {path}")
            _read(found, str(path), few, assume_crs, most)
    return found


def _read(found: Heights, path: str, boxes: Sequence[Box], assume_crs: str | None, most: int) -> None:
    file = _checked(path)
    import rasterio

    try:
        with (
            rasterio.Env(**GDAL_OFFLINE),
            collected_warnings(),
            rasterio.open(file, driver="GTiff") as raster,
        ):
            _take(found, path, raster, boxes, assume_crs, most)
    except rasterio.errors.RasterioError as error:
        raise InputError(path, f"cannot be read ({error})", "export it as GeoTIFF again") from error


def _checked(path: str) -> str:
    file = check_local(path)
    if file.suffix.lower() not in HEIGHT_SUFFIXES:
        what = f"the suffix {file.suffix or '(none)'} is not that of a GeoTIFF"
        raise InputError(path, what, "heights are read from GeoTIFFs (.tif): export them as one")
    head = _head(path, file)
    if not head:
        raise InputError(path, "the file is empty", "save or download it again")
    if head not in _TIFF:
        raise InputError(path, "is not what its suffix says: no TIFF", "export it as GeoTIFF again")
    for suffix in (".msk", ".ovr"):  # GDAL opens these too, by whatever driver it finds
        beside = file.with_name(file.name + suffix)
        if beside.is_file() and _head(path, beside) not in _TIFF:
            raise InputError(path, f"{beside.name} beside it is no TIFF", "remove that file")
    if importlib.util.find_spec("rasterio") is None:
        remedy = "install it with: pip install lattice-scout[heights]"
        raise InputError(path, "reading heights needs rasterio", remedy)
    return str(file.absolute())


def _head(path: str, file: Path) -> bytes:
    try:
        with file.open("rb") as stream:
            return stream.read(4)
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror or error})") from error


def _take(
    found: Heights, path: str, raster: Any, boxes: Sequence[Box], assume_crs: str | None, most: int
) -> None:
    _check_kind(path, raster)
    crs = pyproj.CRS.from_user_input(raster.crs.to_wkt()) if raster.crs else None
    datum = _datum(path, crs, assume_crs)
    if raster.transform.is_identity or raster.transform.determinant == 0:
        raise InputError(path, "is not placed on the map", "export it as GeoTIFF with its position")
    factor, notes = _to_metres(path, raster, crs, datum)
    reached = windows_of(raster, datum, boxes)
    windows = [one for several in reached for one in several]
    coarser, said = coarser_by(raster, datum, windows, most)
    lost = 0
    for window in windows:
        relief, off = relief_of(path, raster, datum, window, factor, coarser)
        found.reliefs.append(relief)
        lost += off
    covered = sum(bool(several) for several in reached)
    if covered < len(boxes):
        part = f"{covered} of {len(boxes)} regions around the places" if covered else "none of the places"
        notes.append(f"covers {part}")
    if lost:
        notes.append(f"heights where no land is, taken as unknown: {lost} cells")
    found.notes.extend(f"{path}: {note}" for note in [*notes, *said])


def _check_kind(path: str, raster: Any) -> None:
    from rasterio.enums import ColorInterp

    colours = set(raster.colorinterp)
    if ColorInterp.palette in colours or {ColorInterp.red, ColorInterp.green, ColorInterp.blue} <= colours:
        raise InputError(path, "is a picture, not heights", "take the elevation data itself, not a map of it")
    if raster.dtypes[0].startswith("complex"):
        raise InputError(path, "holds complex numbers, not heights", "take the elevation data itself")


def _datum(path: str, crs: pyproj.CRS | None, assume_crs: str | None) -> Datum:
    """The horizontal system; heights stay above whatever they are measured from."""
    try:
        return datum_of(None if crs is None else crs.to_wkt(), path, assume_crs)
    except CrsError as error:
        if crs is None:
            raise CrsError(path, error.what, "export the heights again as GeoTIFF with one") from error
        raise


def _to_metres(path: str, raster: Any, crs: pyproj.CRS | None, datum: Datum) -> tuple[float, list[str]]:
    """Metres per unit of height: as the band says, else as the vertical system does."""
    notes = [] if raster.count == 1 else [f"the first of {raster.count} bands is taken for the heights"]
    if raster.dtypes[0] == "uint8":
        notes.append("holds whole numbers from 0 to 255 only: check that it is no picture of the relief")
    unit = (raster.units[0] or "").strip()
    if unit:
        factor = _UNITS.get(unit.lower().replace("-", "_"), _UNITS.get(unit.lower()))
        if factor is None:
            what = f"heights in {unit[:40]!r} are not understood"
            raise InputError(path, what, "convert them to metres")
        return factor, notes
    vertical = [
        axis for one in (crs.sub_crs_list if crs else []) if one.is_vertical for axis in one.axis_info
    ]
    if vertical:
        return float(vertical[0].unit_conversion_factor), notes
    if not datum.geographic and abs(datum.crs.axis_info[0].unit_conversion_factor - 1) > 1e-3:
        across = datum.crs.axis_info[0].unit_name
        notes.append(f"does not say in what the heights are (positions: {across}); metres are assumed")
    return 1.0, notes
