"""What a tab can ask for: a search, places checked, the day, boundaries compared and prepared."""

from __future__ import annotations

import ctypes
import gc
import importlib.util
import json
import math
import re
import secrets
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from scout.app.check import (
    judge_planned,
    judge_recording,
    load_parks_around,
    make_checked_findings,
    read_planned,
)
from scout.app.compare import CompareRequest, compare, make_changed_findings
from scout.app.find import cut_to_best, find_spots
from scout.app.outputs import MAP_SPOTS, date_findings, export_findings
from scout.app.pack import build_pack, pack_site, parse_ranks
from scout.app.prepare import prepare_parks
from scout.app.request import SearchRequest, add_particulars, open_saved
from scout.app.settings import Settings, get_settings_by_key
from scout.app.sources import make_access, open_source
from scout.app.trip import make_trip_request, plan_trip
from scout.app.trip_outputs import make_trip_outputs
from scout.app.view import look_around, make_view_request
from scout.cautions import ALWAYS, ON_ARRIVAL
from scout.desk.files import OUTING, LayerCache
from scout.desk.settings import word_text
from scout.errors import InputError, OutputError, SettingName
from scout.geo.coordinates.parse import read_place
from scout.io.write import write_file
from scout.model import Findings, ParkReport, Ranked, Units
from scout.output.arrival import build_sheet_text, list_arrival_facts, name_arrival
from scout.output.card import CardParticulars, build_card, choose_spot, make_particulars
from scout.output.compare import describe_counts, format_changes, to_changes_geojson
from scout.output.report import describe_answer, format_closing
from scout.output.saved import dump_findings, load_findings
from scout.output.text import format_position, format_verdict, list_cells
from scout.output.trip import TELL, describe_day, describe_worth, format_proof, list_cautions, list_day
from scout.output.view import build_view_page, format_view
from scout.page.document import build_map
from scout.parks.sources import add_report_lines
from scout.recording.read import read_fixes
from scout.tours.day import TripTour

_LISTED = 200  # places of a file that are listed; the map shows more
_KEPT = 3  # the last ones stay: the page may still show one without walks
# With the outing file that the desk saves, this gives the same.
_COMMAND = f"scout find --outing {OUTING}"


_LIST_NAME = re.compile(r"map-[0-9a-f]{8}-[0-9]{1,9}\.html")


class SearchJob:
    """The lists of the last searches, by the name of their map: a page asks for what it shows.

    They lie in a folder of the tab as well, for a cancel may have to end the process that found them.
    """

    def __init__(self, cache: LayerCache) -> None:
        self.cache = cache
        self.made, self.lists = Path(), Path()
        self._found: dict[str, Findings] = {}
        self._maps, self._own = 0, secrets.token_hex(4)  # another process must not use these names again
        self._unwritten: list[str] = []

    def found(self, name: str | None = None) -> Findings:
        """What the map of that name shows, or the last one.

        Raises
        ------
        InputError
            There is none: nothing was searched for, or other lists came since.
        """
        names = [*(path.name for path in self._list_written()), *self._unwritten]
        if not names:
            raise InputError("search", "nothing has been searched for yet", "search first")
        name = name or names[-1]
        if name in self._found:
            return self._found[name]
        if name not in names:
            raise InputError("search", "the list has changed since", "search again")
        home, text = json.loads((self.lists / name).read_text("ascii"))
        found = load_findings(text, "the list")
        return replace(found, home=None if home is None else (home[0], home[1]), made_by=_COMMAND)

    def run(
        self, asked: SearchRequest, show: Callable[[str], None], part: Callable[[Any], None]
    ) -> dict[str, Any]:
        """Search, and write the map; what is known without walks goes to ``part``."""
        source = self.cache.source(asked.park_files, show)
        access, options = make_access(asked.access_files, show), asked.settings.make_options()

        def describe(found: Findings, *, walked: bool) -> dict[str, Any]:
            return self._describe(date_findings(add_particulars(found, asked), _COMMAND), walked=walked)

        quick = describe(find_spots(source, options, show), walked=access is None)
        if access is None:
            return quick
        part(quick)
        self.write_lists()
        found = describe(find_spots(source, options, show, access), walked=True)
        _return_memory()
        return found

    def open_list(self, file: str, units: Units) -> dict[str, Any]:
        """The list that a saved GeoPackage carries, as if it had just been found."""
        found = replace(open_saved(file), units=units, made_by=f"scout desk, from {file}")
        return self._describe(found, walked=True)

    def write_lists(self) -> None:
        """Write the lists that are in memory only; only the last ones stay, their maps too."""
        while self._unwritten:
            name = self._unwritten.pop(0)
            if name in self._found:
                found = self._found[name]
                write_file(self.lists / name, json.dumps([found.home, dump_findings(found)]))
        for old in self._list_written()[:-_KEPT]:
            old.unlink(missing_ok=True)
            (self.made / old.name).unlink(missing_ok=True)

    def _list_written(self) -> list[Path]:
        """The lists that were written, the last one last."""
        paths = (path for path in self.lists.iterdir() if _LIST_NAME.fullmatch(path.name))
        return sorted(paths, key=lambda path: path.stat().st_mtime_ns)

    def _describe(self, found: Findings, *, walked: bool) -> dict[str, Any]:
        self._maps += 1
        name = f"map-{self._own}-{self._maps}.html"
        write_file(self.made / name, build_map(cut_to_best(found, MAP_SPOTS)))
        self._found[name] = found
        self._unwritten.append(name)
        for old in list(self._found)[:-_KEPT]:
            del self._found[old]
        around = found.surroundings
        return {
            "made": name,
            "walked": walked,
            "spots": [_make_spot_row(ranked, found.units) for ranked in found.spots[:MAP_SPOTS]],
            "count": len(found.spots),
            "left_out": [
                {"count": one.count, "reason": word_text(one.reason, found.units)} for one in found.left_out
            ],
            "remarks": [word_text(remark, found.units) for remark in found.remarks],
            "notes": [] if around is None else [word_text(note, found.units) for note in around.notes],
        }

    def saved(self, suffix: str, name: str | None = None, best: str = "") -> tuple[str, bytes]:
        """Name and content of the spots in a format, all of them or only so many of the best."""
        if best:
            if not (best.isdecimal() and 0 < int(best) < 10**9):
                raise InputError(
                    SettingName("top"), f"{best[:40]!r} is no count of spots", "give one from 1 up"
                )
            return f"spots{suffix}", export_findings(
                cut_to_best(self.found(name), int(best)), f"spots{suffix}"
            )
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
        "warnings": [word_text(warning, units) for warning in ranked.warnings],
    }


