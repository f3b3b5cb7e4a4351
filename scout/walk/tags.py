"""What OpenStreetMap's tags mean: ways, starts, barriers, closed ground, hazards.

Keys and values are those of the OpenStreetMap wiki (Map features, Access restrictions), from memory.

What each record is by its tags: who may walk or stop there, what lies in the way, what is closed.

Values of tags as on the OpenStreetMap wiki, from memory. Where it leaves a choice:

- A car may be left along a road up to `secondary`, never on a bridge, in a tunnel or on a private driveway.
  Along a `primary` or `trunk` road it may only where parking is mapped: lay-bys (`amenity=parking`,
  `highway=rest_area`), lanes (`parking:left=lane` and the older `parking:lane:left=parallel`), and on the
  first metres of a track that joins it and is not shut to cars. A track serves further in only where cars are
  expressly let in, or where it is paved throughout (`tracktype=grade1`): one may not be able to turn, or to
  pass its gate.
- Paths graded T5 and T6 (`sac_scale`) are climbs, and a via ferrata needs its gear: not walked.
- Streams and ditches are stepped over. Wetland is no barrier: parks in fens would be out of reach.
- Buildings are walked round; roofs on posts are not. Ways that are mapped through them stay open, whether
  they say `covered`, `tunnel=building_passage` or nothing.
- Motorways and railways at grade are barriers: nobody crosses them on foot but where a crossing is mapped.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scout.model import GEOMETRY, RECORD

Mask = NDArray[np.bool_]
Texts = NDArray[np.object_]


# Keys that say what a thing is: a record with one is understood, even where it is of no interest here.
SUBJECTS = frozenset((
    "aerialway", "aeroway", "amenity", "barrier", "boundary", "building", "craft", "emergency", "ford",
    "geological", "highway", "historic", "landuse", "leisure", "man_made", "military", "natural", "place",
    "power", "public_transport", "railway", "route", "shop", "tourism", "waterway",
))  # fmt: skip
# Keys that are read here.
KEYS = frozenset((
    "access", "amenity", "area", "barrier", "bridge", "building", "electrified", "foot", "ford", "highway",
    "information", "landuse", "layer", "leisure", "location", "locked", "military", "motor_vehicle",
    "motorcar", "motorroad", "name", "natural", "opening_hours", "parking:both", "parking:lane:both",
    "parking:lane:left", "parking:lane:right", "parking:left", "parking:right", "place", "power", "railway",
    "ref", "sac_scale", "service", "sidewalk", "tourism", "tracktype", "tunnel", "vehicle", "water",
    "waterway", "wetland",
))  # fmt: skip

# Values of access, foot, vehicle ...: not for the public on its way through.
_SHUT = frozenset((
    "no", "private", "military", "customers", "permit", "residents", "employees", "members", "delivery",
    "agricultural", "forestry", "emergency", "official_only", "staff", "restricted",
))  # fmt: skip
_OPEN = frozenset(("yes", "permissive", "designated", "official", "public", "destination"))


class Tags:
    """Tags by key, one text per record, lower case, empty where there is none."""

    def __init__(
        self, columns: dict[str, Texts], records: int, names: Texts, keys: Collection[str] = KEYS
    ) -> None:
        self._columns = columns
        self._keys = keys  # that were asked for where the tags were read
        self._none: Texts = np.full(records, "", dtype=object)
        self.names = names  # as written

    def __len__(self) -> int:
        return len(self._none)

    def __getitem__(self, key: str) -> Texts:
        return self._columns.get(key, self._none)

    def any_of(self, key: str, values: Collection[str]) -> Mask:
        """Where a key has one of these values."""
        assert key in self._keys, (
            f"{key} is not among KEYS: OpenStreetMap's own files would be read without it"
        )
        return np.isin(self[key].astype(str), sorted(values))

    def has(self, *keys: str) -> Mask:
        """Where one of the keys has a value, `no` apart."""
        found: Mask = np.zeros(len(self), dtype=bool)
        for key in keys:
            if key in self._columns:
                found |= (self[key] != "") & (self[key] != "no")
        return found

    def described(self, subjects: Iterable[str] = SUBJECTS) -> Mask:
        """Where one of the keys that say what a thing is has any value."""
        found: Mask = np.zeros(len(self), dtype=bool)
        for key in subjects:
            if key in self._columns:
                found |= self[key] != ""
        return found

    def first_of(self, keys: Sequence[str]) -> Texts:
        """Return the value of the first key that is there: the most specific comes first."""
        value = self._none
        for key in keys:
            value = np.where(value != "", value, self[key])
        return value

    @property
    def foot_open(self) -> Mask:
        """Where walkers are expressly let through."""
        return np.isin(self["foot"].astype(str), sorted(_OPEN))

    @property
    def foot_shut(self) -> Mask:
        """Where walkers are kept out: `foot` overrides `access`."""
        value = self.first_of(["foot", "access"])
        return np.isin(value.astype(str), sorted({*_SHUT, "use_sidepath"}))

    @property
    def car_shut(self) -> Mask:
        """Where a car may not come: the narrower class of vehicles overrides the wider."""
        value = self.first_of(["motorcar", "motor_vehicle", "vehicle", "access"])
        return np.isin(value.astype(str), sorted(_SHUT))

    @property
    def car_open(self) -> Mask:
        """Where cars are expressly let through."""
        value = self.first_of(["motorcar", "motor_vehicle", "vehicle"])
        return np.isin(value.astype(str), sorted(_OPEN))


def convert_to_texts(column: Any) -> Texts:
    """A column of anything as texts; empty for what is missing, whole numbers without a point."""
    texts = pd.Series(np.asarray(column, dtype=object))
    nested = texts.map(np.ndim) > 0  # lists of a GeoJSON file: no value of a tag, and nothing to sort by
    codes, values = pd.factorize(texts.where(~nested, None))
    made = np.array([*(_convert_to_text(value) for value in values), ""], dtype=object)
    found: Texts = made[codes]
    return found


def _convert_to_text(value: Any) -> str:
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return " ".join(str(value).split())


def collect_tags(frame: Any, more: dict[str, Texts], keys: Collection[str] = KEYS) -> Tags:
    """Tags of a layer's frame: its columns, those of ``more`` over them."""
    columns: dict[str, Texts] = {}
    names: Texts = np.full(len(frame), "", dtype=object)
    for column in frame.columns:
        key = str(column).strip().lower()
        if column in (GEOMETRY, RECORD) or not (key in keys or key in SUBJECTS):
            continue
        texts = convert_to_texts(frame[column])
        if key == "name":
            names = texts
            continue
        columns[key] = _lower_first(texts)
    for key, texts in more.items():
        if key == "name":
            names = np.where(texts != "", texts, names)
            continue
        before = columns.get(key, np.full(len(frame), "", dtype=object))
        columns[key] = np.where(texts != "", _lower_first(texts), before)
    return Tags(columns, len(frame), names, keys)


