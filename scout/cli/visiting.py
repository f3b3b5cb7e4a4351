"""Words of ``scout visit`` to a visit, and a visit to words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from scout.cli.sources import park_files, parks_from
from scout.errors import InputError, printable

if TYPE_CHECKING:
    from scout.model import Checked, Parks
    from scout.visits import BadVisit, ParkVisited, Visit

__all__ = [
    "Judged",
    "check_times",
    "fields_of",
    "judge_visit",
    "listed",
    "parks_by_hand",
    "told",
    "told_left_out",
]

_TOLD = 10  # rows left out that are named one by one
_TEXTS = (
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
_TERMS = {"call": "call sign", "sheet": "arrival sheet", "went_well": "went well", "went_badly": "went badly"}


@dataclass(frozen=True, slots=True)
class Judged:
    """What the place of a visit gives: fields of it, and the line that says how it was judged."""

    fields: dict[str, Any]
    line: str


def fields_of(given: Mapping[str, Any]) -> dict[str, Any]:
    """Checked fields of the options that were given; what was not is left out."""
    fields = {name: given[name].strip() for name in _TEXTS if given[name] is not None}
    fields |= {name: given[name] for name in ("contacts", "power_w") if given[name] is not None}
    if given["start"] is not None:
        fields["start"] = _time("--start", given["start"])
    if given["end"] is not None:
        fields["end"] = _time("--end", given["end"]) if given["end"].strip() else None
    return fields


def _time(option: str, text: str) -> datetime:
    """UTC to the second; a time with another zone is turned into it."""
    try:
        time = datetime.fromisoformat(text.strip())
    except ValueError:
        time = None
    if time is None or (":" not in text and "T" not in text):
        raise InputError(f"{option} {text}", "this is no date and time", "write 2026-02-14T18:05, in UTC")
    from scout.visits import YEARS

    if time.year not in YEARS:  # first: near the ends of the calendar another zone has no date
        what = f"the year {time.year} is not from {YEARS[0]} to {YEARS[-1]}"
        raise InputError(f"{option} {text}", what, "write 2026-02-14T18:05, in UTC")
    time = time.replace(tzinfo=UTC) if time.tzinfo is None else time.astimezone(UTC)
    return time.replace(microsecond=0)


def judge_visit(
    given: Mapping[str, Any], files: Sequence[str], by_hand: Sequence[str], old: Visit | None
) -> Judged:
    """The place, its grids and its parks, from a place or a recording and from boundary files."""
    from scout.arrive import arrive
    from scout.check import Check, check
    from scout.cli.options import station_from
    from scout.cli.progress import progress
    from scout.locator import level_number
    from scout.read.fixes import read_fixes

    place, recording = given["place"], given["arrival"]
    if place is not None and recording is not None:
        raise InputError("--place", "--arrival tells the place as well", "give one of them")
    station = station_from(given["station_radius"], given["fix_error"], given["boundary_error"])
    level = level_number(given["level"])
    with progress() as show:
        parks = _parks(files, given, show)
        if recording is not None:
            show("reading the recording")
            arrival = arrive(read_fixes(recording), parks, level, station)
            checked, found = arrival.checked, arrival.standstill
            more = {"start": datetime.fromtimestamp(int(found.start_s), UTC)} if found.dated else {}
            return _judged(checked, found.error_95_m, level, by_hand, bool(files), more)
        lon, lat, error_m = _place(place, station.fix_error_m, old)
        from dataclasses import replace

        options = Check(level, replace(station, fix_error_m=error_m), moves=False)
        (checked,) = check(parks, [lon], [lat], options)
    return _judged(checked, error_m, level, by_hand, bool(files), {})


def _place(text: str | None, error_m: float, old: Visit | None) -> tuple[float, float, float]:
    from scout.coordinates import read_place

    if text is None:
        if old is None:
            raise InputError("visit", "no place is given", "add --place LAT,LON or --arrival FIXES")
        return old.lon, old.lat, error_m
    place = read_place(text)
    if place.cell is not None:
        raise InputError(
            f"--place {text}", "a locator is an area, and a station stood at one place", "give coordinates"
        )
    return place.lon, place.lat, max(error_m, place.uncertainty_m or 0.0)


def _parks(files: Sequence[str], given: Mapping[str, Any], show: Any) -> Parks:
    if files:
        return parks_from(park_files(files, **given), show)
    import geopandas as gpd

    from scout.model import DATUM_ERROR, KIND, PARK_ID, PARK_NAME, SOURCE, ParkReport
    from scout.model import Parks as NoParks

    columns: dict[str, list[Any]] = {n: [] for n in (PARK_ID, PARK_NAME, KIND, SOURCE, DATUM_ERROR)}
    return NoParks(gpd.GeoDataFrame(columns, geometry=[], crs="EPSG:4326"), (), ParkReport())


def _judged(
    checked: Checked, error_m: float, level: int, by_hand: Sequence[str], by_files: bool, more: dict[str, Any]
) -> Judged:
    from scout.visits import ParkVisited

    verdict = checked.verdict
    at = {park.park: park for park in checked.parks}
    parks = [
        ParkVisited(park, at[park].park_name, round(at[park].clearance_m, 1), round(at[park].p, 4))
        for park in verdict.parks
    ]
    known = {park.park for park in parks}
    parks += [park for park in parks_by_hand(by_hand) if park.park not in known]
    fields = {
        "lon": checked.lon,
        "lat": checked.lat,
        "error_m": round(error_m, 1),
        "level": level,
        "locators": verdict.locators,
        "parks": tuple(parks),
        "confidence": round(verdict.confidence if by_files else verdict.grids_p, 4),
        **more,
    }
    if not by_files:
        return Judged(fields, "Judged for the grids alone: no boundary file was given.")
    held = f", held down by: {checked.driver}" if verdict.confidence < 1.0 else ""
    return Judged(fields, printable(f"Verdict: {verdict.word}{held}."))


def parks_by_hand(words: Sequence[str]) -> tuple[ParkVisited, ...]:
    """Parks as ``ID`` or ``ID=NAME``."""
    from scout.visits import ParkVisited

    parks = {}
    for word in words:
        park, _, name = (part.strip() for part in word.partition("="))
        if not park:
            raise InputError(f"--park {word}", "the park has no id", "write ID or ID=NAME")
        parks[park] = ParkVisited(park, name)
    return tuple(parks.values())


def check_times(visit: Visit) -> None:
    """Refuse a visit that ends before it starts."""
    if visit.end is not None and visit.end < visit.start:
        raise InputError("--end", "the visit would end before it starts", "times are UTC, with the date")


def told(visit: Visit | BadVisit) -> Iterator[str]:
    """One visit in full; of what is no visit, why not and what its row holds."""
    from scout.visits import Visit

    lines = _lines(visit) if isinstance(visit, Visit) else _lines_of_bad(visit)
    yield from (printable(line) for line in lines)


def _lines_of_bad(visit: BadVisit) -> Iterator[str]:
    from scout.cli.tables import columns

    yield f"Visit {visit.number} cannot be read: {visit.why}."
    yield from columns([(f"  {name}", value) for name, value in visit.values])
    yield f"scout visit edit {visit.number} puts it right, scout visit delete {visit.number} takes it out."


def told_left_out(visits: Sequence[BadVisit]) -> Iterator[str]:
    """A line for each row of the notebook that is no visit."""
    for visit in visits[:_TOLD]:
        yield printable(f"Left out: {visit}; see scout visit show {visit.number}.")
    if len(visits) > _TOLD:
        yield f"Left out: {len(visits) - _TOLD:,} more like these."


def _lines(visit: Visit) -> Iterator[str]:
    from scout.cli.tables import columns
    from scout.coordinates import decimal, minutes
    from scout.locator import LEVELS

    end = " UTC, end not noted" if visit.end is None else f" to {visit.end:%Y-%m-%d %H:%M:%S} UTC"
    grids, parks = len(visit.locators), len(visit.parks)
    yield f"Visit {visit.number}, {visit.start:%Y-%m-%d %H:%M:%S}{end}"
    facts = [("place", f"{decimal(visit.lon, visit.lat)}   {minutes(visit.lon, visit.lat)}")]
    if visit.error_m is not None:
        facts.append(("error", f"{visit.error_m:g} m (95 %)"))
    sure = "" if visit.confidence is None else f", confidence {visit.confidence:.3f}"
    facts.append(("yield", f"{grids} x {parks} = {grids * parks}, level {LEVELS[visit.level - 1]}{sure}"))
    facts.append(("grids", " ".join(visit.locators) or "none"))
    for park in visit.parks:
        name = f"{park.name} ({park.park})" if park.name else park.park
        clear = "" if park.clearance_m is None else f", clearance {park.clearance_m:g} m"
        facts.append(("park", name + clear + ("" if park.confidence is None else f", {park.confidence:.3f}")))
    facts += [(_TERMS.get(name, name), str(getattr(visit, name))) for name in _TEXTS if getattr(visit, name)]
    if visit.power_w is not None:
        facts.append(("power", f"{visit.power_w:g} W"))
    if visit.contacts is not None:
        facts.append(("contacts", f"{visit.contacts:,}"))
    yield from columns([(f"  {term}", " ".join(text.split())) for term, text in facts])


def listed(visits: Sequence[Visit]) -> Iterator[str]:
    """A line each."""
    from scout.cli.tables import columns

    heads = ("visit", "start (UTC)", "call", "grids x parks", "contacts", "grids", "parks")
    table = [heads]
    for visit in visits:
        grids, parks = len(visit.locators), len(visit.parks)
        table.append(
            (
                str(visit.number),
                f"{visit.start:%Y-%m-%d %H:%M}",
                visit.call,
                f"{grids} x {parks} = {grids * parks}",
                "" if visit.contacts is None else f"{visit.contacts:,}",
                " ".join(visit.locators),
                ", ".join(f"{p.name} ({p.park})" if p.name else p.park for p in visit.parks),
            )
        )
    rows: list[tuple[str, ...]] = [tuple(printable(" ".join(c.split())) for c in row) for row in table]
    yield from columns(rows)
