"""The public face: frames in, frames out, and pictures that show themselves in a notebook.

`scout` offers these names itself: ``scout.find``, ``scout.check``, ``scout.map``. Places are what people
write (text in any of the usual forms, a locator), a shapely Point, or arrays named ``lat`` and ``lon``; a
bare pair of numbers is refused, because nobody can tell which comes first. Results equal those of the
command line. Nothing is printed; long work tells a ``progress`` callback what it does.
"""

from __future__ import annotations

import datetime
import html
import inspect
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeAlias, TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from scout.app.check import judge_planned
from scout.app.find import cut_to_best, find_spots
from scout.app.outputs import MAP_SPOTS, export_findings
from scout.app.pack import build_pack, choose_spots
from scout.app.settings import Group, Settings, check_settings, list_settings
from scout.app.sources import ParkFiles, build_read_parks, make_access, open_source
from scout.app.sources import read_parks as read_park_files
from scout.app.trip import make_trip_request, plan_trip
from scout.app.trip_outputs import build_trip_map, export_trip
from scout.app.view import look_around, make_view_request
from scout.errors import InputError
from scout.geo.coordinates.parse import parse_place, read_place
from scout.io.layers import read_frame
from scout.io.places import NamedPlace
from scout.io.write import write_file
from scout.model import Checked, Findings, ParkReport, Parks, Source, VerdictWord
from scout.output.card import CardParticulars, build_card, make_particulars
from scout.output.day_sheet import build_day_sheet
from scout.output.features import PROPERTIES, make_properties
from scout.output.text import format_clearance, format_move, format_probability, format_verdict
from scout.output.trip import describe_worth, format_trip
from scout.output.view import View, build_view_page, list_view_lines
from scout.page.document import build_map
from scout.parks.sources import InMemoryParks, ParkSource
from scout.recording.arrive import Arrival, judge_arrival
from scout.recording.read import read_fixes
from scout.recording.standstill import settle_fixes
from scout.search.check import CheckOptions
from scout.search.places import load_parks_near
from scout.sight.outlook import format_sectors, measure_sky_view
from scout.tours.day import Trip, TripTour

__all__ = [
    "Answer",
    "Outlook",
    "Page",
    "ParkFrame",
    "SpotFrame",
    "TripAnswer",
    "arrive",
    "card",
    "check",
    "find",
    "map",
    "pack",
    "read_parks",
    "save",
    "trip",
    "view",
]

PathLike: TypeAlias = str | os.PathLike[str]
PlaceLike: TypeAlias = "str | shapely.Point"
Progress: TypeAlias = Callable[[str], None]
F = TypeVar("F", bound=Callable[..., Any])
_FRAME_HEIGHT_PX = 640  # of a map inside a notebook


class ParkFrame(gpd.GeoDataFrame):  # type: ignore[misc]
    """Parks as `read_parks` gives them: a row a park, WGS 84, valid polygons.

    Columns: ``park_id`` and ``park_name`` (str), ``park_kind`` ("area" or "corridor"), ``source`` (row of
    ``sources``), ``datum_error_m`` (metres, stated accuracy of the way to WGS 84, and of
    rounded coordinates), ``geometry``. ``sources`` and ``report`` say where the records came from
    and what became of them.
    """

    _metadata = (*gpd.GeoDataFrame._metadata, "sources", "report")
    sources: tuple[Source, ...] = ()
    report: ParkReport = ParkReport()

    @property
    def _constructor(self) -> type[ParkFrame]:
        return ParkFrame


class SpotFrame(gpd.GeoDataFrame):  # type: ignore[misc]
    """Places found, as `find` gives them: a row a place, best first, WGS 84.

    The columns are those of a saved GeoJSON, among them ``rank``, ``kind``, ``locators`` and ``parks``
    (lists), ``n_grids``, ``n_parks``, ``yield`` (grids times parks), ``verdict`` (where there is
    an ``outline_error_m``, it holds if the outlines are true, which look that far off), ``confidence`` (a
    probability), ``clearance_m`` (metres to the nearest boundary, positive inside), ``home_km``,
    ``walk_min``; the point is where the station's centre goes. ``findings`` is the whole answer behind the
    rows.
    """

    _metadata = (*gpd.GeoDataFrame._metadata, "findings")
    findings: Findings | None = None

    @property
    def _constructor(self) -> type[SpotFrame]:
        return SpotFrame