def _lower_first(texts: Texts) -> Texts:
    """The first of several values, lower case."""
    codes, values = pd.factorize(pd.Series(texts))
    made = np.array([value.split(";")[0].strip().lower() for value in values], dtype=object)
    found: Texts = made[codes] if len(codes) else texts
    return found


_PATHS = ("path", "footway", "pedestrian", "steps", "bridleway", "cycleway", "track")
_QUIET_ROADS = ("living_street", "residential", "unclassified", "service", "road", "tertiary", "secondary")
_ROADS = (*_QUIET_ROADS, "primary", "tertiary_link", "secondary_link", "primary_link")
_CLASSES = ("residential", "unclassified", "service", "tertiary", "secondary", "primary", "trunk")
_MOTORWAYS = ("motorway", "motorway_link")
_TRUNKS = ("trunk", "trunk_link")
_BUSY = ("primary", "primary_link", *_TRUNKS)
_LANES = ("parking:left", "parking:right", "parking:both")
_LANES_OLD = ("parking:lane:left", "parking:lane:right", "parking:lane:both")
_KERBSIDE = (
    "lane", "street_side", "on_kerb", "half_on_kerb", "shoulder", "yes", "parallel", "diagonal",
    "perpendicular",
)  # fmt: skip
_RESTS = ("rest_area", "services")
_NO_WALLS = ("no", "roof", "carport", "canopy", "pergola", "bridge", "entrance")
_NOT_TO_STOP = ("driveway", "drive-through", "emergency_access")
_CLIMBS = ("demanding_alpine_hiking", "difficult_alpine_hiking")
_SIDEWALKS = ("yes", "both", "left", "right", "separate")
_OPENINGS = (
    "gate", "stile", "kissing_gate", "lift_gate", "swing_gate", "sliding_gate", "hampshire_gate", "bump_gate",
    "wicket_gate", "horse_stile", "entrance", "cattle_grid", "turnstile", "full-height_turnstile", "bollard",
    "block", "cycle_barrier", "motorcycle_barrier", "height_restrictor", "sally_port", "toll_booth",
    "sliding_beam", "bar",
)  # fmt: skip
_STEPPED_OVER = (
    "kerb", "handrail", "guard_rail", "cable_barrier", "ditch", "log", "rope", "chain", "planter", "tyres",
    "debris", "delineators", "bus_trap", "sump_buster", "coupure", "spikes",
)  # fmt: skip
_WIDE_WATER = ("river", "canal", "tidal_channel", "rapids")
_WATER_AREAS = ("riverbank", "dock")
_RAILWAYS = ("rail", "light_rail", "narrow_gauge")
_OLD_WORKS = ("bunker", "trench", "checkpoint", "obstacle_course", "memorial", "ruins")
_GROUND_SHUT = ("no", "private", "military")


