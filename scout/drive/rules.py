"""What OpenStreetMap's tags mean to a driver: which ways a car may use, which way round, how fast.

Keys and values are those of the OpenStreetMap wiki (Map features, Access restrictions, Key:oneway,
Key:maxspeed), from memory. Speeds are ours and meant as averages of a careful driver of an ordinary car on a
dry day; that they differ by class is common practice. Where the wiki leaves a choice:

- `access=permissive` is open. `destination` and `customers` are for the first and the last bit of a drive;
  so are drives, parking aisles and tracks that no tag opens to cars. `private`, `no` and all that names a
  group of people (`residents`, `delivery`, `forestry` ...) is closed.
- Tracks of `tracktype=grade5`, surfaces from `smoothness=horrible` on, ways over ice, and what needs four
  driven wheels, are not used.
- A gate, bollard or the like closes a road unless its tags let cars through or say that it is not locked.
- `highway=motorway` and roundabouts are one-way where nothing else is said; links are as their tags say. What
  changes its direction by the hour is not used.
- A limit that holds at times only (`maxspeed:conditional`) is passed over.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scout.walk.tags import Mask, Tags, Texts

Floats = NDArray[np.float64]


class RoadClass(NamedTuple):
    """How fast one drives on roads of a class."""

    kmh: float  # where no limit is stated
    most_kmh: float  # whatever the limit
    free: bool = False  # crossed without a stop: side roads take no time


CLASSES = {
    "motorway": RoadClass(105, 120, free=True),
    "motorway_link": RoadClass(60, 80, free=True),
    "trunk": RoadClass(85, 105, free=True),
    "trunk_link": RoadClass(50, 70, free=True),
    "primary": RoadClass(70, 90),
    "primary_link": RoadClass(45, 60),
    "secondary": RoadClass(60, 80),
    "secondary_link": RoadClass(40, 55),
    "tertiary": RoadClass(50, 70),
    "tertiary_link": RoadClass(35, 50),
    "unclassified": RoadClass(40, 60),
    "residential": RoadClass(30, 40),
    "living_street": RoadClass(10, 15),
    "road": RoadClass(30, 50),
    "service": RoadClass(15, 30),
    "track": RoadClass(15, 30),
}
LIMIT_SHARE = 0.9  # of the limit, that one drives on average where nothing else slows
# Seconds that a meeting of three or more public roads takes a driver on one that is not free, on average, and
# those that a mapped signal takes; a drive meets several of them at one junction, and in a town many.
JUNCTION_S = 1.0
SIGNAL_S = 3.0

# At most so fast, km/h.
_SURFACES = {
    40.0: ("compacted", "fine_gravel", "paving_stones:lanes", "concrete:lanes", "metal", "wood"),
    30.0: ("unpaved", "gravel", "pebblestone", "cobblestone", "sett", "unhewn_cobblestone", "grass_paver"),
    20.0: ("dirt", "earth", "ground", "grass", "sand", "rock", "woodchips", "salt", "snow"),
    10.0: ("mud", "clay", "rocks", "stepping_stones"),
}
_SMOOTHNESS = {30.0: ("bad",), 15.0: ("very_bad",)}
_TRACKTYPES = {40.0: ("grade1",), 25.0: ("grade2",), 20.0: ("grade3",), 12.0: ("grade4",)}
_TOO_ROUGH = ("horrible", "very_horrible", "impassable")
_KMH_OF_ZONES = {"urban": 50.0, "rural": 90.0, "trunk": 100.0, "motorway": 120.0, "living_street": 10.0}
_KMH_PER_MPH = 1.609344
_KMH_PER_KNOT = 1.852
_NO_LIMIT_KMH = 200.0
_WALKING_KMH = 7.0

_CAR = ("motorcar", "motor_vehicle", "vehicle", "access")
_CLOSED = frozenset((
    "no", "private", "military", "permit", "residents", "employees", "members", "delivery", "agricultural",
    "forestry", "emergency", "official_only", "staff", "restricted", "use_sidepath", "psv", "bus", "taxi",
    "hgv", "school", "students", "hov",
))  # fmt: skip
_LAST_BIT = frozenset(("destination", "customers", "visitors", "guests", "tourists", "discouraged"))
_OPEN = frozenset(("yes", "permissive", "designated", "official", "public"))
_LAST_BIT_SERVICES = ("driveway", "parking_aisle", "drive-through", "slipway")
_CLOSED_SERVICES = ("emergency_access", "bus", "busway")
_AT_TIMES = (
    "access:conditional", "motor_vehicle:conditional", "motorcar:conditional", "vehicle:conditional",
    "seasonal",
)  # fmt: skip
_PASSED = (
    "cattle_grid", "toll_booth", "entrance", "border_control", "height_restrictor", "kerb", "bump_gate",
    "sally_port", "coupure", "no", "guard_rail", "handrail",
)  # fmt: skip

KEYS = frozenset((
    *_CAR, *_AT_TIMES, "highway", "area", "barrier", "locked", "name", "ref", "oneway", "junction",
    "maxspeed", "maxspeed:forward", "maxspeed:backward", "surface", "smoothness", "tracktype", "service",
    "ice_road", "winter_road", "4wd_only", "ford", "route", "motorroad", "bridge", "tunnel",
))  # fmt: skip


class RoadRules(NamedTuple):
    """Roads, a row per record."""

    road: Mask  # whether cars may use it
    forward: Mask
    backward: Mask
    last_bit: Mask  # for the first and the last bit of a drive only
    free: Mask
    public: Mask  # streets and roads: where three meet, there is a junction
    stops: Mask  # a car may come to a stop there: no motorway, bridge or tunnel
    kmh: Floats
    limited: Mask  # a limit that is understood is stated
    closed: Mask  # roads that cars may not use
    rough: Mask  # or cannot
    at_times: Mask
    wet: Mask  # fords


def select_roads(tags: Tags) -> RoadRules:
    """Return which records are roads for cars, and how they are driven."""
    known = tags.any_of("highway", CLASSES) & ~tags.any_of("area", ("yes",))
    known &= ~tags.any_of("route", ("ferry",))
    access, service = _select_access(tags), tags["service"]
    closed = known & (access == "closed") | known & np.isin(service.astype(str), _CLOSED_SERVICES)
    rough = tags.any_of("smoothness", _TOO_ROUGH) | tags.any_of("4wd_only", ("yes",))
    rough |= tags.any_of("ice_road", ("yes",)) | tags.any_of("winter_road", ("yes",))
    rough |= tags.any_of("tracktype", ("grade5",)) & (access != "open")
    rough &= known & ~closed
    forward, backward = _select_directions(tags)
    road = known & ~closed & ~rough & (forward | backward)
    last_bit = (access == "last bit") | tags.any_of("service", _LAST_BIT_SERVICES)
    last_bit |= (
        tags.any_of("highway", ("track",)) & (access != "open") & ~tags.any_of("tracktype", ("grade1",))
    )
    kmh, limited = _choose_speeds(tags)
    free = tags.any_of("highway", [name for name, kind in CLASSES.items() if kind.free])
    stops = ~tags.any_of("highway", ("motorway", "motorway_link")) & ~tags.has(
        "motorroad", "bridge", "tunnel"
    )
    public = road & ~last_bit & ~tags.any_of("highway", ("track", "service"))
    at_times = road & tags.has(*_AT_TIMES)
    wet = road & tags.has("ford")
    closed |= known & ~(forward | backward)
    last_bit &= road
    return RoadRules(
        road, forward, backward, last_bit, free, public, stops, kmh, limited, closed, rough, at_times, wet
    )


def _select_access(tags: Tags) -> Texts:
    """Who may drive there: open (said so), last bit, closed, or nothing said."""
    value = tags.first_of(_CAR).astype(str)
    found: Texts = np.full(len(tags), "", dtype=object)
    for word, values in (("open", _OPEN), ("last bit", _LAST_BIT), ("closed", _CLOSED)):
        found[np.isin(value, sorted(values))] = word
    return found


def _select_directions(tags: Tags) -> tuple[Mask, Mask]:
    """Where a car may go along a line, and against it."""
    value = tags["oneway"].astype(str)
    implied = tags.any_of("junction", ("roundabout", "circular")) | tags.any_of("highway", ("motorway",))
    against = np.isin(value, ("-1", "reverse"))
    along = np.isin(value, ("yes", "true", "1")) | (
        implied & ~np.isin(value, ("no", "false", "0")) & ~against
    )
    neither = value == "reversible"
    return ~against & ~neither, ~along & ~neither


def select_ferries(tags: Tags) -> Mask:
    """Return which records are ferries."""
    return tags.any_of("route", ("ferry",))


def select_closing(tags: Tags) -> Mask:
    """Return which records are things on a road that close it to cars."""
    value = tags.first_of(_CAR).astype(str)
    let = np.isin(value, sorted(_OPEN | _LAST_BIT)) | ((value == "") & (tags["locked"] == "no"))
    closing: Mask = (
        tags.has("barrier") & ~tags.any_of("barrier", _PASSED) & ~(let & (tags["locked"] != "yes"))
    )
    return closing


def select_signals(tags: Tags) -> Mask:
    """Return which records are traffic signals."""
    return tags.any_of("highway", ("traffic_signals",))


def _choose_speeds(tags: Tags) -> tuple[Floats, Mask]:
    """How fast each is driven, km/h, and whether its limit is stated."""
    highway = pd.Series(tags["highway"])
    usual = highway.map({name: kind.kmh for name, kind in CLASSES.items()}).to_numpy(dtype=float)
    most = highway.map({name: kind.most_kmh for name, kind in CLASSES.items()}).to_numpy(dtype=float)
    limit = _read_limits(tags["maxspeed"])
    # One of the two directions alone is kept: the slower.
    either = np.fmin(_read_limits(tags["maxspeed:forward"]), _read_limits(tags["maxspeed:backward"]))
    limit = np.where(np.isnan(limit), either, limit)
    limited = ~np.isnan(limit)
    kmh = np.where(limited, np.fmin(LIMIT_SHARE * limit, most), usual)
    for key, caps in (("surface", _SURFACES), ("smoothness", _SMOOTHNESS), ("tracktype", _TRACKTYPES)):
        table = {value: cap for cap, values in caps.items() for value in values}
        kmh = np.fmin(kmh, pd.Series(tags[key]).map(table).to_numpy(dtype=float))
    return np.where(np.isnan(kmh), CLASSES["road"].kmh, kmh), limited


def _read_limits(texts: Texts) -> Floats:
    codes, values = pd.factorize(pd.Series(texts))
    made = np.array([read_limit(str(value)) for value in values])
    found: Floats = made[codes] if len(codes) else np.empty(0)
    return found


def read_limit(text: str) -> float:
    """Return the km/h that a value of `maxspeed` stands for; NaN where it is not understood.

    Examples
    --------
    >>> read_limit("80"), round(read_limit("30 mph"), 2), read_limit("de:urban"), read_limit("fr:zone30")
    (80.0, 48.28, 50.0, 30.0)
    """
    text = text.strip().lower()
    met = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(km/h|kmh|kph|mph|knots)?", text, re.ASCII)
    if met:
        times = {"mph": _KMH_PER_MPH, "knots": _KMH_PER_KNOT}.get(met[2] or "", 1.0)
        kmh = float(met[1]) * times
        return kmh if kmh > 0 else float("nan")
    if text == "none":
        return _NO_LIMIT_KMH
    if text in ("walk", "foot"):
        return _WALKING_KMH
    met = re.fullmatch(r"[a-z]{2}(?:-[a-z]+)?:(?:zone:?|nsl_)?(\w+)", text, re.ASCII)
    if not met:
        return float("nan")
    return float(met[1]) if met[1].isdigit() else _KMH_OF_ZONES.get(met[1], float("nan"))
