"""The line of sight between two places: terrain under it, the first Fresnel zone round it, what stands in it.

Between antennas d apart, d1 and d2 from a place on the way, the Earth bulges by d1 d2 / 2 R' over a straight
line, R' being 4/3 of its radius (ITU-R P.530, M), and the first Fresnel zone has the radius
sqrt(wavelength d1 d2 / d) (ITU-R P.526, M): 17.3 sqrt(d1 d2 / f d) m in km and GHz. With 0.6 of that free of
terrain a path is as good as free (P.530, M).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from scout.errors import InputError
from scout.geo.geodesy import measure_geodesic, move_point
from scout.quantities import Length, MeasuredText, format_bearing, format_fixed, format_share_of_zone
from scout.sight.horizon import FARTHEST_M, RADIO, SightGround, measure_radius
from scout.walk.terrain import interpolate_heights, locate_pixels

LIGHT_M_PER_S = 299_792_458.0  # in a vacuum, by definition (SI)
FREE_SHARE = 0.6
LONGEST_M = 3.0 * FARTHEST_M
_MOST_SAMPLES = 50_000

Floats = NDArray[np.float64]
PathState = Literal["free", "grazed", "blocked", "unknown"]


@dataclass(frozen=True, slots=True)
class SightPath:
    """The terrain between two antennas, from one to the other, metres; NaN where heights are not known."""

    distance_m: float
    bearing_deg: float  # at the first place
    back_deg: float  # at the second
    mhz: float
    at_m: Floats  # distance from the first place
    ground_m: Floats  # height of the terrain
    bulge_m: Floats  # of the Earth over a straight line
    line_m: Floats  # height of the straight line between the antennas
    zone_m: Floats  # radius of the first Fresnel zone
    state: PathState
    worst: int  # row where the clearance is the least share of the zone
    worst_at: tuple[float, float]  # longitude and latitude of it
    unknown_m: float  # of the way without heights

    @property
    def clearance_m(self) -> Floats:
        """The line over the terrain."""
        return self.line_m - self.bulge_m - self.ground_m

    @property
    def share(self) -> Floats:
        """Clearance over the radius of the first Fresnel zone; infinite at both ends."""
        with np.errstate(invalid="ignore", divide="ignore"):
            found: Floats = np.where(self.zone_m > 0, self.clearance_m / self.zone_m, np.inf)
        return found


def compute_zone_radius(one_m: Any, other_m: Any, mhz: float) -> Any:
    """Radius of the first Fresnel zone at distances from both ends, metres (ITU-R P.526, M).

    Examples
    --------
    >>> round(float(compute_zone_radius(5000.0, 5000.0, 1000.0)), 1)  # 17.3 sqrt(5 x 5 / (1 x 10))
    27.4
    """
    one, other = np.asarray(one_m, dtype=float), np.asarray(other_m, dtype=float)
    return np.sqrt(LIGHT_M_PER_S / (mhz * 1e6) * one * other / np.maximum(one + other, 1e-9))


def measure_path(
    ground: SightGround,
    one: tuple[float, float, float],
    other: tuple[float, float, float],
    mhz: float,
    refraction: float = RADIO,
) -> SightPath:
    """The line between two antennas over the terrain.

    Parameters
    ----------
    ground : SightGround
    one, other : tuple
        Longitude, latitude, metres of the antenna over the ground.
    mhz : float
        Frequency.

    Raises
    ------
    InputError
        The places are one or over 300 km apart, or no height is known at one of them.
    """
    distance, bearing = measure_geodesic(*one[:2], *other[:2])
    if not 1.0 <= distance <= LONGEST_M:
        what = "is where the antenna stands" if distance < 1.0 else f"is {distance / 1000:,.0f} km away"
        raise InputError("the other place", what, "give one between 1 m and 300 km away")
    step = max(min(raster.cell_m for raster in ground.rasters) / 2, distance / _MOST_SAMPLES)
    even = np.linspace(0.0, distance, int(np.ceil(distance / step)) + 1)
    at = _add_crossings(ground, one, bearing, even)
    lon, lat = move_point(*one[:2], bearing, at)
    height = interpolate_heights([raster.relief for raster in ground.rasters], lon, lat)
    for which, end in (("place", height[0]), ("other place", height[-1])):
        if np.isnan(end):
            raise InputError(f"the {which}", "no height is known there", "give a raster that covers it")
    radius = float(measure_radius(one[1], np.array([bearing]))[0]) / (1.0 - refraction)
    rest = distance - at
    ends = height[0] + one[2], height[-1] + other[2]
    path = SightPath(
        distance_m=distance,
        bearing_deg=bearing,
        back_deg=measure_geodesic(*other[:2], *one[:2])[1],
        mhz=mhz,
        at_m=at,
        ground_m=height,
        bulge_m=at * rest / (2.0 * radius),
        line_m=ends[0] + (ends[1] - ends[0]) * at / distance,
        zone_m=compute_zone_radius(at, rest, mhz),
        state="free",
        worst=0,
        worst_at=(0.0, 0.0),
        unknown_m=float(np.diff(at)[np.isnan(height[1:])].sum()),
    )
    share = np.where(np.isnan(path.share), np.inf, path.share)
    worst = int(share.argmin())
    return SightPath(
        **{name: getattr(path, name) for name in SightPath.__slots__[:9]},
        state=_choose_state(float(np.nanmin(path.clearance_m)), float(share[worst]), path.unknown_m),
        worst=worst,
        worst_at=(float(lon[worst]), float(lat[worst])),
        unknown_m=path.unknown_m,
    )


def _add_crossings(
    ground: SightGround, start: tuple[float, float, float], bearing_deg: float, at: Floats
) -> Floats:
    """Places along a path, and those where it crosses lines between middles of cells: edges stand there."""
    lon, lat = move_point(*start[:2], bearing_deg, at)
    found = [at]
    for raster in ground.rasters:
        for line in locate_pixels(raster.relief, lon, lat):
            cell = np.floor(line)
            k = np.flatnonzero(np.abs(np.diff(cell)) == 1.0)
            share = (np.maximum(cell[k], cell[k + 1]) - line[k]) / (line[k + 1] - line[k])
            found.append(at[k] + share * (at[k + 1] - at[k]))
    return np.unique(np.concatenate(found))


def _choose_state(clearance_m: float, share: float, unknown_m: float) -> PathState:
    if clearance_m < 0.0:
        return "blocked"
    if unknown_m > 0.0:
        return "unknown"
    return "free" if share >= FREE_SHARE else "grazed"


_WORDS: dict[PathState, str] = {
    "free": "Free: terrain leaves the line and 0.6 of the first Fresnel zone clear",
    "grazed": "The line is clear, 0.6 of the first Fresnel zone is not",
    "blocked": "Blocked by terrain",
    "unknown": "Not known: heights are missing on the way; what is known leaves the line clear",
}


def describe_path(path: SightPath, obstacle: str = "") -> list[str]:
    """The line in a few sentences; ``obstacle`` is the name of what stands nearest to it, if there is one."""
    k = path.worst
    at, clearance = float(path.at_m[k]), float(path.clearance_m[k])
    named = f" ({obstacle})" if obstacle else ""
    side = "over" if clearance >= 0 else "under"
    lines: list[str] = [
        f"{_WORDS[path.state]}.",
        MeasuredText(
            Length(path.distance_m),
            f" to the {format_bearing(path.bearing_deg)}, back to the {format_bearing(path.back_deg)}.",
        ),
        MeasuredText(
            "Least clearance at ",
            Length(at),
            f"{named}: the line runs ",
            Length(abs(clearance), "fine"),
            f" {side} the ground, {format_share_of_zone(float(path.share[k]))} of the first Fresnel zone, "
            "whose radius there is ",
            Length(float(path.zone_m[k]), "fine"),
            f" at {format_fixed(path.mhz, 1)} MHz.",
        ),
    ]
    if path.unknown_m > 0:
        lines.append(MeasuredText("Without heights: ", Length(path.unknown_m), " of the way."))
    return lines