class WayRules(NamedTuple):
    """Roads and paths, a row per record."""

    way: Mask  # whether it is one that may be used in some way
    walk: Mask
    drive: Mask
    crossing: Mask
    busy: Mask  # none to stop on but where a side way leaves it
    side: Mask  # a way at whose mouth a car may stand beside such a road
    shut: Mask  # a way that is closed to walkers
    climb: Mask  # a way for climbers
    what: Texts


def select_ways(tags: Tags) -> WayRules:
    """Roads and paths, and how they may be used."""
    crossing, fast = tags.has("bridge", "tunnel", "ford"), tags.has("motorroad")
    crossing &= ~tags.any_of("bridge", ("abandoned", "collapsed", "dismantled", "removed", "razed"))
    trunk = tags.any_of("highway", _TRUNKS) & (tags.foot_open | tags.any_of("sidewalk", _SIDEWALKS))
    known = (tags.any_of("highway", _PATHS + _ROADS) | trunk) & ~fast
    climb = known & tags.any_of("sac_scale", _CLIMBS) | tags.any_of("highway", ("via_ferrata",))
    walk = known & ~climb & ~tags.foot_shut
    good_track = tags.any_of("highway", ("track",)) & (tags.car_open | tags.any_of("tracktype", ("grade1",)))
    busy = tags.any_of("highway", _BUSY) & ~fast & ~crossing
    lanes = np.zeros(len(tags), dtype=bool)
    for key in _LANES + _LANES_OLD:
        lanes |= tags.any_of(key, _KERBSIDE)
    drive = tags.any_of("highway", _QUIET_ROADS) | good_track | (busy & lanes)
    drive &= ~tags.car_shut & ~fast & ~crossing & ~tags.any_of("service", _NOT_TO_STOP)
    side = walk & ~drive & ~crossing & tags.any_of("highway", ("track",)) & ~tags.car_shut
    words = _word_values(tags["highway"])
    what = np.where(tags.any_of("highway", _CLASSES), words + " road", words).astype(object)
    return WayRules(
        walk | drive, walk, drive, crossing, busy & ~drive, side, known & ~climb & ~walk, climb, what
    )


def select_parking(tags: Tags) -> tuple[Mask, Mask]:
    """Parking for anyone, and parking that is not."""
    found = tags.any_of("amenity", ("parking",)) | tags.any_of("highway", _RESTS)
    return found & ~tags.car_shut, found & tags.car_shut


def select_trailheads(tags: Tags) -> Mask:
    """Where marked walks begin."""
    found = (
        tags.any_of("highway", ("trailhead",))
        | tags.any_of("information", ("trailhead",))
        | tags.any_of("tourism", ("trailhead",))
    )
    return found & ~tags.foot_shut


def select_area_barriers(tags: Tags) -> tuple[Mask, Texts]:
    """What fills an area that nobody walks across; closed ground is apart."""
    water = tags.any_of("natural", ("water",)) | tags.any_of("waterway", _WATER_AREAS)
    water |= tags.any_of("landuse", ("reservoir",))
    water &= ~_is_below_ground(tags)
    ice = tags.any_of("natural", ("glacier",))
    return water | ice, np.where(water, "water", "glacier").astype(object)


def select_buildings(tags: Tags) -> Mask:
    """What has walls and stands on the ground."""
    found = tags.has("building") & ~tags.any_of("building", _NO_WALLS) & ~tags.any_of("amenity", ("parking",))
    below: Mask = np.array([value.startswith("-") for value in tags["layer"]], dtype=bool)
    return found & ~(_is_below_ground(tags) | below)


def select_line_barriers(tags: Tags) -> tuple[Mask, Texts]:
    """What runs along a line that nobody crosses; an area of it counts by its outline."""
    above, kind = tags.has("bridge"), _word_values(tags["barrier"])
    wall = tags.has("barrier") & ~tags.any_of("barrier", _OPENINGS + _STEPPED_OVER)
    kinds: list[tuple[Mask, Any]] = [
        (wall, np.where(np.isin(kind.astype(str), ("yes", "")), "barrier", kind)),
        (tags.any_of("natural", ("cliff",)), "cliff"),
        (tags.any_of("natural", ("coastline",)), "coast"),
        (
            tags.any_of("waterway", _WIDE_WATER) & ~_is_below_ground(tags) & ~above,
            _word_values(tags["waterway"]),
        ),
        (tags.any_of("highway", _MOTORWAYS) & ~_is_below_ground(tags) & ~above, "motorway"),
        (tags.any_of("railway", _RAILWAYS) & ~_is_below_ground(tags) & ~above, "railway"),
    ]
    found, what = np.zeros(len(tags), dtype=bool), np.full(len(tags), "", dtype=object)
    for mask, words in kinds:
        what = np.where(mask & ~found, words, what)
        found = found | mask
    return found, what


