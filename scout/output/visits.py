"""Visits of the notebook, and logs stamped by them, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from scout.cautions import ALWAYS
from scout.errors import SettingName, make_printable
from scout.geo.locator import LEVELS
from scout.model import BadVisit, Units, Visit
from scout.output.report import format_columns, make_line_printable
from scout.output.text import (
    MeasuredText,
    format_clearance,
    format_count,
    format_degrees_minutes,
    format_fine_length,
    format_position,
    format_probability,
    format_text,
    format_yield,
    name_park,
)
from scout.visits.rows import TEXTS
from scout.visits.stamp import Conflict, Stamping

_TOLD = 10  # rows left out that are named one by one
_SHOWN = 20  # lines of each list of contacts
_TERMS = {"call": "call sign", "sheet": "arrival sheet", "went_well": "went well", "went_badly": "went badly"}


def format_recorded(visit: Visit, judged: str, notebook: str, units: Units = "metric") -> Iterator[str]:
    """A visit that was just written down, how it was judged, and where it is."""
    yield from format_visit(visit, units)
    yield make_printable(format_text(judged, units))
    yield ALWAYS[-1]
    yield f"Wrote visit {visit.number} to {notebook}"


def format_visit(visit: Visit | BadVisit, units: Units = "metric") -> Iterator[str]:
    """One visit in full; of what is no visit, why not and what its row holds."""
    lines = _format_visit_lines(visit, units) if isinstance(visit, Visit) else _format_bad_visit(visit)
    yield from (line if isinstance(line, MeasuredText) else make_line_printable(line) for line in lines)


def _format_bad_visit(visit: BadVisit) -> Iterator[str]:
    yield f"Visit {visit.number} cannot be read: {visit.why}."
    yield from format_columns(visit.values, indent="  ")
    edit = SettingName("visit-edit", written=f"scout visit edit {visit.number}")
    delete = SettingName("visit-delete", written=f"scout visit delete {visit.number}")
    yield MeasuredText(edit, " puts it right, ", delete, " takes it out.")


def format_left_out(visits: Sequence[BadVisit]) -> Iterator[str]:
    """A line for each row of the notebook that is no visit."""
    for visit in visits[:_TOLD]:
        named = SettingName("visit-list", written=f"scout visit show {visit.number}")
        yield MeasuredText(make_printable(f"Left out: {visit}; see "), named, ".")
    if len(visits) > _TOLD:
        yield f"Left out: {len(visits) - _TOLD:,} more like these."


def _format_visit_lines(visit: Visit, units: Units) -> Iterator[str]:
    end = " UTC, end not noted" if visit.end is None else f" to {visit.end:%Y-%m-%d %H:%M:%S} UTC"
    grids, parks = len(visit.locators), len(visit.parks)
    yield f"Visit {visit.number}, {visit.start:%Y-%m-%d %H:%M:%S}{end}"
    facts = [
        ("place", f"{format_position(visit.lon, visit.lat)}   {format_degrees_minutes(visit.lon, visit.lat)}")
    ]
    if visit.error_m is not None:
        facts.append(("error", f"{format_fine_length(visit.error_m, units)} (95 %)"))
    sure = "" if visit.confidence is None else f", confidence {format_probability(visit.confidence)}"
    facts.append(("yield", f"{format_yield(grids, parks)}, level {LEVELS[visit.level - 1]}{sure}"))
    facts.append(("grids", " ".join(visit.locators) or "none"))
    for park in visit.parks:
        parts = [name_park(park.park, park.name)]
        parts += [] if park.clearance_m is None else [format_clearance(park.clearance_m, units)]
        parts += [] if park.confidence is None else [format_probability(park.confidence)]
        facts.append(("park", ", ".join(parts)))
    facts += [(_TERMS.get(name, name), str(getattr(visit, name))) for name in TEXTS if getattr(visit, name)]
    if visit.power_w is not None:
        facts.append(("power", f"{visit.power_w:g} W"))
    if visit.contacts is not None:
        facts.append(("contacts", f"{visit.contacts:,}"))
    yield from format_columns([(term, " ".join(text.split())) for term, text in facts], indent="  ")


def format_visits(visits: Sequence[Visit]) -> Iterator[str]:
    """A line each."""
    heads = ("visit", "start (UTC)", "call", "grids x parks", "contacts", "grids", "parks")
    table: list[tuple[str, ...]] = []
    for visit in visits:
        grids, parks = len(visit.locators), len(visit.parks)
        table.append(
            (
                str(visit.number),
                f"{visit.start:%Y-%m-%d %H:%M}",
                visit.call,
                format_yield(grids, parks),
                "" if visit.contacts is None else f"{visit.contacts:,}",
                " ".join(visit.locators),
                ", ".join(name_park(p.park, p.name) for p in visit.parks),
            )
        )
    yield from format_columns([tuple(" ".join(c.split()) for c in row) for row in table], heads)


# A log stamped by a visit.
def format_stamping(stamping: Stamping) -> Iterator[str]:
    """What was found in the log, what changes in it, and what is left alone."""
    log, visit, times = stamping.log, stamping.visit, stamping.times
    yield make_printable(
        f"{log.path}: {format_count(len(log.contacts), 'contact')}, "
        f"{len(times.inside):,} during visit {visit.number} "
        f"({visit.start:%Y-%m-%d %H:%M} to {visit.end:%Y-%m-%d %H:%M} UTC)."
    )
    yield from (*log.notes, *stamping.notes)
    yield from _format_some("Outside", times.outside)
    if times.far:
        yield f"Outside: {times.far:,} more than a day before or after."
    yield from _format_some("Look at", times.doubts)
    for output in stamping.outputs:
        counts = ", ".join(f"{name} in {count:,}" for name, count in output.stamped.set_fields)
        head = f"{output.park}: " if output.park else ""
        changed = format_count(output.stamped.changed, "contact")
        yield make_printable(f"{head}{changed} change: {counts or 'nothing to set'}.")
        word = f"Conflict{', ' + output.park if output.park else ''}"
        yield from _format_some(word, [_describe_clash(one) for one in output.stamped.conflicts])


def _describe_clash(conflict: Conflict) -> str:
    done = "replaced" if conflict.replaced else "left alone"
    mine = conflict.value or "that nothing should stand there"
    who = f"contact {conflict.contact} ({conflict.call or 'no call sign'})"
    return f"{who}: {conflict.name} is {conflict.said!r}, the visit says {mine}: {done}"


def _format_some(word: str, lines: Sequence[str]) -> Iterator[str]:
    for line in lines[:_SHOWN]:
        yield make_printable(f"{word}: {line}{'' if line.endswith('?') else '.'}")
    if len(lines) > _SHOWN:
        yield make_printable(f"{word}: {len(lines) - _SHOWN:,} more like these.")
