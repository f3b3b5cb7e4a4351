"""Maidenhead locators: text to cell and back, one to five pairs, scalars and arrays.

The system: origin 180 W 90 S, longitude first, pairs of 18, 10, 24, 10 and 24 parts (IARU Region 1 VHF
Managers Handbook; the fifth pair as ADIF 3.1.6 has it). Datum WGS 84. Cells are half-open: they hold their
west and south edges. Latitude 90 belongs to the topmost row, longitude 180 is longitude -180.

A cell is numbered by integers ``(i, j)`` eastwards from 180 W and northwards from 90 S, so that the lattice
never comes from added or decoded doubles.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scout.errors import LocatorError, PlaceError

LEVELS = ("field", "square", "subsquare", "extended", "fifth")
_BASES = (18, 10, 24, 10, 24)
_FIRST = ("A", "0", "a", "0", "a")  # the usual mixed case
_COUNTS = tuple(int(np.prod(_BASES[: n + 1])) for n in range(len(_BASES)))

# A double this near an edge (0.1 mm) is taken as on it: a third of the subsquare edges, as doubles, lie
# below the true edge, and sums of degrees and minutes stray by 1e-13 deg.
SNAP_DEG = 1e-9


@dataclass(frozen=True, slots=True)
class Cell:
    """The area one locator names, degrees; every field is an array when ``decode`` was given one."""

    locator: Any
    west: Any
    south: Any
    width: float
    height: float

    @property
    def lon(self) -> Any:
        """Longitude of the centre."""
        return self.west + self.width / 2

    @property
    def lat(self) -> Any:
        """Latitude of the centre."""
        return self.south + self.height / 2

    @property
    def east(self) -> Any:
        """Longitude of the east edge, which belongs to the next cell."""
        return self.west + self.width

    @property
    def north(self) -> Any:
        """Latitude of the north edge, which belongs to the next cell."""
        return self.south + self.height


def get_level_number(level: int | str) -> int:
    """Number of pairs, 1 to 5, of a level given by name or number.

    Examples
    --------
    >>> get_level_number("subsquare"), get_level_number("2")
    (3, 2)
    """
    text = str(level).strip().lower()
    if text in LEVELS:
        return LEVELS.index(text) + 1
    if text.isdecimal() and 1 <= int(text) <= len(LEVELS):
        return int(text)
    raise LocatorError(f"level {level}", "there is no such level", f"use one of {', '.join(LEVELS)}")


def count_columns(level: int) -> int:
    """Cells of a level round a parallel (180 for squares)."""
    return _COUNTS[level - 1]


def count_rows(level: int) -> int:
    """Cells of a level from pole to pole."""
    return _COUNTS[level - 1]


def get_edge_lon(i: ArrayLike, level: int) -> Any:
    """Longitude of lattice meridian ``i`` (any integer, unwrapped), the double nearest to the true value."""
    return (np.asarray(i, dtype=float) - count_columns(level) / 2) * 360 / count_columns(level)


def get_edge_lat(j: ArrayLike, level: int) -> Any:
    """Latitude of lattice parallel ``j``, 0 at the south pole, the double nearest to the true value."""
    return (np.asarray(j, dtype=float) - count_rows(level) / 2) * 180 / count_rows(level)


def get_index(lon: ArrayLike, lat: ArrayLike, level: int) -> tuple[Any, Any]:
    """Numbers ``(i, j)`` of the cells that hold the points.

    Parameters
    ----------
    lon, lat : float or array, same shape
        Degrees, WGS 84; longitude -540 to 540 (wrapped), latitude -90 to 90.
    level : int
        Pairs, 1 to 5.

    Raises
    ------
    PlaceError
        When a coordinate is not finite or lies outside the globe.
    """
    x, y = np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)
    if not (np.all(np.abs(x) <= 540) and np.all(np.abs(y) <= 90)):  # also refuses NaN
        bad = "longitude" if np.all(np.abs(y) <= 90) else "latitude"
        raise PlaceError(
            f"lat {y.tolist()}, lon {x.tolist()}",
            f"{bad} is not on the globe",
            "give degrees, latitude first",
        )
    i = np.floor(get_column_number(x, level)).astype(np.int32) % count_columns(level)
    j = np.minimum(np.floor(get_row_number(y, level)).astype(np.int32), count_rows(level) - 1)
    return i, j


def get_column_number(lon: ArrayLike, level: int) -> Any:
    """Longitude in cell widths from 180 W, a float; whole numbers are lattice meridians."""
    return _convert_to_cells(np.asarray(lon, dtype=float) + 180.0, 360.0, count_columns(level))


def get_row_number(lat: ArrayLike, level: int) -> Any:
    """Latitude in cell heights from the south pole, a float; whole numbers are lattice parallels."""
    return _convert_to_cells(np.asarray(lat, dtype=float) + 90.0, 180.0, count_rows(level))


def _convert_to_cells(degrees: NDArray[np.float64], whole: float, parts: int) -> NDArray[np.float64]:
    number = degrees * (parts / whole) if parts >= whole else degrees / (whole / parts)
    near = np.rint(number)
    snapped: NDArray[np.float64] = np.where(np.abs(number - near) <= SNAP_DEG * parts / whole, near, number)
    return snapped


@overload
def encode(lon: float, lat: float, level: int = 2) -> str: ...
@overload
def encode(lon: NDArray[Any], lat: NDArray[Any], level: int = 2) -> NDArray[np.str_]: ...
def encode(lon: Any, lat: Any, level: int = 2) -> Any:
    """Locators of points; see `get_index` for what is accepted.

    Examples
    --------
    >>> encode(11.60833, 48.14666, 4)
    'JN58td25'
    >>> encode(np.array([0.0, -180.0]), np.array([0.0, 90.0]), 3).tolist()
    ['JJ00aa', 'AR09ax']
    """
    i, j = get_index(lon, lat, level)
    return make_locator(i, j, level)


def make_locator(i: ArrayLike, j: ArrayLike, level: int) -> Any:
    """Text of the cells numbered ``(i, j)``; ``i`` wraps round the globe.

    Returns
    -------
    str, or array of str of the shape of ``i``
    """
    across = np.asarray(i, dtype=np.int32) % np.int32(count_columns(level))
    up = np.asarray(j, dtype=np.int32)
    letters = np.empty((*np.broadcast_shapes(across.shape, up.shape), 2 * level), dtype=np.uint32)
    for pair in range(level - 1, -1, -1):
        base, first = np.int32(_BASES[pair]), np.uint32(ord(_FIRST[pair]))
        for axis, number in ((0, across), (1, up)):
            higher = number // base
            letters[..., 2 * pair + axis] = (number - higher * base).astype(np.uint32) + first
            if axis == 0:
                across = higher
            else:
                up = higher
    text = letters.view(f"<U{2 * level}")[..., 0]
    return str(text) if text.ndim == 0 else text


def parse(text: Any) -> tuple[Any, Any, int]:
    """Cell numbers ``(i, j)`` and level of locators in any case; an array must be of one level.

    Raises
    ------
    LocatorError
        Naming the first bad character and its position.
    """
    texts = np.asarray(np.strings.strip(np.asarray(text, dtype=np.str_)))
    lengths = np.unique(np.strings.str_len(texts))
    length = int(lengths[0]) if len(lengths) else 2
    if len(lengths) > 1:
        raise LocatorError(f"{texts.flat[0]} ...", "these locators are of different levels", "give one level")
    if length % 2 or not 2 <= length <= 2 * len(_BASES):
        raise LocatorError(
            f"locator {texts.flat[0]!s}", f"it has {length} characters", "a locator has 2, 4, 6, 8 or 10"
        )
    codes = texts.astype(f"<U{length}").reshape((*texts.shape, 1)).view(np.uint32).astype(np.int64)
    digits = np.empty_like(codes)
    for at in range(length):
        base, first = _BASES[at // 2], ord(_FIRST[at // 2])
        code = codes[..., at]
        # Folds the case of letters; nothing else comes to lie among them.
        code = code - first if _FIRST[at // 2].isdigit() else (code | 32) - ord("a")
        digits[..., at] = np.where((code >= 0) & (code < base), code, -1)
    if np.any(digits < 0):
        _refuse_texts(texts, digits)
    i, j = digits[..., 0], digits[..., 1]
    for pair in range(1, length // 2):
        i = i * _BASES[pair] + digits[..., 2 * pair]
        j = j * _BASES[pair] + digits[..., 2 * pair + 1]
    return i, j, length // 2


def _refuse_texts(texts: NDArray[np.str_], digits: NDArray[np.int64]) -> None:
    where = tuple(np.argwhere(digits < 0)[0])
    word, at = str(texts[where[:-1]]), int(where[-1])
    base, first = _BASES[at // 2], _FIRST[at // 2].upper()
    last = chr(ord(first) + base - 1)
    kind = "a digit" if first == "0" else "a letter"
    raise LocatorError(
        f"locator {word}", f"character {at + 1} is {word[at]!r}", f"it must be {kind} {first} to {last}"
    )


def decode(text: Any) -> Cell:
    """South-west corner, size and centre of the cell a locator names.

    Parameters
    ----------
    text : str or array of str
        Any case; an array must be of one level.

    Examples
    --------
    >>> cell = decode("jo22AB")
    >>> cell.locator, cell.west, round(cell.lat, 5)
    ('JO22ab', 4.0, 52.0625)
    """
    i, j, level = parse(text)
    return Cell(
        locator=make_locator(i, j, level),
        west=_convert_to_scalar(get_edge_lon(i, level)),
        south=_convert_to_scalar(get_edge_lat(j, level)),
        width=360 / count_columns(level),
        height=180 / count_rows(level),
    )


def _convert_to_scalar(value: Any) -> Any:
    return float(value) if np.ndim(value) == 0 else value
