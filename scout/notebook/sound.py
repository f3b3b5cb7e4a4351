"""What a visit may hold: checked before it is written and after it is read."""

from __future__ import annotations

import math
from typing import Any

from scout.errors import LocatorError
from scout.locator import LEVELS, parse
from scout.visits import YEARS, Visit

__all__ = ["LONGEST_TEXT", "TEXTS", "check_year", "find_fault"]

TEXTS = (
    "call",
    "operator",
    "antenna",
    "radio",
    "bands",
    "weather",
    "conditions",
    "went_well",
    "went_badly",
    "sheet",
)
# Characters: thirty pages. A table of visits is as wide as its longest call sign.
LONGEST_TEXT = 100_000
_MOST_CONTACTS = 10**9


def find_fault(visit: Visit) -> str:
    """Say what is wrong with a visit; empty where it is sound."""
    try:
        _check(visit)
    except ValueError as error:
        return str(error)
    return ""


def check_year(what: str, year: int) -> None:
    """Refuse a year that no visit is of.

    Raises
    ------
    ValueError
    """
    if year not in YEARS:
        raise ValueError(f"its {what} is in the year {year}, not from {YEARS[0]} to {YEARS[-1]}")


def _check(visit: Visit) -> None:
    check_year("start", visit.start.year)
    if visit.end is not None:
        check_year("end", visit.end.year)
    if not (abs(visit.lat) <= 90 and abs(visit.lon) <= 360):
        raise ValueError("its position is not on the globe")
    if isinstance(visit.level, bool) or visit.level not in range(1, len(LEVELS) + 1):
        raise ValueError(f"its level {visit.level!r:.20} is none")
    for name in ("error_m", "confidence", "power_w"):
        _check_number(name, getattr(visit, name))
    if visit.contacts is not None and not (
        isinstance(visit.contacts, int) and 0 <= visit.contacts <= _MOST_CONTACTS
    ):
        raise ValueError(f"its contacts, {visit.contacts!r:.20}, are no count up to {_MOST_CONTACTS:,}")
    for text in visit.locators:
        try:
            parse(text)
        except LocatorError:
            raise ValueError(f"its locators have {text!r:.20}, which is none") from None
    for name in TEXTS:
        _check_text(name, getattr(visit, name))
    for park in visit.parks:
        _check_text("park", park.park)
        _check_text("park", park.name)
        if not park.park:
            raise ValueError("a park of it has no id")
        _check_number("clearance", park.clearance_m)
        _check_number("park's confidence", park.confidence)


def _check_number(name: str, value: Any) -> None:
    if value is None:
        return
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise ValueError(f"its {name}, {value!r:.20}, is no number")


def _check_text(name: str, value: Any) -> None:
    if not isinstance(value, str):
        raise ValueError(f"its {name} is no text")
    if len(value) > LONGEST_TEXT:
        raise ValueError(f"its {name} has {len(value):,} characters, more than {LONGEST_TEXT:,}")
