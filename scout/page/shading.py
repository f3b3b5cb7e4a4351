"""Hill shading around spots: small pictures that darken or lighten what lies under them; contours with it."""

from __future__ import annotations

import struct
import zlib
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.model import Findings, Relief, Shading
from scout.page.contours import draw_contours
from scout.page.packing import MAP_EDGE_LAT, PageFrame, convert_to_units, find_middle
from scout.walk.terrain import interpolate_grid

ROOM_FOR_SHADING = 300_000  # bytes of the page for all pictures; where they do not fit they get coarser
_AROUND_KM = 2.5  # of every spot and walk
# Metres of ground to a picture's element; the last is a hundred to a side for the largest square that fits.
_CELLS_M = (10.0, 14.0, 20.0, 28.0, 40.0, 56.0, 80.0, 113.0, 160.0, 226.0, 320.0, 450.0, 640.0)
_BYTES_OF_BOUNDS = 60
_BYTES_PER_CELL = 0.2  # at least, as text; what is made is measured
_METRES_PER_DEG = 111_200.0
# Light from the north-west, 45 degrees up, as makers of maps have it: from below, hills look like hollows.
_LIGHT = np.array([-0.5, 0.5, np.sqrt(0.5)])  # east, north, up
_LEVEL = float(_LIGHT[2])  # of light on level ground, which stays as it is
_STEEP, _MOST_STRETCHED = 0.577, 6.0  # the tangent of 30 degrees; level ground stays nearly so
_STEPS = 7  # of shade, and as many of light
_DARKEST = 0.62  # opacity of black where no light falls; white where it falls straight has half of that


_MOST_SPOTS = 500  # the best; beyond, pictures would be too coarse to tell a hill


def add_relief(findings: Findings) -> Findings:
    """The findings with pictures of the hills around spots, and contour lines, in the place of heights."""
    around = findings.surroundings
    if around is None or not around.reliefs:
        return findings
    spots = findings.spots[:_MOST_SPOTS]
    starts = [r.route.start for r in spots if r.route is not None and r.route.start is not None]
    places = np.array([*((r.spot.lon, r.spot.lat) for r in spots), *starts], dtype=float).reshape(-1, 2)
    near = places[np.abs(places[:, 1]) < MAP_EDGE_LAT - 0.1]
    boxes = _find_groups(near, PageFrame(find_middle(near[:, 0]))) if len(near) else []
    hills, lines = draw_hills(around.reliefs, places), draw_contours(around.reliefs, near, boxes)
    drawn = replace(around, reliefs=(), shading=hills, contours=lines)
    return replace(findings, surroundings=drawn)


def make_shading_data(shading: Sequence[Shading], frame: PageFrame) -> list[list[Any]]:
    """What the script draws: west, south, east, north in the page's own whole numbers, and the picture."""
    drawn = []
    for one in shading:
        turn = float(frame.turns((one.bounds[0] + one.bounds[2]) / 2))
        west, south, east, north = one.bounds
        units = convert_to_units([west + turn, south, east + turn, north])
        drawn.append([*units.tolist(), one.picture])
    return drawn


def draw_hills(reliefs: Sequence[Relief], places: NDArray[np.float64]) -> tuple[Shading, ...]:
    """Pictures of the light on the ground, one for each group of places.

    Parameters
    ----------
    reliefs : sequence of Relief
        Heights; the first that knows a place is asked.
    places : array, shape (n, 2)
        Longitude and latitude, degrees, spots first and best first.

    Returns
    -------
    tuple of Shading
        Together no more than `ROOM_FOR_SHADING` bytes of a page.
    """
    near = places[np.abs(places[:, 1]) < MAP_EDGE_LAT - 0.1]
    if not reliefs or not len(near):
        return ()
    boxes = _find_groups(near, PageFrame(find_middle(near[:, 0])))
    area = sum(_measure_m(box).prod() for box in boxes)
    made: list[Shading] = []
    for cell_m in _CELLS_M:
        if _BYTES_PER_CELL * area / cell_m**2 > ROOM_FOR_SHADING:
            continue
        made = [picture for box in boxes if (picture := _draw_box(reliefs, box, cell_m))]
        if sum(map(_count_bytes, made)) <= ROOM_FOR_SHADING:
            return tuple(made)
    fits = np.cumsum([_count_bytes(picture) for picture in made]) <= ROOM_FOR_SHADING
    return tuple(made[: int(fits.sum())])


def _count_bytes(shading: Shading) -> int:
    return len(shading.picture) + _BYTES_OF_BOUNDS


