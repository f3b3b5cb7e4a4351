"""Pictures of what an antenna sees: the horizon from above and unrolled, the ground under a line of sight.

Their places are units of a picture; y runs down.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scout.model import Horizon, Units
from scout.output import text as wording
from scout.sight.outlook import OPEN_DEG, AimSeen, PeakSeen, compute_possible, judge_directions, list_sectors
from scout.sight.path import SightPath

_TOPS = (10.0, 20.0, 30.0, 45.0, 60.0, 90.0)  # degrees that pictures reach up to
_SEEN_DEG = 0.05  # less cannot be seen in a picture
_RIM = 100.0  # radius of the polar picture, where the level is

Floats = NDArray[np.float64]


class PlacedLabel(NamedTuple):
    """A short text in a picture."""

    x: float
    y: float
    text: str


@dataclass(frozen=True, slots=True)
class PolarPicture:
    """The horizon from above: the rim is the level, what stands higher lies inside, ``top_deg`` amid."""

    top_deg: float
    terrain: str
    unknown: str
    limit_r: float  # of the ring up to which a horizon is open
    half_r: float  # of the ring halfway to the centre
    open_arcs: tuple[str, ...]
    unknown_arcs: tuple[str, ...]
    aims: tuple[PlacedLabel, ...]


@dataclass(frozen=True, slots=True)
class Panorama:
    """The skyline unrolled from north to north, ``wide`` by ``tall``."""

    wide: float
    tall: float
    terrain: str
    unknown: str
    level_y: float
    limit_y: float
    angles: tuple[PlacedLabel, ...]
    winds: tuple[PlacedLabel, ...]
    aims: tuple[PlacedLabel, ...]
    peaks: tuple[tuple[PlacedLabel, float], ...]  # and the height of its foot


@dataclass(frozen=True, slots=True)
class ProfilePicture:
    """The terrain under a line of sight, on a curved Earth."""

    wide: float
    tall: float
    terrain: str
    line: str
    zone: str  # all of the first Fresnel zone
    free: str  # 0.6 of it
    worst: tuple[float, float, float]  # x, y of the ground there and of the line
    heights: tuple[PlacedLabel, ...]
    distances: tuple[PlacedLabel, ...]


def draw_polar(horizon: Horizon, aims: Sequence[AimSeen] = (), limit_deg: float = OPEN_DEG) -> PolarPicture:
    """The polar picture of a horizon, in units of a hundredth of its radius about its centre."""
    deg, possible = np.array(horizon.deg), compute_possible(horizon)
    top = _choose_top(deg)
    states = judge_directions(horizon, limit_deg)
    azimuth = np.arange(len(deg), dtype=float)
    inner, beyond = (_place_polar(azimuth, _turn_in(one, top)) for one in (deg, possible))
    rim = _place_polar(azimuth, np.full(len(deg), _RIM))
    return PolarPicture(
        top,
        _join(rim) + _join(inner),
        _draw_bands(inner, beyond, possible > deg + _SEEN_DEG),
        float(_turn_in(np.array([limit_deg]), top)[0]),
        float(_turn_in(np.array([top / 2]), top)[0]),
        _draw_arcs(states == 1),
        _draw_arcs(states == -1),
        tuple(_place_label(aim.bearing_deg, str(k)) for k, aim in enumerate(aims, start=1)),
    )


def _place_label(bearing_deg: float, text: str) -> PlacedLabel:
    x, y = _place_polar(np.array([bearing_deg]), np.array([_RIM]))[0].tolist()
    return PlacedLabel(x, y, text)


def _choose_top(deg: Floats) -> float:
    return next((top for top in _TOPS if deg.max() * 1.15 <= top), _TOPS[-1])


def _turn_in(deg: Floats, top: float) -> Floats:
    found: Floats = _RIM * (1.0 - np.clip(deg / top, 0.0, 1.0))
    return found


def _place_polar(azimuth: Floats, radius: Floats) -> Floats:
    turn = np.radians(azimuth)
    return _round_tenths(np.column_stack([radius * np.sin(turn), -radius * np.cos(turn)]))


def _round_tenths(values: Any) -> Floats:
    return np.asarray(np.round(values, 1) + 0.0, dtype=np.float64)


def _join(points: Floats, close: bool = True) -> str:
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in points.tolist()) + ("Z" if close else "")


def _draw_bands(near: Floats, far: Floats, mask: NDArray[np.bool_], around: bool = True) -> str:
    """What lies between two lines where a mask holds; they close round a circle, or run from end to end."""
    if mask.all() and around:
        return _join(near) + _join(far)
    runs = list_sectors(mask) if around else list_sectors(np.append(mask, False))
    parts = []
    for first, last in runs:
        rows = (first + np.arange((last - first) % len(mask) + 1)) % len(mask)
        parts.append(_join(np.vstack([near[rows], far[rows][::-1]])))
    return "".join(parts)


def _draw_arcs(mask: NDArray[np.bool_]) -> tuple[str, ...]:
    """Arcs outside the rim, one for each run of degrees."""
    arcs = []
    for first, last in list_sectors(mask):
        count = (last - first) % 360 + 1
        azimuth = first - 0.5 + np.linspace(0.0, count, max(2, count // 3 + 2))
        arcs.append(_join(_place_polar(azimuth, np.full(len(azimuth), _RIM + 6.0)), close=False))
    return tuple(arcs)


_WINDS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW", "N")
_MOST_PEAKS, _APART = 14, 62.0  # names in a panorama, and units between two in one row


def draw_panorama(
    horizon: Horizon,
    aims: Sequence[AimSeen] = (),
    peaks: Sequence[PeakSeen] = (),
    limit_deg: float = OPEN_DEG,
) -> Panorama:
    """The skyline, three units a degree of azimuth."""
    deg, possible = np.array(horizon.deg), compute_possible(horizon)
    top, wide, tall = _choose_top(deg), 1080.0, 250.0
    least = min(-1.0, float(deg[deg > -90.0].min(initial=0.0)) - 0.5)

    def height(angle: Any) -> Any:
        return 70.0 + (tall - 70.0) * (1.0 - (np.clip(angle, least, top) - least) / (top - least))

    x = 3.0 * np.arange(361)
    ground, beyond = (np.round(height(np.append(one, one[0])), 1) for one in (deg, possible))
    line, over = np.column_stack([x, ground]), np.column_stack([x, beyond])
    floor = np.array([[wide, tall], [0.0, tall]])
    doubt = possible > deg + _SEEN_DEG
    shown = sorted(peaks, key=lambda peak: -peak.deg)[:_MOST_PEAKS]
    return Panorama(
        wide,
        tall,
        _join(np.vstack([line, floor])),
        _draw_bands(line, over, np.append(doubt, doubt[0]), around=False),
        round(float(height(0.0)), 1),
        round(float(height(limit_deg)), 1),
        tuple(
            PlacedLabel(4.0, round(float(height(one)), 1), wording.format_angle(one))
            for one in (0.0, limit_deg, top)
        ),
        tuple(PlacedLabel(135.0 * k, tall + 20.0, wind) for k, wind in enumerate(_WINDS)),
        tuple(
            PlacedLabel(round(3.0 * aim.bearing_deg, 1), 62.0, str(k)) for k, aim in enumerate(aims, start=1)
        ),
        tuple(_place_peaks(sorted(shown, key=lambda peak: peak.azimuth_deg), height)),
    )


def _place_peaks(peaks: Sequence[PeakSeen], height: Any) -> Iterator[tuple[PlacedLabel, float]]:
    """Names in three rows, each far enough from the one before in its row; what has no room is left out."""
    ends = [-math.inf] * 3
    for peak in peaks:
        x = 3.0 * peak.azimuth_deg
        half = max(_APART, 7.2 * len(peak.name)) / 2
        at = min(max(x, half), 1080.0 - half)
        row = next((k for k in range(3) if at - half >= ends[k]), None)
        if row is None:
            continue
        ends[row] = at + half
        yield PlacedLabel(round(at, 1), 14.0 + 16.0 * row, peak.name), round(float(height(peak.deg)), 1)


def draw_profile(path: SightPath, units: Units = "metric") -> ProfilePicture:
    """The profile of a line of sight; of many samples the highest of each few."""
    wide, tall = 1000.0, 330.0
    keep = _thin(path)
    at, line, zone = path.at_m[keep], path.line_m[keep], path.zone_m[keep]
    ground = np.where(np.isnan(path.ground_m[keep]), np.nan, path.ground_m[keep] + path.bulge_m[keep])
    low = float(min(np.nanmin(ground), (line - zone).min()))
    high = float(max(np.nanmax(ground), (line + zone).max()))
    low, high = low - 0.08 * (high - low) - 5.0, high + 0.05 * (high - low) + 5.0

    def place(heights: Floats) -> Floats:
        y = tall * (1.0 - (heights - low) / (high - low))
        return _round_tenths(np.column_stack([wide * at / path.distance_m, y]))

    known = np.where(np.isnan(ground), low, ground)
    floor = np.array([[wide, tall], [0.0, tall]])
    zone_path, free_path = (
        _join(np.vstack([place(line + share * zone), place(line - share * zone)[::-1]]))
        for share in (1.0, 0.6)
    )
    k = path.worst
    top = float(path.ground_m[k] + path.bulge_m[k])
    where = [tall * (1.0 - (one - low) / (high - low)) for one in (top, float(path.line_m[k]))]
    marks = [low + (high - low) * share for share in (0.1, 0.5, 0.9)]
    return ProfilePicture(
        wide,
        tall,
        _join(np.vstack([place(known), floor])),
        _join(place(line)[[0, -1]], close=False),
        zone_path,
        free_path,
        (round(wide * float(path.at_m[k]) / path.distance_m, 1), round(where[0], 1), round(where[1], 1)),
        tuple(
            PlacedLabel(
                4.0, round(tall * (1.0 - (one - low) / (high - low)), 1), wording.format_height(one, units)
            )
            for one in marks
        ),
        tuple(
            PlacedLabel(wide * share, tall + 20.0, wording.format_length(share * path.distance_m, units))
            for share in (0.25, 0.5, 0.75)
        ),
    )


_MOST_POINTS = 500


def _thin(path: SightPath) -> NDArray[np.int64]:
    """Rows that a picture needs: both ends, the least clear place, the highest ground of each few samples."""
    count = len(path.at_m)
    if count <= _MOST_POINTS:
        return np.arange(count)
    cuts = np.linspace(0, count, _MOST_POINTS - 2).astype(np.int64)
    over = np.where(np.isnan(path.clearance_m), np.inf, path.clearance_m)
    rows = [a + int(over[a:b].argmin()) for a, b in pairwise(cuts.tolist())]
    return np.unique([0, *rows, path.worst, count - 1])
