"""The base geography under the parks: coast, lakes, rivers, borders, towns, from Natural Earth 1:50 million.

It serves to find one's way around, nothing else: see `scout.output.base_geography`. The page gets the whole
world in few vertices and what is around its own places in more, each layer within a number of bytes.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.output.base_geography import (
    BASE_UNITS_PER_DEG,
    BaseGeography,
    BaseLayer,
    has_land,
    load_base,
)
from scout.page.packing import MAP_EDGE_LAT, PageFrame, pack_rings
from scout.table import expand_ranges

# Bytes of the page for each layer, 146,000 together. Where a layer does not fit it gets coarser, then loses
# its least records.
ROOM = {
    "land": 60_000,
    "lakes": 16_000,
    "rivers": 24_000,
    "countries": 22_000,
    "states": 10_000,
    "towns": 14_000,
}
# Of records far from the page's places those up to a rank are drawn, for whoever zooms out.
_FAR_RANKS = {"land": 0, "lakes": 1, "rivers": 1, "countries": 9, "states": -1, "towns": 1}
# Vertices stray by no more, in degrees of longitude on the map: 0.4 is two pixels where it shows a continent,
# 0.004 about one at the closest view that draws the base.
_FAR_DEG = 0.4
_NEAR_DEG = (0.004, 0.008, 0.016, 0.03, 0.06, 0.12, 0.25)
_AROUND_DEG = 3.0  # at least, to each side of the places
_AROUND_SHARE = 0.5  # of how far they lie apart
_BYTES_PER_VERTEX, _BYTES_PER_RECORD = 4, 14  # about, packed; what is kept is measured
_EDGE_DEG = 0.0015  # nearer to the edge of the world a line is that edge, and no coast


def make_geography_data(shown: NDArray[np.float64], frame: PageFrame) -> dict[str, Any]:
    """What the script draws under the parks.

    Parameters
    ----------
    shown : array, shape (n, 2)
        Longitude and latitude, degrees, of what the page shows: its places, the corners of its parks' bounds.
    frame : PageFrame
        The page's longitudes. What is returned has its own, from -180 to 180, which the script repeats.

    Returns
    -------
    dict
        For each layer of lines its records as ``[line, rank, name]`` (the line packed, loose along the edge
        of the world), ``towns`` as ``[x, y, rank, name]``, in whole numbers of ``1 / unitsPerDegree``
        degree. ``lacksLand`` says that the base has sea where most of the page's places are, as it has where
        small islands are: its sea is then not to be believed. Where nothing is shown it is the coarse world
        alone. `ROOM` has the most bytes of each.
    """
    base = load_base()
    near = _Neighbourhood(shown, frame)
    drawn: dict[str, Any] = {"unitsPerDegree": BASE_UNITS_PER_DEG, "lacksLand": not has_land(base, shown)}
    for name, layer in base.layers.items():
        drawn[name] = _draw_layer(layer, near, _FAR_RANKS[name], ROOM[name])
    drawn["towns"] = _draw_towns(base, near)
    return drawn


class _Neighbourhood:
    """A box around places in the page's longitudes, with room for a view that shows them all."""

    def __init__(self, places: NDArray[np.float64], frame: PageFrame) -> None:
        self._middle = frame.middle
        self._x, self._y = np.array([0.0, -1.0]), np.array([0.0, -1.0])  # holds nothing
        if not len(places):
            return
        lon = self._shift(places[:, 0])
        x, y = np.array([lon.min(), lon.max()]), np.array([places[:, 1].min(), places[:, 1].max()])
        size = max(_AROUND_SHARE * max(x[1] - x[0], y[1] - y[0]), _AROUND_DEG)
        wide = max(float(np.cos(np.radians(min(np.abs(y).max(), MAP_EDGE_LAT)))), 0.1)
        self._x, self._y = x + np.array([-size, size]) / wide, y + np.array([-size, size])

    def holds(self, lonlat: NDArray[np.float64]) -> NDArray[np.bool_]:
        lon, lat = self._shift(lonlat[:, 0]), lonlat[:, 1]
        inside: NDArray[np.bool_] = (
            (lon >= self._x[0]) & (lon <= self._x[1]) & (lat >= self._y[0]) & (lat <= self._y[1])
        )
        return inside

    def _shift(self, lon: NDArray[np.float64]) -> NDArray[np.float64]:
        """Degrees east of the middle of the page, within half a turn."""
        shifted: NDArray[np.float64] = (lon - self._middle + 180.0) % 360.0 - 180.0
        return shifted


