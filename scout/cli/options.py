"""Options that commands share, the kinds of values they take, and what they become."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from scout.errors import InputError
from scout.model import Station, Walking

if TYPE_CHECKING:
    ParamType = click.ParamType[Any]
else:
    ParamType = click.ParamType  # generic in late releases of click only


class NumberType(ParamType):
    """A number between two others; NaN is none."""

    name = "number"

    def __init__(self, what: str, remedy: str, highest: float = 1e6, *, over_0: bool = False) -> None:
        self.what, self.remedy, self.highest, self.over_0 = what, remedy, highest, over_0

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Take the text or number of an option."""
        number = float(click.FLOAT.convert(value, param, ctx))
        if not 0 <= number <= self.highest:
            raise InputError(_name_option(param), f"{number:g} {self.what}", self.remedy)
        if self.over_0 and number == 0:
            raise InputError(_name_option(param), f"0 {self.what}", self.remedy)
        return number


class Count(click.types.IntParamType):
    """A whole number between two others."""

    def __init__(self, what: str, remedy: str, least: int, most: int) -> None:
        self.what, self.remedy, self.least, self.most = what, remedy, least, most

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Take the text or number of an option."""
        number = int(super().convert(value, param, ctx))
        if not self.least <= number <= self.most:
            raise InputError(_name_option(param), f"{number} {self.what}", self.remedy)
        return number


class CheckedText(ParamType):
    """Text that a function of the core understands; it is handed on as it was written."""

    name = "text"

    def __init__(self, check: Callable[[str], None]) -> None:
        self.check = check

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Take the text of an option."""
        self.check(str(value))
        return str(value)


class _FilePathType(ParamType):
    """A path; whoever opens it says what is wrong with it."""

    name = "file"


def _name_option(param: click.Parameter | None) -> str:
    return "value" if param is None else param.opts[0]


def _check_level(text: str) -> None:
    from scout.geo.locator import get_level_number

    get_level_number(text)


def _check_place(text: str) -> None:
    from scout.geo.coordinates.parse import parse_place

    parse_place(text)


def _check_area(text: str) -> None:
    from scout.geo.coordinates.parse import parse_area

    parse_area(text)


FILE = _FilePathType()
LEVEL, PLACE, AREA = CheckedText(_check_level), CheckedText(_check_place), CheckedText(_check_area)
LENGTH = NumberType("is not a length", "give a number from 0 up")
GRIDS = Count("is no number of grids that meet at a spot", "give one from 1 to 4", 1, 4)
PARKS = Count("is no number of parks that hold a spot", "give one from 1 up", 1, 10**6)
OVER_0 = NumberType("is not a length", "give a number over 0", over_0=True)
RADIUS = NumberType("is no radius: a station takes up some ground", "give a radius over 0", over_0=True)
SHARE = NumberType("is no probability", "give a number from 0 to 1", 1.0)


# Options that commands share, and the checked values they become.
if TYPE_CHECKING:
    from scout.app.find import SearchOptions
    from scout.visits.tally import Done


_S = Station()
_W = Walking()


class FilesOption(click.Option):
    """An option that takes every word up to the next option, as people write files; it may come again."""

    def __init__(self, *names: Any, **rest: Any) -> None:
        super().__init__(*names, **{"multiple": True, "type": FILE, "metavar": "FILE...", **rest})


class ManyFiles(click.Command):
    """A command with options that take many files."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Repeat such an option before each of its files; click knows only options of a fixed length."""
        many = {name for p in self.params if isinstance(p, FilesOption) for name in p.opts}
        rest: list[str] = []
        taking = ""
        for word in args:
            if word.startswith("--") or word == "-h":
                taking = word.split("=", 1)[0] if word.split("=", 1)[0] in many else ""
                rest.append(word)
            elif taking and rest[-1] != taking:
                rest += [taking, word]
            else:
                rest.append(word)
        return super().parse_args(ctx, rest)


def _make_option(name: str, kind: Any, default: Any, metavar: str, text: str) -> Callable[..., Any]:
    return click.option(name, type=kind, default=default, show_default=True, metavar=metavar, help=text)


_LEVEL = _make_option("--level", LEVEL, "square", "LEVEL", "field, square, subsquare, extended or fifth.")
_RADIUS = _make_option(
    "--station-radius", RADIUS, _S.radius_m, "M", "Radius of the disc with operator, rig and antenna."
)
_FIX_ERROR = _make_option(
    "--fix-error", LENGTH, _S.fix_error_m, "M", "95 % error of the receiver's position."
)
_BOUNDARY_ERROR = _make_option(
    "--boundary-error",
    LENGTH,
    _S.boundary_error_m,
    "M",
    "95 % error of the boundary data; the error of a datum transformation is added.",
)

_SEARCH = (
    click.option(
        "--home", type=PLACE, metavar="LAT,LON", help="Where distances count from; a locator will do."
    ),
    click.option("--within", type=OVER_0, metavar="KM", help="Only spots this near to home."),
    click.option(
        "--area",
        type=AREA,
        metavar="AREA",
        help="Only spots in this locator or SOUTH,WEST,NORTH,EAST.",
    ),
    _make_option("--near", LENGTH, 500.0, "M", "How far outside a park a near miss may lie; 0 for none."),
    _make_option(
        "--min-grids",
        GRIDS,
        1,
        "N",
        "Least grids at a spot; from 2, overlaps in one grid are not sought.",
    ),
    _make_option("--min-parks", PARKS, 1, "N", "Least parks at a spot."),
    _make_option(
        "--min-confidence", SHARE, 0.5, "P", "Lines and overlaps less sure than this are only counted."
    ),
    click.option(
        "--notebook", type=FILE, metavar="FILE", help="Rank first what its visits have not done yet."
    ),
    click.option("--park", "park_ids", multiple=True, metavar="ID", help="Only this park; may come again."),
)

