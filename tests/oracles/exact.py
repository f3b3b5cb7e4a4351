"""The locator lattice in exact fractions: edges, cells and texts, without one rounding.

Sizes: IARU Region 1 VHF Managers Handbook, locator chapter (read in a copy that quotes it); the fifth pair
from ADIF 3.1.6, characters 9 and 10 of a locator (read).
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache, lru_cache
from math import floor

LEVELS = (1, 2, 3, 4, 5)
BASES = (18, 10, 24, 10, 24)
DIGITS = "0123456789"
ALPHABETS = ("ABCDEFGHIJKLMNOPQR", DIGITS, "abcdefghijklmnopqrstuvwx", DIGITS, "ABCDEFGHIJKLMNOPQRSTUVWX")

SNAP_DEG = Fraction(1, 10**9)  # nearer to an edge than this counts as on it


def columns(level: int) -> int:
    """Cells round the globe; the rows from pole to pole are as many."""
    cells = 1
    for base in BASES[:level]:
        cells *= base
    return cells


rows = columns  # a cell is twice as wide as high, and the globe twice as wide in degrees


@cache
def width(level: int) -> Fraction:
    """Degrees of longitude of one cell."""
    return Fraction(360, columns(level))


@cache
def height(level: int) -> Fraction:
    """Degrees of latitude of one cell."""
    return Fraction(180, rows(level))


@lru_cache(maxsize=10_000)
def edge_lon(i: int, level: int) -> float:
    """Nearest double of meridian number i; numbers past the last column run past 180."""
    return float(width(level) * i - 180)


@lru_cache(maxsize=10_000)
def edge_lat(j: int, level: int) -> float:
    """Nearest double of parallel number j."""
    return float(height(level) * j - 90)


def text(i: int, j: int, level: int) -> str:
    """Locator of cell (i, j), column counted from 180 W and row from the south pole."""
    pairs: list[str] = []
    i %= columns(level)
    for base, alphabet in zip(reversed(BASES[:level]), reversed(ALPHABETS[:level]), strict=True):
        pairs.append(alphabet[i % base] + alphabet[j % base])
        i //= base
        j //= base
    return "".join(reversed(pairs))


def same(one: str, other: str) -> bool:
    """Whether two locators agree; only the case of the fifth pair is free, which no standard fixes."""
    return one[:8] == other[:8] and one.lower() == other.lower()


def cell(lon: float, lat: float, level: int) -> tuple[int, int]:
    """Cell that holds the very double given, in exact arithmetic, without any snap."""
    i = floor((Fraction(lon) + 180) / width(level)) % columns(level)
    j = min(floor((Fraction(lat) + 90) / height(level)), rows(level) - 1)
    return i, j


def gaps(value: float, step: Fraction, origin: int) -> tuple[int, Fraction, Fraction]:
    """Cell number along one axis, and the exact distances to its lower and upper edge, degrees."""
    offset = Fraction(value) + origin
    number = floor(offset / step)
    below = offset - number * step
    return number, below, step - below


def may_be(value: float, step: Fraction, origin: int) -> set[int]:
    """Cell numbers allowed along one axis: one, but for a hair round the snap distance itself.

    The cell of the exact double, unless the upper edge is nearer than the snap: then the cell above it.
    Between half the snap and twice the snap either will do.
    """
    number, _, above = gaps(value, step, origin)
    if above >= 2 * SNAP_DEG:
        return {number}
    if above <= SNAP_DEG / 2:
        return {number + 1}
    return {number, number + 1}


def cells_allowed(lon: float, lat: float, level: int) -> set[tuple[int, int]]:
    """Cells an encoder may name for a point: longitude 180 is -180, latitude 90 is in the topmost row."""
    across = {i % columns(level) for i in may_be(lon, width(level), 180)}
    upward = {min(j, rows(level) - 1) for j in may_be(lat, height(level), 90)}
    return {(i, j) for i in across for j in upward}
