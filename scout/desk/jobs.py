"""What a tab can ask for: a search, the day, visits."""

from __future__ import annotations

import ctypes
import gc
import secrets
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from scout.app.check import judge_planned, read_planned
from scout.app.find import cut_to_best, find_spots
from scout.app.outputs import MAP_SPOTS, date_findings, export_findings
from scout.app.pack import build_pack, parse_ranks
from scout.app.request import SearchRequest, add_particulars
from scout.app.settings import list_settings
from scout.app.sources import make_access
from scout.app.visits import VisitRequest, record_visit
from scout.cautions import ALWAYS
from scout.desk.files import OUTING, LayerCache, list_named
from scout.desk.settings import make_desk_settings
from scout.errors import InputError
from scout.geo.locator import LEVELS, get_level_number
from scout.io.write import write_file
from scout.model import BadVisit, Findings, Ranked, Units, Visit
from scout.output.card import CardParticulars, build_card, choose_spot, make_particulars
from scout.output.journal import JournalParticulars, export_visits
from scout.output.report import convert_to_json, format_answer, format_closing
from scout.output.text import format_length, format_stated_length, format_text, format_verdict
from scout.output.visits import format_recorded, format_visit
from scout.page.document import build_map
from scout.visits.notebook import Notebook
from scout.visits.rows import TEXTS
from scout.visits.tally import collect_done, count_by_year, find_missing

N = TypeVar("N", int, float)
_KEPT = 3  # the last ones stay: the page may still show one without walks
# With the outing file that the desk saves, this gives the same.
_COMMAND = f"scout find --outing {OUTING}"


class SearchJob:
    """The findings of the last searches, by the name of their map: a page asks for what it shows."""

    def __init__(self, cache: LayerCache) -> None:
        self.cache = cache
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
        self, asked: SearchRequest, made: Path, show: Callable[[str], None], part: Callable[[Any], None]
    ) -> dict[str, Any]:
        """Search, and write the map into ``made``; what is known without walks goes to ``part``."""
        parks = self.cache.parks(asked.park_files, show)
        access, options = make_access(asked.access_files, show), asked.settings.make_options()
        quick = self._describe(find_spots(parks, options, show), asked, made, walked=access is None)
        if access is None:
            return quick
        part(quick)
        found = self._describe(find_spots(parks, options, show, access), asked, made, walked=True)
        _return_memory()
        return found

    def _describe(self, found: Findings, asked: SearchRequest, made: Path, *, walked: bool) -> dict[str, Any]:
        found = date_findings(add_particulars(found, asked), _COMMAND)
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
            "spots": [_make_spot_row(ranked, found.units) for ranked in found.spots[:MAP_SPOTS]],
            "count": len(found.spots),
            "left_out": [
                {"count": one.count, "reason": format_text(one.reason, found.units)} for one in found.left_out
            ],
            "remarks": [format_text(remark, found.units) for remark in found.remarks],
            "notes": [] if around is None else list(around.notes),
        }

    def saved(self, suffix: str, name: str | None = None) -> tuple[str, bytes]:
        """Name and content of the spots in a format, as ``--save`` writes them."""
        return f"spots{suffix}", export_findings(self.found(name), f"spots{suffix}")


def _make_spot_row(ranked: Ranked, units: Units) -> dict[str, Any]:
    """What the page says of a spot that was chosen on the map."""
    spot = ranked.spot
    return {
        "rank": ranked.rank,
        "kind": spot.kind,
        "verdict": format_verdict(spot.verdict.word, spot.verdict.coarse),
        "lon": spot.lon,
        "lat": spot.lat,
        "locators": list(spot.verdict.locators),
        "parks": list(spot.verdict.parks),
        "names": [name or park for park, name in zip(spot.verdict.parks, spot.park_names, strict=True)],
        "near": spot.near is not None,
        "warnings": [format_text(warning, units) for warning in ranked.warnings],
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
    cache: LayerCache, asked: SearchRequest, place: str, show: Callable[[str], None]
) -> dict[str, Any]:
    """The answer of ``scout check`` for one place, in words and in values."""
    planned, settings = read_planned([place]), asked.settings
    parks = cache.parks(asked.park_files, show)
    (result,) = judge_planned(parks, planned, settings.level_number, settings.station, show)
    return {
        **convert_to_json(planned[0], result),
        "words": list(format_answer(planned[0], result, settings.units)),
        "closing": list(format_closing(ALWAYS)),
    }


def build_spot_card(findings: Findings, rank: int, given: Mapping[str, Any]) -> tuple[str, str]:
    """Name and text of the card of a spot."""
    name = f"card-{choose_spot(findings, rank).rank:04d}.html"
    return name, build_card(_drop_date(findings), rank, _make_particulars(given))


def build_spot_pack(findings: Findings, spots: str, given: Mapping[str, Any]) -> tuple[str, bytes]:
    """Name and bytes of the pack of some spots."""
    ranks = parse_ranks(spots.replace(",", " ").split())
    return "pack.zip", build_pack(_drop_date(findings), ranks, _make_particulars(given))


def _make_particulars(given: Mapping[str, Any]) -> CardParticulars:
    words = [str(given.get(name) or "").strip() for name in ("call", "club-call", "date", "zone")]
    return make_particulars(*words)