def _return_memory() -> None:
    """Hand memory that is free again to the system; glibc keeps it otherwise."""
    gc.collect()
    if sys.platform == "linux":
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
        if trim is not None:
            trim(0)


# Places to check, a recording made there.
def check_places(
    cache: LayerCache, asked: SearchRequest, given: Mapping[str, Any], made: Path, show: Callable[[str], None]
) -> dict[str, Any]:
    """The answer for a place that was typed, in words; for a file of them a table, and a map of all."""
    text, file = str(given.get("place") or "").strip(), given.get("file")
    planned, settings = read_planned([text] if text else [], file), asked.settings
    level, station = settings.level_number, settings.station
    parks = load_parks_around(cache.source(asked.park_files, show), planned)
    results = list(judge_planned(parks, planned, level, station, show))
    closing = list(format_closing(ALWAYS))
    if file is None:
        answer = describe_answer(planned[0], results[0], level, station, settings.units)
        return {"answer": answer, "closing": closing}
    found = date_findings(make_checked_findings(parks, planned, results, settings), _COMMAND)
    write_file(made / "places.html", build_map(cut_to_best(found, MAP_SPOTS)))
    rows = [
        describe_answer(place, result, level, station, settings.units) | {"title": place.name}
        for place, result in zip(planned[:_LISTED], results[:_LISTED], strict=True)
    ]
    return {"rows": rows, "count": len(results), "made": "places.html", "closing": closing}


def judge_arrival(
    cache: LayerCache, asked: SearchRequest, given: Mapping[str, Any], show: Callable[[str], None]
) -> tuple[str, str, dict[str, Any]]:
    """Name and text of the arrival sheet of a recording, and what it says, in words."""
    settings, file = asked.settings, str(given["file"])
    show("reading the recording")
    fixes = read_fixes(file)
    arrival, parks = judge_recording(fixes, cache.source(asked.park_files, show), settings)
    sheet = build_sheet_text(
        arrival,
        parks,
        call=str(given.get("call") or ""),
        operator=str(given.get("operator") or ""),
        title=str(given.get("title") or ""),
        made_by=f"scout desk, from {file}",
        units=settings.units,
    )
    found, units = arrival.standstill, settings.units
    place = name_arrival(arrival)
    said = {
        "file": file,
        "facts": list_arrival_facts(arrival, units),
        "notes": [word_text(note, units) for note in arrival.notes],
        "answer": describe_answer(place, arrival.checked, arrival.level, arrival.station, units)
        | {"title": "Where the receiver stood"},
        "closing": list(format_closing(ON_ARRIVAL)),
        "place": format_position(found.lon, found.lat),
        "dated": found.dated,
    }
    return "arrival-sheet.html", sheet, said


# A card, a pack, a site: what the commands of these names give.
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