@dataclass(frozen=True)
class Page:
    """One HTML page that needs no network; shows itself in a notebook."""

    html: str

    def save(self, path: PathLike) -> Path:
        """Write the page to a file and say where.

        Raises
        ------
        OutputError
            When it cannot be written.
        """
        write_file(os.fspath(path), self.html)
        return Path(path)

    def _repr_html_(self) -> str:
        inner = html.escape(self.html, quote=True)
        return (
            f'<iframe srcdoc="{inner}" style="width:100%;height:{_FRAME_HEIGHT_PX}px;border:0" '
            'sandbox="allow-scripts allow-downloads allow-popups allow-modals"></iframe>'
        )


@dataclass(frozen=True, repr=False)
class Answer:
    """What counts at one planned place; ``checked`` has all of it: near parks, lines, the better place."""

    place: str
    lat: float
    lon: float
    verdict: VerdictWord
    confidence: float  # probability
    locators: tuple[str, ...]
    parks: tuple[str, ...]
    clearance_m: float  # to the nearest boundary of these parks, positive inside; NaN without a park
    checked: Checked

    def __repr__(self) -> str:
        held = " ".join(self.parks) or "no park"
        sure = format_probability(self.confidence)
        word = format_verdict(self.verdict, self.checked.verdict.coarse)
        return f"<{self.place}: {word} {sure}, {' '.join(self.locators)} in {held}>"

    def _repr_html_(self) -> str:
        word = format_verdict(self.verdict, self.checked.verdict.coarse)
        rows = [
            ("place", self.place),
            ("verdict", f"{word}, {format_probability(self.confidence)}"),
            ("grids", " ".join(self.locators)),
            ("parks", ", ".join(self.parks) or "none"),
            ("boundary", format_clearance(self.clearance_m)),
            ("held down by", self.checked.driver),
        ]
        move = self.checked.move
        if move is not None:
            rows.append(("better", format_move(move)))
        cells = "".join(
            f"<tr><th style='text-align:left'>{html.escape(head)}</th><td>{html.escape(text)}</td></tr>"
            for head, text in rows
            if text
        )
        return f"<table>{cells}</table>"


@dataclass(frozen=True, repr=False)
class TripAnswer:
    """A day, or several, with several places: the best tours, the best first."""

    plan: Trip
    particulars: CardParticulars

    @property
    def tours(self) -> tuple[TripTour, ...]:
        """Tours with their days, places and times."""
        return self.plan.tours

    def map(self) -> Page:
        """Make the map with the tours drawn and told."""
        return Page(build_trip_map(self.plan))

    def sheet(self) -> Page:
        """Make the sheet of the day, to print."""
        return Page(build_day_sheet(self.plan, self.particulars))

    def save(self, path: PathLike) -> Path:
        """Write the best tour as .gpx or .ics, or all of it, with cards, as .zip.

        Raises
        ------
        OutputError
            No such format, or it cannot be written.
        """
        write_file(os.fspath(path), export_trip(self.plan, self.particulars, os.fspath(path)))
        return Path(path)

    def __str__(self) -> str:
        return "\n".join(format_trip(self.plan))

    def __repr__(self) -> str:
        return f"<{describe_worth(self.tours[0])}>"

    def _repr_html_(self) -> str:
        return self.map()._repr_html_()


@dataclass(frozen=True, repr=False)
class Outlook:
    """What an antenna sees; ``seen`` has all of it: the horizon and what makes it, or the line to a place."""

    place: str
    lat: float
    lon: float
    lines: tuple[str, ...]  # in words
    open_sectors: str  # of azimuth, with a horizon up to 3 degrees; empty of a line of sight
    sky_view: float  # share of the sky over the horizon; NaN of a line of sight
    state: str  # of a line of sight: free, grazed, blocked or unknown; empty of a horizon
    seen: View

    def page(self) -> Page:
        """Make the page with pictures and tables."""
        return Page(build_view_page(self.seen))

    def __repr__(self) -> str:
        return f"<{self.place}: {self.lines[0]}>"

    def _repr_html_(self) -> str:
        return self.page()._repr_html_()


