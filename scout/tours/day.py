"""A trip as it comes out: days with places in order, each with its times, drives and walks. Data only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from scout.model import Findings, Ranked
from scout.tours.plan import Pair, Worth

Place = tuple[float, float]  # lon, lat, degrees on WGS 84


@dataclass(frozen=True, slots=True)
class Leg:
    """One drive. Minutes are rounded up."""

    minutes: int
    km: float
    by_road: bool  # else estimated from the straight distance
    line: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class PlaceVisit:
    """One place of a day. Times are local; the walks are one way."""

    ranked: Ranked
    pairs: tuple[Pair, ...]  # grid and park, that no place before it on the trip gave
    car_at: Place
    leg: Leg  # the drive there
    arrive: datetime  # where the car stays
    set_out: datetime  # later than ``arrive`` where something opens later
    at_place: datetime
    on_air: datetime
    off_air: datetime
    leave_place: datetime
    depart: datetime  # from where the car stays, before a break
    break_min: int
    latest: datetime  # when the car may leave, before the break, without losing anything that follows
    walk_in_min: int | None  # None: how to walk there is not known
    walk_out_min: int | None
    remarks: tuple[str, ...] = ()  # opening hours, dark


@dataclass(frozen=True, slots=True)
class TripDay:
    """One day, from the start to the end. Sun: of the first place."""

    day: date
    start: datetime
    visits: tuple[PlaceVisit, ...]
    back: Leg
    end: datetime
    slack_min: int  # that is left until the day's last minute
    sunrise: datetime | None
    sunset: datetime | None

    @property
    def drive_min(self) -> int:
        """All drives of the day."""
        return sum(visit.leg.minutes for visit in self.visits) + self.back.minutes

    @property
    def drive_km(self) -> float:
        """All drives of the day."""
        return sum(visit.leg.km for visit in self.visits) + self.back.km


@dataclass(frozen=True, slots=True)
class TripTour:
    """One choice of places; the days on which nothing is done are left out."""

    days: tuple[TripDay, ...]
    worth: Worth
    most_pairs: int  # that any other tour of this choice could give
    is_best: bool  # proved: none that differs from the tours before it is better

    @property
    def visits(self) -> tuple[PlaceVisit, ...]:
        """All places in order."""
        return tuple(visit for day in self.days for visit in day.visits)

    @property
    def drive_km(self) -> float:
        """All drives."""
        return sum(day.drive_km for day in self.days)


@dataclass(frozen=True, slots=True)
class Trip:
    """Tours, the best first, with the places of all of them."""

    findings: Findings  # cut to the places of the tours
    tours: tuple[TripTour, ...]
    start: Place
    end: Place
    zone: tzinfo
    notes: tuple[str, ...] = ()  # what was left out, estimated, not known