def plan_day(
    findings: Findings,
    asked: SearchRequest,
    given: Mapping[str, Any],
    made: Path,
    show: Callable[[str], None],
) -> dict[str, Any]:
    """A day with several of the spots: the best tours in words, with map, sheet, track and calendar."""
    settings, particulars = asked.settings, _make_particulars(given)
    if particulars.day is None:
        raise InputError(SettingName("date"), "it is not said which day", "choose one")
    request = make_trip_request(settings, findings.level, particulars.day, particulars.zone)
    trip = plan_trip(_drop_date(findings), settings, request, asked.access_files, show)
    show("writing")
    units = settings.units
    names = {"map": "day-map.html", "sheet": "day-sheet.html", "gpx": "day.gpx", "ics": "day.ics"}
    names["pack"] = "day.zip"
    paths = {kind: str(made / name) for kind, name in names.items()}
    saved, beside = (paths["gpx"], paths["ics"]), (paths["map"], paths["sheet"])
    for path, make in make_trip_outputs(trip, particulars, *beside, saved, paths["pack"]).items():
        write_file(path, make())

    def describe(number: int, tour: TripTour) -> dict[str, Any]:
        days = [
            {
                "head": describe_day(day),
                "lines": [
                    [f"{line.at:%H:%M}", line.text, word_text(line.more, units)]
                    for line in list_day(trip, day)
                ],
                "cautions": [word_text(text, units) for text in list_cautions(day)],
            }
            for day in tour.days
        ]
        worth = word_text(describe_worth(tour), units)
        return {"worth": worth, "proof": format_proof(tour, number), "days": days}

    tours = [describe(number, tour) for number, tour in enumerate(trip.tours, start=1)]
    return {"tours": tours, "notes": [word_text(note, units) for note in (*trip.notes, TELL)], "made": names}


def see_from(
    settings: Settings,
    given: Mapping[str, Any],
    parks: Sequence[str],
    made: Path,
    show: Callable[[str], None],
) -> dict[str, Any]:
    """What an antenna sees from a place, in words, and the page with its pictures; or the line to another."""
    place, to = str(given.get("place") or "").strip(), str(given.get("to") or "").strip()
    day, zone = str(given.get("date") or ""), str(given.get("zone") or "").strip()
    there_m, mhz = (
        read_given_number(given, key, default) for key, default in (("to-height", 5.0), ("mhz", 145.0))
    )
    request = make_view_request(
        place, settings, to=to or None, to_antenna_m=there_m, mhz=mhz, day=day or None, zone=zone or None
    )
    # Peaks are in data of roads and paths, and in an extract that was brought as boundaries.
    some = replace(settings, barriers=(), hazards=())
    view = look_around(replace(request, files=some.make_access_files((), parks)), show)
    name = "view.html"
    write_file(made / name, build_view_page(view, settings.units))
    said = list(format_view(view, settings.units))
    return {
        "head": " ".join(line for line in said if not line.startswith(" ")),
        "lines": [word_text(line.strip(), settings.units) for line in said if line.startswith(" ")],
        "made": name,
    }


def read_given_number(given: Mapping[str, Any], key: str, default: float) -> float:
    """A number that was typed into a field of its own.

    Raises
    ------
    InputError
        It is none.
    """
    text = str(given.get(key) or "").strip()
    try:
        number = float(text) if text else default
    except ValueError:
        number = math.inf
    if not math.isfinite(number):
        raise InputError(SettingName(key), f"{text[:40]!r} is no number", "give one")
    return number


def build_spot_site(findings: Findings, spots: str) -> tuple[str, bytes]:
    """Name and bytes of the map of some spots as a site, to be unpacked on a web space."""
    return "site.zip", pack_site(_drop_date(findings), parse_ranks(spots.replace(",", " ").split()))


# What is done with boundaries besides: compared, prepared; and a locator looked up.
def compare_boundaries(
    asked: SearchRequest,
    given: Mapping[str, Any],
    old: Sequence[str],
    notebook: str | None,
    made: Path,
    show: Callable[[str], None],
) -> dict[str, Any]:
    """What changed since the older boundaries: in words, as a map and as GeoJSON."""
    known = get_settings_by_key()
    set_here = {known[key].name for key in (given.get("options") or {}) if key in known}
    changed = compare(CompareRequest(tuple(old), asked, frozenset(set_here), notebook), show)
    show("writing")
    units = asked.settings.units
    write_file(made / "changes.geojson", to_changes_geojson(changed))
    findings = date_findings(make_changed_findings(changed), _COMMAND)
    write_file(made / "changes.html", build_map(cut_to_best(findings, MAP_SPOTS)))
    return {
        "counts": word_text(describe_counts(changed), units),
        "lines": [word_text(line, units) for line in format_changes(changed)],
        "differs": changed.differs,
        "made": ["changes.html", "changes.geojson"],
    }


def prepare_boundaries(
    asked: SearchRequest, keep: Sequence[str], made: Path, show: Callable[[str], None]
) -> dict[str, Any]:
    """The boundaries prepared for quick searches, as a file to keep."""
    if importlib.util.find_spec("pyarrow") is None:
        raise OutputError("prepared boundaries", "this needs pyarrow, which is not installed", "install it")
    reports: list[ParkReport] = []
    reading, name = asked.settings.make_park_files(asked.parks, keep), "boundaries.parquet"
    source = open_source(reading, show)
    write_file(made / name, prepare_parks(source, reading, show, reports.append))
    return {"made": name, "counts": add_report_lines(source.report, reports).counts}


def look_up(text: str) -> dict[str, Any]:
    """The cell of a locator, or the locators of a place."""
    head, rows = list_cells(read_place(text))
    return {"head": head, "rows": rows}
