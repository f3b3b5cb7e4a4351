"""The values of the ground around spots: what access data becomes, heights, and the walk. Data only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    import numpy as np
    import shapely
    from numpy.typing import NDArray

    from scout.model import Source

__all__ = [
    "CROSSING",
    "DRIVE",
    "NAME",
    "WALK",
    "WHAT",
    "Relief",
    "Route",
    "RouteState",
    "StartKind",
    "Surroundings",
    "Walking",
]

RouteState = Literal["walked", "out of reach", "unknown"]
StartKind = Literal["", "parking", "trailhead", "roadside"]

# Columns of the frames of surroundings, beside `scout.model.GEOMETRY`.
WHAT = "what"  # in words: path, parking, water, power line ...
NAME = "name"  # str, may be empty
WALK = "walk"  # bool, ways only: may be walked
DRIVE = "drive"  # bool, ways only: a car may stop along it
CROSSING = "crossing"  # bool, ways only: mapped as crossing what lies under it (bridge, ford, tunnel)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Access data near the spots, its tags read: frames in WGS 84 with `GEOMETRY`, `WHAT` and `NAME`."""

    ways: gpd.GeoDataFrame  # lines, with WALK, DRIVE and CROSSING
    starts: gpd.GeoDataFrame  # points: parking, trailheads
    barriers: gpd.GeoDataFrame  # lines and areas nobody walks across
    openings: gpd.GeoDataFrame  # points where a barrier line may be passed: gates, stiles, fords
    closed: gpd.GeoDataFrame  # areas where no station may stand: military, private, no access
    power_lines: gpd.GeoDataFrame  # overhead lines
    sources: tuple[Source, ...] = ()
    notes: tuple[str, ...] = ()  # what was not understood, not taken, or looks wrong
    # Polygons nobody walks through but along mapped ways, and busy roads along which no car is left, by name.
    # Apart from the frames above: a town has too many to draw.
    buildings: Sequence[shapely.Geometry] = ()
    busy_roads: Sequence[shapely.Geometry] = ()
    busy_names: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Relief:
    """Part of a height raster."""

    heights_m: NDArray[np.float32]  # rows from the top, NaN where nothing is known
    to_pixel: tuple[float, float, float, float, float, float]  # col = a x + b y + c, row = d x + e y + f
    crs: str  # WKT of the raster's own coordinate system, whose x and y go into to_pixel
    path: str


@dataclass(frozen=True, slots=True)
class Walking:
    """How far anyone will walk, and with what."""

    limit_min: float = 120.0  # one way; what takes longer is out of reach
    load_kg: float = 0.0
    reach_m: float = 3000.0  # starts further away are looked at only where none nearer leads to a spot
    cell_m: float = 10.0


@dataclass(frozen=True, slots=True)
class Route:
    """The walk from where the car stays to a spot, and back the same way.

    ``unknown`` says that nothing could be worked out; ``reason`` says why, also of ``out of reach``, and of
    what is ``walked`` how roughly, where that is less fine than usual.
    Only what is ``walked`` has times.
    """

    state: RouteState
    reason: str = ""
    out_min: float | None = None
    back_min: float | None = None
    length_m: float | None = None
    climb_m: float | None = None  # metres gained on the way out; None without heights
    off_path_m: float | None = None
    start: tuple[float, float] | None = None  # where the walk begins; else the nearest start, if any
    start_kind: StartKind = ""
    start_name: str = ""
    straight_m: float | None = None  # from the start to the spot as the crow flies
    line: tuple[tuple[float, float], ...] = ()  # lon, lat from start to spot
    on_path: tuple[bool, ...] = ()  # per segment of the line
    profile: tuple[tuple[float, float], ...] = ()  # metres along the line, height in metres
