"""What a horizon means for a station: open sectors, the sky over it, the worst of it, other places.

Angles are for radio (an Earth of 4/3 its radius) unless said. Where heights end too soon, ground as high as
the highest in the data may stand just beyond: a direction is open only if that would not close it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from scout.errors import InputError, PlaceError
from scout.geo.coordinates.parse import read_place
from scout.geo.geodesy import measure_geodesic
from scout.model import Aim, Horizon
from scout.quantities import Length, MeasuredText, format_angle, format_bearing, format_share_of_sky
from scout.sight.horizon import SightGround
from scout.walk.terrain import interpolate_heights

OPEN_DEG = 3.0  # a horizon up to this is open: our choice, for the low angles that distant contacts take
BESIDE_DEG = 5  # on either side of an azimuth that is to be open
_EARTH_M = 6_371_000.0  # mean radius
_WINDOW = 10  # degrees of azimuth of the worst part
_LEAST_SECTOR = 5  # degrees; narrower ones are not told of
_MOST_SECTORS = 3
_PEAK_DEG = 0.3

Floats = NDArray[np.float64]
State = Literal["open", "closed", "unknown"]


@dataclass(frozen=True, slots=True)
class AimSeen:
    """A direction or a place as a spot sees it."""

    label: str
    bearing_deg: float
    distance_m: float | None  # None of a bare azimuth
    horizon_deg: float
    most_deg: float  # that the horizon may be, where heights end too soon
    state: State  # by `OPEN_DEG`


@dataclass(frozen=True, slots=True)
class OpenTo:
    """A sector asked for: ``BESIDE_DEG`` on both sides of an azimuth, under an angle."""

    azimuth_deg: float
    limit_deg: float = OPEN_DEG


def compute_possible(horizon: Horizon) -> Floats:
    """The angle that the horizon has at the most: that of the data, or of high ground beyond their end."""
    deg, reach = np.array(horizon.deg), np.array(horizon.reach_m)
    bent = _EARTH_M / (1.0 - horizon.refraction)
    eye_m = horizon.ground_m + horizon.antenna_m
    tangent_m = math.sqrt(2.0 * bent * max(eye_m - horizon.highest_m, 0.0))
    at = np.clip(tangent_m, np.maximum(reach, 1.0), max(horizon.needed_m, 1.0))
    beyond = np.degrees(np.arctan((horizon.highest_m - eye_m) / at - at / (2.0 * bent)))
    found: Floats = np.where(reach < horizon.needed_m, np.maximum(deg, beyond), deg)
    return found


def judge_directions(horizon: Horizon, limit_deg: float = OPEN_DEG) -> NDArray[np.int8]:
    """Of each degree of azimuth 1 where open, 0 where closed, -1 where heights end too soon to say."""
    deg = np.array(horizon.deg)
    found: NDArray[np.int8] = np.where(
        deg > limit_deg, 0, np.where(compute_possible(horizon) <= limit_deg, 1, -1)
    ).astype(np.int8)
    return found


def list_sectors(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last degree of each run of a circle's degrees; (0, 359) for all of it.

    Examples
    --------
    >>> around = np.zeros(360, dtype=bool)
    >>> around[[359, 0, 1, 90]] = True
    >>> list_sectors(around)
    [(90, 90), (359, 1)]
    """
    count = len(mask)
    if mask.all():
        return [(0, count - 1)]
    begins = np.flatnonzero(mask & ~np.roll(mask, 1))
    ends = np.flatnonzero(mask & ~np.roll(mask, -1))
    if len(ends) and ends[0] < begins[0]:
        ends = np.roll(ends, -1)
    return [*zip(begins.tolist(), ends.tolist(), strict=True)]


def format_sectors(horizon: Horizon, limit_deg: float = OPEN_DEG) -> str:
    """The open sectors as text for a column: ``190-310 340-20``; ``0-359`` all round, ``none`` nowhere."""
    sectors = list_sectors(judge_directions(horizon, limit_deg) == 1)
    return " ".join(f"{a}-{b}" for a, b in sectors) or "none"


def measure_sky_view(horizon: Horizon) -> float:
    """The share of the sky's half sphere over the horizon; at the most, where heights end too soon.

    Under an angle a of one direction lies sin a of its part of the half sphere.
    """
    return float(1.0 - np.sin(np.radians(np.maximum(horizon.deg, 0.0))).mean())


def find_worst(horizon: Horizon) -> tuple[int, int, float]:
    """The ten degrees with the highest horizon on average: first, last, the highest angle among them."""
    deg = np.array(horizon.deg)
    means = np.convolve(np.concatenate([deg, deg[: _WINDOW - 1]]), np.ones(_WINDOW), "valid")
    first = int(means.argmax())
    part = (first + np.arange(_WINDOW)) % len(deg)
    return first, int(part[-1]), float(deg[part].max())


