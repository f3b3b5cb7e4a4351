"""Every setting of a search, defined once: what it may hold, its default, its words.

The command line makes options of these definitions, the outing file keys, the desk fields, the library
keywords. A new setting is a field of `Settings` and whatever obeys it.
"""

from __future__ import annotations

import math
import typing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, field, fields, replace
from functools import cache
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from scout.errors import InputError, SettingName
from scout.model import Station, Units, Walking
from scout.quantities import MeasuredText

if TYPE_CHECKING:
    from scout.app.find import SearchOptions
    from scout.app.outing import TagReading
    from scout.app.sources import AccessFiles, ParkFiles
    from scout.visits.tally import Done

Holds = Literal["text", "file", "number", "whole number", "switch"]
Group = Literal["station", "search", "reading", "access", "sight", "trip", "spread", "output", "display"]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Number:
    """A number from 0, or over 0, to ``highest``; NaN is none."""

    what: str  # is wrong with another
    remedy: str
    highest: float = 1e6
    over_0: bool = False
    holds: Holds = "number"

    def check(self, value: Any, where: str) -> float:
        """Return the value if it is such a number.

        Raises
        ------
        InputError
            It is not.
        """
        if not 0 <= value <= self.highest or (self.over_0 and value == 0):
            raise InputError(where, f"{value:g} {self.what}", self.remedy)
        return float(value)


@dataclass(frozen=True, slots=True)
class Count:
    """A whole number between two others."""

    what: str  # is wrong with another
    remedy: str
    least: int
    most: int
    holds: Holds = "whole number"

    def check(self, value: Any, where: str) -> int:
        """Return the value if it is such a number."""
        if not self.least <= value <= self.most:
            raise InputError(where, f"{value} {self.what}", self.remedy)
        return int(value)


@dataclass(frozen=True, slots=True)
class Text:
    """Text that ``parse`` takes, handed on as it was written; or one of some ``choices``."""

    parse: Callable[[str], object] | None = None
    choices: tuple[str, ...] = ()
    suffix: str = ""  # what ends so is a path
    holds: Holds = "text"

    def check(self, value: Any, where: str) -> str:
        """Return the value if it is understood."""
        text = str(value)
        if self.choices and text not in self.choices:
            raise InputError(where, f"{text!r} is no choice", f"give {' or '.join(self.choices)}")
        if self.parse is not None:
            self.parse(text)
        return text

    def is_file(self, value: object) -> bool:
        """Whether the value is a path."""
        return bool(self.suffix) and str(value).lower().endswith(self.suffix)


@dataclass(frozen=True, slots=True)
class File:
    """A path; whoever opens it says what is wrong with it."""

    holds: Holds = "file"

    def check(self, value: Any, where: str) -> str:
        """Return the value."""
        return str(value)


@dataclass(frozen=True, slots=True)
class Switch:
    """Yes or no."""

    holds: Holds = "switch"

    def check(self, value: Any, where: str) -> bool:
        """Return the value."""
        return bool(value)


