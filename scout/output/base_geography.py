"""The base geography of the world, from Natural Earth 1:50 million: coast, lakes, rivers, borders, towns.

It lies in one packed file beside this module (made by ``tests/tools/make_geography.py``) and serves to find
one's way around, nothing else: lines are wrong by a kilometre or so, and nothing is judged by it.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

BASE_UNITS_PER_DEG = 1000  # 0.11 km, a tenth of what the lines are wrong by
PACKED_FILE = "geography.npz"
LAYERS = ("land", "lakes", "rivers", "countries", "states")
AREAS = ("land", "lakes")  # rings, filled where an odd number of them is around
_OFF_DEG = 0.03  # 3 km: as far as the coast may be off
_PLACES_TRIED = 100  # and no more than twice as many


@dataclass(frozen=True, eq=False)
class BaseLayer:
    """Lines, each with a rank (0 first) and perhaps a name; a ring is a line that ends where it begins."""

    lonlat: NDArray[np.float64]  # degrees, all lines end to end
    sizes: NDArray[np.int64]
    ranks: NDArray[np.int64]
    names: list[str]

    @property
    def of(self) -> NDArray[np.int64]:
        """The line of every vertex."""
        return np.repeat(np.arange(len(self.sizes)), self.sizes)


@dataclass(frozen=True, eq=False)
class BaseGeography:
    """The packed file, read."""

    layers: dict[str, BaseLayer]
    towns: NDArray[np.float64]  # degrees; by rank, then the most people first
    town_ranks: NDArray[np.int64]
    town_names: list[str]


@cache
def load_base() -> BaseGeography:
    """The base geography of the whole world."""
    packed = np.load(io.BytesIO((files(__package__) / PACKED_FILE).read_bytes()), allow_pickle=False)
    return BaseGeography(
        {name: _unpack_layer(packed, name) for name in LAYERS},
        packed["towns_at"] / BASE_UNITS_PER_DEG,
        packed["towns_ranks"].astype(np.int64),
        _unpack_texts(packed["towns_names"]),
    )


def _unpack_layer(packed: Any, name: str) -> BaseLayer:
    sizes = packed[f"{name}_sizes"].astype(np.int64)
    begin = np.cumsum(sizes) - sizes
    steps = np.empty((int(sizes.sum()), 2), dtype=np.int64)
    later = np.ones(len(steps), dtype=bool)
    later[begin] = False
    steps[later] = packed[f"{name}_steps"]
    units = np.zeros_like(steps)
    np.cumsum(np.where(later[:, None], steps, 0), axis=0, out=units)
    units += np.repeat(packed[f"{name}_first"] - units[begin], sizes, axis=0)
    names = f"{name}_names"
    return BaseLayer(
        units / BASE_UNITS_PER_DEG,
        sizes,
        packed[f"{name}_ranks"].astype(np.int64),
        _unpack_texts(packed[names]) if names in packed else [],
    )


def _unpack_texts(letters: NDArray[np.uint8]) -> list[str]:
    return letters.tobytes().decode("utf-8").split("\n")


def has_land(base: BaseGeography, places: NDArray[np.float64]) -> bool:
    """Whether half of the places lie on the base's land, or as near to it as it is wrong."""
    tree = _index_land(base)
    lon = (places[:, 0] + 180.0) % 360.0 - 180.0
    some = shapely.points(lon, places[:, 1])[:: max(len(places) // _PLACES_TRIED, 1)]
    on_land = np.unique(tree.query(some, predicate="dwithin", distance=_OFF_DEG)[0])
    return 2 * len(on_land) >= len(some)


@cache
def _index_land(base: BaseGeography) -> shapely.STRtree:
    land = base.layers["land"]
    return shapely.STRtree(shapely.polygons(shapely.linearrings(land.lonlat, indices=land.of)))


def clip_layer(
    layer: BaseLayer, box: tuple[float, float, float, float], areas: bool, tolerance: float, most_rank: int
) -> list[NDArray[np.float64]]:
    """What of a layer is seen in a box, with vertices left out that stray by no more than the tolerance.

    Parameters
    ----------
    layer : BaseLayer
    box : tuple of float
        West, south, east, north, degrees; it may lie a turn of the globe away.
    areas : bool
        Whether its lines are rings, cut as areas.
    tolerance : float
        Degrees.
    most_rank : int
        Records of a higher rank are left out.

    Returns
    -------
    list of arrays, shape (n, 2)
        Longitudes in the box's turn, and latitudes; rings end where they begin.
    """
    west, south, east, north = box
    kept = np.flatnonzero(layer.ranks <= most_rank)
    rows = np.searchsorted(kept, layer.of)
    mine = np.isin(layer.of, kept)
    lines = (shapely.linearrings if areas else shapely.linestrings)(layer.lonlat[mine], indices=rows[mine])
    shapes = shapely.polygons(lines) if areas else lines
    found = []
    for turn in (-360.0, 0.0, 360.0):
        cut = shapely.get_parts(shapely.clip_by_rect(shapes, west - turn, south, east - turn, north))
        cut = shapely.get_rings(cut[shapely.get_type_id(cut) == 3]) if areas else cut
        cut = shapely.simplify(cut, tolerance, preserve_topology=False)
        coordinates, of = shapely.get_coordinates(cut, return_index=True)
        for line in np.split(coordinates, np.flatnonzero(np.diff(of)) + 1):
            if len(line) >= (4 if areas else 2):
                found.append(np.column_stack([line[:, 0] + turn, line[:, 1]]))
    return found
