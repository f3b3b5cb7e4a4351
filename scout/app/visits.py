"""Visits written down and changed: the place judged, the notebook written, logs stamped by them."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
from numpy.typing import ArrayLike

from scout.app.check import AROUND_M
from scout.app.settings import Settings
from scout.app.sources import open_source
from scout.errors import InputError, SettingName
from scout.geo.coordinates.parse import read_place
from scout.io.formats import check_local
from scout.model import (
    DATUM_ERROR,
    KIND,
    PARK_ID,
    PARK_NAME,
    SOURCE,
    YEARS,
    Checked,
    ParkReport,
    Parks,
    ParkVisited,
    Visit,
)
from scout.quantities import MeasuredText
from scout.recording.arrive import judge_arrival
from scout.recording.read import read_fixes
from scout.search.check import CheckOptions, check_places
from scout.search.places import load_parks_near
from scout.visits.adi import AdifLog, parse_log
from scout.visits.notebook import Notebook
from scout.visits.rows import TEXTS
from scout.visits.stamp import StampedLog, Stamping, make_claim, sort_contacts, stamp_log

Show = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class VisitRequest:
    """What is known of a visit. None is what is not given; ``place`` and ``arrival`` exclude each other."""

    place: str | None = None  # as people write coordinates
    arrival: str | None = None  # a recording made there instead
    in_parks: tuple[str, ...] = ()  # parks by hand, as ID or ID=NAME
    files: tuple[str, ...] = ()  # boundary files to judge by
    settings: Settings = field(default_factory=Settings)
    start: str | None = None  # UTC, ISO 8601
    end: str | None = None  # empty: takes out what was noted
    contacts: int | None = None
    power_w: float | None = None
    texts: Mapping[str, str] = field(default_factory=dict)  # by the names in `TEXTS`


@dataclass(frozen=True, slots=True)
class RecordedVisit:
    """A visit as the notebook has it now, and how its place was judged."""

    visit: Visit
    judged: str


@dataclass(frozen=True, slots=True)
class _JudgedPlace:
    fields: dict[str, Any]
    line: str


def record_visit(notebook: str, request: VisitRequest, show: Show) -> RecordedVisit:
    """Judge the place of a visit and write it into the notebook.

    Raises
    ------
    InputError
        Something cannot be used, or the place or the start is missing; nothing is written.
    """
    given = _collect_fields(request)
    judged = _judge_place(request, None, show)
    fields = judged.fields | given
    if "start" not in fields:
        remedy = MeasuredText("add ", SettingName("start", "2026-02-14T18:05"), ", in UTC")
        raise InputError("visit", "its start is not known", remedy)
    visit = Visit(**fields)
    _check_times(visit)
    book = Notebook(notebook)
    return RecordedVisit(book.visit(book.add(visit)), judged.line)


def change_visit(
    notebook: str, number: int, request: VisitRequest, show: Show, *, judge: bool, keep: Collection[str] = ()
) -> Visit:
    """Change what is noted of a visit and keep the rest.

    Parameters
    ----------
    notebook : str
    number : int
    request : VisitRequest
    show : callable
    judge : bool
        Whether the place is judged anew; parks given by hand alone are taken as they are.
    keep : collection of str
        "level", "error": the level, the position's error stay as the visit has them.
    """
    book = Notebook(notebook)
    fields = _collect_fields(request)
    old = book.visit(number, **fields)
    if judge:
        settings = request.settings
        if "level" in keep:
            settings = replace(settings, level=str(old.level))
        if "error" in keep and old.error_m is not None:
            settings = replace(settings, fix_error_m=old.error_m)
        found = _judge_place(replace(request, settings=settings), old, show).fields
        found.pop("start", None)
        if not request.files and not request.in_parks:
            # Nobody has judged the parks: they stay, without the margins of the place before.
            found["parks"] = tuple(ParkVisited(park.park, park.name) for park in old.parks)
        fields = found | fields
    elif request.in_parks:
        fields["parks"] = _parse_parks(request.in_parks)
    _check_times(replace(old, **fields))
    return book.edit(number, **fields)


def _collect_fields(request: VisitRequest) -> dict[str, Any]:
    """Checked fields of what is given; what is not is left out."""
    fields: dict[str, Any] = {name: request.texts[name].strip() for name in TEXTS if name in request.texts}
    fields |= {
        name: getattr(request, name) for name in ("contacts", "power_w") if getattr(request, name) is not None
    }
    if request.start is not None:
        fields["start"] = _parse_time("start", request.start)
    if request.end is not None:
        fields["end"] = _parse_time("end", request.end) if request.end.strip() else None
    return fields


def _parse_time(key: str, text: str) -> datetime:
    """UTC to the second; a time with another zone is turned into it."""
    try:
        time = datetime.fromisoformat(text.strip())
    except ValueError:
        time = None
    if time is None or (":" not in text and "T" not in text):
        raise InputError(_name_time(key, text), "this is no date and time", "write 2026-02-14T18:05, in UTC")
    if time.year not in YEARS:  # first: near the ends of the calendar another zone has no date
        what = f"the year {time.year} is not from {YEARS[0]} to {YEARS[-1]}"
        raise InputError(_name_time(key, text), what, "write 2026-02-14T18:05, in UTC")
    time = time.replace(tzinfo=UTC) if time.tzinfo is None else time.astimezone(UTC)
    return time.replace(microsecond=0)


def _name_time(key: str, text: str = "") -> SettingName:
    """The start or the end of a visit; the end of a trip goes by the same word."""
    if key != "end":
        return SettingName(key, text)
    return SettingName("visit-end", text, f"--end {text}".rstrip())


def _judge_place(request: VisitRequest, old: Visit | None, show: Show) -> _JudgedPlace:
    """The place, its grids and its parks, from a place or a recording and from boundary files."""
    if request.place is not None and request.arrival is not None:
        what = MeasuredText(SettingName("arrival"), " tells the place as well")
        raise InputError(SettingName("place"), what, "give one of them")
    station, level = request.settings.station, request.settings.level_number
    by_files = bool(request.files)
    if request.arrival is not None:
        show("reading the recording")
        fixes = read_fixes(request.arrival)
        parks = _load_parks(request, fixes.lon, fixes.lat, show)
        arrival = judge_arrival(fixes, parks, level, station)
        checked, found = arrival.checked, arrival.standstill
        more = {"start": datetime.fromtimestamp(int(found.start_s), UTC)} if found.dated else {}
        return _make_judged(checked, found.error_95_m, level, request.in_parks, by_files, more)
    lon, lat, error_m = _parse_visit_place(request.place, station.fix_error_m, old)
    options = CheckOptions(level, replace(station, fix_error_m=error_m), moves=False)
    parks = _load_parks(request, [lon], [lat], show)
    (checked,) = check_places(parks, [lon], [lat], options)
    return _make_judged(checked, error_m, level, request.in_parks, by_files, {})


def _load_parks(request: VisitRequest, lon: ArrayLike, lat: ArrayLike, show: Show) -> Parks:
    """The parks of the boundary files near the place; none where there is no file."""
    if request.files:
        source = open_source(request.settings.make_park_files(request.files), show)
        return load_parks_near(source, lon, lat, AROUND_M)
    columns: dict[str, list[Any]] = {n: [] for n in (PARK_ID, PARK_NAME, KIND, SOURCE, DATUM_ERROR)}
    return Parks(gpd.GeoDataFrame(columns, geometry=[], crs="EPSG:4326"), (), ParkReport())


def _parse_visit_place(text: str | None, error_m: float, old: Visit | None) -> tuple[float, float, float]:
    if text is None:
        if old is None:
            typed = SettingName("place", written="--place LAT,LON")
            remedy = MeasuredText("add ", typed, " or ", SettingName("arrival", written="--arrival FIXES"))
            raise InputError("visit", "no place is given", remedy)
        return old.lon, old.lat, error_m
    place = read_place(text)
    if place.cell is not None:
        raise InputError(
            SettingName("place", text),
            "a locator is an area, and a station stood at one place",
            "give coordinates",
        )
    return place.lon, place.lat, max(error_m, place.uncertainty_m or 0.0)


def _make_judged(
    checked: Checked, error_m: float, level: int, by_hand: Sequence[str], by_files: bool, more: dict[str, Any]
) -> _JudgedPlace:
    verdict = checked.verdict
    at = {park.park: park for park in checked.parks}
    parks = [
        ParkVisited(park, at[park].park_name, round(at[park].clearance_m, 1), round(at[park].p, 4))
        for park in verdict.parks
    ]
    known = {park.park for park in parks}
    parks += [park for park in _parse_parks(by_hand) if park.park not in known]
    fields = {
        "lon": checked.lon,
        "lat": checked.lat,
        "error_m": round(error_m, 1),
        "level": level,
        "locators": verdict.locators,
        "parks": tuple(parks),
        "confidence": round(verdict.confidence if by_files else verdict.grids_p, 4),
        **more,
    }
    if not by_files:
        return _JudgedPlace(fields, "Judged for the grids alone: no boundary file was given.")
    held = (", held down by: ", checked.driver) if verdict.confidence < 1.0 else ()
    return _JudgedPlace(fields, MeasuredText(f"Verdict: {verdict.word}", *held, "."))


def _parse_parks(words: Sequence[str]) -> tuple[ParkVisited, ...]:
    """Parks as ``ID`` or ``ID=NAME``."""
    parks = {}
    for word in words:
        park, _, name = (part.strip() for part in word.partition("="))
        if not park:
            raise InputError(SettingName("in-park", word), "the park has no id", "write ID or ID=NAME")
        parks[park] = ParkVisited(park, name)
    return tuple(parks.values())


def _check_times(visit: Visit) -> None:
    """Refuse a visit that ends before it starts."""
    if visit.end is not None and visit.end < visit.start:
        raise InputError(
            _name_time("end"), "the visit would end before it starts", "times are UTC, with the date"
        )


# A log of the day: what the visit says goes into its contacts.
def read_log(path: str) -> AdifLog:
    """Read a log, whatever program wrote it.

    Raises
    ------
    InputError
        It cannot be read, or is no ADI.
    """
    try:
        data = check_local(path).read_bytes()
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror})", "check the name") from None
    return parse_log(data, path)


def check_stampable(visit: Visit, sig: str) -> None:
    """Refuse a visit that has no end, no grid or, where the parks' programme is named, no park."""
    where, edit = f"visit {visit.number}", f"scout visit edit {visit.number}"
    if visit.end is None:
        name = SettingName("visit-end", written=f"{edit} --end TIME")
        raise InputError(where, "its end is not noted", MeasuredText("add it: ", name))
    if not visit.locators:
        name = SettingName("place", written=f"{edit} --place ...")
        raise InputError(where, "it claims no grid", MeasuredText("judge it: ", name))
    if sig and not visit.parks:
        name = SettingName("in-park", written=f"{edit} --in-park ID")
        raise InputError(SettingName("sig"), f"{where} names no park", name)