def _takes(*groups: Group) -> Callable[[F], F]:
    """Give a function the settings of some groups as keywords: in its signature and its documentation."""

    def give(function: F) -> F:
        signature = inspect.signature(function)
        own = [one for one in signature.parameters.values() if one.kind is not inspect.Parameter.VAR_KEYWORD]
        known = list_settings(*groups)
        lent = [
            inspect.Parameter(one.name, inspect.Parameter.KEYWORD_ONLY, default=one.default) for one in known
        ]
        function.__signature__ = signature.replace(parameters=[*own, *lent])  # type: ignore[attr-defined]
        lines = [f"    {one.name} : default {one.default!r}\n        {one.help}\n" for one in known]
        function.__doc__ = (function.__doc__ or "").replace("    **settings\n", "".join(lines))
        return function

    return give


@_takes("reading")
def read_parks(
    *sources: PathLike | gpd.GeoDataFrame,
    keep: Sequence[str] = (),
    progress: Progress | None = None,
    **settings: Any,
) -> ParkFrame:
    """Make parks of boundary files or of GeoDataFrames: ids, names, valid polygons in WGS 84.

    Parameters
    ----------
    *sources : path or GeoDataFrame
        Files, or frames in any coordinate system; not both in one call.
    keep : sequence of str
        Columns to carry along, in the column ``attributes``.
    progress : callable, optional
        Called with what is being done, in a few words.
    **settings

    Raises
    ------
    InputError
        Nothing that a park can be made of; a CrsError for a frame without a coordinate system.

    Examples
    --------
    >>> import geopandas as gpd, shapely
    >>> fen = shapely.box(9.9, 44.9, 10.1, 45.1)
    >>> frame = gpd.GeoDataFrame({"code": ["Q-1"], "name": ["Fen"]}, geometry=[fen], crs="EPSG:4326")
    >>> read_parks(frame)[["park_id", "park_name"]].iloc[0].tolist()
    ['Q-1', 'Fen']
    """
    frames = [one for one in sources if isinstance(one, gpd.GeoDataFrame)]
    if frames and len(frames) < len(sources):
        raise InputError("read_parks", "files and frames are mixed", "read them in two calls and concatenate")
    if not sources:
        raise InputError("read_parks", "no source is given", "give files or a GeoDataFrame")
    reading = check_settings(settings, "reading").make_park_files([], keep)
    if frames:
        layers = [read_frame(one, f"frame {number}") for number, one in enumerate(frames, start=1)]
        parks = build_read_parks(reading, layers)
    else:
        files = tuple(os.fspath(one) for one in sources)
        parks = read_park_files(replace(reading, files=files), progress or _say_nothing)
    made = ParkFrame(parks.frame)
    made.sources, made.report = parks.sources, parks.report
    return made


@_takes("station", "search", "access", "sight", "display")
def find(
    parks: gpd.GeoDataFrame | PathLike | Sequence[PathLike],
    *,
    progress: Progress | None = None,
    **settings: Any,
) -> SpotFrame:
    """Find and rank the places where several grids and parks meet.

    Parameters
    ----------
    parks : GeoDataFrame, path or sequence of paths
        Parks of `read_parks`, any frame of boundaries with a coordinate system, or boundary files.
    progress : callable, optional
        Called with what is being done, in a few words.
    **settings

    Raises
    ------
    InputError
        Something that cannot be used, in one line.

    Examples
    --------
    >>> import geopandas as gpd, shapely
    >>> fen = shapely.box(9.9, 44.9, 10.1, 45.1)
    >>> frame = gpd.GeoDataFrame({"code": ["Q-1"], "name": ["Fen"]}, geometry=[fen], crs="EPSG:4326")
    >>> spots = find(frame, home="45.2, 10.1")
    >>> print(*spots[["kind", "n_grids", "verdict"]].iloc[0])
    corner 4 firm
    """
    given = _check_given(settings, "station", "search", "access", "sight", "display")
    show = progress or _say_nothing
    access = make_access(given.make_access_files(parks=_list_paths(parks)), show)
    found = find_spots(_open_parks(parks, show), given.make_options(), show, access)
    return _make_frame(replace(found, units=given.units))


