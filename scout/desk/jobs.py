"""What a tab can ask for: a search, the day, visits."""

from __future__ import annotations

import ctypes
import gc
import io
import secrets
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import redirect_stdout
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from scout.app.check import judge_planned
from scout.app.find import cut_to_best, find_spots
from scout.app.outputs import MAP_SPOTS, add_particulars, export_findings
from scout.app.pack import build_pack
from scout.app.sources import make_access
from scout.cautions import ALWAYS
from scout.cli.card import read_particulars
from scout.cli.check import read_planned
from scout.cli.pack import parse_ranks
from scout.cli.tables import convert_to_json, format_answer, format_closing
from scout.cli.visit import command
from scout.desk.files import OUTING, LayerCache, list_named
from scout.desk.settings import AskedSearch
from scout.errors import InputError
from scout.geo.locator import LEVELS, get_level_number
from scout.io.write import write_file
from scout.model import BadVisit, Findings, Ranked, Visit
from scout.output.card import build_card, choose_spot
from scout.output.journal import JournalParticulars, export_visits
from scout.page.document import build_map
from scout.visits.notebook import Notebook
from scout.visits.tally import collect_done, count_by_year, find_missing

_KEPT = 3  # the last ones stay: the page may still show one without walks
# With the outing file that the desk saves, this gives the same.
_COMMAND = f"scout find --outing {OUTING}"


class SearchJob:
    """The findings of the last searches, by the name of their map: a page asks for what it shows."""

    def __init__(self, shelf: LayerCache) -> None:
        self.shelf = shelf
        self._found: dict[str, Findings] = {}
        self._maps, self._own = 0, secrets.token_hex(4)  # another process must not use these names again

    def found(self, name: str | None = None) -> Findings:
        """What the map of that name shows, or the last one.

        Raises
        ------
        InputError
            There is none: nothing was searched for, or another process did it.
        """
        if not self._found:
            raise InputError("search", "nothing has been searched for yet", "search first")
        found = self._found.get(name or next(reversed(self._found)))
        if found is None:
            raise InputError("search", "the list has changed since", "search again")
        return found

    def run(
        self, asked: AskedSearch, made: Path, show: Callable[[str], None], part: Callable[[Any], None]
    ) -> dict[str, Any]:
        """Search, and write the map into ``made``; what is known without walks goes to ``part``."""
        inputs = asked.inputs
        parks = self.shelf.parks(inputs.parks, show)
        access = make_access(inputs.access, show)
        quick = self._told(find_spots(parks, inputs.options, show), asked, made, walked=access is None)
        if access is None:
            return quick
        part(quick)
        told = self._told(find_spots(parks, inputs.options, show, access), asked, made, walked=True)
        _return_memory()
        return told

    def _told(self, found: Findings, asked: AskedSearch, made: Path, *, walked: bool) -> dict[str, Any]:
        outing = asked.inputs.outing
        found = add_particulars(found, asked.inputs.title, outing.author, outing.credits, _COMMAND)
        self._maps += 1
        name = f"map-{self._own}-{self._maps}.html"
        write_file(made / name, build_map(cut_to_best(found, MAP_SPOTS)))
        self._found[name] = found
        for old in list(self._found)[:-_KEPT]:
            del self._found[old]
            (made / old).unlink(missing_ok=True)
        around = found.surroundings
        return {
            "made": name,
            "walked": walked,
            "spots": [_make_spot_row(ranked) for ranked in found.spots[:MAP_SPOTS]],
            "count": len(found.spots),
            "left_out": [{"count": one.count, "reason": one.reason} for one in found.left_out],
            "remarks": list(found.remarks),
            "notes": [] if around is None else list(around.notes),
        }

    def saved(self, suffix: str, name: str | None = None) -> tuple[str, bytes]:
        """Name and content of the spots in a format, as ``--save`` writes them."""
        return f"spots{suffix}", export_findings(self.found(name), f"spots{suffix}")


def _make_spot_row(ranked: Ranked) -> dict[str, Any]:
    """What the page says of a spot that was chosen on the map."""
    spot = ranked.spot
    return {
        "rank": ranked.rank,
        "kind": spot.kind,
        "verdict": spot.verdict.word,
        "lon": spot.lon,
        "lat": spot.lat,
        "locators": list(spot.verdict.locators),
        "parks": list(spot.verdict.parks),
        "names": [name or park for park, name in zip(spot.verdict.parks, spot.park_names, strict=True)],
        "near": spot.near is not None,
        "warnings": list(ranked.warnings),
    }