def stamp_visit(
    log: AdifLog,
    visit: Visit,
    sig: str = "",
    grids: Sequence[str] | None = None,
    *,
    force: bool = False,
    only_inside: bool = False,
) -> Stamping:
    """Set a visit's location in the contacts of a log that were made during it, in a copy for each park.

    Parameters
    ----------
    log : AdifLog
    visit : Visit
    sig : str
        Name of the parks' programme; without it there is one log that names no park.
    grids : sequence of str, optional
        Those of the visit's grids that are claimed; all otherwise.
    force : bool
        Whether what the log says otherwise is replaced.
    only_inside : bool
        Whether contacts outside the visit are left out.
    """
    check_stampable(visit, sig)
    times, stem = sort_contacts(log, visit), Path(log.path).stem
    outputs: list[StampedLog] = []
    notes: list[str] = []
    for park in [park.park for park in visit.parks] if sig else [""]:
        claim = make_claim(visit, sig, park, grids)
        notes += [note for note in claim.notes if note not in notes]
        stamped = stamp_log(log, claim, times.inside, force=force, only_inside=only_inside)
        ending = f"-{_make_plain_name(park) or f'visit-{visit.number}'}"
        name = f"{stem.removesuffix(ending)}{ending}.adi"  # stamped again, a log keeps its name
        taken = {output.name.lower() for output in outputs}
        if name.lower() in taken:
            name = f"{name[:-4]}-{len(taken) + 1}.adi"
        if times.inside and (stamped.carrying or not sig):
            outputs.append(StampedLog(name, park, stamped))
        elif times.inside:
            notes.append(f"{park}: no log is written, for every contact of the visit names another park.")
    if not sig and visit.parks:
        advice = ("name the programme with ", SettingName("sig"), " to have a log for each park.")
        notes.append(MeasuredText("No park is set: ", *advice))
    return Stamping(log, visit, times, tuple(outputs), tuple(notes))


def _make_plain_name(park: str) -> str:
    """A park's id as part of a file name anywhere."""
    return re.sub(r"[^A-Za-z0-9_-]+", "_", park).strip("_")[:60] or ("park" if park else "")