def _draw_layer(layer: BaseLayer, near: _Neighbourhood, far_rank: int, room: int) -> list[list[Any]]:
    inside = near.holds(layer.lonlat)
    is_near = np.bincount(layer.of, weights=inside, minlength=len(layer.sizes)) > 0
    far = _mark_kept(layer, _FAR_DEG) & _find_large(layer, _FAR_DEG)[layer.of]
    far &= (layer.ranks <= far_rank)[layer.of] | is_near[layer.of]
    for tolerance in _NEAR_DEG:
        kept = far | (inside & _mark_kept(layer, tolerance))
        sizes = np.bincount(layer.of, weights=kept, minlength=len(layer.sizes))
        if _BYTES_PER_VERTEX * kept.sum() + _BYTES_PER_RECORD * np.count_nonzero(sizes) <= room:
            break
    records = _pack_records(layer, kept)
    # By rank; of one rank those nearby, then the longest.
    records.sort(key=lambda record: (layer.ranks[record[1]], not is_near[record[1]], -record[0]))
    drawn = []
    for size, _, record in records:
        room -= size
        if room < 0:
            break
        drawn.append(record)
    return drawn


@cache
def _project(layer: BaseLayer) -> NDArray[np.float64]:
    """On the map's projection, in degrees of longitude."""
    lat = np.clip(layer.lonlat[:, 1], -MAP_EDGE_LAT, MAP_EDGE_LAT)
    return np.column_stack([layer.lonlat[:, 0], np.degrees(np.arcsinh(np.tan(np.radians(lat))))])


@cache
def _mark_kept(layer: BaseLayer, tolerance: float) -> NDArray[np.bool_]:
    """Vertices that a line needs to stray by no more than a tolerance."""
    plane = _project(layer)
    numbered = np.column_stack([plane, np.arange(len(plane))])
    lines = shapely.linestrings(numbered, indices=layer.of)
    simple = shapely.simplify(lines, tolerance, preserve_topology=False)
    kept = np.zeros(len(plane), dtype=bool)
    kept[shapely.get_coordinates(simple, include_z=True)[:, 2].astype(np.int64)] = True
    kept.flags.writeable = False  # the next page gets the same
    return kept


def _find_large(layer: BaseLayer, least: float) -> NDArray[np.bool_]:
    """Lines that are longer or wider than that."""
    plane = _project(layer)
    begin = np.cumsum(layer.sizes) - layer.sizes
    spans = np.maximum.reduceat(plane, begin) - np.minimum.reduceat(plane, begin)
    large: NDArray[np.bool_] = spans.max(axis=1) >= 1.5 * least
    return large


def _pack_records(layer: BaseLayer, kept: NDArray[np.bool_]) -> list[tuple[int, int, list[Any]]]:
    """Bytes, number of the line, record, of lines of which something is left."""
    units = np.rint(layer.lonlat * BASE_UNITS_PER_DEG).astype(np.int64)
    edge = np.abs(np.abs(layer.lonlat[:, 0]) - 180.0) < _EDGE_DEG
    sizes = np.bincount(layer.of[kept], minlength=len(layer.sizes))
    end = np.cumsum(sizes)
    lines = np.flatnonzero(sizes > 1)
    first, last = end[lines] - sizes[lines], end[lines] - 1
    at = np.flatnonzero(kept)
    closed = (units[at[first]] == units[at[last]]).all(axis=1)
    some = ~closed | (sizes[lines] >= 4)
    lines, first, last = lines[some], first[some], last[some]
    row, member = expand_ranges(first, sizes[lines])
    after = np.where(member == last[row], first[row], member + 1)
    at, after = at[member], at[after]
    texts = pack_rings(units[at], sizes[lines], edge[at] & edge[after])
    records = []
    for line, rank, text in zip(lines.tolist(), layer.ranks[lines].tolist(), texts, strict=True):
        name = layer.names[line] if layer.names else ""
        record = [text, rank, *([name] if name else [])]
        records.append((len(text) + len(name.encode("utf-8")) + 10, line, record))
    return records


def _draw_towns(base: BaseGeography, near: _Neighbourhood) -> list[list[Any]]:
    wanted = near.holds(base.towns) | (base.town_ranks <= _FAR_RANKS["towns"])
    units = np.rint(base.towns * BASE_UNITS_PER_DEG).astype(np.int64)
    room = ROOM["towns"]
    drawn = []
    for at in np.flatnonzero(wanted):
        town = [*units[at].tolist(), int(base.town_ranks[at]), base.town_names[at]]
        room -= len(f"[{town[0]},{town[1]},{town[2]},],") + 2 + len(base.town_names[at].encode("utf-8"))
        if room < 0:
            break
        drawn.append(town)
    return drawn
