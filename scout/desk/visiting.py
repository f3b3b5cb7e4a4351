"""The notebook for the page: visits written by ``scout visit`` itself, listed and counted."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from contextlib import redirect_stdout
from datetime import UTC, datetime
from typing import Any

from scout.cli.visit import command
from scout.desk.names import named
from scout.desk.settings import Asked
from scout.desk.shelf import Shelf
from scout.journal import Particulars, export
from scout.locator import LEVELS, level_number
from scout.notebook import Notebook
from scout.tally import by_year, done, missing
from scout.visits import BadVisit, Visit

__all__ = ["added", "changed", "journal", "level_of", "listed", "tallied"]

# Options of the settings that say how a place is judged and how parks are read.
_JUDGING = (
    *("level", "station-radius", "fix-error", "boundary-error"),
    *("corridor", "id-column", "name-column", "pieces", "layer", "crs"),
)
# What the page tells of a visit.
_TOLD = (
    *("place", "start", "end", "call", "operator", "antenna", "radio", "power", "bands", "contacts"),
    *("weather", "conditions", "went-well", "went-badly", "park"),
)
_MOST = 100  # parks that are told of what is missing, and rows that are no visits


def added(
    notebook: str, visit: Mapping[str, Any], settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]]
) -> dict[str, Any]:
    """Write a visit down as ``scout visit add`` does; gives what that prints."""
    options = settings.get("options") or {}
    given = {name: options.get(name) for name in _JUDGING} | {name: visit.get(name) for name in _TOLD}
    words = [
        f"--{name}={value}"
        for name, value in given.items()
        if str(value if value is not None else "").strip()
    ]
    files = named(roles.get("parks", ()))
    return _run(["add", *words, *(["--parks", *files] if files else [])], notebook)


def changed(notebook: str, what: str, number: int | None) -> dict[str, Any]:
    """Delete a visit, or take back what was done last."""
    return _run([what, *([] if number is None else [str(int(number)), "--yes"])], notebook)


def _run(words: Sequence[str], notebook: str) -> dict[str, Any]:
    printed = io.StringIO()
    with redirect_stdout(printed):
        command.main([*words, f"--notebook={notebook}"], prog_name="scout visit", standalone_mode=False)
    return {"lines": printed.getvalue().splitlines(), **listed(notebook)}


def listed(notebook: str) -> dict[str, Any]:
    """All visits, the latest first, and the rows that are none; nothing where there is no notebook yet."""
    visits, left_out = _visits(notebook)
    return {
        "visits": [_row(visit) for visit in reversed(visits)],
        "left_out": [{"number": visit.number, "why": str(visit)} for visit in left_out[:_MOST]],
    }


def _visits(notebook: str) -> tuple[tuple[Visit, ...], list[BadVisit]]:
    """All visits, and the rows that are none."""
    left_out: list[BadVisit] = []
    book = Notebook(notebook)
    return book.visits(left_out.append) if book.exists() else (), left_out


def _row(visit: Visit) -> dict[str, Any]:
    return {
        "number": visit.number,
        "start": f"{visit.start:%Y-%m-%d %H:%M}",
        "call": visit.call,
        "contacts": visit.contacts,
        "grids": list(visit.locators),
        "parks": [park.name or park.park for park in visit.parks],
    }


def tallied(
    notebook: str, level: int, asked: Asked | None, shelf: Shelf, show: Callable[[str], None]
) -> dict[str, Any]:
    """What ``scout tally`` counts at a level; what is missing where home, radius and parks are known."""
    visits, left_out = _visits(notebook)
    so_far = done(visits, level)
    years = [
        {
            "year": year.year,
            "visits": year.visits,
            "contacts": year.contacts,
            "counts": [
                [len(now), len(new)]
                for now, new in (
                    (year.done.grids, year.new.grids),
                    (year.done.parks, year.new.parks),
                    (year.done.pairs, year.new.pairs),
                )
            ],
        }
        for year in by_year(visits, level)
    ]
    told: dict[str, Any] = {
        "level": LEVELS[level - 1],
        "years": years,
        "all": [len(so_far.grids), len(so_far.parks), len(so_far.pairs)],
        "left_out": len(left_out),
        "missing": None,
    }
    options = None if asked is None else asked.inputs.options
    if asked is not None and options is not None and options.home is not None and options.within_km:
        parks = shelf.parks(asked.inputs.parks, show)
        show("looking for what is missing")
        reached = missing(parks, so_far, options.home, options.within_km)
        open_ = [reach for reach in reached if reach.open_grids]
        told["missing"] = {
            "within_km": options.within_km,
            "parks": len(reached),
            "open": len(open_),
            "rows": [
                {
                    "park": reach.name or reach.park,
                    "km": round(reach.distance_km, 1),
                    "visited": reach.visited,
                    "grids": list(reach.open_grids),
                }
                for reach in open_[:_MOST]
            ],
        }
    return told


def level_of(settings: Mapping[str, Any]) -> int:
    """The level of the settings; square where they say nothing."""
    return level_number(str((settings.get("options") or {}).get("level") or "square"))


def journal(notebook: str, suffix: str, settings: Mapping[str, Any]) -> tuple[str, str | bytes, int]:
    """Name and content of the visits in a form of ``scout visit export``, and how many rows are left out."""
    options = settings.get("options") or {}
    name = f"visits{suffix}"
    today = datetime.now(UTC).strftime("%Y-%m-%d")
    visits, left_out = _visits(notebook)
    said = Particulars(
        str(options.get("title") or ""),
        f"scout visit export {name}",
        today,
        level_of(settings),
        tuple(visit.number for visit in left_out),
    )
    return name, export(visits, name, said), len(left_out)
