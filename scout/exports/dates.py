"""Dates that people state, where a format takes a real one only."""

from __future__ import annotations

from datetime import date

__all__ = ["day_of"]


def day_of(text: str) -> date | None:
    """The day of an ISO date; None for anything else.

    Examples
    --------
    >>> day_of("2026-03-01"), day_of("spring 2026")
    (datetime.date(2026, 3, 1), None)
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
