"""Small findings by hand, their numbers visible. Nothing here calls the search."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import shapely

from scout.model import (
    DATUM_ERROR,
    GEOMETRY,
    KIND,
    PARK_ID,
    PARK_NAME,
    SOURCE,
    Findings,
    LeftOut,
    NearMiss,
    ParkReport,
    Ranked,
    Source,
    Spot,
    Station,
    Stretch,
    Verdict,
    VerdictWord,
)
from scout.parks.sources import name_parks

QUIET_COVE = ("QX-001", "Quiet Cove")
TERN_MARSH = ("QX-002", "Tern Marsh")
LONG_SPIT = ("QX-003", "Long Spit")


def box(west: float, south: float, east: float, north: float) -> Any:
    """A rectangle of degrees."""
    return shapely.box(west, south, east, north)


def parks_frame(*parks: tuple[tuple[str, str], Any] | tuple[tuple[str, str], Any, str]) -> gpd.GeoDataFrame:
    """Parks as the search hands them on: ``((id, name), geometry)``, optionally a kind."""
    rows = [(*park[0], park[2] if len(park) > 2 else "area", 0, 0.0) for park in parks]
    frame = gpd.GeoDataFrame(
        rows,
        columns=[PARK_ID, PARK_NAME, KIND, SOURCE, DATUM_ERROR],
        geometry=[park[1] for park in parks],
        crs="EPSG:4326",
    )
    return frame if GEOMETRY == "geometry" else frame.rename_geometry(GEOMETRY)


def verdict(
    locators: Sequence[str],
    parks: Sequence[tuple[str, str]],
    word: VerdictWord = "firm",
    clearance_m: float = 250.0,
    grids_p: float = 0.96,
) -> Verdict:
    """A verdict whose parts multiply to its confidence."""
    inside = {"firm": 1.0, "doubtful": 0.8, "not counted": 0.3}[word]
    return Verdict(
        locators=tuple(locators),
        parks=tuple(park[0] for park in parks),
        clearances_m=tuple(clearance_m + 10 * n for n in range(len(parks))),
        grids_p=grids_p,
        parks_p=(inside,) + (1.0,) * (len(parks) - 1) if parks else (),
        confidence=grids_p * inside,
        word=word,
    )


def corner_spot(
    lon: float,
    lat: float,
    locators: Sequence[str],
    parks: Sequence[tuple[str, str]],
    word: VerdictWord = "firm",
    **more: Any,
) -> Spot:
    """A corner whose station stands on the corner itself, unless told otherwise."""
    return Spot(
        kind="corner",
        lon=lon,
        lat=lat,
        corner=more.pop("corner", (lon, lat)),
        verdict=verdict(locators, parks, word),
        park_names=tuple(park[1] for park in parks),
        **more,
    )


def line_spot(
    lon: float, lat: float, locators: Sequence[str], park: tuple[str, str], word: VerdictWord = "firm"
) -> Spot:
    """A spot on a meridian, in the middle of a stretch of 0.1 degrees (11.1 km)."""
    stretch = Stretch("meridian", (lon, lat - 0.05), (lon, lat + 0.05), 11_113.0, tuple(locators), (park[0],))
    return Spot("line", lon, lat, None, verdict(locators, [park], word), (park[1],), (stretch,))


def overlap_spot(lon: float, lat: float, locator: str, parks: Sequence[tuple[str, str]]) -> Spot:
    """A spot in two parks or more and one cell."""
    return Spot(
        "overlap", lon, lat, None, verdict([locator], parks, grids_p=1.0), tuple(park[1] for park in parks)
    )


def near_miss(
    lon: float,
    lat: float,
    locators: Sequence[str],
    park: tuple[str, str],
    distance_m: float,
    bearing_deg: float,
) -> Spot:
    """A corner outside every park."""
    return Spot(
        kind="near-miss",
        lon=lon,
        lat=lat,
        corner=(lon, lat),
        verdict=Verdict(tuple(locators), (), (), 0.96, (), 0.0, "not counted"),
        park_names=(),
        near=NearMiss(*park, distance_m, bearing_deg),
    )


def ranked(spots: Iterable[Spot], home_km: Sequence[float] | None = None) -> tuple[Ranked, ...]:
    """Spots in the order given, from rank 1."""
    return tuple(
        Ranked(
            rank=n,
            spot=spot,
            n_grids=len(spot.verdict.locators),
            n_parks=len(spot.verdict.parks),
            grid_park_pairs=len(spot.verdict.locators) * len(spot.verdict.parks),
            home_km=home_km[n - 1] if home_km else None,
        )
        for n, spot in enumerate(spots, start=1)
    )


def source(**more: Any) -> Source:
    """One layer read without trouble."""
    plain = Source("parks.gpkg", "parks", 3, "EPSG:4269 (NAD83)", "NAD83 to WGS 84 (1), a null shift", 4.0)
    return replace(plain, **more)


def findings(spots: Iterable[Spot], parks: gpd.GeoDataFrame, **more: Any) -> Findings:
    """Findings at square level around the given spots and parks."""
    home_km = more.pop("home_km", None)
    plain = Findings(
        level=2,
        station=Station(),
        spots=ranked(spots, home_km),
        left_out=(LeftOut("farther from home than asked", 4),),
        named=name_parks(parks),
        sources=(source(),),
        report=ParkReport(records=3, parks=3, id_column=("ref",), name_column=("title",)),
        made_by="scout find parks.gpkg",
        made_on="2026-03-01",
    )
    return replace(plain, **more)


def bay() -> Findings:
    """Three parks round the square corner at 45 N 20 W, and one spot of each kind.

    Quiet Cove spans the corner; Tern Marsh overlaps its east; Long Spit lies 120 m south-west of the
    corner at 44 N 22 W. Home is 45.5 N 20.5 W.
    """
    parks = parks_frame(
        (QUIET_COVE, box(-20.2, 44.9, -19.9, 45.1)),
        (TERN_MARSH, box(-20.05, 44.95, -19.7, 45.3)),
        (LONG_SPIT, box(-22.2, 43.8, -22.0011, 43.9992), "corridor"),
    )
    corner = ["HN95", "IN05", "HN94", "IN04"]
    spots = [
        corner_spot(-20.0, 45.0, corner, [QUIET_COVE, TERN_MARSH], notes=("Two parks meet here.",)),
        line_spot(-20.0, 45.2, ["HN95", "IN05"], TERN_MARSH, "doubtful"),
        overlap_spot(-19.95, 45.05, "IN05", [QUIET_COVE, TERN_MARSH]),
        line_spot(-20.0, 44.93, ["HN94", "IN04"], QUIET_COVE, "not counted"),
        near_miss(-22.0, 44.0, ["HN84", "HN94", "HN83", "HN93"], LONG_SPIT, 120.0, 225.0),
    ]
    return findings(
        spots,
        parks,
        home=(-20.5, 45.5),
        within_km=250.0,
        home_km=[68.2, 51.4, 66.0, 74.6, 205.3],
        title="Spots round the bay",
    )
