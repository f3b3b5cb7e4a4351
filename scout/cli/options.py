"""Options that commands share, and the checked values they become."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from scout.model import Station

if TYPE_CHECKING:
    from scout.find import Options

__all__ = [
    "ManyFiles",
    "options_from",
    "reading_options",
    "search_options",
    "standing_options",
    "station_from",
    "station_options",
]

_S = Station()


def _shown(name: str, default: Any, metavar: str, text: str) -> Callable[..., Any]:
    return click.option(
        name, type=type(default), default=default, show_default=True, metavar=metavar, help=text
    )


_LEVEL = _shown("--level", "square", "LEVEL", "field, square, subsquare, extended or fifth.")
_RADIUS = _shown("--station-radius", _S.radius_m, "M", "Radius of the disc with operator, rig and antenna.")
_FIX_ERROR = _shown("--fix-error", _S.fix_error_m, "M", "95 % error of the receiver's position.")
_BOUNDARY_ERROR = _shown(
    "--boundary-error",
    _S.boundary_error_m,
    "M",
    "95 % error of the boundary data; the error of a datum transformation is added.",
)

_SEARCH = (
    click.option("--home", metavar="LAT,LON", help="Where distances count from; a locator will do."),
    click.option("--within", type=float, metavar="KM", help="Only spots this near to home."),
    click.option("--area", metavar="AREA", help="Only spots in this locator or SOUTH,WEST,NORTH,EAST."),
    _shown("--near", 500.0, "M", "How far outside a park a near miss may lie; 0 for none."),
    _shown("--min-grids", 1, "N", "Least grids at a spot; from 2, overlaps in one grid are not sought."),
    _shown("--min-parks", 1, "N", "Least parks at a spot."),
    _shown("--min-confidence", 0.5, "P", "Lines and overlaps less sure than this are only counted."),
    click.option("--park", "park_ids", multiple=True, metavar="ID", help="Only this park; may come again."),
)

_READING = (
    click.option(
        "--corridor",
        type=float,
        metavar="M",
        help="Take lines (trails, rivers) as parks, M to either side; 30.48 (100 ft) is common practice.",
    ),
    click.option("--id-column", metavar="C", help="Column with the park's id, if not the one found."),
    click.option("--name-column", metavar="C", help="Column with the park's name, if not the one found."),
    click.option("--layer", metavar="L", help="Only this layer of each file; all otherwise."),
    click.option("--crs", metavar="CRS", help="Coordinate system of files that name none: EPSG:26915."),
)


class ManyFiles(click.Command):
    """A command whose ``--parks`` takes every word up to the next option, as people write it."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Repeat ``--parks`` before each of its files; click knows only options of a fixed length."""
        given, rest = iter(args), []
        taking = False
        for word in given:
            if word.startswith("--") or word in ("-h",):
                taking = word == "--parks"
                rest.append(word)
            elif taking and rest[-1] != "--parks":
                rest += ["--parks", word]
            else:
                rest.append(word)
        return super().parse_args(ctx, rest)


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


def _with(options: tuple[Callable[..., Any], ...], function: Callable[..., Any]) -> Callable[..., Any]:
    for option in reversed(options):
        function = option(function)
    return function


def station_from(station_radius: float, fix_error: float, boundary_error: float) -> Station:
    """Checked station of a command line."""
    from scout.errors import InputError

    _check_lengths(
        {"--station-radius": station_radius, "--fix-error": fix_error, "--boundary-error": boundary_error}
    )
    if station_radius == 0:
        raise InputError("--station-radius", "a station takes up some ground", "give a radius over 0")
    return Station(station_radius, fix_error, boundary_error)


def _check_lengths(lengths: dict[str, float]) -> None:
    from scout.errors import InputError

    for name, value in lengths.items():
        if not 0 <= value <= 1e6:  # refuses NaN as well
            raise InputError(name, f"{value:g} is not a length", "give a number from 0 up")


def options_from(
    *,
    level: str,
    station: Station,
    home: str | None,
    within: float | None,
    area: str | None,
    near: float,
    **rest: Any,
) -> Options:
    """Checked options of a search from the words of a command line."""
    from scout.coordinates import parse_area, parse_place
    from scout.errors import InputError
    from scout.find import Options
    from scout.locator import level_number

    if within is not None and home is None:
        raise InputError("--within", "there is no home to count from", "add --home LAT,LON")
    _check_lengths({"--near": near, "--within": within or 0.0})
    return Options(
        level=level_number(level),
        station=station,
        near_m=near,
        home=None if home is None else parse_place(home),
        within_km=within,
        bbox=None if area is None else parse_area(area),
        **rest,
    )