@_takes("station")
def check(
    places: PlaceLike | Iterable[PlaceLike] | None,
    parks: gpd.GeoDataFrame | PathLike | Sequence[PathLike],
    *,
    lat: Any = None,
    lon: Any = None,
    progress: Progress | None = None,
    **settings: Any,
) -> Answer | list[Answer]:
    """Judge planned places: which grids and parks count there, how surely, and which move makes it better.

    Parameters
    ----------
    places : str, Point, or several of them; None where ``lat`` and ``lon`` are given
    parks : as for `find`
    lat, lon : arrays, shape (n,), optional
        Degrees on WGS 84.
    progress : callable, optional
        Called with what is being done, in a few words.
    **settings

    Returns
    -------
    Answer
        For one place; a list of them, in order, for several.

    Examples
    --------
    >>> import geopandas as gpd, shapely
    >>> fen = shapely.box(9.9, 44.9, 10.1, 45.1)
    >>> frame = gpd.GeoDataFrame({"code": ["Q-1"], "name": ["Fen"]}, geometry=[fen], crs="EPSG:4326")
    >>> check("45.05, 10.05", frame)
    <45.05, 10.05: firm over 99.9 %, JN55 in Q-1>
    """
    given = _check_given(settings, "station")
    show = progress or _say_nothing
    planned = _list_planned(places, lat, lon)
    source = _open_parks(parks, show)
    x, y, cells = [one.lon for one in planned], [one.lat for one in planned], [one.cell for one in planned]
    near = load_parks_near(source, x, y, CheckOptions().near_m, cells)
    results = judge_planned(near, planned, given.level_number, given.station, show)
    answers = [_make_answer(place, one) for place, one in zip(planned, results, strict=True)]
    return answers[0] if isinstance(places, (str, shapely.Point)) else answers


@_takes("station")
def arrive(
    recording: PathLike,
    parks: gpd.GeoDataFrame | PathLike | Sequence[PathLike],
    **settings: Any,
) -> Arrival:
    """Make one position with its error of a recording (NMEA or GPX), and judge it.

    Parameters
    ----------
    recording : path
    parks : as for `find`
    **settings
        The fix error is the recording's own.

    Raises
    ------
    InputError
        No recording, or none of a receiver at rest.
    """
    given = _check_given(settings, "station")
    fixes = read_fixes(os.fspath(recording))
    middle = settle_fixes(fixes)
    source = _open_parks(parks, _say_nothing)
    near = load_parks_near(source, [middle.lon], [middle.lat], CheckOptions().near_m)
    return judge_arrival(fixes, near, given.level_number, given.station)


def view(
    place: PlaceLike,
    heights: PathLike | Sequence[PathLike],
    *,
    to: PlaceLike | None = None,
    antenna_m: float = 5.0,
    to_antenna_m: float = 5.0,
    mhz: float = 145.0,
    towards: Sequence[str] = (),
    access: Sequence[PathLike] = (),
    day: str | None = None,
    zone: str | None = None,
    progress: Progress | None = None,
) -> Outlook:
    """Work out what an antenna sees from a place: its horizon, or the line of sight to another place.

    Parameters
    ----------
    place : str or Point
    heights : path or sequence of paths
        GeoTIFF or .hgt files, as far around as hills may stand.
    to : str or Point, optional
        The other end of a line of sight.
    antenna_m, to_antenna_m : float
        Heights over the ground.
    mhz : float
        Frequency, for the Fresnel zone.
    towards : sequence of str
        Places or azimuths to tell the horizon of.
    access : sequence of paths
        Data with named peaks.
    day, zone : str, optional
        For the Sun over the hills, such as "2026-06-21" and "Pacific/Auckland".
    progress : callable, optional
        Called with what is being done, in a few words.

    Raises
    ------
    InputError
        No height is known at the place, or something that cannot be used.
    """
    files = [heights] if isinstance(heights, (str, os.PathLike)) else list(heights)
    given = {
        "heights": [os.fspath(one) for one in files],
        "access": [os.fspath(one) for one in access],
        "antenna_m": antenna_m,
        "towards": list(towards),
    }
    request = make_view_request(
        _write_place(place),
        check_settings(given, "access", "sight"),
        to=None if to is None else _write_place(to),
        to_antenna_m=to_antenna_m,
        mhz=mhz,
        day=day,
        zone=zone,
    )
    seen = look_around(request, progress or _say_nothing)
    horizon = seen.horizon
    return Outlook(
        seen.place.name,
        seen.place.lat,
        seen.place.lon,
        tuple(list_view_lines(seen)),
        "" if horizon is None else format_sectors(horizon),
        float("nan") if horizon is None else measure_sky_view(horizon),
        "" if seen.path is None else seen.path.state,
        seen,
    )