Kind = Number | Count | Text | File | Switch


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting, for all fronts."""

    name: str  # the field of `Settings` and the keyword of the library: says the unit
    key: str  # of the option and in an outing file
    group: Group
    kind: Kind
    default: Any
    metavar: str
    help: str
    many: bool = False  # a tuple of values
    in_a_row: bool = False  # several files follow one option


def _setting(
    default: Any,
    key: str,
    group: Group,
    kind: Kind,
    metavar: str,
    text: str,
    *,
    many: bool = False,
    in_a_row: bool = False,
) -> Any:
    more = {"key": key, "group": group, "kind": kind, "metavar": metavar, "help": text}
    return field(default=default, metadata={**more, "many": many, "in_a_row": in_a_row})


def _check_level(text: str) -> None:
    from scout.geo.locator import get_level_number

    get_level_number(text)


def _check_place(text: str) -> None:
    from scout.geo.coordinates.parse import parse_place

    parse_place(text)


def _check_area(text: str) -> None:
    from scout.geo.coordinates.parse import parse_area

    parse_area(text)


def _check_hours(text: str) -> None:
    from scout.tours.hours import parse_hours

    parse_hours(text)


def _check_wished_hours(text: str) -> None:
    from scout.tours.hours import parse_wished_hours

    parse_wished_hours(text)


def _check_aim(text: str) -> None:
    from scout.sight.outlook import parse_aim

    parse_aim(text)


def _check_open_to(text: str) -> None:
    from scout.sight.outlook import parse_open_to

    parse_open_to(text)


LEVEL, PLACE, AREA = Text(_check_level), Text(_check_place), Text(_check_area)
LENGTH = Number("is not a length", "give a number from 0 up")
OVER_0 = Number("is not a length", "give a number over 0", over_0=True)
_RADIUS = Number("is no radius: a station takes up some ground", "give a radius over 0", over_0=True)
_GRIDS = Count("is no number of grids that meet at a spot", "give one from 1 to 4", 1, 4)
_PARKS = Count("is no number of parks that hold a spot", "give one from 1 up", 1, 10**6)
_PROBABILITY = Number("is no probability", "give a number from 0 to 1, or a percentage such as 90%", 1.0)
_SHARE = Number("is no share", "give a number from 0 to 1", 1.0)
_MINUTES = Number("is no time to walk", "give minutes over 0", over_0=True)
_LOAD = Number("is no load", "give kilograms from 0 to 200", 200.0)
_MAST = Number("is no height of an antenna", "give metres from 0 to 300", 300.0)
_ONE_UP = Count("is too few", "give a whole number from 1 up", 1, 10**9)
_STAY = Number("is no time at a place", "give minutes from 0 up", 1440.0)
_PLACES = Count("is no number of places of a day", "give one from 1 to 20", 1, 20)
_DAYS = Count("is no number of days", "give one from 1 to 7", 1, 7)
_CONSIDERED = Count("is no number of places", "give one from 1 to 1000", 1, 1000)
_RANK = Count("is no number of a place", "give its number in the list", 1, 10**9)
_PIECES = Text(choices=("join", "apart"))
_STATION, _WALKING = Station(), Walking()


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Everything that can be set of a search, checked by whoever made it; see `check_settings`."""

    level: str = _setting(
        "square", "level", "station", LEVEL, "LEVEL", "field, square, subsquare, extended or fifth."
    )
    station_radius_m: float = _setting(
        _STATION.radius_m,
        "station-radius",
        "station",
        _RADIUS,
        "M",
        "Radius of the disc with operator, rig and antenna.",
    )
    fix_error_m: float = _setting(
        _STATION.fix_error_m, "fix-error", "station", LENGTH, "M", "95 % error of the receiver's position."
    )
    boundary_error_m: float = _setting(
        _STATION.boundary_error_m,
        "boundary-error",
        "station",
        LENGTH,
        "M",
        "95 % error of the boundary data; the error of a datum transformation is added.",
    )

    home: str | None = _setting(
        None, "home", "search", PLACE, "LAT,LON", "Where distances count from; a locator will do."
    )
    within_km: float | None = _setting(
        None, "within", "search", OVER_0, "KM", "Only spots this near to home."
    )
    area: str | None = _setting(
        None, "area", "search", AREA, "AREA", "Only spots in this locator or SOUTH,WEST,NORTH,EAST."
    )
    near_m: float = _setting(
        500.0, "near", "search", LENGTH, "M", "How far outside a park a near miss may lie; 0 for none."
    )
    min_grids: int = _setting(
        1,
        "min-grids",
        "search",
        _GRIDS,
        "N",
        "Least grids at a spot; from 2, overlaps in one grid are not sought.",
    )
    min_parks: int = _setting(1, "min-parks", "search", _PARKS, "N", "Least parks at a spot.")
    min_confidence: float = _setting(
        0.5,
        "min-confidence",
        "search",
        _PROBABILITY,
        "P",
        "Lines and overlaps less sure than this are only counted: 0.9, or 90%.",
    )
    notebook: str | None = _setting(
        None, "notebook", "search", File(), "FILE", "Rank first what its visits have not done yet."
    )
    park_ids: tuple[str, ...] = _setting(
        (), "park", "search", Text(), "ID", "Only this park; may come again.", many=True
    )

    corridor_m: float | None = _setting(
        None,
        "corridor",
        "reading",
        OVER_0,
        "M",
        "Take lines (trails, rivers) as parks, M to either side; such as 30.48 (100 ft).",
    )
    id_column: str | None = _setting(
        None,
        "id-column",
        "reading",
        Text(),
        "C",
        "Column with the park's id, if not the one found; A,B,C make one id.",
    )
    name_column: str | None = _setting(
        None, "name-column", "reading", Text(), "C", "Column with the park's name, if not the one found."
    )
    where: str | None = _setting(
        None,
        "where",
        "reading",
        Text(),
        "CONDITION",
        "Only records for which it holds, in SQL: \"Category = 'Fee' AND Acres > 40\".",
    )
    profile: str | None = _setting(
        None,
        "profile",
        "reading",
        Text(suffix=".toml"),
        "P",
        "Schema of the data: one that scout knows, a .toml file, or none; recognised by itself otherwise.",
    )
    pieces: str = _setting(
        "join",
        "pieces",
        "reading",
        _PIECES,
        "HOW",
        "join or apart: pieces that touch, of one name and without ids, are one park or one each.",
    )
    same_ground: float = _setting(
        0.9,
        "same-ground",
        "reading",
        _SHARE,
        "SHARE",
        "Parks of one name with more common ground than this are one, told twice; 0 counts each.",
    )
    forests: bool = _setting(
        False, "forests", "reading", Switch(), "", "Forests and woods of OpenStreetMap data are parks too."
    )
    layer: str | None = _setting(
        None, "layer", "reading", Text(), "L", "Only this layer of each file; all otherwise."
    )
    strict: bool = _setting(
        False, "strict", "reading", Switch(), "", "End at the first boundary file that cannot be used."
    )
    crs: str | None = _setting(
        None, "crs", "reading", Text(), "CRS", "Coordinate system of files that name none: EPSG:26915."
    )

    access: tuple[str, ...] = _setting(
        (),
        "access",
        "access",
        File(),
        "FILE...",
        "Roads, paths and parking, for the walks to the spots.",
        many=True,
        in_a_row=True,
    )
    barriers: tuple[str, ...] = _setting(
        (),
        "barriers",
        "access",
        File(),
        "FILE...",
        "Water, cliffs, fences, closed ground: not walked.",
        many=True,
        in_a_row=True,
    )
    hazards: tuple[str, ...] = _setting(
        (),
        "hazards",
        "access",
        File(),
        "FILE...",
        "Overhead power lines, to be warned of.",
        many=True,
        in_a_row=True,
    )
    heights: tuple[str, ...] = _setting(
        (),
        "heights",
        "access",
        File(),
        "FILE...",
        "Heights, GeoTIFF or .hgt: slopes slow the walks, hills make horizons.",
        many=True,
        in_a_row=True,
    )
    longest_walk_min: float = _setting(
        _WALKING.limit_min,
        "longest-walk",
        "access",
        _MINUTES,
        "MIN",
        "One way; what takes longer is out of reach: marked so and ranked last.",
    )
    load_kg: float = _setting(
        _WALKING.load_kg,
        "load",
        "access",
        _LOAD,
        "KG",
        "What is carried; a load slows the walks (Pandolf's equation).",
    )
    power_line_m: float = _setting(
        50.0, "power-line", "access", LENGTH, "M", "Warn of overhead lines nearer to a spot than this."
    )

    hours: str = _setting(
        "sunrise-sunset",
        "hours",
        "trip",
        Text(_check_hours),
        "FROM-TO",
        "From leaving home to being back: 08:00-18:00, 07:30-sunset; the Sun over the hills, given heights.",
    )
    end: str | None = _setting(
        None, "end", "trip", PLACE, "LAT,LON", "Where the day ends, if not at home; a locator will do."
    )
    most_places: int = _setting(4, "most-places", "trip", _PLACES, "N", "At most so many places a day.")
    set_up_min: float = _setting(
        15.0, "set-up", "trip", _STAY, "MIN", "Setting the station up, at each place."
    )
    operating_min: float = _setting(45.0, "operating", "trip", _STAY, "MIN", "On the air, at each place.")
    take_down_min: float = _setting(
        10.0, "take-down", "trip", _STAY, "MIN", "Taking the station down, at each place."
    )
    break_min: float = _setting(
        0.0, "break", "trip", _STAY, "MIN", "A break, once a day, before driving on from a place."
    )
    must: tuple[int, ...] = _setting(
        (), "must", "trip", _RANK, "SPOT", "This place must be in; may come again.", many=True
    )
    between: tuple[str, ...] = _setting(
        (),
        "between",
        "trip",
        Text(_check_wished_hours),
        "SPOT=FROM-TO",
        "Be at this place, walks and all, in these hours only: 3=14:00-17:00, 3=14:00-; may come again.",
        many=True,
    )
    days: int = _setting(
        1, "days", "trip", _DAYS, "N", "So many days in a row; no pair is counted on two of them."
    )
    doubtful: bool = _setting(False, "doubtful", "trip", Switch(), "", "Doubtful places may be in as well.")
    consider: int = _setting(
        100, "consider", "trip", _CONSIDERED, "N", "Choose among the best so many places of the list."
    )
    antenna_m: float = _setting(
        5.0,
        "antenna-height",
        "sight",
        _MAST,
        "M",
        "Metres over the ground from which the horizon is seen, where heights are given.",
    )
    towards: tuple[str, ...] = _setting(
        (),
        "towards",
        "sight",
        Text(_check_aim),
        "PLACE",
        "Tell the horizon towards this place, locator or azimuth; may come again.",
        many=True,
    )
    open_to: tuple[str, ...] = _setting(
        (),
        "open-to",
        "sight",
        Text(_check_open_to),
        "AZ[:DEG]",
        "Only spots known to have no horizon over DEG (3 if not given) within 5 degrees of azimuth AZ; may "
        "come again.",
        many=True,
    )

    cluster: str | None = _setting(
        None,
        "cluster",
        "spread",
        Text(),
        "ADDRESS",
        "Search on the workers of this Dask scheduler; they need the files under the same paths.",
    )

    map_path: str | None = _setting(
        None, "map", "output", File(), "OUT.html", "Write the map: one file, needs no network."
    )
    save_paths: tuple[str, ...] = _setting(
        (),
        "save",
        "output",
        File(),
        "OUT",
        "Write the spots as .geojson, .csv, .gpx, .kml, .kmz or .gpkg; may come again.",
        many=True,
    )
    top: int | None = _setting(None, "top", "output", _ONE_UP, "N", "List only the best N; all are saved.")
    save_listed: bool = _setting(False, "save-listed", "output", Switch(), "", "Save only what --top lists.")
    title: str = _setting("", "title", "output", Text(), "TEXT", "Title of the map.")

    units: Units = _setting(  # noqa: RUF009 (a field, as the others)
        "metric",
        "units",
        "display",
        Text(choices=typing.get_args(Units)),
        "SYSTEM",
        "metric or imperial: lengths in metres and kilometres, or in feet and miles.",
    )

    @property
    def station(self) -> Station:
        """The station and its errors."""
        return Station(self.station_radius_m, self.fix_error_m, self.boundary_error_m)

    @property
    def level_number(self) -> int:
        """Pairs of a locator of the level."""
        from scout.geo.locator import get_level_number

        return get_level_number(self.level)

    def make_options(self) -> SearchOptions:
        """What to look for, places understood and the notebook read."""
        from scout.app.find import SearchOptions
        from scout.geo.coordinates.parse import parse_area, parse_place
        from scout.sight.outlook import parse_aim, parse_open_to

        if self.open_to and not self.heights:
            what = "there are no heights to tell a horizon from"
            remedy = MeasuredText("add ", SettingName("heights", written="--heights FILE"))
            raise InputError(SettingName("open-to"), what, remedy)
        if self.within_km is not None and self.home is None:
            remedy = MeasuredText("add ", SettingName("home", written="--home LAT,LON"))
            raise InputError(SettingName("within"), "there is no home to count from", remedy)
        return _copy_fields(
            self,
            SearchOptions,
            level=self.level_number,
            station=self.station,
            home=None if self.home is None else parse_place(self.home),
            bbox=None if self.area is None else parse_area(self.area),
            aims=tuple(map(parse_aim, self.towards)),
            open_to=tuple(map(parse_open_to, self.open_to)),
            done=None if self.notebook is None else read_done(self.notebook, self.level_number),
        )

    def make_park_files(self, files: Sequence[str], keep: Sequence[str] = ()) -> ParkFiles:
        """Boundary files with how they are to be read; ``keep`` are columns to carry along."""
        from scout.app.sources import ParkFiles

        return _copy_fields(
            self, ParkFiles, files=tuple(files), keep=tuple(keep), join_pieces=self.pieces == "join"
        )

    def make_access_files(self, tags: Sequence[TagReading] = (), parks: Sequence[str] = ()) -> AccessFiles:
        """Files of the ground around spots with how they are to be read; OpenStreetMap data holds both."""
        from scout.app.sources import AccessFiles
        from scout.io.formats import OSM_SUFFIXES

        walking = Walking(limit_min=self.longest_walk_min, load_kg=self.load_kg)
        named = (*self.access, *self.barriers, *self.hazards)
        both = (park for park in parks if park.lower().endswith(OSM_SUFFIXES) and park not in named)
        access = (*self.access, *both)
        return _copy_fields(self, AccessFiles, access=access, tags=tuple(tags), walking=walking)


