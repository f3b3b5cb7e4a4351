"""Walks for the benchmark: made ground of 24 x 24 km at 41 S, from a seed.

Hills of some hundred metres, winding roads 4 km apart, paths between them, rivers with bridges where roads
cross, lakes, walls with gates. Places lie scattered; starts are looked at within 3 km.
"""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
import shapely

HALF_M = 12_000.0
CRS = pyproj.CRS.from_proj4("+proj=aeqd +lat_0=-41 +lon_0=-112 +datum=WGS84 +units=m")


def winding(rng: np.random.Generator, across: bool, at: float) -> shapely.LineString:
    """A line through the ground, bending every 200 m."""
    along = np.arange(-HALF_M, HALF_M + 1, 200.0)
    aside = at + 150 * np.sin(along / 900 + rng.uniform(0, 6)) + rng.normal(0, 10, len(along))
    return shapely.LineString(np.column_stack([aside, along] if across else [along, aside]))


def made_ground(seed: int = 1) -> Any:
    """Surroundings and a relief."""
    from scout.model import Surroundings

    rng = np.random.default_rng(seed)
    roads = [
        winding(rng, across, at) for across in (False, True) for at in np.arange(-10_000, 10_001, 4_000.0)
    ]
    paths = [winding(rng, across, at) for across in (False, True) for at in np.arange(-8_700, 9_000, 2_900.0)]
    rivers = [winding(rng, True, at) for at in (-6_000.0, 1_500.0, 7_000.0)]
    ways: list[tuple[Any, bool, bool, bool]] = []
    wet = shapely.union_all(rivers).buffer(15)
    for lines, drive in ((roads, True), (paths, False)):
        for line in lines:
            ways += [(p, True, drive, False) for p in shapely.get_parts(line.difference(wet))]
            if drive:
                ways += [(p, True, False, True) for p in shapely.get_parts(line.intersection(wet))]
    lakes = [shapely.Point(rng.uniform(-HALF_M, HALF_M, 2)).buffer(rng.uniform(100, 500)) for _ in range(40)]
    dry = shapely.union_all([way for way, *_ in ways]).buffer(30)
    walls = [winding(rng, False, at) for at in np.arange(-9_500, 9_600, 1_900.0)]
    gates = [
        p for wall in walls for p in shapely.get_parts(wall.intersection(shapely.union_all(roads + paths)))
    ]
    barriers = [(river, "river") for river in rivers] + [(wall, "wall") for wall in walls]
    barriers += [(part, "water") for lake in lakes for part in shapely.get_parts(lake.difference(dry))]
    starts = [line.interpolate(rng.uniform(0, line.length)) for line in roads for _ in range(3)]
    around = Surroundings(
        ways=_frame(
            [way for way, *_ in ways],
            "way",
            walk=[w for _, w, _, _ in ways],
            drive=[d for _, _, d, _ in ways],
            crossing=[c for *_, c in ways],
        ),
        starts=_frame(starts, "parking"),
        barriers=_frame([shape for shape, _ in barriers], [what for _, what in barriers]),
        openings=_frame(gates, "gate"),
        hazards=_frame([], "", hazard=[]),
    )
    return around, _relief(rng)


def _frame(shapes: list[Any], what: Any, **columns: Any) -> gpd.GeoDataFrame:
    placed = gpd.GeoSeries(shapes, crs=CRS).to_crs(4326)
    return gpd.GeoDataFrame({"name": [""] * len(shapes), **columns}, geometry=placed).assign(what=what)


def _relief(rng: np.random.Generator) -> Any:
    from scout.model import Relief

    cell, half = 25.0, HALF_M + 5_000
    n = int(2 * half / cell)
    x, y = np.meshgrid(np.arange(n) * cell, np.arange(n) * cell)
    heights = np.full((n, n), 400.0)
    for size in (6_000, 2_500, 1_100, 500):
        turn = rng.uniform(0, np.pi)
        heights += 0.025 * size * np.sin((x * np.cos(turn) + y * np.sin(turn)) * 2 * np.pi / size)
    to_pixel = (1 / cell, 0.0, half / cell, 0.0, -1 / cell, half / cell)
    return Relief(heights.astype(np.float32), to_pixel, CRS.to_wkt(), "made.tif")


def ready(places: int = 200) -> tuple[Any, ...]:
    """Places, their surroundings and the heights."""
    from scout.walk.routes import WalkTargets

    around, relief = made_ground()
    xy = np.random.default_rng(2).uniform(-9_000, 9_000, (places, 2))
    lon, lat = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True).transform(*xy.T)
    return WalkTargets(lon, lat, np.arange(places)), around, [relief]


def walk(targets: Any, around: Any, reliefs: list[Any]) -> dict[str, Any]:
    """Work out the walks."""
    from scout.model import Walking
    from scout.walk.routes import find_walks

    routes = [walked.route for walked in find_walks(targets, around, reliefs, Walking())]
    minutes = [route.out_min for route in routes if route.out_min is not None]
    return {
        "places": len(routes),
        "walked": sum(route.state == "walked" for route in routes),
        "median_min": float(np.median(minutes)),
    }
