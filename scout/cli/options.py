"""Options that commands share, and the checked values they become."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from scout.cli import kinds
from scout.model import Station
from scout.surroundings import Walking

if TYPE_CHECKING:
    from scout.find import Options
    from scout.tally import Done

__all__ = [
    "FilesOption",
    "ManyFiles",
    "access_options",
    "options_from",
    "reading_options",
    "search_options",
    "spread_options",
    "standing_options",
    "station_from",
    "station_options",
]

_S = Station()
_W = Walking()


class FilesOption(click.Option):
    """An option that takes every word up to the next option, as people write files; it may come again."""

    def __init__(self, *names: Any, **rest: Any) -> None:
        super().__init__(*names, **{"multiple": True, "type": kinds.FILE, "metavar": "FILE...", **rest})


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


def _shown(name: str, kind: Any, default: Any, metavar: str, text: str) -> Callable[..., Any]:
    return click.option(name, type=kind, default=default, show_default=True, metavar=metavar, help=text)


_LEVEL = _shown("--level", kinds.LEVEL, "square", "LEVEL", "field, square, subsquare, extended or fifth.")
_RADIUS = _shown(
    "--station-radius", kinds.RADIUS, _S.radius_m, "M", "Radius of the disc with operator, rig and antenna."
)
_FIX_ERROR = _shown(
    "--fix-error", kinds.LENGTH, _S.fix_error_m, "M", "95 % error of the receiver's position."
)
_BOUNDARY_ERROR = _shown(
    "--boundary-error",
    kinds.LENGTH,
    _S.boundary_error_m,
    "M",
    "95 % error of the boundary data; the error of a datum transformation is added.",
)

_SEARCH = (
    click.option(
        "--home", type=kinds.PLACE, metavar="LAT,LON", help="Where distances count from; a locator will do."
    ),
    click.option("--within", type=kinds.OVER_0, metavar="KM", help="Only spots this near to home."),
    click.option(
        "--area",
        type=kinds.AREA,
        metavar="AREA",
        help="Only spots in this locator or SOUTH,WEST,NORTH,EAST.",
    ),
    _shown("--near", kinds.LENGTH, 500.0, "M", "How far outside a park a near miss may lie; 0 for none."),
    _shown(
        "--min-grids",
        kinds.GRIDS,
        1,
        "N",
        "Least grids at a spot; from 2, overlaps in one grid are not sought.",
    ),
    _shown("--min-parks", kinds.PARKS, 1, "N", "Least parks at a spot."),
    _shown(
        "--min-confidence", kinds.SHARE, 0.5, "P", "Lines and overlaps less sure than this are only counted."
    ),
    click.option(
        "--notebook", type=kinds.FILE, metavar="FILE", help="Rank first what its visits have not done yet."
    ),
    click.option("--park", "park_ids", multiple=True, metavar="ID", help="Only this park; may come again."),
)

_READING = (
    click.option(
        "--corridor",
        type=kinds.OVER_0,
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
    _shown(
        "--longest-walk",
        kinds.Number("is no time to walk", "give minutes over 0", over_0=True),
        _W.limit_min,
        "MIN",
        "One way; what takes longer is out of reach: marked so and ranked last.",
    ),
    _shown(
        "--load",
        kinds.Number("is no load", "give kilograms from 0 to 200", 200.0),
        _W.load_kg,
        "KG",
        "What is carried; a load slows the walks (Pandolf's equation).",
    ),
    _shown("--power-line", kinds.LENGTH, 50.0, "M", "Warn of overhead lines nearer to a spot than this."),
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


def spread_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the ways to spread its search."""
    return _with(_SPREAD, function)


def search_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options of a search."""
    return _with(_SEARCH, function)


def station_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the level, the station and its errors."""
    return _with((_LEVEL, _RADIUS, _FIX_ERROR, _BOUNDARY_ERROR), function)


def standing_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the level and the station, whose fix error a recording tells."""
    return _with((_LEVEL, _RADIUS, _BOUNDARY_ERROR), function)


def reading_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options of reading parks."""
    return _with(_READING, function)


def access_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command, whose class is `ManyFiles`, the options of the walks and of what is dangerous."""
    return _with(_ACCESS, function)


def _with(options: tuple[Callable[..., Any], ...], function: Callable[..., Any]) -> Callable[..., Any]:
    for option in reversed(options):
        function = option(function)
    return function


def station_from(station_radius: float, fix_error: float, boundary_error: float) -> Station:
    """Station of a command line, whose options have checked its lengths."""
    return Station(station_radius, fix_error, boundary_error)


def options_from(
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
) -> Options:
    """Options of a search from the words of a command line; other words may be among them."""
    from scout.coordinates import parse_area, parse_place
    from scout.errors import InputError
    from scout.find import Options
    from scout.locator import level_number

    if within is not None and home is None:
        raise InputError("--within", "there is no home to count from", "add --home LAT,LON")
    return Options(
        level=level_number(level),
        station=station,
        near_m=near,
        home=None if home is None else parse_place(home),
        within_km=within,
        bbox=None if area is None else parse_area(area),
        min_grids=min_grids,
        min_parks=min_parks,
        min_confidence=min_confidence,
        park_ids=park_ids,
        done=None if notebook is None else _done(notebook, level_number(level)),
    )


def _done(notebook: str, level: int) -> Done:
    from dataclasses import replace

    from scout.notebook import Notebook
    from scout.tally import done
    from scout.visits import BadVisit

    left_out: list[BadVisit] = []
    visits = Notebook(notebook).visits(left_out.append)
    if not left_out:
        return done(visits, level)
    numbers = ", ".join(str(visit.number) for visit in left_out[:10]) + ", ..." * (len(left_out) > 10)
    remark = f"Rows of the notebook that are no visits are left out: {numbers}; scout visit show tells why."
    return replace(done(visits, level), remarks=(remark,))