def _find_groups(places: NDArray[np.float64], frame: PageFrame) -> list[NDArray[np.float64]]:
    """Bounds of the places whose surroundings meet, those of the first place first."""
    lon = places[:, 0] + frame.turns(places[:, 0])
    dy = 1000 * _AROUND_KM / _METRES_PER_DEG
    dx = dy / np.cos(np.radians(places[:, 1]))
    boxes = shapely.box(lon - dx, places[:, 1] - dy, lon + dx, places[:, 1] + dy)
    groups = shapely.get_parts(shapely.union_all(boxes))
    first = [int(np.argmax(shapely.intersects(group, boxes))) for group in groups]
    return [shapely.bounds(groups[at]) for at in np.argsort(first, kind="stable")]


def _measure_m(box: NDArray[np.float64]) -> NDArray[np.float64]:
    """Width and height of bounds, metres."""
    wide = np.cos(np.radians((box[1] + box[3]) / 2))
    sides: NDArray[np.float64] = _METRES_PER_DEG * np.array([wide * (box[2] - box[0]), box[3] - box[1]])
    return sides


def _draw_box(reliefs: Sequence[Relief], box: NDArray[np.float64], cell_m: float) -> Shading | None:
    """A picture of some bounds; none where no height is known or all is level."""
    columns, rows = np.maximum(np.ceil(_measure_m(box) / cell_m).astype(int), 2)
    south, north = np.arcsinh(np.tan(np.radians(box[[1, 3]])))

    def locate(column: NDArray[np.float64], row: NDArray[np.float64]) -> tuple[Any, Any]:
        """Degrees of the middles of elements, rows from the north and even on the map's projection."""
        up = north - (row + 0.5) / rows * (north - south)
        return box[0] + (column + 0.5) / columns * (box[2] - box[0]), np.degrees(np.arctan(np.sinh(up)))

    axes = np.arange(columns, dtype=np.float64), np.arange(rows, dtype=np.float64)
    heights = interpolate_grid(reliefs, axes, 1.0, locate)
    cell = _measure_m(box) / [columns, rows]
    shade = compute_shade(_exaggerate(heights, *cell), *cell)
    if not (shade != _STEPS).any():
        return None
    west, south, east, north = box.tolist()
    return Shading((west, south, east, north), _write_picture(shade))


def _exaggerate(heights_m: NDArray[Any], dx_m: float, dy_m: float) -> NDArray[Any]:
    """Heights stretched so that gentle hills show: a tenth of the ground is then steeper than 30 degrees."""
    steep = np.hypot(*np.gradient(heights_m, dy_m, dx_m))
    known = steep[np.isfinite(steep)]
    usual = float(np.quantile(known, 0.9)) if len(known) else 0.0
    stretched: NDArray[Any] = heights_m * np.clip(_STEEP / max(usual, 1e-9), 1.0, _MOST_STRETCHED)
    return stretched


def compute_shade(heights_m: NDArray[Any], dx_m: float, dy_m: float) -> NDArray[np.uint8]:
    """Steps of light on the ground: 0 the darkest, 7 as level ground or unknown, 14 the lightest.

    Parameters
    ----------
    heights_m : array, shape (rows, columns)
        From the north; NaN where nothing is known.
    dx_m, dy_m : float
        Metres between columns and between rows.
    """
    down, east = np.gradient(heights_m, dy_m, dx_m)
    steep = np.sqrt(east**2 + down**2 + 1.0)
    # The normal of the ground is (-east, -north, 1) over its length, and north is up the rows.
    light = (-_LIGHT[0] * east + _LIGHT[1] * down + _LIGHT[2]) / steep
    light = np.clip(light, 0.0, 1.0)
    share = np.where(light < _LEVEL, (light - _LEVEL) / _LEVEL, (light - _LEVEL) / (1.0 - _LEVEL))
    steps: NDArray[np.uint8] = (_STEPS + np.rint(_STEPS * np.nan_to_num(share))).astype(np.uint8)
    return steps


def _write_picture(shade: NDArray[np.uint8]) -> str:
    """A PNG (ISO/IEC 15948) of black and white of several opacities, four bits an element, as a data URI."""
    rows, columns = shade.shape
    even = np.pad(shade, ((0, 0), (0, columns % 2)))
    packed = (even[:, ::2] << 4) | even[:, 1::2]
    # Before each row the kind of its filter: none, for steps that are numbers of colours.
    lines = np.pad(packed.astype(np.uint8), ((0, 0), (1, 0)))
    opacity = [_DARKEST * (1 - k / _STEPS) for k in range(_STEPS)]
    opacity += [0.5 * _DARKEST * k / _STEPS for k in range(_STEPS + 1)]
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", columns, rows, 4, 3, 0, 0, 0)),
        (b"PLTE", b"\0\0\0" * _STEPS + b"\xff\xff\xff" * (_STEPS + 1)),
        (b"tRNS", bytes(round(255 * share) for share in opacity)),
        (b"IDAT", zlib.compress(lines.tobytes(), 9)),
        (b"IEND", b""),
    )
    picture = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in chunks
    )
    return f"data:image/png;base64,{b64encode(picture).decode('ascii')}"