def get_angle(horizon: Horizon, azimuth_deg: Any) -> Any:
    """The horizon's angle at any azimuth, between the whole degrees beside it."""
    return _interpolate(np.array(horizon.deg), azimuth_deg)


def _interpolate(around: Floats, azimuth_deg: Any) -> Any:
    at = np.asarray(azimuth_deg, dtype=float) % 360.0
    low = np.floor(at).astype(np.int64)
    share, count = at - low, len(around)
    return around[low % count] * (1.0 - share) + around[(low + 1) % count] * share


def bend_to(horizon: Horizon, refraction: float) -> Floats:
    """The angles under another bending of rays: what makes the horizon stays, and stands higher or lower."""
    at_m, bend = np.array(horizon.at_m), refraction - horizon.refraction
    tangents = np.tan(np.radians(horizon.deg)) + at_m * bend / (2.0 * _EARTH_M)
    found: Floats = np.degrees(np.arctan(tangents))
    return found


@dataclass(frozen=True, slots=True)
class PeakSeen:
    """A named peak on the skyline."""

    name: str
    azimuth_deg: float
    distance_m: float
    deg: float


def find_peaks(
    horizon: Horizon,
    here: tuple[float, float],
    ground: SightGround,
    peaks: Sequence[tuple[str, float, float]],
) -> list[PeakSeen]:
    """The named peaks (name, longitude, latitude) that stand on the skyline, from north clockwise.

    One stands there whose angle is that of the horizon, to `_PEAK_DEG`, for cells flatten peaks.
    """
    if not peaks:
        return []
    lon, lat = (np.array([peak[k] for peak in peaks], dtype=float) for k in (1, 2))
    distance, bearing = measure_geodesic(here[0], here[1], lon, lat)
    height = interpolate_heights([raster.relief for raster in ground.rasters], lon, lat)
    bent = _EARTH_M / (1.0 - horizon.refraction)
    eye_m = horizon.ground_m + horizon.antenna_m
    with np.errstate(invalid="ignore"):
        deg = np.degrees(np.arctan((height - eye_m) / np.maximum(distance, 1.0) - distance / (2.0 * bent)))
        on_line = (deg >= get_angle(horizon, bearing) - _PEAK_DEG) & (distance >= 100.0)
    seen = [
        PeakSeen(peaks[k][0], float(bearing[k]), float(distance[k]), float(deg[k]))
        for k in np.flatnonzero(on_line).tolist()
    ]
    return sorted(seen, key=lambda one: one.azimuth_deg)


# Where one wants to work: places and azimuths.
_AZIMUTH = re.compile(r"(\d{1,3}(?:\.\d+)?)\s*(?:°|deg)?")
_OPEN_TO = re.compile(r"(\d{1,3}(?:\.\d+)?)(?::(-?\d{1,2}(?:\.\d+)?))?")


def parse_aim(text: str) -> Aim:
    """A place in any of the usual forms, or an azimuth from 0 to 360.

    Examples
    --------
    >>> parse_aim("240"), parse_aim("JN58").lat
    (Aim(label='240', azimuth_deg=240.0, lon=None, lat=None), 48.5)

    Raises
    ------
    InputError
        It is neither.
    """
    clean = " ".join(text.split())
    number = _AZIMUTH.fullmatch(clean)
    if number is not None and float(number[1]) <= 360.0:
        return Aim(clean, float(number[1]) % 360.0, None, None)
    try:
        place = read_place(clean)
    except PlaceError as error:
        remedy = "give a locator, LAT,LON or an azimuth from 0 to 360"
        raise InputError(f"towards {clean[:60]}", "is no place and no azimuth", remedy) from error
    return Aim(clean, None, place.lon, place.lat)


def parse_open_to(text: str) -> OpenTo:
    """An azimuth, and after a colon the highest angle that still counts as open.

    Examples
    --------
    >>> parse_open_to("200:2.5"), parse_open_to("90")
    (OpenTo(azimuth_deg=200.0, limit_deg=2.5), OpenTo(azimuth_deg=90.0, limit_deg=3.0))
    """
    found = _OPEN_TO.fullmatch(text.strip())
    if found is None or float(found[1]) > 360.0:
        remedy = "write AZIMUTH or AZIMUTH:DEG, such as 200:3"
        raise InputError(f"open to {text[:40]}", "is no azimuth with an angle", remedy)
    return OpenTo(float(found[1]) % 360.0, OPEN_DEG if found[2] is None else float(found[2]))


def judge_open_to(horizon: Horizon, wanted: OpenTo) -> State:
    """Whether a whole sector is open; closed where one direction of it is, unknown where one is not known."""
    around = np.arange(-BESIDE_DEG, BESIDE_DEG + 1) + round(wanted.azimuth_deg)
    states = judge_directions(horizon, wanted.limit_deg)[around % 360]
    return "closed" if (states == 0).any() else "open" if (states == 1).all() else "unknown"