def _copy_fields(settings: Settings, kind: type[T], **given: Any) -> T:
    """A dataclass with the fields of ``given``, and of the settings those that go by the same name."""
    same = {one.name for one in fields(Settings)} - set(given)
    found = {one.name: getattr(settings, one.name) for one in fields(kind) if one.name in same}  # type: ignore[arg-type]
    return kind(**found, **given)


def read_done(notebook: str, level: int) -> Done:
    """What the visits of a notebook have done at a level; rows that are none are left out, and said."""
    from scout.model import BadVisit
    from scout.visits.notebook import Notebook
    from scout.visits.tally import collect_done

    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    if not left_out:
        return collect_done(visits, level)
    numbers = ", ".join(str(visit.number) for visit in left_out[:10]) + ", ..." * (len(left_out) > 10)
    named = SettingName("visit-list", written="scout visit show")
    remark = MeasuredText(
        f"Rows of the notebook that are no visits are left out: {numbers}; ", named, " tells why."
    )
    return replace(collect_done(visits, level), remarks=(remark,))


@cache
def list_settings(*groups: Group) -> tuple[Setting, ...]:
    """The settings of some groups, or all of them, in the order in which they are defined."""
    return tuple(one for one in map(_make_setting, fields(Settings)) if not groups or one.group in groups)