_SETTLEMENTS = ("city", "town", "village", "hamlet", "isolated_dwelling", "farm", "locality")


def select_landmarks(tags: Tags) -> tuple[Mask, Mask, Texts]:
    """What people know a landscape by: woods, and peaks and settlements that have a name; in words."""
    wood = tags.any_of("natural", ("wood",)) | tags.any_of("landuse", ("forest",))
    peak = tags.any_of("natural", ("peak", "volcano"))
    place = tags.any_of("place", _SETTLEMENTS)
    what = np.where(wood, "wood", np.where(peak, "peak", _word_values(tags["place"]))).astype(object)
    return wood, (peak | place) & ~wood & (tags.names != ""), what


def select_outline_areas(tags: Tags) -> Mask:
    """Line barriers whose areas are filled: where it is said, and the surfaces of rivers."""
    return tags.any_of("area", ("yes",)) | tags.any_of("waterway", _WIDE_WATER)


def select_openings(tags: Tags) -> tuple[Mask, Mask, Texts]:
    """Where a line may be passed, where a gate is kept shut, and what it is."""
    gate = tags.any_of("barrier", _OPENINGS)
    shut = gate & (tags.foot_shut | (tags["locked"] == "yes"))
    rails = tags.any_of("railway", ("level_crossing", "crossing")) & ~tags.foot_shut
    ford = (tags.has("ford") | tags.any_of("highway", ("ford",))) & ~tags.foot_shut
    what = np.where(ford, "ford", np.where(rails, "level crossing", _word_values(tags["barrier"])))
    return (gate & ~shut) | rails | ford, shut, what.astype(object)


def select_closed_ground(tags: Tags) -> tuple[Mask, Mask, Texts]:
    """Areas where no station may stand, which of them are military, and what they are."""
    kind = _word_values(tags["military"])
    military = tags.any_of("landuse", ("military",)) | (
        tags.has("military") & ~tags.any_of("military", _OLD_WORKS)
    )
    way = tags.has("highway", "route", "railway", "aerialway", "waterway")
    ground = tags.has("landuse", "leisure", "natural", "amenity", "boundary", "tourism", "military")
    military &= ~way
    access = np.where(tags["foot"] != "", tags["foot"], tags["access"])
    shut = np.isin(access.astype(str), _GROUND_SHUT) & ~way & (~tags.has("barrier") | ground)
    shut &= ~tags.any_of("power", ("line", "minor_line", "cable", "tower", "pole"))
    substation = tags.any_of("power", ("substation",))
    named = (kind != "") & (kind != "yes") & (kind != "no")
    words = np.where(named, "military " + kind, "military ground")
    reserve = tags.any_of("leisure", ("nature_reserve",))
    private = np.where(access == "private", "private ground", "ground without access")
    private = np.where(access == "military", "military ground", private)
    private = np.where(reserve, "nature reserve without access", private)
    what = np.where(military, words, np.where(substation, "electric substation", private))
    return military | shut | substation, military | (access == "military"), what.astype(object)


def select_hazards(tags: Tags) -> list[tuple[str, Mask, Texts]]:
    """Select what people are warned of: the key of each kind, its records, and what they are.

    Closed ground is apart: it is a barrier too.
    """
    return [("power", *_select_power_lines(tags))]


def _select_power_lines(tags: Tags) -> tuple[Mask, Texts]:
    """Select overhead lines, those above railways among them."""
    above = ~tags.any_of("location", ("underground", "underwater", "indoor")) & ~tags.has("tunnel")
    hung = tags.any_of("power", ("cable",)) & tags.any_of("location", ("overhead", "overground"))
    minor = tags.any_of("power", ("minor_line",))
    line = (tags.any_of("power", ("line",)) | minor | hung) & above
    rails = tags.any_of("electrified", ("contact_line",)) & tags.has("railway") & ~tags.has("tunnel")
    what = np.where(line, np.where(minor, "minor power line", "power line"), "contact line of a railway")
    return line | rails, what.astype(object)


def select_wetland(tags: Tags) -> Mask:
    """Bogs, marshes, tidal flats."""
    return tags.any_of("natural", ("wetland",))


def _is_below_ground(tags: Tags) -> Mask:
    return tags.has("tunnel") | tags.any_of("location", ("underground", "indoor"))


def _word_values(values: Texts) -> Texts:
    """Values of tags as words; what is no such value is left out."""
    unique, codes = np.unique(values.astype(str), return_inverse=True)
    words = [re.sub(r"[_\s]+", " ", value) if re.fullmatch(r"[\w -]+", value) else "" for value in unique]
    found: Texts = np.array(words, dtype=object)[codes.reshape(len(values))]
    return found
