"""What an antenna sees from any place: its horizon, or the line to another place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, tzinfo

import numpy as np

from scout.app.settings import Number, Settings
from scout.app.sources import AccessFiles, make_access
from scout.errors import InputError, SettingName
from scout.geo.coordinates.parse import read_place
from scout.geo.geodesy import measure_geodesic, move_point
from scout.io.places import NamedPlace
from scout.model import NAME, WHAT, Aim, Horizon, Surroundings
from scout.output.card import make_particulars
from scout.output.sun import find_light
from scout.output.view import View
from scout.sight.horizon import SightGround, find_horizons, make_sight_boxes, read_ground
from scout.sight.outlook import find_peaks, look_towards, parse_aim
from scout.sight.path import LONGEST_M, measure_path
from scout.walk.reach import AccessSource

_PEAKS_WITHIN_M = 60_000.0
_ON_PATH_M = 5_000.0  # between the places along a line of sight around which heights are read
_NAMED_WITHIN_M = 1_000.0  # of an obstacle, the peak that names it


@dataclass(frozen=True, slots=True)
class ViewRequest:
    """What is to be seen from where."""

    place: str
    files: AccessFiles
    antenna_m: float = 5.0
    aims: tuple[Aim, ...] = ()
    to: str | None = None
    to_antenna_m: float = 5.0
    mhz: float = 145.0
    day: date | None = None
    zone: tzinfo | None = None


_HEIGHT = Number("is no height of an antenna", "give metres from 0 to 300", 300.0)
_FREQUENCY = Number("is no frequency", "give MHz from over 0 to 300000", 3e5, over_0=True)


def make_view_request(
    place: str,
    settings: Settings,
    *,
    to: str | None = None,
    to_antenna_m: float = 5.0,
    mhz: float = 145.0,
    day: str | None = None,
    zone: str | None = None,
) -> ViewRequest:
    """What is to be seen, understood from text and settings.

    Raises
    ------
    InputError
        A number that is no height or no frequency, a day or a zone that is none.
    """
    particulars = make_particulars("", "", day, zone)
    return ViewRequest(
        place,
        settings.make_access_files(),
        settings.antenna_m,
        tuple(map(parse_aim, settings.towards)),
        to,
        _HEIGHT.check(to_antenna_m, SettingName("to-height")),
        _FREQUENCY.check(mhz, SettingName("mhz")),
        particulars.day,
        particulars.zone,
    )


def look_around(request: ViewRequest, show: Callable[[str], None]) -> View:
    """Read the heights around a place and work out what is seen from there.

    Raises
    ------
    InputError
        No heights, none at the place, or a place that is not understood.
    """
    access = make_access(request.files, show)
    if access is None or access.heights is None:
        raise InputError(SettingName("heights"), "no heights are given", "name GeoTIFF or .hgt files")
    here = _read_named(request.place)
    if request.to is not None:
        return _look_along(request, here, _read_named(request.to), access, show)
    lon, lat = np.array([here.lon]), np.array([here.lat])
    ground = read_ground(access.heights, lon, lat)
    _check_ground(ground, request.place)
    show("working out the horizon")
    (horizon,) = find_horizons(lon, lat, ground, request.antenna_m)
    if horizon is None:
        what = "no height is known there"
        raise InputError(f"place {request.place}", what, "give a raster that covers it")
    peaks = (
        _list_peaks(access.near(make_sight_boxes(lon, lat, _PEAKS_WITHIN_M))[0]) if _has_tags(request) else []
    )
    light = None
    if request.day is not None:
        light = find_light(here.lon, here.lat, request.day, request.zone, horizon)
    return View(
        here,
        request.antenna_m,
        (ground.lowest_m, ground.highest_m),
        ground.notes,
        horizon,
        tuple(look_towards(horizon, here.lon, here.lat, request.aims)),
        tuple(find_peaks(horizon, (here.lon, here.lat), ground, peaks)),
        light,
        request.day,
        request.zone,
    )


def see_from_places(
    places: Sequence[tuple[float, float]], files: AccessFiles, antenna_m: float, show: Callable[[str], None]
) -> tuple[list[Horizon | None], tuple[str, ...]]:
    """The horizons round places (longitude, latitude), None where no height is known, and notes."""
    access = make_access(files, show)
    if not places or access is None or access.heights is None:
        return [None] * len(places), ()
    lon, lat = np.array(places, dtype=float).T
    ground = read_ground(access.heights, lon, lat)
    if not ground.rasters:
        return [None] * len(places), ground.notes
    show("working out the horizons")
    return find_horizons(lon, lat, ground, antenna_m), ground.notes


def _look_along(
    request: ViewRequest,
    here: NamedPlace,
    there: NamedPlace,
    access: AccessSource,
    show: Callable[[str], None],
) -> View:
    distance, bearing = measure_geodesic(here.lon, here.lat, there.lon, there.lat)
    along = np.linspace(0.0, min(distance, LONGEST_M), int(min(distance, LONGEST_M) / _ON_PATH_M) + 2)
    lon, lat = move_point(here.lon, here.lat, bearing, along)
    assert access.heights is not None
    ground = read_ground(access.heights, lon, lat, _ON_PATH_M)
    _check_ground(ground, request.place)
    show("working out the line of sight")
    ends = (here.lon, here.lat, request.antenna_m), (there.lon, there.lat, request.to_antenna_m)
    path = measure_path(ground, *ends, request.mhz)
    obstacle = ""
    if _has_tags(request):
        x, y = path.worst_at
        peaks = _list_peaks(access.near(make_sight_boxes(np.array([x]), np.array([y]), _NAMED_WITHIN_M))[0])
        away = [(float(measure_geodesic(x, y, lon, lat)[0]), name) for name, lon, lat in peaks]
        obstacle = min((one for one in away if one[0] <= _NAMED_WITHIN_M), default=(0.0, ""))[1]
    return View(
        here,
        request.antenna_m,
        (ground.lowest_m, ground.highest_m),
        ground.notes,
        other=there,
        other_antenna_m=request.to_antenna_m,
        path=path,
        obstacle=obstacle,
    )


def _has_tags(request: ViewRequest) -> bool:
    return bool(request.files.access)


def _check_ground(ground: SightGround, place: str) -> None:
    if not ground.rasters:
        what = "the heights that were given do not cover it"
        raise InputError(f"place {place[:60]}", what, "give a raster that covers it")


def _read_named(text: str) -> NamedPlace:
    place = read_place(text)
    return NamedPlace(text, place.lon, place.lat, place.understood, place.cell, place.uncertainty_m)


def _list_peaks(around: Surroundings) -> list[tuple[str, float, float]]:
    """Name, longitude and latitude of the named peaks of access data."""
    frame = around.landmarks
    if frame is None or not len(frame):
        return []
    peaks = frame[(frame[WHAT] == "peak") & (frame[NAME] != "")]
    points = peaks.geometry.representative_point()
    return [*zip(peaks[NAME].tolist(), points.x.tolist(), points.y.tolist(), strict=True)]
