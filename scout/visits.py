"""A visit: where a station stood, when, for which grids and parks, and how it went. Data only.

Years outside `YEARS` are slips of the keyboard or of a clock: neither satellite fixes nor the locators that
visits claim are older than 1980, and dates from 2100 on come of a digit too many or two in the wrong order.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

__all__ = ["YEARS", "BadVisit", "New", "ParkVisited", "Visit"]

YEARS = range(1980, 2100)


@dataclass(frozen=True, slots=True)
class ParkVisited:
    """One park of a visit, as it was judged at the time; None where nothing was worked out."""

    park: str
    name: str = ""
    clearance_m: float | None = None  # positive inside
    confidence: float | None = None  # probability that the whole station lay inside


@dataclass(frozen=True, slots=True)
class Visit:
    """One stay of one station. Times are UTC; texts may be empty.

    ``locators`` and ``parks`` are what was claimed: a park that did not count is not among them.
    """

    lon: float
    lat: float
    start: datetime
    end: datetime | None = None
    error_m: float | None = None  # of the position, 95 % radius
    level: int = 2  # pairs of the locators
    locators: tuple[str, ...] = ()
    parks: tuple[ParkVisited, ...] = ()
    confidence: float | None = None  # of grids and parks together
    call: str = ""
    operator: str = ""  # the operator's own call sign, or a name
    antenna: str = ""
    radio: str = ""
    power_w: float | None = None
    bands: str = ""
    contacts: int | None = None
    weather: str = ""
    conditions: str = ""
    went_well: str = ""
    went_badly: str = ""
    sheet: str = ""  # path of the arrival sheet
    number: int = 0  # given by the notebook; 0 before that


@dataclass(frozen=True, slots=True)
class BadVisit:
    """A row of a notebook that is no visit, as another program or an older version may have left it."""

    number: int
    why: str
    values: tuple[tuple[str, str], ...]  # of its columns, cut short; what is empty is left out

    def __str__(self) -> str:
        return f"visit {self.number} cannot be read: {self.why}"


@dataclass(frozen=True, slots=True)
class New:
    """What a spot would add to the visits so far."""

    grids: int
    parks: int
    pairs: int  # the yield of what is still missing