def _return_memory() -> None:
    """Hand memory that is free again to the system; glibc keeps it otherwise."""
    gc.collect()
    if sys.platform == "linux":
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
        if trim is not None:
            trim(0)


# A place to check, a card, a pack: what the commands of these names give.
def check_place(
    shelf: LayerCache, asked: AskedSearch, place: str, show: Callable[[str], None]
) -> dict[str, Any]:
    """The answer of ``scout check`` for one place, in words and in values."""
    inputs = asked.inputs
    planned = read_planned([place])
    parks = shelf.parks(inputs.parks, show)
    (result,) = judge_planned(parks, planned, inputs.options.level, inputs.options.station, show)
    return {
        **convert_to_json(planned[0], result),
        "words": list(format_answer(planned[0], result)),
        "closing": list(format_closing(ALWAYS)),
    }


def build_spot_card(findings: Findings, rank: int, asked: AskedSearch) -> tuple[str, str]:
    """Name and text of the card of a spot."""
    name = f"card-{choose_spot(findings, rank).rank:04d}.html"
    return name, build_card(_drop_date(findings), rank, read_particulars(asked.words))


def build_spot_pack(findings: Findings, spots: str, asked: AskedSearch) -> tuple[str, bytes]:
    """Name and bytes of the pack of some spots."""
    ranks = parse_ranks(spots.replace(",", " ").split())
    return "pack.zip", build_pack(_drop_date(findings), ranks, read_particulars(asked.words))


def _drop_date(findings: Findings) -> Findings:
    """Cards and packs read no clock, so that they repeat."""
    return replace(findings, made_on="")


# The notebook for the page: visits written by ``scout visit`` itself, listed and counted.
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


def add_visit(
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
    files = list_named(roles.get("parks", ()))
    return _run_visit(["add", *words, *(["--parks", *files] if files else [])], notebook)


def change_visits(notebook: str, what: str, number: int | None) -> dict[str, Any]:
    """Delete a visit, or take back what was done last."""
    return _run_visit([what, *([] if number is None else [str(int(number)), "--yes"])], notebook)


def _run_visit(words: Sequence[str], notebook: str) -> dict[str, Any]:
    printed = io.StringIO()
    with redirect_stdout(printed):
        command.main([*words, f"--notebook={notebook}"], prog_name="scout visit", standalone_mode=False)
    return {"lines": printed.getvalue().splitlines(), **list_visits(notebook)}


def list_visits(notebook: str) -> dict[str, Any]:
    """All visits, the latest first, and the rows that are none; nothing where there is no notebook yet."""
    visits, left_out = _read_visits(notebook)
    return {
        "visits": [_make_visit_row(visit) for visit in reversed(visits)],
        "left_out": [{"number": visit.number, "why": str(visit)} for visit in left_out[:_MOST]],
    }


def _read_visits(notebook: str) -> tuple[tuple[Visit, ...], list[BadVisit]]:
    """All visits, and the rows that are none."""
    left_out: list[BadVisit] = []
    book = Notebook(notebook)
    return book.visits(left_out.append) if book.exists() else (), left_out


def _make_visit_row(visit: Visit) -> dict[str, Any]:
    return {
        "number": visit.number,
        "start": f"{visit.start:%Y-%m-%d %H:%M}",
        "call": visit.call,
        "contacts": visit.contacts,
        "grids": list(visit.locators),
        "parks": [park.name or park.park for park in visit.parks],
    }


def tally_visits(
    notebook: str, level: int, asked: AskedSearch | None, shelf: LayerCache, show: Callable[[str], None]
) -> dict[str, Any]:
    """What ``scout tally`` counts at a level; what is missing where home, radius and parks are known."""
    visits, left_out = _read_visits(notebook)
    so_far = collect_done(visits, level)
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
        for year in count_by_year(visits, level)
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
        reached = find_missing(parks, so_far, options.home, options.within_km)
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


def find_level(settings: Mapping[str, Any]) -> int:
    """The level of the settings; square where they say nothing."""
    return get_level_number(str((settings.get("options") or {}).get("level") or "square"))


def build_journal(notebook: str, suffix: str, settings: Mapping[str, Any]) -> tuple[str, str | bytes, int]:
    """Name and content of the visits in a form of ``scout visit export``, and how many rows are left out."""
    options = settings.get("options") or {}
    name = f"visits{suffix}"
    today = datetime.now(UTC).strftime("%Y-%m-%d")
    visits, left_out = _read_visits(notebook)
    said = JournalParticulars(
        str(options.get("title") or ""),
        f"scout visit export {name}",
        today,
        find_level(settings),
        tuple(visit.number for visit in left_out),
    )
    return name, export_visits(visits, name, said), len(left_out)
