"""The notebook for the page: visits listed, counted, written down, changed, stamped into logs."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from scout.app.request import SearchRequest
from scout.app.settings import list_settings
from scout.app.visits import VisitRequest, change_visit, read_log, record_visit, stamp_visit
from scout.desk.files import LayerCache, list_named
from scout.desk.settings import make_desk_settings, word_text
from scout.errors import InputError, SettingName
from scout.geo.locator import LEVELS, get_level_number
from scout.io.write import write_file
from scout.model import BadVisit, Units, Visit
from scout.output.journal import JournalParticulars, export_visits
from scout.output.text import format_length, format_position, format_stated_length
from scout.output.visits import format_recorded, format_stamping, format_visit
from scout.search.places import load_parks_near
from scout.visits.notebook import Notebook
from scout.visits.rows import TEXTS
from scout.visits.tally import collect_done, count_by_year, find_missing

N = TypeVar("N", int, float)
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
    units, name = request.settings.units, Path(notebook).name
    lines = list(format_recorded(recorded.visit, recorded.judged, name, units))
    return {"lines": lines, **list_visits(notebook)}


def edit_visit(
    notebook: str,
    number: int,
    visit: Mapping[str, Any],
    settings: Mapping[str, Any],
    roles: Mapping[str, Sequence[str]],
    show: Callable[[str], None],
) -> dict[str, Any]:
    """Change what is noted of a visit; where its place is another or ``judge`` is set, judge it anew."""
    asked, old = dict(visit), Notebook(notebook).entry(number)
    same_place = isinstance(old, Visit) and asked.get("place") == format_position(old.lon, old.lat)
    judge = bool(asked.pop("judge", None)) or not same_place
    if same_place:
        asked.pop("place")
    if isinstance(old, Visit) and asked.get("park") == _list_by_hand(old):
        asked.pop("park")
    request = _make_visit_request(asked, settings, roles if judge else {}, empty=True)
    keep = () if judge and not same_place else ("error",)
    changed = change_visit(notebook, number, request, show, judge=judge, keep=keep)
    return {"lines": _word_visit(changed, request.settings.units), **list_visits(notebook)}


def _word_visit(visit: Visit | BadVisit, units: Units = "metric") -> list[str]:
    return [word_text(line, units) for line in format_visit(visit, units)]


def _list_by_hand(visit: Visit) -> str:
    """The parks of a visit as its field holds them."""
    return "; ".join(f"{park.park}={park.name}" if park.name else park.park for park in visit.parks)


def get_visit(notebook: str, number: int) -> dict[str, Any]:
    """What the fields of the form hold to change a visit."""
    visit = Notebook(notebook).entry(number)
    if isinstance(visit, BadVisit):
        return {"number": number, "why": str(visit), "fields": {}}
    times = {"start": f"{visit.start:%Y-%m-%dT%H:%M:%S}"}
    if visit.end is not None:
        times["end"] = f"{visit.end:%Y-%m-%dT%H:%M:%S}"
    numbers = {"contacts": visit.contacts, "power": visit.power_w}
    fields = {
        "place": format_position(visit.lon, visit.lat),
        "park": _list_by_hand(visit),
        **times,
        **{name: f"{value:g}" for name, value in numbers.items() if value is not None},
        **{name.replace("_", "-"): getattr(visit, name) for name in TEXTS},
    }
    return {"number": number, "why": "", "fields": fields}


def _make_visit_request(
    visit: Mapping[str, Any],
    settings: Mapping[str, Any],
    roles: Mapping[str, Sequence[str]],
    *,
    empty: bool = False,
) -> VisitRequest:
    """What the form says; with ``empty`` a field without text takes out what was noted."""
    fields = {
        name.replace("-", "_"): str(value).strip() for name, value in visit.items() if value is not None
    }
    fields = {name: text for name, text in fields.items() if text}
    texts = {name: fields[name] for name in TEXTS if name in fields}
    if empty:
        texts = {name: fields.get(name, "") for name in TEXTS if name.replace("_", "-") in visit}
    judging = {one.key for one in list_settings("station", "reading", "display")}
    options = {key: value for key, value in (settings.get("options") or {}).items() if key in judging}
    return VisitRequest(
        place=fields.get("place"),
        arrival=fields.get("recording"),
        in_parks=tuple(filter(None, map(str.strip, fields.get("park", "").split(";")))),
        files=tuple(list_named(roles.get("parks", ()))),
        settings=make_desk_settings({"options": options}),
        start=fields.get("start"),
        end=fields.get("end", "" if empty and "end" in visit else None),
        contacts=_read_number(fields, "contacts", int),
        power_w=_read_number(fields, "power", float),
        texts=texts,
    )


def _read_number(fields: Mapping[str, str], name: str, kind: Callable[[str], N]) -> N | None:
    if name not in fields:
        return None
    try:
        number = kind(fields[name])
    except ValueError:
        what = f"{fields[name][:40]!r} is no number"
        raise InputError(SettingName(name), what, "give a number, or nothing") from None
    if not 0 <= float(number) <= _HIGHEST:
        what = f"{fields[name][:40]!r} is no such number"
        raise InputError(SettingName(name), what, "give one from 0 up")
    return number


def delete_visit(notebook: str, number: int) -> dict[str, Any]:
    """Delete a visit; gives the lines that say which, and the visits that are left."""
    book = Notebook(notebook)
    lines = _word_visit(book.entry(number))
    book.delete(number)
    return {"lines": [*lines, f"Deleted visit {number}."], **list_visits(notebook)}


def undo_change(notebook: str) -> dict[str, Any]:
    """Take back the last edit or deletion; gives the lines that say which, and all visits."""
    what, visit = Notebook(notebook).undo()
    first = f"Took back the {'deletion' if what == 'delete' else 'edit'} of visit {visit.number}:"
    return {"lines": [first, *_word_visit(visit)], **list_visits(notebook)}


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
        "ended": visit.end is not None,
    }


def keep_notebook(notebook: str, path: str) -> str:
    """Keep visits in a notebook on the disk from now on, an older one or a new one; gives its path.

    Raises
    ------
    InputError
        No notebook can be there.
    """
    wanted = Path(path.strip()).expanduser()
    if not wanted.is_absolute() or wanted.suffix.lower() != ".gpkg":
        what = "this is no full name of a notebook"
        raise InputError(path[:200], what, f"write it as {Path.home() / 'visits.gpkg'}")
    if not wanted.parent.is_dir():
        raise InputError(path[:200], "there is no such folder", "make it first, or name another")
    book, own = Notebook(wanted), Path(notebook)
    if book.exists():
        book.visits(lambda _: None)  # a file that is no notebook is refused with a line
        if own.exists():
            raise InputError(path[:200], "there is a notebook of this name", "give another name")
    elif own.exists():
        write_file(wanted, own.read_bytes())
    return str(wanted)


def stamp_log(notebook: str, given: Mapping[str, Any], made: Path) -> dict[str, Any]:
    """Set the location of a visit in copies of a log; gives what would change, and the copies to keep."""
    number = _read_number({"visit": str(given.get("visit") or "")}, "visit", int)
    if number is None:
        raise InputError("", "no visit is chosen", "choose one")
    grids = str(given.get("grids") or "").replace(",", " ").split()
    stamping = stamp_visit(
        read_log(str(given["file"])),
        Notebook(notebook).visit(number),
        str(given.get("sig") or "").strip(),
        grids or None,
        force=bool(given.get("force")),
        only_inside=bool(given.get("inside-only")),
    )
    for output in stamping.outputs:
        write_file(made / output.name, output.stamped.data)
    return {
        "lines": [word_text(line) for line in format_stamping(stamping)],
        "made": [output.name for output in stamping.outputs],
        "complete": stamping.complete,
    }


def tally_visits(
    notebook: str,
    level: int,
    asked: SearchRequest | None,
    cache: LayerCache,
    show: Callable[[str], None],
    *,
    everything: bool = False,
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
        source = cache.source(asked.park_files, show)
        show("looking for what is missing")
        parks = load_parks_near(source, *options.home, 1010.0 * options.within_km)
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
                for reach in (reached if everything else open_[:_MOST])
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