def look_towards(horizon: Horizon, lon: float, lat: float, aims: Sequence[Aim]) -> list[AimSeen]:
    """Bearing, distance and horizon of places and azimuths from a spot."""
    seen, possible = [], compute_possible(horizon)
    for aim in aims:
        bearing, distance = aim.azimuth_deg, None
        if aim.lon is not None and aim.lat is not None:
            distance, bearing = measure_geodesic(lon, lat, aim.lon, aim.lat)
        assert bearing is not None
        deg, most = (float(_interpolate(np.array(v), bearing)) for v in (horizon.deg, possible))
        state: State = "closed" if deg > OPEN_DEG else "open" if most <= OPEN_DEG else "unknown"
        seen.append(AimSeen(aim.label, bearing, distance, deg, most, state))
    return seen


# In words.
def describe_horizon(horizon: Horizon, limit_deg: float = OPEN_DEG, *, brief: bool = False) -> list[str]:
    """The horizon in a few sentences: what is open, what stands highest and what is not known.

    Unless ``brief`` also the worst ten degrees and the sky over it.
    """
    states = judge_directions(horizon, limit_deg)
    lines: list[str] = [_describe_open(states, limit_deg), _describe_highest(horizon)]
    unknown = states == -1
    if unknown.any():
        where = "all round" if unknown.all() else _join_sectors(list_sectors(unknown))
        shortest = Length(float(np.array(horizon.reach_m)[unknown].min()))
        lines.append(
            MeasuredText(f"Unknown {where}: heights end too soon there, after ", shortest, " or more.")
        )
    if not brief:
        first, last, highest = find_worst(horizon)
        sky = format_share_of_sky(measure_sky_view(horizon), bool(unknown.any()))
        lines += [
            f"The worst ten degrees, from {first}° to {last}°: up to {format_angle(highest)}.",
            f"Sky over the horizon: {sky}.",
        ]
    return lines


def _describe_open(states: NDArray[np.int8], limit_deg: float) -> str:
    open_ = states == 1
    limit = f"horizon up to {format_angle(limit_deg)}"
    if open_.all():
        return f"Open all round ({limit})."
    sectors = [one for one in list_sectors(open_) if (one[1] - one[0]) % 360 + 1 >= _LEAST_SECTOR]
    if not sectors:
        return f"{'Nowhere known to be open' if (states == -1).any() else 'Nowhere open'} ({limit})."
    return f"Open {_join_sectors(sectors)} ({limit})."


def _join_sectors(sectors: Sequence[tuple[int, int]]) -> str:
    largest = sorted(sectors, key=lambda one: (one[0] - one[1] - 1) % 360)[:_MOST_SECTORS]
    texts = [f"from {a}° to {b}°" if a != b else f"at {a}°" for a, b in sorted(largest)]
    more = len(sectors) - len(largest)
    return " and ".join([", ".join(texts), *([f"in {more} narrower sectors"] if more else [])])


def _describe_highest(horizon: Horizon) -> MeasuredText:
    deg = np.array(horizon.deg)
    at = int(deg.argmax())
    return MeasuredText(
        f"Highest {format_angle(float(deg[at]))} ± {format_angle(horizon.error_deg[at])} in the "
        f"{format_bearing(float(at))}, ",
        Length(horizon.at_m[at]),
        " away.",
    )


def list_terms(horizon: Horizon, seen: Sequence[AimSeen] = ()) -> list[tuple[str, str]]:
    """The horizon in terms and short texts, where there is little room."""
    states = judge_directions(horizon)
    terms: list[tuple[str, str]] = []
    for term, state in (("open", 1), ("unknown", -1)):
        mask = states == state
        if mask.any() or state == 1:
            text = _join_sectors(list_sectors(mask)).replace("from ", "") if mask.any() else "nowhere"
            terms.append((term, "all round" if mask.all() else text))
    at = int(np.array(horizon.deg).argmax())
    highest = f"{format_angle(horizon.deg[at])} in the {format_bearing(float(at))}, "
    terms.append(("horizon", MeasuredText("up to ", highest, Length(horizon.at_m[at]), " away")))
    for one in seen:
        word = "not known for sure" if one.state == "unknown" else one.state
        text = f"{round(one.bearing_deg) % 360}°, horizon {format_angle(one.horizon_deg)}, {word}"
        terms.append((f"to {one.label}", text))
    return terms


def describe_aim(seen: AimSeen) -> MeasuredText:
    """A place or azimuth as a spot sees it, in one sentence."""
    away: tuple[str | Length, ...] = () if seen.distance_m is None else (", ", Length(seen.distance_m))
    word = "not known for sure: heights end too soon" if seen.state == "unknown" else seen.state
    return MeasuredText(
        f"Towards {seen.label}: {format_bearing(seen.bearing_deg)}",
        *away,
        f", horizon {format_angle(seen.horizon_deg)}, {word}.",
    )
