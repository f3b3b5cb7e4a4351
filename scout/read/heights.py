"""Heights near some places, from GeoTIFFs and .hgt tiles: metres, with NaN where nothing is known.

Only the driver of the format is given a file, and a TIFF only where it begins as one does, so no recipe that
points elsewhere is ever followed.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, NamedTuple

import pyproj

from scout.errors import CrsError, InputError
from scout.read.boxes import thrifty
from scout.read.crs import Datum, datum_of
from scout.read.files import check_twice
from scout.read.formats import check_local
from scout.read.hgt import SUFFIXES as HGT_SUFFIXES
from scout.read.hgt import hgt_tiles
from scout.read.offline import GDAL_OFFLINE, collected_warnings, offline
from scout.read.tables import Box
from scout.read.tiff import check_tiff, is_tiff
from scout.read.windows import Window, coarser_by, relief_of, windows_of
from scout.surroundings import Relief

__all__ = ["HEIGHT_SUFFIXES", "Heights", "read_heights"]

_TIFF_SUFFIXES = (".tif", ".tiff", ".gtiff")
HEIGHT_SUFFIXES = (*_TIFF_SUFFIXES, *HGT_SUFFIXES)
_GDAL = {**GDAL_OFFLINE, "GDAL_CACHEMAX": 512}  # MiB of blocks kept; else a share of the machine's memory
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
_MOST_READ, _MOST_READ_PER_BYTE = 10**9, 20  # cells of one file near the places: ten seconds, or a large file


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
        GeoTIFFs, also cloud-optimised ones, rotated or not, of which the first band is taken; `.hgt` tiles,
        also as `.hgt.zip` and `.hgt.gz`.
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
        No GeoTIFF and no tile, a picture, heights in a unit that is not known, or rasterio is not installed.
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
    from rasterio._err import CPLE_BaseError
    from rasterio.errors import RasterioError

    try:
        with collected_warnings(), closing(_opened(path, file)) as rasters:
            for called, raster in rasters:
                _take(found, called, raster, boxes, assume_crs, most)
    except (RasterioError, CPLE_BaseError, ValueError, IndexError, MemoryError) as error:
        # A damaged system comes as any of these, when it is asked for.
        beside = file.with_name(file.name + ".aux.xml")
        remedy = f"remove {beside.name} beside it, or " if beside.is_file() else ""
        why = " ".join(str(error).split())[:200]
        raise InputError(path, f"cannot be read ({why})", f"{remedy}export it as GeoTIFF again") from error


def _opened(path: str, file: Path) -> Generator[tuple[str, Any], None, None]:
    """The rasters of a file, and how each is called."""
    import rasterio
    from rasterio.io import MemoryFile

    with rasterio.Env(**_GDAL):
        if file.suffix.lower() in _TIFF_SUFFIXES:
            with rasterio.open(file, driver="GTiff") as raster:
                yield path, raster
            return
        for called, name, data in hgt_tiles(path, file):
            with MemoryFile(data, filename=name) as memory, memory.open(driver="SRTMHGT") as raster:
                yield called, raster


def _checked(path: str) -> Path:
    file = check_local(path)
    suffix = file.suffix.lower()
    if suffix not in HEIGHT_SUFFIXES:
        what = f"the suffix {file.suffix or '(none)'} is not that of a GeoTIFF"
        remedy = "heights are read from GeoTIFFs (.tif) and .hgt tiles: export them as one"
        raise InputError(path, what, remedy)
    head = _head(path, file)
    if not head:
        raise InputError(path, "the file is empty", "save or download it again")
    if suffix in _TIFF_SUFFIXES:
        _check_tiffs(path, file, head)
    if importlib.util.find_spec("rasterio") is None:
        remedy = "install it with: pip install lattice-scout[heights]"
        raise InputError(path, "reading heights needs rasterio", remedy)
    return file.absolute()


def _check_tiffs(path: str, file: Path, head: bytes) -> None:
    """The file and what GDAL opens beside it, by whatever driver it finds."""
    if not is_tiff(head):
        raise InputError(path, "is not what its suffix says: no TIFF", "export it as GeoTIFF again")
    check_tiff(path, file)
    for suffix in (".msk", ".ovr"):
        beside = file.with_name(file.name + suffix)
        if beside.is_file():
            if not is_tiff(_head(path, beside)):
                raise InputError(path, f"{beside.name} beside it is no TIFF", "remove that file")
            check_tiff(f"{path}{suffix}", beside)


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
    if raster.transform.is_identity or not abs(raster.transform.determinant) > 0:
        raise InputError(path, "is not placed on the map", "export it as GeoTIFF with its position")
    factor, notes = _to_metres(path, raster, crs, datum)
    reached = windows_of(raster, datum, boxes)
    windows = [one for several in reached for one in several]
    _check_cells(path, windows)
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


def _check_cells(path: str, windows: Sequence[Window]) -> None:
    """Refuse more cells near the places than can be read in a reasonable time."""
    cells = sum((bottom - top) * (right - left) for top, bottom, left, right in windows)
    file = Path(path)
    size = file.stat().st_size if file.is_file() else 0  # a tile of an archive is small
    if cells > _MOST_READ + _MOST_READ_PER_BYTE * size:
        what = f"{cells / 1e9:,.1f} thousand million cells lie around the places"
        raise InputError(path, what, "export the heights with cells of 5 to 30 m")


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