def _drop_date(findings: Findings) -> Findings:
    """Cards and packs read no clock, so that they repeat."""
    return replace(findings, made_on="")


# The notebook for the page: visits listed, counted, written down.
_HIGHEST = 1e6  # watts, contacts
_MOST = 100  # parks that are listed as missing, and rows that are no visits


def add_visit(
    notebook: str,
    visit: Mapping[str, Any],
    settings: Mapping[str, Any],
    roles: Mapping[str, Sequence[str]],
    show: Callable[[str], None],
) -> dict[str, Any]:
    """Write a visit down; gives the lines that say what was written, and all visits."""
    request = _make_visit_request(visit, settings, roles)
    recorded = record_visit(notebook, request, show)
    lines = list(format_recorded(recorded.visit, recorded.judged, notebook, request.settings.units))
    return {"lines": lines, **list_visits(notebook)}


def _make_visit_request(
    visit: Mapping[str, Any], settings: Mapping[str, Any], roles: Mapping[str, Sequence[str]]
) -> VisitRequest:
    fields = {
        name.replace("-", "_"): str(value).strip() for name, value in visit.items() if value is not None
    }
    fields = {name: text for name, text in fields.items() if text}
    judging = {one.key for one in list_settings("station", "reading", "display")}
    options = {key: value for key, value in (settings.get("options") or {}).items() if key in judging}
    return VisitRequest(
        place=fields.get("place"),
        in_parks=(fields["park"],) if "park" in fields else (),
        files=tuple(list_named(roles.get("parks", ()))),
        settings=make_desk_settings({"options": options}),
        start=fields.get("start"),
        end=fields.get("end"),
        contacts=_read_number(fields, "contacts", int),
        power_w=_read_number(fields, "power", float),
        texts={name: fields[name] for name in TEXTS if name in fields and name != "sheet"},
    )


def _read_number(fields: Mapping[str, str], name: str, kind: Callable[[str], N]) -> N | None:
    if name not in fields:
        return None
    try:
        number = kind(fields[name])
    except ValueError:
        raise InputError(name, f"{fields[name][:40]!r} is no number", "give a number, or nothing") from None
    if not 0 <= float(number) <= _HIGHEST:
        raise InputError(name, f"{fields[name][:40]!r} is no such number", "give one from 0 up")
    return number


def delete_visit(notebook: str, number: int) -> dict[str, Any]:
    """Delete a visit; gives the lines that say which, and the visits that are left."""
    book = Notebook(notebook)
    lines = list(format_visit(book.entry(number)))
    book.delete(number)
    return {"lines": [*lines, f"Deleted visit {number}."], **list_visits(notebook)}


def undo_change(notebook: str) -> dict[str, Any]:
    """Take back the last edit or deletion; gives the lines that say which, and all visits."""
    what, visit = Notebook(notebook).undo()
    first = f"Took back the {'deletion' if what == 'delete' else 'edit'} of visit {visit.number}:"
    return {"lines": [first, *format_visit(visit)], **list_visits(notebook)}


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
    notebook: str, level: int, asked: SearchRequest | None, cache: LayerCache, show: Callable[[str], None]
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
    tally: dict[str, Any] = {
        "level": LEVELS[level - 1],
        "years": years,
        "all": [len(so_far.grids), len(so_far.parks), len(so_far.pairs)],
        "left_out": len(left_out),
        "missing": None,
    }
    options = None if asked is None else asked.settings.make_options()
    if asked is not None and options is not None and options.home is not None and options.within_km:
        parks = cache.parks(asked.park_files, show)
        show("looking for what is missing")
        reached = find_missing(parks, so_far, options.home, options.within_km)
        open_ = [reach for reach in reached if reach.open_grids]
        tally["missing"] = {
            "within": format_stated_length(1000 * options.within_km, asked.settings.units),
            "parks": len(reached),
            "open": len(open_),
            "rows": [
                {
                    "park": reach.name or reach.park,
                    "away": format_length(1000 * reach.distance_km, asked.settings.units),
                    "visited": reach.visited,
                    "grids": list(reach.open_grids),
                }
                for reach in open_[:_MOST]
            ],
        }
    return tally


def find_level(settings: Mapping[str, Any]) -> int:
    """The level of the settings; square where they say nothing."""
    return get_level_number(str((settings.get("options") or {}).get("level") or "square"))


def build_journal(notebook: str, suffix: str, settings: Mapping[str, Any]) -> tuple[str, str | bytes, int]:
    """Name and content of the visits in a form of ``scout visit export``, and how many rows are left out."""
    options = settings.get("options") or {}
    shown = make_desk_settings({"options": {key: options.get(key) for key in ("title", "level", "units")}})
    name = f"visits{suffix}"
    today = datetime.now(UTC).strftime("%Y-%m-%d")
    visits, left_out = _read_visits(notebook)
    rows = tuple(visit.number for visit in left_out)
    made_by = f"scout visit export {name}"
    said = JournalParticulars(shown.title, made_by, today, shown.level_number, rows, shown.units)
    return name, export_visits(visits, name, said), len(left_out)
