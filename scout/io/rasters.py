"""Height rasters read near some places only.

Tiles of heights in the form of the Shuttle Radar Topography Mission: `.hgt`, also packed.

A square of big-endian 16-bit metres, -32768 for unknown, that covers one degree and shares its outer rows and
columns with its neighbours; its place is the name alone, that of its south-west corner (N47E009).

Heights near some places, from GeoTIFFs and .hgt tiles: metres, with NaN where nothing is known.

Only the driver of the format is given a file, and a TIFF only where it begins as one does, so no recipe that
points elsewhere is ever followed.
"""

from __future__ import annotations

import importlib.util
import re
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import closing
from pathlib import Path, PurePosixPath
from typing import Any, NamedTuple

import numpy as np
import pyproj
from numpy.typing import NDArray

from scout.errors import CrsError, InputError
from scout.io import local_files
from scout.io.crs import TURNS, Datum, merge_boxes, understand_crs
from scout.io.formats import check_local
from scout.io.layers import check_twice
from scout.io.local_files import GDAL_OFFLINE, collect_warnings, run_offline
from scout.io.packed import unpack
from scout.io.tables import Box
from scout.io.tiff import check_tiff, is_tiff
from scout.model import Relief

HGT_SUFFIXES = (".hgt", ".zip", ".gz")
_BYTES = {2 * rows * cols for rows, cols in ((1201, 1201), (3601, 3601), (3601, 1801))}
_LARGEST = max(_BYTES)
_CORNER = re.compile(r"(?<![A-Z0-9])([NS])(\d\d)([EW])(\d\d\d)(?![A-Z0-9])", re.IGNORECASE)


def open_hgt_tiles(path: str, file: Path) -> Iterator[tuple[str, str, bytes]]:
    """The tiles of one file: how each is called in a message, a name that tells its place, its bytes.

    Raises
    ------
    InputError
        A name that is no place, a size that no tile has, a damaged archive or one without a tile.
    """
    if file.suffix.lower() == ".zip":
        with local_files.open_archive(path, file) as archive:
            members = local_files.list_members(path, archive, ".hgt")
            if not members:
                raise InputError(path, "holds no .hgt tile", "name the heights themselves")
            for member in members:
                called = path if len(members) == 1 else f"{path} ({member})"
                size = archive.getinfo(member).file_size
                _check_size(called, size)
                yield (
                    called,
                    _locate_tile(called, PurePosixPath(member).name),
                    local_files.read_member(path, archive, member),
                )
        return
    packed = file.suffix.lower() == ".gz"
    if packed and not file.stem.lower().endswith(".hgt"):
        raise InputError(path, "is no .hgt tile", "heights packed by gzip are read as .hgt.gz only")
    if not packed:
        _check_size(path, file.stat().st_size)
    data = unpack(path, file, _LARGEST) if packed else file.read_bytes()
    _check_size(path, len(data))
    yield path, _locate_tile(path, file.name), data


def _locate_tile(called: str, name: str) -> str:
    """The name of a tile as GDAL's driver expects it."""
    found = _CORNER.search(name)
    if not found or int(found[2]) > 90 or int(found[4]) > 180:
        what = "the name does not say where the tile lies"
        raise InputError(called, what, "name it by its south-west corner, such as N47E009.hgt")
    return f"{found[0].upper()}.hgt"


def _check_size(called: str, size: int) -> None:
    if size not in _BYTES:
        what = f"{size:,} bytes are no square of 1201 or 3601 rows of heights"
        raise InputError(called, what, "download the tile again")


# Windows of one opened raster: which cells lie around a box of degrees, and their heights in metres.
RasterWindow = tuple[int, int, int, int]  # rows from and to, columns from and to


_LOWEST_M, _HIGHEST_M = -500.0, 9000.0  # shores of the Dead Sea -430 m, Everest 8,849 m: beyond it no ground
FINE_M = 10.0  # finer rasters are averaged to nearly this: walks are reckoned on cells of that size
_STRIP, _PIECE = 1024, 2**24  # rows, and cells, read at a time
_COARSEST = 2048  # cells that become one, along rows and columns
_PAD = 2  # cells around a window, for slopes at its edge


