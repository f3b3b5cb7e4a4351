"""A trip planned: the best tours over places of a list, with drives, walks, the Sun and opening hours."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from scout.app.settings import Settings
from scout.errors import InputError, SettingName
from scout.geo.coordinates.parse import parse_place
from scout.model import (
    ATTRIBUTES,
    NAME,
    OPENING_HOURS,
    PARK_ID,
    Findings,
    Horizon,
    Ranked,
    collect_credits,
)
from scout.output.sun import choose_zone, compute_sun_day, find_light
from scout.quantities import MeasuredText, format_span
from scout.tours.candidates import (
    Candidate,
    StayTimes,
    choose_candidates,
    count_new_pairs,
    make_reach,
    merge_by_place,
)
from scout.tours.day import Leg, Place, PlaceVisit, Trip, TripDay, TripTour
from scout.tours.hours import (
    Hours,
    count_minutes,
    find_moment,
    intersect_windows,
    list_open_windows,
    parse_hours,
    parse_wished_hours,
    read_clock,
)
from scout.tours.plan import (
    FIRST,
    Overrun,
    Pair,
    Problem,
    Timetable,
    Window,
    find_overrun,
    make_timetable,
)
from scout.tours.solve import Tour, find_tours

if TYPE_CHECKING:
    from scout.app.sources import AccessFiles
    from scout.drive.drives import Drives

_TOURS = 3
_WORK, _MORE_WORK = 24.0, 40.0  # of the solver, about a second of a processor each
_MANY = 60  # places from which on it may take more


@dataclass(frozen=True, slots=True)
class TripRequest:
    """What is asked of a trip beside its settings: the first day, the zone, what visits have done."""

    day: date
    zone: tzinfo | None = None  # of the longitude where none is given
    done: frozenset[tuple[str, str]] = frozenset()  # pairs of grid and park


def make_trip_request(settings: Settings, level: int, day: date, zone: tzinfo | None) -> TripRequest:
    """The request of a day, with what the notebook of the settings has at a level."""
    if settings.notebook is None:
        return TripRequest(day, zone)
    from scout.app.settings import read_done

    return TripRequest(day, zone, read_done(settings.notebook, level).pairs)


def plan_trip(
    findings: Findings,
    settings: Settings,
    request: TripRequest,
    access: AccessFiles | None = None,
    show: Callable[[str], None] = lambda _: None,
) -> Trip:
    """The best tours over the places of a list.

    Parameters
    ----------
    findings : Findings
        Their home is where each day begins, and ends if ``settings`` name no other end.
    settings : Settings
    request : TripRequest
    access : AccessFiles, optional
        Files with roads; without them drives are estimated from straight distances.
    show : callable
        Called with a few words on what is being done.

    Raises
    ------
    InputError
        There is no home, a wish cannot be had, or nothing fits into the hours.
    """
    home = findings.home if settings.home is None else parse_place(settings.home)
    if home is None:
        home_wanted = SettingName("home", written="--home LAT,LON")
        raise InputError("", "it is not said where the day begins", MeasuredText("add ", home_wanted))
    end = home if settings.end is None else parse_place(settings.end)
    zone = request.zone or choose_zone(home[0])
    days = [request.day + timedelta(days=k) for k in range(settings.days)]
    hours = parse_hours(settings.hours)
    stay = StayTimes(
        *(math.ceil(part) for part in (settings.set_up_min, settings.operating_min, settings.take_down_min))
    )
    spans = [_find_span(hours, day, zone, home, end) for day in days]
    wished = _collect_wishes(settings.between)
    musts = dict.fromkeys(settings.must)
    longest = max(last - first for first, last in spans)
    candidates, notes = choose_candidates(
        findings,
        request.done,
        tuple(musts),
        settings.consider,
        settings.doubtful,
        make_reach(home, end, longest, stay),
    )
    if not candidates:  # then the nearest to it is told, and by how much
        candidates, notes = choose_candidates(
            findings, request.done, tuple(musts), settings.consider, settings.doubtful, lambda *_: True
        )
    for rank in wished:
        if rank not in {ranked.rank for ranked in findings.spots}:
            raise InputError(
                SettingName("between", f"{rank}="), "this place is not in the list", "give its number"
            )
    candidates = [
        _add_windows(one, findings, hours, wished.get(one.ranked.rank), days, spans, zone)
        for one in candidates
    ]
    notes += _note_opening(candidates)
    if not candidates:
        what = "no place of the list can be in it" + "".join(f"; {note}" for note in notes).rstrip(".")
        raise InputError("", what, "search again with other settings")
    show("reading roads")
    rows, row_of = merge_by_place([home, end, *(one.car_at for one in candidates)])
    drives = _measure_drives(rows, access, show)
    at = np.array([row_of[place] for place in (home, end, *(one.car_at for one in candidates))])
    minutes = np.where(np.isfinite(drives.minutes), np.ceil(drives.minutes - 1e-9), -1).astype(np.int64)
    problem = Problem(
        tuple(one.make_stop(stay) for one in candidates),
        minutes[np.ix_(at, at)],
        tuple(spans),
        settings.most_places,
        math.ceil(settings.break_min),
    )
    _check_wishes(problem, candidates, settings, hours)
    work = _WORK if len(candidates) <= _MANY else _MORE_WORK
    found = find_tours(problem, _TOURS, work, show)
    if not found.tours:
        raise _explain_nothing(problem, candidates, hours)
    builder = _TripBuilder(problem, candidates, drives, at, days, zone, stay, home)
    tours = tuple(builder.build_tour(tour) for tour in found.tours)
    if found.dominated:
        notes.append(
            "Left out, for others give as much for no more driving, walking or waiting: "
            f"{len(found.dominated):,}."
        )
    ranks = {visit.ranked.rank for tour in tours for visit in tour.visits}
    sources = (*findings.sources, *drives.sources)
    around = () if findings.surroundings is None else findings.surroundings.sources
    return Trip(
        replace(
            _cut_to(findings, ranks),
            home=home,
            credits=collect_credits(findings.credits, (*sources, *around)),
        ),
        tours,
        home,
        end,
        zone,
        (*(f"{note[0].upper()}{note[1:]}." for note in drives.notes), *notes),
    )


def _cut_to(findings: Findings, ranks: set[int]) -> Findings:
    spots = tuple(ranked for ranked in findings.spots if ranked.rank in ranks)
    named = {park for ranked in spots for park in ranked.spot.verdict.parks}
    return replace(findings, spots=spots, named=findings.named.only(named))


def _find_span(hours: Hours, day: date, zone: tzinfo, start: Place, end: Place) -> Window:
    """Minutes of a day from leaving the start to being at the end."""
    first = _find_minute(hours.first, day, zone, start)
    last = _find_minute(hours.last, day, zone, end)
    if last <= first:
        what = f"the day ends at {_clock(last)}, before it begins at {_clock(first)}"
        raise InputError(SettingName("hours", f"{hours.first}-{hours.last}"), what, "give a later end")
    return first, last


def _find_minute(text: str, day: date, zone: tzinfo, place: Place) -> int:
    if text not in ("sunrise", "sunset"):
        return read_clock(text, day, zone)
    sun = _find_sun(day, zone, place)
    if sun is None:
        what = f"the Sun neither rises nor sets on {day.isoformat()}"
        raise InputError(SettingName("hours"), what, "give the hours by the clock: 08:00-18:00")
    return sun[0] + 1 if text == "sunrise" else sun[1]


@cache
def _find_sun(day: date, zone: tzinfo, place: Place) -> Window | None:
    """Minutes of the first sunrise and the last sunset of a day at a level horizon."""
    found = {event.kind: event.at for event in reversed(compute_sun_day(*place, day, zone).events)}
    if "sunrise" not in found or "sunset" not in found:
        return None
    rise, down = (count_minutes(found[kind], day, zone) for kind in ("sunrise", "sunset"))
    return (rise, down) if rise < down else None


def _find_light(day: date, zone: tzinfo, ranked: Ranked) -> Window | None:
    """Minutes from the first to the last Sun of a day over the hills around a spot, where these are known.

    Where no Sun gets over them all day, those of a level horizon: it is light all the same.
    """
    return _find_direct(day, zone, (ranked.spot.lon, ranked.spot.lat), ranked.horizon)


@cache
def _find_direct(day: date, zone: tzinfo, at: Place, horizon: Horizon | None) -> Window | None:
    level = _find_sun(day, zone, at)
    if horizon is None or level is None:
        return level
    direct = find_light(*at, day, zone, horizon).direct
    if not direct:
        return level
    return count_minutes(direct[0][0], day, zone), count_minutes(direct[-1][1], day, zone)


def _collect_wishes(texts: Sequence[str]) -> dict[int, Hours]:
    wished: dict[int, Hours] = {}
    for text in texts:
        rank, hours = parse_wished_hours(text)
        if rank in wished:
            raise InputError(
                SettingName("between", f"{rank}="), "this place is wished for twice", "name it once"
            )
        wished[rank] = hours
    return wished


def _add_windows(
    candidate: Candidate,
    findings: Findings,
    hours: Hours,
    wished: Hours | None,
    days: Sequence[date],
    spans: Sequence[Window],
    zone: tzinfo,
) -> Candidate:
    """The candidate with the times of each day when one may be there."""
    opening = _list_opening(candidate, findings)
    windows, remarks = [], []
    for day, span in zip(days, spans, strict=True):
        open_at: tuple[Window, ...] = (span,)
        if "sunrise" in hours or "sunset" in hours:
            sun = _find_light(day, zone, candidate.ranked)
            if sun is not None:
                first = sun[0] + 1 if hours.first == "sunrise" else span[0]
                last = sun[1] if hours.last == "sunset" else span[1]
                open_at = intersect_windows(open_at, [(first, last)])
        if wished is not None:
            ends = [
                read_clock(text, day, zone) if text not in ("", "sunrise", "sunset") else None
                for text in wished
            ]
            sun = _find_light(day, zone, candidate.ranked)
            for k, text in enumerate(wished):
                if text in ("sunrise", "sunset"):
                    ends[k] = None if sun is None else sun[("sunrise", "sunset").index(text)]
            first = span[0] if ends[0] is None else ends[0]
            last = span[1] if ends[1] is None else ends[1]
            open_at = intersect_windows(open_at, [(first, last)])
        for whose, text in opening:
            there = list_open_windows(text, day, zone)
            if there is None:
                remarks.append(f"opening hours of {whose} are not understood: {text}")
            else:
                open_at = intersect_windows(open_at, there)
        windows.append(open_at)
    remarks += [f"{whose}: open {text}" for whose, text in opening]
    return replace(candidate, windows=tuple(windows), remarks=tuple(dict.fromkeys(remarks)))


def _list_opening(candidate: Candidate, findings: Findings) -> list[tuple[str, str]]:
    """Whose opening hours hold for a place, and what they are."""
    found = []
    spot, frame = candidate.ranked.spot, findings.parks
    if ATTRIBUTES in frame:
        held = dict(zip(frame[PARK_ID], frame[ATTRIBUTES], strict=True))
        for park, name in zip(spot.verdict.parks, spot.park_names, strict=True):
            text = (held.get(park) or {}).get(OPENING_HOURS, "")
            if text:
                found.append((name or park, text))
    around, route = findings.surroundings, candidate.ranked.route
    if around is not None and route is not None and OPENING_HOURS in around.starts:
        points = around.starts.geometry
        here = np.isclose(points.x, candidate.car_at[0], atol=1e-7) & np.isclose(
            points.y, candidate.car_at[1], atol=1e-7
        )
        for name, text in zip(around.starts[NAME][here], around.starts[OPENING_HOURS][here], strict=True):
            if text:
                found.append((name or route.start_kind or "the parking", text))
    return list(dict.fromkeys(found))


def _note_opening(candidates: Sequence[Candidate]) -> list[str]:
    odd = {remark for one in candidates for remark in one.remarks if "not understood" in remark}
    known = any(one.remarks for one in candidates)
    notes = [f"{remark[0].upper()}{remark[1:]}." for remark in sorted(odd)]
    return notes + (["Opening hours are kept as on a day that is no holiday."] if known else [])


def _measure_drives(
    places: Sequence[Place], access: AccessFiles | None, show: Callable[[str], None]
) -> Drives:
    from scout.drive.drives import measure_drives
    from scout.drive.read import read_roads
    from scout.walk.ways import TagMapping

    if access is None or not access.access:
        return measure_drives(places, None)
    readings = [TagMapping(**asdict(tag)) for tag in access.tags]
    files = tuple(dict.fromkeys((*access.access, *access.barriers)))  # gates are told among barriers
    roads = read_roads(files, places, progress=show, assume_crs=access.crs, readings=readings)
    return measure_drives(places, roads, progress=show)


def _check_wishes(
    problem: Problem, candidates: Sequence[Candidate], settings: Settings, hours: Hours
) -> None:
    musts = [one.ranked.rank for one in candidates if one.must]
    most = settings.most_places * settings.days
    if len(musts) > most:
        what = f"{len(musts)} places must be in, and only {most} may"
        remedy = MeasuredText("wish for fewer, or allow more with ", SettingName("most-places"))
        raise InputError(SettingName("must"), what, remedy)
    over = find_overrun(problem)
    if over is not None:
        raise _explain_overrun(problem, candidates, over, hours)


def _explain_overrun(
    problem: Problem, candidates: Sequence[Candidate], over: Overrun, hours: Hours
) -> InputError:
    named = [candidates[i].ranked.rank for i in over.stops]
    places = f"place {named[0]}" if len(named) == 1 else "places " + ", ".join(map(str, sorted(named)))
    if over.minutes is None:
        if len(named) == 1 and all(not w for w in candidates[over.stops[0]].windows):
            limits = [f"the day is {hours.first} to {hours.last}", *candidates[over.stops[0]].remarks]
            what = "is never open in these hours: " + "; ".join(limits)
            return InputError(places, what, "change the hours, or what is wished of it")
        what = (
            "cannot be reached by the roads known" if len(named) == 1 else "do not fit into the days together"
        )
        return InputError(places, what, "wish for fewer, or give more time")
    stays = sum(problem.stops[i].stay_min for i in over.stops)
    what = (
        f"with the drives and {format_span(stays)} there it would take until "
        f"{format_span(over.minutes)} after the time is up"
    )
    return InputError(places, what, "start earlier, stay shorter, or wish for less")


def _explain_nothing(problem: Problem, candidates: Sequence[Candidate], hours: Hours) -> InputError:
    """Why nothing fits: the place that comes nearest to it."""
    best: tuple[int, int] | None = None
    for i in range(len(candidates)):
        stops = tuple(replace(stop, must=k == i) for k, stop in enumerate(problem.stops))
        over = find_overrun(replace(problem, stops=stops))
        minutes = problem.break_min if over is None else over.minutes
        if minutes is not None and (best is None or minutes < best[0]):
            best = minutes, i
    if best is None:
        return InputError("", "no place can be reached in these hours", "give other hours or roads")
    what = (
        f"no place fits into {hours.first}-{hours.last}; the nearest to it, place "
        f"{candidates[best[1]].ranked.rank}, wants {format_span(best[0])} more"
    )
    return InputError("", what, "start earlier, stay shorter or walk less")


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


class _TripBuilder:
    """Tours of numbers become tours of places and times."""

    def __init__(
        self,
        problem: Problem,
        candidates: Sequence[Candidate],
        drives: Drives,
        rows: np.ndarray[tuple[int], np.dtype[np.int64]],
        days: Sequence[date],
        zone: tzinfo,
        stay: StayTimes,
        home: Place,
    ) -> None:
        self._problem, self._candidates, self._drives = problem, candidates, drives
        self._rows, self._days, self._zone, self._stay, self._home = rows, days, zone, stay, home

    def build_tour(self, tour: Tour) -> TripTour:
        """One tour with the times of each of its days."""
        order = [self._candidates[i] for day in tour.orders for i in day]
        new = iter(count_new_pairs(order))
        days = []
        for number, stops in enumerate(tour.orders):
            table = make_timetable(self._problem, number, stops)
            if stops and table is not None:
                days.append(self._build_day(number, table, [next(new) for _ in stops]))
        return TripTour(tuple(days), tour.worth, tour.most_pairs, tour.is_best)

    def _build_day(self, number: int, table: Timetable, new: Sequence[tuple[Pair, ...]]) -> TripDay:
        day, zone = self._days[number], self._zone

        def moment(minutes: int) -> datetime:
            return find_moment(minutes, day, zone)

        visits, here = [], 0
        for timed, pairs in zip(table.stops, new, strict=True):
            one = self._candidates[timed.stop]
            there = timed.begin + (one.walk_in_min or 0)
            ready = there + self._stay.set_up_min
            done = ready + self._stay.operating_min
            packed = done + self._stay.take_down_min
            remarks = list(one.remarks)
            sun = _find_sun(day, zone, (one.ranked.spot.lon, one.ranked.spot.lat))
            if sun is not None and timed.begin < sun[0]:
                remarks.append(f"begins {format_span(sun[0] - timed.begin)} before sunrise")
            if sun is not None and timed.leave > sun[1]:
                remarks.append(f"ends {format_span(timed.leave - sun[1])} after sunset")
            light = _find_light(day, zone, one.ranked)
            if light is not None and sun is not None and light[1] < min(sun[1], timed.leave):
                remarks.append(f"the Sun is behind the hill from {moment(light[1]):%H:%M}")
            visits.append(
                PlaceVisit(
                    one.ranked,
                    pairs,
                    one.car_at,
                    self._make_leg(here, timed.stop + FIRST),
                    arrive=moment(timed.arrive),
                    set_out=moment(timed.begin),
                    at_place=moment(there),
                    on_air=moment(ready),
                    off_air=moment(done),
                    leave_place=moment(packed),
                    depart=moment(timed.leave),
                    break_min=timed.break_min,
                    latest=moment(timed.latest),
                    walk_in_min=one.walk_in_min,
                    walk_out_min=one.walk_out_min,
                    remarks=tuple(remarks),
                )
            )
            here = timed.stop + FIRST
        at = visits[0].ranked.spot
        sun = _find_sun(day, zone, (at.lon, at.lat))
        return TripDay(
            day,
            moment(table.start),
            tuple(visits),
            self._make_leg(here, 1),
            moment(table.end),
            self._problem.days[number][1] - table.end,
            None if sun is None else moment(sun[0]),
            None if sun is None else moment(sun[1]),
        )

    def _make_leg(self, start: int, end: int) -> Leg:
        i, j = int(self._rows[start]), int(self._rows[end])
        line = self._drives.trace(i, j)
        return Leg(
            int(self._problem.drive_min[start, end]),
            float(self._drives.km[i, j]),
            bool(self._drives.by_road[i, j]) or i == j,
            tuple(map(tuple, line.tolist())),
        )
