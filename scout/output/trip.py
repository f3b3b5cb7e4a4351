"""A trip in words: the table of a tour, and the lines of its day for terminal, page and sheet."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Literal, NamedTuple

from scout.cautions import ALWAYS, select_entry_notes
from scout.errors import make_printable
from scout.model import Units
from scout.output.text import Length, MeasuredText, format_count, format_span, format_text, name_park
from scout.tours.day import Leg, PlaceVisit, Trip, TripDay, TripTour

ESTIMATED = (
    "Driving times are estimates: no traffic, no turns that are forbidden, no closed road that the data lack."
)
TELL = "Tell somebody where you are going and when you will be back, and check in when you are."


class DayLine(NamedTuple):
    """One line of a day: when, what, and what more there is to say of it."""

    at: datetime
    text: str
    more: str = ""  # may know its lengths: `scout.quantities.MeasuredText`
    kind: Literal["drive", "walk", "air", "break"] = "drive"
    rank: int | None = None  # of the place that the line is about


def list_day(trip: Trip, day: TripDay) -> list[DayLine]:
    """A day in lines, the earliest first."""
    lines = [DayLine(day.start, "leave")]
    for visit in day.visits:
        rank, car = visit.ranked.rank, _name_car(visit)
        lines.append(DayLine(visit.arrive, f"park {car}".rstrip(), describe_leg(visit.leg)))
        if visit.set_out > visit.arrive:
            lines.append(DayLine(visit.set_out, "set out", "after a wait", "walk"))
        walk = _describe_walk(visit.walk_in_min)
        lines.append(DayLine(visit.at_place, f"at {name_visit(visit)}", walk, "walk", rank))
        lines.append(DayLine(visit.on_air, "on the air", describe_claim(visit), "air"))
        lines.append(DayLine(visit.off_air, "off the air", "take down", "air"))
        spare = f"{int((visit.latest - visit.depart).total_seconds() // 60)} min to spare"
        more = "; ".join(filter(None, (_describe_walk(visit.walk_out_min), spare)))
        lines.append(DayLine(visit.depart, "back at the car", more, "walk"))
        if visit.break_min:
            lines.append(DayLine(visit.depart, "break", f"{visit.break_min} min", "break"))
    home = "back" if trip.start == trip.end else "at the end"
    return [*lines, DayLine(day.end, home, describe_leg(day.back))]


def describe_leg(leg: Leg) -> str:
    """How long a drive takes, and how far it is."""
    if not leg.minutes:
        return "no drive"
    return MeasuredText(f"{leg.minutes} min, ", Length(1000 * leg.km), "" if leg.by_road else ", estimated")


def _describe_walk(minutes: int | None) -> str:
    return "the walk is not known" if minutes is None else f"{minutes} min on foot" if minutes else ""


def name_visit(visit: PlaceVisit) -> str:
    """A place by its number and the first of its parks."""
    name = _name_place(visit)
    return f"place {visit.ranked.rank}" + (f", {name}" if name else "")


def describe_claim(visit: PlaceVisit) -> str:
    """What a contact counts for, and how much of it is new."""
    verdict = visit.ranked.spot.verdict
    parks = ", ".join(map(name_park, verdict.parks, visit.ranked.spot.park_names))
    return f"{' '.join(verdict.locators)} in {parks}: {format_count(len(visit.pairs), 'new pair')}"


def _name_place(visit: PlaceVisit) -> str:
    spot = visit.ranked.spot
    return next(filter(None, (*spot.park_names, *spot.verdict.parks)), "")


def _name_car(visit: PlaceVisit) -> str:
    route = visit.ranked.route
    if route is None or visit.walk_in_min is None:
        return ""
    name = route.start_name or route.start_kind
    return name if name.startswith("by ") else f"at {name}" if name else ""


def describe_worth(tour: TripTour) -> MeasuredText:
    """What a tour gives, and what it takes."""
    pairs, grids, parks, drive = tour.worth
    of = f"{format_count(grids, 'grid')}, {format_count(parks, 'park')}"
    places = format_count(len(tour.visits), "place")
    return MeasuredText(
        f"{format_count(pairs, 'new pair')} ({of}) at {places}, {format_span(drive)} of driving, ",
        Length(1000 * tour.drive_km),
    )


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
        yield f"Tour {number}: {format_text(describe_worth(tour), units)}"
        if number > 1:
            names = ", ".join(str(visit.ranked.rank) for visit in tour.visits)
            yield f"  places {names}; {', '.join(_format_day_ends(day) for day in tour.days)}"
            continue
        yield format_proof(tour, number)
        for day in tour.days:
            yield ""
            yield describe_day(day)
            yield from _format_lines(trip, day, units)
        yield ""
    yield ""
    yield from map(make_printable, trip.notes)
    yield TELL
    yield from ALWAYS


def describe_day(day: TripDay) -> str:
    """The date, the Sun at the first place, what is left of the hours."""
    sun = ""
    if day.sunrise is not None and day.sunset is not None:
        sun = f"; sunrise {day.sunrise:%H:%M}, sunset {day.sunset:%H:%M}"
    return f"{day.day:%A %Y-%m-%d} ({day.start:%Z}){sun}; {format_span(day.slack_min)} left at the end"


def list_cautions(day: TripDay) -> list[str]:
    """What is to be heeded at the places of a day, as `list_visit_cautions` says."""
    return [
        MeasuredText(f"Place {visit.ranked.rank}: ", text)
        for visit in day.visits
        for text in list_visit_cautions(visit)
    ]


def list_visit_cautions(visit: PlaceVisit) -> list[str]:
    """What is dangerous at a place, where entry may not be open, when it is open, what lies in the dark."""
    ranked = visit.ranked
    return [*ranked.warnings, *select_entry_notes(ranked.spot.notes), *visit.remarks]


def _format_day_ends(day: TripDay) -> str:
    return f"{day.day:%Y-%m-%d} {day.start:%H:%M} to {day.end:%H:%M}"


def _format_lines(trip: Trip, day: TripDay, units: Units) -> Iterator[str]:
    lines = list_day(trip, day)
    wide = max(len(line.text) for line in lines)
    for line in lines:
        more = format_text(line.more, units)
        yield make_printable(f"  {line.at:%H:%M}  {line.text:<{wide}}  {more}".rstrip())
    for caution in list_cautions(day):
        yield make_printable(f"  {format_text(caution, units)}")