def map(spots: SpotFrame, *, title: str = "", author: str = "") -> Page:
    """Make the map of the places in a frame; of a frame that was filtered, of the rows that are left.

    Raises
    ------
    InputError
        A frame that is not of `find`.
    """
    findings = replace(_findings_of(spots), title=title, author=author)
    return Page(build_map(cut_to_best(findings, MAP_SPOTS)))


def card(spots: SpotFrame, rank: int, **particulars: Any) -> Page:
    """Make the card of one place, for both sides of a sheet; see `scout.output.card.CardParticulars`."""
    return Page(build_card(_findings_of(spots), rank, CardParticulars(**particulars)))


def pack(spots: SpotFrame, ranks: Sequence[int], **particulars: Any) -> bytes:
    """Make the archive of some places: map, cards, lists for receivers and spreadsheets."""
    return build_pack(_findings_of(spots), list(ranks), CardParticulars(**particulars))


def save(spots: SpotFrame, path: PathLike) -> Path:
    """Write the places as .geojson, .csv, .gpx, .kml, .kmz or .gpkg, by the path's suffix."""
    write_file(os.fspath(path), export_findings(_findings_of(spots), os.fspath(path)))
    return Path(path)


@_takes("trip")
def trip(
    spots: SpotFrame,
    date: str | datetime.date,
    *,
    home: PlaceLike | None = None,
    zone: str | None = None,
    access: PathLike | Sequence[PathLike] = (),
    notebook: PathLike | None = None,
    call: str = "",
    progress: Progress | None = None,
    **settings: Any,
) -> TripAnswer:
    """Plan a day with several of the places in a frame: which, in which order, for most new pairs.

    Parameters
    ----------
    spots : SpotFrame
        As `find` gives it, also filtered.
    date : str or date
        The first day, as 2026-06-21.
    home : str or Point, optional
        Where each day begins; that of the search if not given.
    zone : str, optional
        Whose clock is meant; that of the longitude if not given.
    access : path or paths
        Files with roads; drives are estimated from straight distances without.
    notebook : path, optional
        Pairs of its visits are not new.
    call : str, optional
        Call sign for the sheet and the cards.
    progress : callable, optional
        Called with what is being done, in a few words.
    **settings

    Raises
    ------
    InputError
        A wish that cannot be had, in one line that says by how much; or the extra named trip is missing.
    """
    files = [access] if isinstance(access, (str, os.PathLike)) else list(access)
    beside = {"home": home, "notebook": notebook, "access": [os.fspath(one) for one in files]}
    given = _check_given({**settings, **beside}, "trip", "search", "access")
    particulars = make_particulars(call, "", str(date), zone)
    assert particulars.day is not None
    findings = _findings_of(spots)
    request = make_trip_request(given, findings.level, particulars.day, particulars.zone)
    plan = plan_trip(findings, given, request, given.make_access_files(), progress or _say_nothing)
    return TripAnswer(plan, particulars)


