"""Planned places, judged each by the position error that it states; places recorded by standing there."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from scout.app.settings import Settings
from scout.errors import InputError, SettingName
from scout.geo.coordinates.parse import read_place
from scout.io.places import NamedPlace, read_places
from scout.model import Checked, Findings, Parks, Station
from scout.parks.sources import ParkSource
from scout.quantities import MeasuredText
from scout.recording.arrive import Arrival, judge_arrival
from scout.recording.values import Fixes
from scout.search.check import CheckOptions, check_places, make_findings
from scout.search.places import load_parks_near

AROUND_M = 2000.0  # of a recording: parks further off are ignored
_MOVES = 2000  # places for which the better centre is worked out


def read_planned(places: Sequence[str], list_path: str | None = None) -> list[NamedPlace]:
    """Places as they were written, and those of a file.

    Raises
    ------
    InputError
        There is none, or one that is not understood.
    """
    planned = []
    for text in places:
        place = read_place(text)
        planned.append(
            NamedPlace(text, place.lon, place.lat, place.understood, place.cell, place.uncertainty_m)
        )
    if list_path is not None:
        planned += read_places(list_path)
    if not planned:
        raise InputError(
            "check",
            "no place is given",
            MeasuredText("add a PLACE, or ", SettingName("from"), " a file of them"),
        )
    return planned


def load_parks_around(source: ParkSource, planned: Sequence[NamedPlace]) -> Parks:
    """The parks that planned places could have to do with."""
    lon, lat = [place.lon for place in planned], [place.lat for place in planned]
    cells = [place.cell for place in planned]
    return load_parks_near(source, lon, lat, CheckOptions().near_m, cells)


def judge_planned(
    parks: Parks, planned: Sequence[NamedPlace], level: int, station: Station, show: Callable[[str], None]
) -> Iterator[Checked]:
    """Answers in the order of the places; one that states its own uncertainty is judged with that."""
    groups: dict[float, list[int]] = {}
    for row, place in enumerate(planned):
        groups.setdefault(max(station.fix_error_m, place.uncertainty_m or 0.0), []).append(row)
    found: dict[int, Checked] = {}
    for error, rows in groups.items():
        options = CheckOptions(level, replace(station, fix_error_m=error), moves=len(planned) <= _MOVES)
        lon, lat = [planned[r].lon for r in rows], [planned[r].lat for r in rows]
        some = check_places(parks, lon, lat, options, [planned[r].cell for r in rows], show)
        if len(groups) == 1:
            yield from some
            return
        found.update(zip(rows, some, strict=True))
    yield from (found[row] for row in range(len(planned)))


def judge_recording(fixes: Fixes, source: ParkSource, settings: Settings) -> tuple[Arrival, Parks]:
    """Judge the place of a recording made there; give the answer and the parks around."""
    parks = load_parks_near(source, fixes.lon, fixes.lat, AROUND_M)
    return judge_arrival(fixes, parks, settings.level_number, settings.station), parks


def make_checked_findings(
    parks: Parks, planned: Sequence[NamedPlace], results: Sequence[Checked], settings: Settings
) -> Findings:
    """Planned places as findings, for a map of them."""
    names = [place.name for place in planned]
    found = make_findings(parks, names, results, CheckOptions(settings.level_number, settings.station))
    return replace(found, title="Places checked", units=settings.units)
