"""A made national geodatabase of protected ground, in the shape that such databases are published in.

Six layers in Albers metres (ESRI:102039); names and no ids; the same ground told in three layers; arcs;
records that need repair and records without ground; one park in two records; one name on several parks. The
layers and columns are those of PAD-US as known from memory; all names and places are invented.
"""

from __future__ import annotations

import math
import struct
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow
import pyogrio.raw
import shapely

CRS = "ESRI:102039"
COLUMNS = ("Unit_Nm", "Mang_Name", "Des_Tp", "Category", "Pub_Access", "State_Nm")
LAYERS = ("Fee", "Designation", "Easement", "Proclamation", "Marine", "Combined")
ACCESS = ("OA", "RA", "XA", "UK")  # open, restricted, closed, unknown
_FIRST = (
    "Tern",
    "Sallow",
    "Quiet",
    "Long",
    "Copper",
    "Amber",
    "Fern",
    "Heron",
    "Gravel",
    "Willow",
    "Otter",
    "Slate",
)
_LAST = ("Marsh", "Spit", "Hollow", "Ridge", "Bluff", "Fen", "Meadow", "Shoals", "Grove", "Bend", "Mesa")
_STEP_M, _LEFT_M, _LOW_M = 12_000.0, -300_000.0, 1_700_000.0


@dataclass(frozen=True, slots=True)
class MadePark:
    """A park as its maker knows it: ``ground`` has fine edges for arcs, others may miss ``error_m2``."""

    values: tuple[str, ...]  # by `COLUMNS`
    ground: shapely.Geometry
    binaries: tuple[bytes, ...]  # a record each, as written
    error_m2: float = 0.0

    @property
    def name(self) -> str:
        return self.values[0]


def pack_circle(x: float, y: float, radius: float) -> bytes:
    """Curved polygon of two half circles (ISO 13249-3)."""
    places = [(x - radius, y), (x, y + radius), (x + radius, y), (x, y - radius), (x - radius, y)]
    run = b"".join(struct.pack("<2d", *place) for place in places)
    return struct.pack("<BII", 1, 10, 1) + struct.pack("<BII", 1, 8, len(places)) + run


def pack_segment(x: float, y: float, radius: float) -> bytes:
    """Curved polygon of the upper half of a disc: an arc, then its chord, as one compound curve."""
    arc = struct.pack("<BII6d", 1, 8, 3, x + radius, y, x, y + radius, x - radius, y)
    chord = struct.pack("<BII4d", 1, 2, 2, x - radius, y, x + radius, y)
    return struct.pack("<BII", 1, 10, 1) + struct.pack("<BII", 1, 9, 2) + arc + chord


def _disc(x: float, y: float, radius: float, turn: float = 2 * math.pi) -> shapely.Polygon:
    angle = np.linspace(0, turn, 20_001)
    return shapely.Polygon(np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)]))


def _star(rng: np.random.Generator, x: float, y: float) -> shapely.Polygon:
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    far = rng.uniform(900, 2400, 40)
    return shapely.Polygon(np.column_stack([x + far * np.cos(angle), y + far * np.sin(angle)]))


def _make_park(number: int, rng: np.random.Generator, category: str, shift: int) -> MadePark:
    column, row = (number + shift) % 40, (number + shift) // 40
    x, y = _LEFT_M + column * _STEP_M, _LOW_M + row * _STEP_M
    name = f"{_FIRST[number % 12]} {_LAST[number // 12 % 11]} {number // 132 or ''}".strip()
    name = "Amber Commons" if number % 19 == 5 else name  # several, far apart
    values = (name, ("Ministry", "County", "Trust")[number % 3], "SP", category, ACCESS[number % 4], "QA")
    if number % 7 == 3:
        radius = 400.0 * (1 + number % 5)
        ground, error = _disc(x, y, radius), 2 * math.pi * radius * 0.1
        return MadePark(values, ground, (pack_circle(x, y, radius),), error)
    if number % 7 == 5:
        radius = 300.0 * (1 + number % 4)
        half = _disc(x, y, radius, math.pi)
        return MadePark(values, half, (pack_segment(x, y, radius),), math.pi * radius * 0.1)
    if number % 11 == 4:  # two records that touch
        halves = shapely.box([x, x + 1000], y, [x + 1000, x + 2500], y + 1500)
        return MadePark(values, shapely.union_all(halves), tuple(shapely.to_wkb(halves)))
    if number % 13 == 6:  # a bow tie
        tie = shapely.Polygon([(x, y), (x + 2000, y + 1000), (x + 2000, y), (x, y + 1000), (x, y)])
        left = shapely.Polygon([(x, y), (x + 1000, y + 500), (x, y + 1000)])
        right = shapely.Polygon([(x + 2000, y + 1000), (x + 1000, y + 500), (x + 2000, y)])
        return MadePark(values, shapely.MultiPolygon([left, right]), (shapely.to_wkb(tie),))
    star = _star(rng, x, y)
    if number % 5 == 2:
        star = shapely.Polygon(star.exterior, [shapely.box(x - 200, y - 200, x + 150, y + 250).exterior])
    raised = shapely.force_3d(star, 7.0) if number % 5 == 1 else star
    return MadePark(values, star, (shapely.to_wkb(raised, output_dimension=3),))


def make_parks(count: int = 120, seed: int = 1) -> dict[str, list[MadePark]]:
    """The parks of every layer."""
    rng = np.random.default_rng(seed)
    fee = [_make_park(k, rng, "Fee", 0) for k in range(count)]
    easement = [_make_park(k, rng, "Easement", count + 80) for k in range(count // 4)]
    marine = [_make_park(7 * k + 3, rng, "Marine", 7 * count + 400) for k in range(count // 10)]
    again = [_retell(park, "Designation") for park in fee[::4]]
    proclaimed = [_retell(park, "Proclamation") for park in fee[::12]]
    made = dict(zip(LAYERS, (fee, again, easement, proclaimed, marine), strict=False))
    return {**made, "Combined": [*fee, *easement, *marine]}


def _retell(park: MadePark, category: str) -> MadePark:
    """The same ground in another layer."""
    values = (*park.values[:3], category, *park.values[4:])
    return MadePark(values, park.ground, park.binaries, park.error_m2)


def write_geodatabase(path: Path, parks: dict[str, list[MadePark]], crs: str = CRS) -> Path:
    """Write them, in every layer one record without an outline and one with an empty one at the end."""
    for layer, some in parks.items():
        rows = [(binary, park.values) for park in some for binary in park.binaries]
        rows += [(None, ("No Outline", *rows[0][1][1:])), (shapely.to_wkb(shapely.Polygon()), rows[0][1])]
        write_layer(path, layer, rows, crs)
    return path


def write_layer(
    path: Path, layer: str, rows: Sequence[tuple[bytes | None, tuple[str, ...]]], crs: str = CRS
) -> None:
    """Add a layer of outlines as well-known binaries to a geodatabase or GeoPackage."""
    columns: dict[str, Any] = {name: [values[k] for _, values in rows] for k, name in enumerate(COLUMNS)}
    columns["SHAPE"] = pyarrow.array([binary for binary, _ in rows], pyarrow.binary())
    driver = {".gdb": "OpenFileGDB", ".gpkg": "GPKG"}[path.suffix]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pyogrio.raw.write_arrow(
            pyarrow.table(columns),
            path,
            driver=driver,
            layer=layer,
            geometry_type="MultiPolygon" if driver == "OpenFileGDB" else "Unknown",
            geometry_name="SHAPE",
            crs=crs,
        )