_READING = (
    click.option(
        "--corridor",
        type=OVER_0,
        metavar="M",
        help="Take lines (trails, rivers) as parks, M to either side; 30.48 (100 ft) is common practice.",
    ),
    click.option("--id-column", metavar="C", help="Column with the park's id, if not the one found."),
    click.option("--name-column", metavar="C", help="Column with the park's name, if not the one found."),
    click.option(
        "--pieces",
        type=click.Choice(["join", "apart"]),
        default="join",
        show_default=True,
        metavar="HOW",
        help="join or apart: pieces that touch, of one name and without ids, are one park or one each.",
    ),
    click.option("--layer", metavar="L", help="Only this layer of each file; all otherwise."),
    click.option("--strict", is_flag=True, help="End at the first boundary file that cannot be used."),
    click.option("--crs", metavar="CRS", help="Coordinate system of files that name none: EPSG:26915."),
)

_ACCESS = (
    click.option("--access", cls=FilesOption, help="Roads, paths and parking, for the walks to the spots."),
    click.option("--barriers", cls=FilesOption, help="Water, cliffs, fences, closed ground: not walked."),
    click.option("--hazards", cls=FilesOption, help="Overhead power lines, to be warned of."),
    click.option("--heights", cls=FilesOption, help="Heights, GeoTIFF or .hgt: slopes slow the walks."),
    _make_option(
        "--longest-walk",
        NumberType("is no time to walk", "give minutes over 0", over_0=True),
        _W.limit_min,
        "MIN",
        "One way; what takes longer is out of reach: marked so and ranked last.",
    ),
    _make_option(
        "--load",
        NumberType("is no load", "give kilograms from 0 to 200", 200.0),
        _W.load_kg,
        "KG",
        "What is carried; a load slows the walks (Pandolf's equation).",
    ),
    _make_option("--power-line", LENGTH, 50.0, "M", "Warn of overhead lines nearer to a spot than this."),
)


_SPREAD = (
    click.option(
        "--workers",
        type=click.IntRange(min=1),
        metavar="N",
        help="Search in N processes, for whole continents; needs the extra named cluster.",
    ),
    click.option(
        "--cluster",
        metavar="ADDRESS",
        help="Search on the workers of this Dask scheduler; they need the files under the same paths.",
    ),
)


def add_spread_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the ways to spread its search."""
    return _add_options(_SPREAD, function)


def add_search_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options of a search."""
    return _add_options(_SEARCH, function)


def add_station_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the level, the station and its errors."""
    return _add_options((_LEVEL, _RADIUS, _FIX_ERROR, _BOUNDARY_ERROR), function)


def add_standing_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the level and the station, whose fix error a recording tells."""
    return _add_options((_LEVEL, _RADIUS, _BOUNDARY_ERROR), function)


def add_reading_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options of reading parks."""
    return _add_options(_READING, function)


def add_access_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command, whose class is `ManyFiles`, the options of the walks and of what is dangerous."""
    return _add_options(_ACCESS, function)


def _add_options(options: tuple[Callable[..., Any], ...], function: Callable[..., Any]) -> Callable[..., Any]:
    for option in reversed(options):
        function = option(function)
    return function


def make_station(station_radius: float, fix_error: float, boundary_error: float) -> Station:
    """Station of a command line, whose options have checked its lengths."""
    return Station(station_radius, fix_error, boundary_error)


def make_options(
    *,
    level: str,
    station: Station,
    home: str | None,
    within: float | None,
    area: str | None,
    near: float,
    min_grids: int,
    min_parks: int,
    min_confidence: float,
    park_ids: tuple[str, ...],
    notebook: str | None,
    **_: Any,
) -> SearchOptions:
    """Options of a search from the words of a command line; other words may be among them."""
    from scout.app.find import SearchOptions
    from scout.errors import InputError
    from scout.geo.coordinates.parse import parse_area, parse_place
    from scout.geo.locator import get_level_number

    if within is not None and home is None:
        raise InputError("--within", "there is no home to count from", "add --home LAT,LON")
    return SearchOptions(
        level=get_level_number(level),
        station=station,
        near_m=near,
        home=None if home is None else parse_place(home),
        within_km=within,
        bbox=None if area is None else parse_area(area),
        min_grids=min_grids,
        min_parks=min_parks,
        min_confidence=min_confidence,
        park_ids=park_ids,
        done=None if notebook is None else _read_done(notebook, get_level_number(level)),
    )


def _read_done(notebook: str, level: int) -> Done:
    from dataclasses import replace

    from scout.model import BadVisit
    from scout.visits.notebook import Notebook
    from scout.visits.tally import collect_done

    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    if not left_out:
        return collect_done(visits, level)
    numbers = ", ".join(str(visit.number) for visit in left_out[:10]) + ", ..." * (len(left_out) > 10)
    remark = f"Rows of the notebook that are no visits are left out: {numbers}; scout visit show tells why."
    return replace(collect_done(visits, level), remarks=(remark,))
