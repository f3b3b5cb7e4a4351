"""Findings with walks and surroundings by hand: one spot walked to, one out of reach, one not worked out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import geopandas as gpd
import shapely
from builders import (
    QUIET_COVE,
    TERN_MARSH,
    box,
    corner_spot,
    findings,
    line_spot,
    overlap_spot,
    parks_frame,
    source,
)

from scout.model import (
    ATTRIBUTES,
    CROSSING,
    DRIVE,
    GEOMETRY,
    HAZARD,
    NAME,
    WALK,
    WHAT,
    Credit,
    Findings,
    Route,
    Surroundings,
    Walking,
)

CORNER = ["HN95", "IN05", "HN94", "IN04"]
PARKING = (-20.012, 44.995)
WARNING = "Overhead power line 32 m to the north: keep antennas and lines well clear of it."
LAKE = "water all round"


def route() -> Route:
    """A walk of 1.3 km from a car park, its last third off paths."""
    return Route(
        state="walked",
        out_min=24.4,
        back_min=21.6,
        length_m=1312.0,
        climb_m=118.0,
        off_path_m=402.0,
        start=PARKING,
        start_kind="parking",
        start_name="Tern <b>Gate</b>",
        straight_m=1098.0,
        line=(PARKING, (-20.009, 44.9982), (-20.004, 44.9988), (-20.0, 45.0)),
        on_path=(True, True, False),
        profile=((0.0, 12.0), (400.0, 61.0), (800.0, 48.0), (1312.0, 117.0)),
    )


def ground_frame(rows: list[tuple[str, str, Any]], **more: list[Any]) -> gpd.GeoDataFrame:
    """A frame of surroundings: what, name, geometry."""
    frame = gpd.GeoDataFrame(
        {WHAT: [row[0] for row in rows], NAME: [row[1] for row in rows], **more},
        geometry=[row[2] for row in rows],
        crs="EPSG:4326",
    )
    return frame if GEOMETRY == "geometry" else frame.rename_geometry(GEOMETRY)


def hazard_frame(**kinds: list[tuple[str, str, Any]]) -> gpd.GeoDataFrame:
    """A frame of hazards: rows of what, name and geometry by kind."""
    named = [kind for kind, rows in kinds.items() for _ in rows]
    return ground_frame([row for rows in kinds.values() for row in rows], **{HAZARD: named})


def surroundings() -> Surroundings:
    """A lake round the second spot, a closed area, a power line, two places for cars."""
    lake = shapely.Point(-20.0, 45.02).buffer(0.006, quad_segs=32)
    island = shapely.Point(-20.0, 45.02).buffer(0.0015, quad_segs=8)
    return Surroundings(
        ways=ground_frame(
            [("path", "", shapely.LineString(route().line[:3]))],
            **{WALK: [True], DRIVE: [False], CROSSING: [False]},
        ),
        starts=ground_frame(
            [
                ("parking", "Tern <b>Gate</b>", shapely.Point(PARKING)),
                ("trailhead", "", shapely.Point(-19.99, 44.99)),
            ]
        ),
        barriers=ground_frame(
            [
                ("water", "Still Lake", lake.difference(island)),
                ("cliff", "", shapely.LineString([(-20.02, 45.004), (-20.01, 45.006), (-20.004, 45.005)])),
            ]
        ),
        openings=ground_frame([]),
        hazards=hazard_frame(
            closed=[("military", "Range", box(-19.99, 45.004, -19.98, 45.012))],
            power=[("power line", "", shapely.LineString([(-20.05, 45.001), (-19.95, 45.0004)]))],
        ),
        sources=(source(path="ways.gpkg", layer="lines", records=812),),
        notes=("2 records without a known tag were left aside",),
    )


def harbour() -> Findings:
    """The corner at 45 N 20 W with a walk and a warning, a line spot in a lake, an overlap nobody timed."""
    parks = parks_frame(
        (QUIET_COVE, box(-20.2, 44.9, -19.9, 45.1)), (TERN_MARSH, box(-20.05, 44.95, -19.7, 45.3))
    )
    parks[ATTRIBUTES] = [{"permit": "ask at the <i>gate</i>", "hours": "dawn to dusk"}, {}]
    spots = [
        corner_spot(
            -19.999934,
            45.000033,
            CORNER,
            [QUIET_COVE, TERN_MARSH],
            corner=(-20.0, 45.0),
            offset_m=5.2,
            offset_deg=45.0,
            notes=("Two parks meet here.",),
        ),
        overlap_spot(-19.95, 45.05, "IN05", [QUIET_COVE, TERN_MARSH]),
        line_spot(-20.0, 45.02, ["HN95", "IN05"], TERN_MARSH, "doubtful"),
    ]
    found = findings(
        spots,
        parks,
        home=(-20.5, 45.5),
        home_km=[68.2, 66.0, 51.4],
        title="Walks round the harbour",
        author="Quill Marrow",
        credits=(Credit(("ways.gpkg",), "Invented Map Makers", "ODbL 1.0", "2026-02-01"),),
        surroundings=surroundings(),
        walking=Walking(),
    )
    far = Route("out of reach", LAKE, start=PARKING, start_kind="parking", straight_m=2900.0)
    walks = (
        {"route": route(), "warnings": (WARNING,), "slope_deg": 6.4},
        {"route": Route("unknown", "walks are worked out for the best 500 spots only")},
        {"route": far},
    )
    ranked = tuple(replace(r, **more) for r, more in zip(found.spots, walks, strict=True))
    return replace(found, spots=ranked)