def choose_coarsening(
    raster: Any, datum: Datum, windows: Sequence[RasterWindow], most: int, finest_m: float = FINE_M
) -> tuple[int, list[str]]:
    """How many cells become one along rows and columns, at most ``most`` in all; a note where that is why."""
    if not windows:
        return 1, []
    cell_m = _measure_cell_m(raster, datum, *windows[0][::2])
    coarser = int(np.clip(finest_m / max(cell_m, 1e-6), 1, _COARSEST))
    cells = sum((bottom - top) * (right - left) for top, bottom, left, right in windows) / coarser**2
    if cells <= most:
        return coarser, []
    coarser = int(np.ceil(coarser * np.sqrt(cells / most)))
    return coarser, [
        f"averaged to cells of {coarser * cell_m:.0f} m: finer ones around all places are too many"
    ]


def list_windows(raster: Any, datum: Datum, boxes: Sequence[Box]) -> list[list[RasterWindow]]:
    """For each box the windows around it, none where the raster does not reach it."""
    forward = pyproj.Transformer.from_crs("EPSG:4326", datum.crs, always_xy=True)
    turns = TURNS if datum.geographic else (0.0,)  # a projection takes care of turns itself
    tried = [[_find_window(raster, datum, forward, box, turn) for turn in turns] for box in boxes]
    return [[window for window in windows if window is not None] for windows in tried]


def _find_window(raster: Any, datum: Datum, forward: Any, box: Box, turn: float) -> RasterWindow | None:
    """First and last row and column around a box, None where the raster does not reach it."""
    west, south, east, north = box
    share = np.linspace(0.0, 1.0, 33)
    lon, lat = np.meshgrid(west + share * (east - west), south + share * (north - south))
    x, y = forward.transform(lon.ravel(), lat.ravel())
    unit = datum.quarter_turn / 90 if datum.geographic else 1.0
    x = np.asarray(x)
    if datum.geographic:  # PROJ may have brought longitudes into -180 to 180
        x = x + 360 * unit * np.rint((lon.ravel() * unit - x) / (360 * unit)) + turn * unit
    a, b, c, d, e, f = tuple(~raster.transform)[:6]
    col, row = a * x + b * np.asarray(y) + c, d * x + e * np.asarray(y) + f
    sound = np.isfinite(col) & np.isfinite(row)
    if not sound.any():
        return None
    low = [int(max(np.floor(v[sound].min()) - _PAD, 0)) for v in (row, col)]
    high = [
        int(min(np.ceil(v[sound].max()) + _PAD, size))
        for v, size in ((row, raster.height), (col, raster.width))
    ]
    return (low[0], high[0], low[1], high[1]) if low[0] < high[0] and low[1] < high[1] else None