def _make_setting(defined: Field[Any]) -> Setting:
    assert defined.default is not MISSING
    return Setting(name=defined.name, default=defined.default, **defined.metadata)


@cache
def get_settings_by_key() -> Mapping[str, Setting]:
    """All settings by their keys in an outing file."""
    return {one.key: one for one in list_settings()}


def check_settings(given: Mapping[str, Any], *groups: Group) -> Settings:
    """Settings with some values given by the names of fields, each checked.

    Parameters
    ----------
    given : mapping
        None stands for what is not given.
    groups : str
        Those that may be given; all if there is none.

    Raises
    ------
    InputError
        A value that its setting does not take.
    TypeError
        A name that no setting of these groups has.

    Examples
    --------
    >>> check_settings({"within_km": 80, "home": "JO22"}).within_km
    80.0
    """
    known = {one.name: one for one in list_settings(*groups)}
    strange = [name for name in given if name not in known]
    if strange:
        raise TypeError(f"there is no setting {strange[0]!r}; there are {', '.join(known)}")
    checked = {
        name: check_value(known[name], value, name) for name, value in given.items() if value is not None
    }
    return Settings(**checked)


def check_value(setting: Setting, value: Any, where: str) -> Any:
    """The value as its setting keeps it; ``where`` names it in the refusal."""
    if setting.many:
        several = [value] if isinstance(value, str) or not isinstance(value, Sequence) else value
        return tuple(_check_one(setting.kind, one, where) for one in several)
    return _check_one(setting.kind, value, where)


def _check_one(kind: Kind, value: Any, where: str) -> Any:
    numeric = isinstance(value, (int, float)) and not isinstance(value, bool)
    if kind.holds in ("number", "whole number") and not numeric:
        raise InputError(where, f"{value!r} is no number", "give a number")
    if kind.holds == "whole number" and not (math.isfinite(value) and value == int(value)):
        raise InputError(where, f"{value!r} is no whole number", "give a whole number")
    return kind.check(value, where)
