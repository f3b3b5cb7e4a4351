"""A trip in words: the table of a tour, and the lines of its day for terminal, page and sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import NamedTuple

from scout.cautions import ALWAYS
from scout.errors import make_printable
from scout.geo.coordinates.forms import format_geo_uri
from scout.model import Units
from scout.output.text import format_count, format_length, format_position, name_park
from scout.trip.day import Leg, PlaceVisit, Trip, TripDay, TripTour

ESTIMATED = "Driving times are estimates: no traffic, no turns that are forbidden, no closed road that the data lack."
TELL = "Tell somebody where you are going and when you will be back, and check in when you are."


class DayLine(NamedTuple):
    """One line of a day: when, what, and what more there is to say of it."""

    at: datetime
    text: str
    more: str = ""
    kind: str = ""  # drive, walk, air, break


def list_day(trip: Trip, day: TripDay, units: Units) -> list[DayLine]:
    """A day in lines, the earliest first."""
    lines = [DayLine(day.start, "leave", "", "drive")]
    for visit in day.visits:
        ranked = visit.ranked
        place = f"place {ranked.rank}" + (f", {_name_place(visit)}" if _name_place(visit) else "")
        car = _name_car(visit)
        lines.append(DayLine(visit.arrive, f"park at {car}" if car else "park", _tell_leg(visit.leg, units), "drive"))
        if visit.set_out > visit.arrive:
            lines.append(DayLine(visit.set_out, "set out", "after a wait", "walk"))
        walk = _tell_walk(visit.walk_in_min, "on foot")
        lines.append(DayLine(visit.at_place, f"at {place}", walk, "walk"))
        pairs = format_count(len(visit.pairs), "new pair")
        lines.append(DayLine(visit.on_air, "on the air", f"{_list_claim(visit)}: {pairs}", "air"))
        lines.append(DayLine(visit.off_air, "off the air", "take down", "air"))
        lines.append(DayLine(visit.depart, "back at the car", _tell_walk(visit.walk_out_min, "on foot"), "walk"))
        if visit.break_min:
            lines.append(DayLine(visit.depart, "break", f"{visit.break_min} min", "break"))
        late = int((visit.latest - visit.depart).total_seconds() // 60)
        lines[-1] = lines[-1]._replace(more="; ".join(filter(None, (lines[-1].more, f"{late} min to spare"))))
    lines.append(DayLine(day.end, "back" if trip.start == trip.end else "at the end", _tell_leg(day.back, units), "drive"))
    return lines


def _tell_leg(leg: Leg, units: Units) -> str:
    how = "" if leg.by_road else ", estimated"
    return f"{leg.minutes} min, {format_length(1000 * leg.km, units)}{how}" if leg.minutes else "no drive"


def _tell_walk(minutes: int | None, how: str) -> str:
    return "the walk is not known" if minutes is None else f"{minutes} min {how}" if minutes else ""


def _name_place(visit: PlaceVisit) -> str:
    spot = visit.ranked.spot
    return next(filter(None, (*spot.park_names, *spot.verdict.parks)), "")


def _name_car(visit: PlaceVisit) -> str:
    route = visit.ranked.route
    if route is None or visit.walk_in_min is None:
        return ""
    return route.start_name or route.start_kind


def _list_claim(visit: PlaceVisit) -> str:
    verdict = visit.ranked.spot.verdict
    parks = ", ".join(map(name_park, verdict.parks, visit.ranked.spot.park_names))
    return f"{' '.join(verdict.locators)} in {parks}"


def format_worth(tour: TripTour, units: Units) -> str:
    """What a tour gives, and what it takes, in a line."""
    pairs, grids, parks, drive = tour.worth
    return (
        f"{format_count(pairs, 'new pair')} ({format_count(grids, 'grid')}, {format_count(parks, 'park')}) at "
        f"{format_count(len(tour.visits), 'place')}, {format_span(drive)} of driving, "
        f"{format_length(1000 * tour.drive_km, units)}"
    )


def format_span(minutes: int) -> str:
    """A span of time in hours and minutes.

    Examples
    --------
    >>> format_span(45), format_span(130)
    ('45 min', '2 h 10 min')
    """
    hours, rest = divmod(minutes, 60)
    return " ".join(part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest or not hours else "") if part)


def format_proof(tour: TripTour, number: int) -> str:
    """How good a tour is among all there are."""
    other = "" if number == 1 else " but those above"
    if tour.is_best:
        return f"Proved: no other tour{other} gives more, or as much with less driving."
    if tour.most_pairs == tour.worth.pairs:
        return f"Proved: no other tour{other} gives more pairs; one with less driving may be there."
    return (
        f"Not proved to be the best: a tour with up to {tour.most_pairs:,} pairs may be there "
        f"({tour.most_pairs / max(tour.worth.pairs, 1) - 1:.0%} more)."
    )


def format_trip(trip: Trip) -> Iterator[str]:
    """The trip for a terminal: the best tour in full, the others in a line each."""
    units = trip.findings.units
    for number, tour in enumerate(trip.tours, start=1):
        yield make_printable(f"Tour {number}: {format_worth(tour, units)}")
        if number > 1:
            names = ", ".join(str(visit.ranked.rank) for visit in tour.visits)
            yield f"  places {names}; {', '.join(_format_day_ends(day) for day in tour.days)}"
            continue
        yield format_proof(tour, number)
        for day in tour.days:
            yield ""
            yield _format_head(day)
            yield from _format_lines(trip, day, units)
        yield ""
    yield ""
    yield from map(make_printable, trip.notes)
    yield ESTIMATED
    yield TELL
    yield from ALWAYS


def _format_head(day: TripDay) -> str:
    sun = ""
    if day.sunrise is not None and day.sunset is not None:
        sun = f"; sunrise {day.sunrise:%H:%M}, sunset {day.sunset:%H:%M}"
    return f"{day.day:%A %Y-%m-%d} ({day.start:%Z}){sun}; {format_span(day.slack_min)} left at the end"


def _format_day_ends(day: TripDay) -> str:
    return f"{day.day:%Y-%m-%d} {day.start:%H:%M} to {day.end:%H:%M}"


def _format_lines(trip: Trip, day: TripDay, units: Units) -> Iterator[str]:
    lines = list_day(trip, day, units)
    wide = max(len(line.text) for line in lines)
    for line in lines:
        yield make_printable(f"  {line.at:%H:%M}  {line.text:<{wide}}  {line.more}".rstrip())
    for visit in day.visits:
        for warning in (*visit.ranked.warnings, *visit.remarks):
            yield make_printable(f"  place {visit.ranked.rank}: {warning}")


def list_places(tours: Sequence[TripTour]) -> list[PlaceVisit]:
    """Every place of some tours once, in the order in which they come."""
    found: dict[int, PlaceVisit] = {}
    for tour in tours:
        for visit in tour.visits:
            found.setdefault(visit.ranked.rank, visit)
    return list(found.values())


def describe_position(visit: PlaceVisit) -> str:
    """Where to stand, for people and for a phone."""
    spot = visit.ranked.spot
    return f"{format_position(spot.lon, spot.lat)} {format_geo_uri(spot.lon, spot.lat)}"