def read_relief(
    path: str, raster: Any, datum: Datum, window: RasterWindow, factor: float, coarser: int
) -> tuple[Relief, int, int]:
    """One window, how many of its cells hold no height of any land, and how many of these are too high."""
    top, bottom, left, right = window
    rows, cols = max(1, (bottom - top) // coarser), max(1, (right - left) // coarser)
    heights, off, over = np.empty((rows, cols), dtype=np.float32), 0, 0
    high, wide = (min(coarser, size) for size in (bottom - top, right - left))
    down = max(1, min(_STRIP, _PIECE // wide) // high)
    across = max(1, _PIECE // (down * high * wide))
    for first in range(0, rows, down):
        last = min(first + down, rows)
        for start in range(0, cols, across):
            end = min(start + across, cols)
            part = (
                top + first * coarser,
                left + start * coarser,
                (last - first) * high,
                (end - start) * wide,
            )
            fine, absurd, high_up = _read_metres(raster, part, factor)
            heights[first:last, start:end] = _average_blocks(
                fine.reshape(last - first, high, end - start, wide)
            )
            off += absurd
            over += high_up
    a, b, c, d, e, f = tuple(~raster.transform)[:6]
    k = float(coarser)
    to_pixel = (a / k, b / k, (c - left) / k, d / k, e / k, (f - top) / k)
    return Relief(heights, to_pixel, datum.crs.to_wkt(), path), off, over


def _read_metres(
    raster: Any, part: tuple[int, int, int, int], factor: float
) -> tuple[NDArray[np.float32], int, int]:
    """Heights of a part, NaN where unknown; cells that no land can have are counted, and those too high."""
    from rasterio.enums import MaskFlags
    from rasterio.windows import Window as Part

    top, left, rows, cols = part
    all_known = MaskFlags.all_valid in raster.mask_flag_enums[0]  # and the mask need not be made
    values = raster.read(1, window=Part(left, top, cols, rows), masked=not all_known)
    heights: NDArray[np.float32] = np.ma.getdata(values).astype(np.float32)
    heights *= np.float32(raster.scales[0] * factor)
    heights += np.float32(raster.offsets[0] * factor)
    unknown = np.ma.getmask(values)
    if unknown is not np.ma.nomask:
        heights[unknown] = np.nan
    with np.errstate(invalid="ignore"):
        least, most = (extreme.reduce(heights, axis=None) for extreme in (np.fmin, np.fmax))
        if least >= _LOWEST_M and most <= _HIGHEST_M:
            return heights, 0, 0
        over = heights > _HIGHEST_M
        absurd = (heights < _LOWEST_M) | over
    heights[absurd] = np.nan
    return heights, int(absurd.sum()), int(over.sum())


def _average_blocks(blocks: NDArray[np.float32]) -> NDArray[np.float32]:
    """The mean of what is known in each block, NaN where nothing is."""
    known = np.isfinite(blocks)
    count = known.sum(axis=(1, 3))
    with np.errstate(invalid="ignore"):
        mean: NDArray[np.float32] = np.sum(blocks, axis=(1, 3), where=known) / count.astype(np.float32)
    return mean


def _measure_cell_m(raster: Any, datum: Datum, row: int, col: int) -> float:
    """Rough size of a cell in metres."""
    size = float(np.sqrt(abs(raster.transform.determinant)))
    if datum.geographic:
        lat = (
            (raster.transform.d * col + raster.transform.e * row + raster.transform.f)
            * 90
            / datum.quarter_turn
        )
        return size * 90 / datum.quarter_turn * 111_000 * float(np.sqrt(max(np.cos(np.radians(lat)), 0.01)))
    return size * float(datum.crs.axis_info[0].unit_conversion_factor)


# Heights near some places, from GeoTIFFs and .hgt tiles: metres, with NaN where nothing is known.
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


class ReadHeights(NamedTuple):
    """Windows of rasters, and what is to be said of them."""

    reliefs: list[Relief]
    notes: list[str]


def read_heights(
    paths: Path | str | Sequence[Path | str],
    boxes: Sequence[Box],
    progress: Callable[[str], None] | None = None,
    assume_crs: str | None = None,
    finest_m: float = FINE_M,
) -> ReadHeights:
    """Read heights near some places.

    Parameters
    ----------
    paths : path or sequence of path
        GeoTIFFs, also cloud-optimised ones, rotated or not, of which the first band is taken; `.hgt` tiles,
        also as `.hgt.zip` and `.hgt.gz`.
    boxes : sequence of tuple
        West, south, east, north in degrees; east may exceed 180.
    progress : callable, optional
        Called with a line before each file.
    assume_crs : str, optional
        Coordinate system of the files that name none.
    finest_m : float
        Cells under half of it are averaged to nearly that.

    Returns
    -------
    Heights
        In order of the files. `Relief.to_pixel` counts from the corner of the first cell: its middle is at
        column 0.5, row 0.5. Scale, offset and units are applied; nodata,
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
    few, found = merge_boxes(boxes), ReadHeights([], [])
    most = _MOST_CELLS // max(len(paths), 1)
    with run_offline():
        for path in paths:
            if progress is not None:
                progress(f"reading {path}")
            _read_raster_file(found, str(path), few, assume_crs, (most, finest_m))
    return found


def _read_raster_file(
    found: ReadHeights,
    path: str,
    boxes: Sequence[Box],
    assume_crs: str | None,
    coarsening: tuple[int, float],
) -> None:
    file = _check_raster_path(path)
    from rasterio._err import CPLE_BaseError
    from rasterio.errors import RasterioError

    try:
        with collect_warnings(), closing(_opened(path, file)) as rasters:
            for called, raster in rasters:
                _take_windows(found, called, raster, boxes, assume_crs, coarsening)
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
        for called, name, data in open_hgt_tiles(path, file):
            with MemoryFile(data, filename=name) as memory, memory.open(driver="SRTMHGT") as raster:
                yield called, raster


def _check_raster_path(path: str) -> Path:
    file = check_local(path)
    suffix = file.suffix.lower()
    if suffix not in HEIGHT_SUFFIXES:
        what = f"the suffix {file.suffix or '(none)'} is not that of a GeoTIFF"
        remedy = "heights are read from GeoTIFFs (.tif) and .hgt tiles: export them as one"
        raise InputError(path, what, remedy)
    head = _read_head(path, file)
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
            if not is_tiff(_read_head(path, beside)):
                raise InputError(path, f"{beside.name} beside it is no TIFF", "remove that file")
            check_tiff(f"{path}{suffix}", beside)


def _read_head(path: str, file: Path) -> bytes:
    try:
        with file.open("rb") as stream:
            return stream.read(4)
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror or error})") from error


def _take_windows(
    found: ReadHeights,
    path: str,
    raster: Any,
    boxes: Sequence[Box],
    assume_crs: str | None,
    coarsening: tuple[int, float],
) -> None:
    _check_kind(path, raster)
    crs = pyproj.CRS.from_user_input(raster.crs.to_wkt()) if raster.crs else None
    datum = _find_datum(path, crs, assume_crs)
    if raster.transform.is_identity or not abs(raster.transform.determinant) > 0:
        raise InputError(path, "is not placed on the map", "export it as GeoTIFF with its position")
    factor, notes = _find_unit(path, raster, crs, datum)
    reached = list_windows(raster, datum, boxes)
    windows = [one for several in reached for one in several]
    _check_cells(path, windows)
    coarser, said = choose_coarsening(raster, datum, windows, *coarsening)
    lost = too_high = 0
    for window in windows:
        relief, off, over = read_relief(path, raster, datum, window, factor, coarser)
        found.reliefs.append(relief)
        lost += off
        too_high += over
    covered = sum(bool(several) for several in reached)
    if covered < len(boxes):
        part = f"{covered} of {len(boxes)} regions around the places" if covered else "none of the places"
        notes.append(f"covers {part}")
    if lost:
        notes.append(f"heights where no land is, taken as unknown: {lost} cells")
    if too_high and factor == 1.0:
        notes.append(f"holds heights over {_HIGHEST_M:,.0f}: if they are in feet, convert them to metres")
    found.notes.extend(f"{path}: {note}" for note in [*notes, *said])


def _check_cells(path: str, windows: Sequence[RasterWindow]) -> None:
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


def _find_datum(path: str, crs: pyproj.CRS | None, assume_crs: str | None) -> Datum:
    """The horizontal system; heights stay above whatever they are measured from."""
    try:
        return understand_crs(None if crs is None else crs.to_wkt(), path, assume_crs)
    except CrsError as error:
        if crs is None:
            raise CrsError(path, error.what, "export the heights again as GeoTIFF with one") from error
        raise


def _find_unit(path: str, raster: Any, crs: pyproj.CRS | None, datum: Datum) -> tuple[float, list[str]]:
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