def _check_given(settings: dict[str, Any], *groups: Group) -> Settings:
    """The settings of a call: a level may be a number, a home a Point."""
    given = dict(settings)
    if isinstance(given.get("level"), int):
        given["level"] = str(given["level"])
    home = given.get("home")
    if home is not None:
        given["home"] = _write_place(home)
    if given.get("within_km") is not None and home is None:
        raise InputError("within_km", "there is no home to count from", "give home as well")
    return check_settings(given, *groups)


def _say_nothing(_: str) -> None:
    """Progress that nobody asked for."""


def _open_parks(parks: Any, show: Progress) -> ParkSource:
    if isinstance(parks, ParkFrame):
        frame = gpd.GeoDataFrame(parks).reset_index(drop=True)
        return InMemoryParks(Parks(frame, parks.sources, parks.report))
    if isinstance(parks, gpd.GeoDataFrame):
        return _open_parks(read_parks(parks), show)
    files = [parks] if isinstance(parks, (str, os.PathLike)) else list(parks)
    return open_source(ParkFiles(tuple(os.fspath(one) for one in files)), show)


def _list_paths(parks: gpd.GeoDataFrame | PathLike | Sequence[PathLike]) -> list[str]:
    """The files that parks come from; none where they are a frame."""
    if isinstance(parks, gpd.GeoDataFrame):
        return []
    return [os.fspath(one) for one in ([parks] if isinstance(parks, (str, os.PathLike)) else parks)]


def _write_place(place: PlaceLike) -> str:
    """A place as text; what is text stays as it is."""
    if isinstance(place, str):
        return place
    lon, lat = _locate(place)
    return ", ".join(np.format_float_positional(one, trim="0") for one in (lat, lon))


def _locate(place: PlaceLike) -> tuple[float, float]:
    """Longitude and latitude of a place as people give it."""
    if isinstance(place, str):
        return parse_place(place)
    if isinstance(place, shapely.Point) and not place.is_empty:
        return (float(place.x), float(place.y))
    what = "a pair of numbers does not say which comes first"
    raise InputError(f"place {place!r}", what, "write it as text, such as '45.12, -89.45', or as a Point")


def _list_planned(places: Any, lat: Any, lon: Any) -> list[NamedPlace]:
    if places is None:
        if lat is None or lon is None:
            raise InputError("check", "no place is given", "give places, or lat and lon")
        rows = zip(np.atleast_1d(lat).tolist(), np.atleast_1d(lon).tolist(), strict=True)
        return [NamedPlace(f"{y:g}, {x:g}", float(x), float(y), "", None, None) for y, x in rows]
    several = [places] if isinstance(places, (str, shapely.Point)) else list(places)
    planned = []
    for one in several:
        if isinstance(one, str):
            read = read_place(one)
            more = (read.understood, read.cell, read.uncertainty_m)
            planned.append(NamedPlace(one, read.lon, read.lat, *more))
        else:
            x, y = _locate(one)
            planned.append(NamedPlace(f"{y:g}, {x:g}", x, y, "", None, None))
    return planned


def _make_answer(place: NamedPlace, checked: Checked) -> Answer:
    verdict = checked.verdict
    return Answer(
        place.name,
        checked.lat,
        checked.lon,
        verdict.word,
        verdict.confidence,
        verdict.locators,
        verdict.parks,
        min(verdict.clearances_m, default=float("nan")),
        checked,
    )


def _make_frame(findings: Findings) -> SpotFrame:
    """A row a place, with the columns of a saved file."""
    rows = [make_properties(ranked) for ranked in findings.spots]
    table = pd.DataFrame.from_records(rows, columns=list(PROPERTIES))
    points = shapely.points([[one.spot.lon, one.spot.lat] for one in findings.spots] or np.empty((0, 2)))
    made = SpotFrame(table, geometry=points, crs="EPSG:4326")
    made.findings = findings
    return made


def _findings_of(spots: SpotFrame) -> Findings:
    """The answer behind a frame, cut to the rows that it still has."""
    findings: Findings | None = getattr(spots, "findings", None)
    if findings is None:
        what = "this frame does not come from scout.find"
        raise InputError("spots", what, "give the frame that find returned")
    if len(spots) == len(findings.spots):
        return findings
    return choose_spots(findings, sorted(int(rank) for rank in spots["rank"]))
