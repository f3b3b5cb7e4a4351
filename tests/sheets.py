"""Arrival sheets of recordings made by hand, for the tests of the sheet."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import shapely
from builders import parks_frame, source
from recordings import fixes_at, noise

from scout.model import CoarseOutline, ParkReport, Parks, Station
from scout.output.sheet import SheetParticulars, build_sheet
from scout.recording.arrive import Arrival, judge_arrival
from scout.recording.values import Fixes

HOSTILE = (
    "<img src=x onerror=alert(1)>",
    "</style><script>alert(2)</script>",
    "${alert(3)} {{7*7}} {% raw %}",
    "\"double\" & 'single' \\u003c",
    "\u202ereversed \u2028 parted",
    "W" * 10_000,
)


def parks_of(*parks: Any, sources: int = 1) -> Parks:
    """Parks, each ``((id, name), geometry)``."""
    named = tuple(source(path=f"parks-{k}.gpkg") for k in range(sources))
    return Parks(parks_frame(*parks), named, ParkReport())


def alder(lon: float = 10.0, lat: float = 45.0, inholding: bool = False) -> Parks:
    """A park whose east edge lies 6 to 22 m from a place, if wanted with an inholding to the north-west."""
    shape = shapely.box(lon - 0.01, lat - 0.01, lon + 0.0002, lat + 0.01)
    if inholding:
        shape = shape - shapely.box(lon - 0.0002, lat + 0.0001, lon - 0.0001, lat + 0.0002)
    return parks_of((("Q-1", "Alder Heath"), shape))


def standing(lon: float = 10.0, lat: float = 45.0, size: int = 300, **said: Any) -> Fixes:
    """A good recording at a place; two of its fixes are 15 and 90 m off."""
    east, north = noise(size)
    if size > 200:
        east[50], north[120] = 15.0, -90.0
    return fixes_at(east, north, lon=lon, lat=lat, **said)


def judged(fixes: Fixes | None = None, parks: Parks | None = None, **more: Any) -> Arrival:
    """The recording judged; `level` and `station` may be given."""
    return judge_arrival(fixes or standing(), alder() if parks is None else parks, **more)


def sheet(fixes: Fixes | None = None, parks: Parks | None = None, **more: Any) -> str:
    """A sheet with all particulars."""
    particulars = SheetParticulars(
        "On the line", "Q1AAA", "A. Wren", "scout arrive a.log", "2026-03-01", "0" * 64
    )
    parks = alder() if parks is None else parks
    return build_sheet(judged(fixes, parks, **more), parks, particulars)


def crowded_sheet() -> str:
    """All a sheet may have to say: many parks, three outlines that look coarse, long notes, many files."""
    boxes = [
        ((f"Q-{k} of a long register of places", f"Long Ridge and Hollow Reserve, part {k}"), shape)
        for k, shape in enumerate(shapely.box(9.9, 44.9, 10.1, 45.001 + k * 1e-4) for k in range(9))
    ]
    east, north = noise(600)
    east[::40] += 60.0
    notes = tuple(
        f"note {k}: the receiver stood still only after a while, as its times show." for k in range(20)
    )
    fixes = replace(fixes_at(east, north, lon=10.0, lat=45.0), notes=notes)
    parks = parks_of(*boxes, sources=7)
    parks = replace(
        parks, sources=tuple(replace(one, warnings=("a grid is missing " * 6,) * 3) for one in parks.sources)
    )
    arrival = judge_arrival(fixes, parks)
    near = tuple(
        replace(park, coarse=CoarseOutline(park.park, park.park_name, 900.0, 140.0, 150.0, 14.0))
        if k < 3
        else park
        for k, park in enumerate(arrival.checked.parks)
    )
    verdict = replace(arrival.checked.verdict, coarse=tuple(park.coarse for park in near[:3]))
    arrival = replace(arrival, checked=replace(arrival.checked, parks=near, verdict=verdict))
    return build_sheet(
        arrival, parks, SheetParticulars("On the line", "Q1AAA", made_by="scout arrive " + "a " * 300)
    )


def hostile_sheet() -> str:
    """Names from files that are no names; all of them count."""
    boxes = [shapely.box(9.9, 44.9, 10.1, 45.001 + k * 1e-4) for k in range(4)]
    labels = [(f"<b>{k}</b>", HOSTILE[k]) for k in (0, 1, 3, 5)]
    frame = parks_frame(*zip(labels, boxes, strict=True))
    sources = [source(path=t, layer=t, crs=t, operation=t, warnings=(t,)) for t in (HOSTILE[1], HOSTILE[5])]
    parks = Parks(frame, tuple(sources), ParkReport())
    fixes = replace(standing(), path=HOSTILE[1], notes=HOSTILE)
    arrival = judge_arrival(fixes, parks, station=Station(9.0, 4.9, 4.0))
    assert len(arrival.checked.verdict.parks) == 4
    return build_sheet(
        arrival, parks, SheetParticulars(f"{HOSTILE[0]}\ud800", HOSTILE[1], HOSTILE[4], HOSTILE[5])
    )
