"""Findings and answers as text for a terminal."""

from __future__ import annotations

import json
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from scout.cautions import ALWAYS, HAZARDS, list_entry_notes, select_entry_notes, warn_of_outline
from scout.errors import SettingName, make_printable
from scout.geo.boundaries import side_of
from scout.geo.locator import LEVELS, encode
from scout.io.places import NamedPlace
from scout.model import (
    Checked,
    CoarseOutline,
    Findings,
    NothingFound,
    ParkAt,
    ParkReport,
    Ranked,
    Source,
    Station,
    Surroundings,
    Units,
    Verdict,
)
from scout.output.text import (
    MeasuredText,
    describe_station,
    format_bearing,
    format_clearance,
    format_count,
    format_degrees_minutes,
    format_fine_length,
    format_horizon,
    format_length,
    format_minutes,
    format_move,
    format_off_paths,
    format_position,
    format_probability,
    format_share,
    format_slope,
    format_stated_length,
    format_text,
    format_verdict,
    format_yield,
    list_coarse,
    name_look,
    name_park,
)
from scout.search.check import list_entry, list_outline_warnings
from scout.search.rank import edge_m, has_plenty

_HEADS = ("#", "what", "grids x parks", "verdict", "conf.", "clear", "lat, lon", "locators", "parks")
_HOME = "home, straight"
_EDGE, _HORIZON = "to the edge", "horizon"
_SHOWN_LINES = 5  # of each list of repaired or refused records


def format_ranking(findings: Findings, most: int) -> Iterator[str]:
    """The best spots as a table, then what was left out and the cautions."""
    units = findings.units
    yield describe_station(findings.level, findings.station, units)
    yield from (format_text(remark, units) for remark in findings.remarks)
    shown = findings.spots[:most]
    extra = [_EDGE] * any(_goes_by_edge(ranked) for ranked in shown)
    extra += [_HOME] * (findings.home is not None) + ["walk"] * (findings.walking is not None)
    extra += [_HORIZON] * any(ranked.horizon is not None for ranked in shown)
    extra += ["new"] * any(ranked.new is not None for ranked in shown)
    heads = (*_HEADS[:6], *extra, *_HEADS[6:])
    if shown:
        yield from format_columns([_format_row(r, extra, findings) for r in shown], heads)
    yield from _format_warnings(shown, units)
    yield from format_coarse(list_coarse(shown), units)
    if len(findings.spots) > most:
        yield word_more(len(findings.spots) - most)
    if not findings.spots:
        yield from _format_nothing(findings.nothing, units)
    for left in findings.left_out:
        yield f"Not listed: {left.count:,} {format_text(left.reason, units)}."
    yield ""
    yield from ALWAYS


def _format_nothing(nothing: NothingFound | None, units: Units) -> Iterator[str]:
    """Why there is nothing, and what to change."""
    if nothing is None:
        yield "Nothing found."
        return
    yield make_printable(f"Nothing found: {format_text(nothing.why, units)}.")
    *first, last = (f"--{key}" for key in nothing.change)
    yield f"To find more, give another {', '.join(first)}{' or ' * bool(first)}{last}."


def _format_warnings(shown: Sequence[Ranked], units: Units) -> Iterator[str]:
    """A line for whatever is dangerous at a spot, or keeps people from it."""
    for ranked in shown:
        for warning in ranked.warnings:
            yield make_printable(f"#{ranked.rank} WARNING: {format_text(warning, units)}")
        if ranked.route is not None and ranked.route.reason:
            why = format_text(ranked.route.reason, units)
            yield make_printable(f"#{ranked.rank} {ranked.route.state}: {why}.")
    entry: dict[str, list[str]] = {}  # spots share parks: each is named once
    for ranked in shown:
        for note in select_entry_notes(ranked.spot.notes):
            entry.setdefault(note, []).append(f"#{ranked.rank}")
    yield from (make_printable(f"{' '.join(ranks)} {note}") for note, ranks in entry.items())


def format_coarse(outlines: Sequence[CoarseOutline], units: Units) -> Iterator[str]:
    """A line for each of the first outlines that look generalised, and what would do for all."""
    for coarse in outlines[:_SHOWN_LINES]:
        yield make_printable(f"WARNING: {format_text(warn_of_outline(coarse), units)}")
    if len(outlines) > _SHOWN_LINES:
        advised = max(coarse.advised_m for coarse in outlines)
        more = format_count(len(outlines) - _SHOWN_LINES, "outline")
        length = format_stated_length(advised, units)
        yield f"WARNING: {more} more like these; a boundary error of {length} would do for all."


def _format_walk(ranked: Ranked) -> str:
    """The time, how much of it is off paths, how steep the ground is there, where the walk begins."""
    route = ranked.route
    if route is None:
        return ""
    if route.out_min is None:
        return route.state
    parts = [format_minutes(route.out_min)]
    if route.off_path_m is not None and route.length_m:
        parts.append(format_off_paths(route.off_path_m, route.length_m))
    if ranked.slope_deg is not None:
        parts.append(f"slope {format_slope(ranked.slope_deg)}")
    if route.start is not None:
        parts.append(" ".join(filter(None, ("from", route.start_kind or "start", route.start_name))))
    return ", ".join(parts)


def _goes_by_edge(ranked: Ranked) -> bool:
    """Whether the order goes by an edge that the clearance does not tell."""
    return edge_m(ranked) not in (None, ranked.spot.clearance_m)


def _clearance(ranked: Ranked, units: Units) -> str:
    plenty = " (plenty)" if has_plenty(ranked) else ""
    return f"{format_clearance(ranked.spot.clearance_m, units)}{plenty}"


def _edge(ranked: Ranked, units: Units) -> str:
    metres = edge_m(ranked)
    return "" if metres is None else format_fine_length(metres, units)


def _home(ranked: Ranked, units: Units) -> str:
    return "" if ranked.home_km is None else format_length(1000 * ranked.home_km, units)


def _format_row(ranked: Ranked, extra: list[str], findings: Findings) -> tuple[str, ...]:
    spot, units = ranked.spot, findings.units
    pairs = format_yield(ranked.n_grids, ranked.n_parks)
    parks = ", ".join(map(name_park, spot.verdict.parks, spot.park_names))
    if spot.near is not None:
        near = spot.near
        pairs = f"{ranked.n_grids} x 0"
        away = format_fine_length(near.distance_m, units)
        parks = f"{away} to the {format_bearing(near.bearing_deg)}: {near.park_name or near.park}"
    return (
        str(ranked.rank),
        spot.kind,
        pairs,
        format_verdict(spot.verdict.word, spot.verdict.coarse),
        format_probability(spot.verdict.confidence),
        _clearance(ranked, units),
        *([_edge(ranked, units)] if _EDGE in extra else []),
        *([_home(ranked, units)] if _HOME in extra else []),
        *([_format_walk(ranked)] if "walk" in extra else []),
        *([format_horizon(ranked, findings.aims)] if _HORIZON in extra else []),
        *([str(ranked.new.pairs if ranked.new else "")] if "new" in extra else []),
        format_position(spot.lon, spot.lat),
        " ".join(spot.verdict.locators),
        parks,
    )


def word_more(count: int) -> MeasuredText:
    """Say where the spots are that a list leaves out."""
    return MeasuredText(
        f"... and {count:,} more; ", SettingName("map"), " shows and ", SettingName("save"), " writes them."
    )


class TableLine(str):
    """A row of a table as a line of text that knows its cells, for whoever lays the table out anew.

    Lines of one table share ``widths``, those of its columns. ``heads`` are the names of the columns, empty
    where it has none; the line of the heads themselves has them as its cells. ``indent`` stands before all.
    """

    cells: tuple[str, ...]
    heads: tuple[str, ...]
    widths: tuple[int, ...]
    indent: str

    def __new__(
        cls, cells: tuple[str, ...], heads: tuple[str, ...], widths: tuple[int, ...], indent: str
    ) -> TableLine:
        """Set cells in columns of some widths."""
        padded = (c + " " * (w - _measure_width(c)) for c, w in zip(cells, widths, strict=True))
        line = super().__new__(cls, indent + "  ".join(padded).rstrip())
        line.cells, line.heads, line.widths, line.indent = cells, heads, widths, indent
        return line


def format_columns(
    rows: Sequence[tuple[str, ...]], heads: tuple[str, ...] = (), indent: str = ""
) -> Iterator[TableLine]:
    """Rows set in columns as wide as their widest cell; wide characters count as two."""
    table = [*([heads] if heads else []), *(tuple(map(make_printable, row)) for row in rows)]
    widths = tuple(max(map(_measure_width, column)) for column in zip(*table, strict=True))
    yield from (TableLine(row, heads, widths, indent) for row in table)


def make_line_printable(line: str) -> str:
    """A line made safe for a terminal; one of a table is, and stays one."""
    return line if isinstance(line, TableLine) else make_printable(line)


def _measure_width(text: str) -> int:
    """Columns of a terminal that a text takes."""
    if text.isascii():
        return len(text)
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return len(text) + wide - sum(unicodedata.combining(c) > 0 for c in text)


def format_reading_report(
    sources: tuple[Source, ...], report: ParkReport, units: Units = "metric"
) -> Iterator[str]:
    """How the files were read: transformation, columns, what was repaired, refused or skipped."""
    for k, source in enumerate(sources):
        accuracy = "unknown" if source.accuracy_m is None else format_stated_length(source.accuracy_m, units)
        columns_ = (
            f"id from {_name_column(report.id_column, k)}, name from {_name_column(report.name_column, k)}"
        )
        yield make_printable(
            f"{source.path} [{source.layer}]: {format_count(source.records, 'record')}, {source.crs}, "
            f"to WGS 84 by {source.operation} (accuracy {accuracy}); {columns_}"
        )
        for warning in source.warnings:
            yield make_printable(f"  warning: {warning}")
    yield f"{report.counts}."
    for note in report.notes:
        yield make_printable(f"Note: {note}")
    for word, lines in (
        ("Repaired", report.repaired),
        ("Refused", report.refused),
        ("Skipped", report.skipped),
    ):
        for line in lines[:_SHOWN_LINES]:
            yield make_printable(f"{word}: {line}")
        if len(lines) > _SHOWN_LINES:
            yield f"{word}: {len(lines) - _SHOWN_LINES:,} more like these."


def format_surroundings(around: Surroundings) -> Iterator[str]:
    """What was read for the walks, and what was not understood in it."""
    for source in around.sources:
        records = format_count(source.records, "record")
        yield make_printable(f"{source.path} [{source.layer}]: {records} near the spots, {source.crs}")
        for warning in source.warnings:
            yield make_printable(f"  warning: {warning}")
    yield (
        f"Near the spots: {format_count(len(around.ways), 'way')}, "
        f"{format_count(len(around.starts), 'place to park', 'places to park')}, "
        f"{format_count(len(around.barriers), 'barrier')}, "
        + ", ".join(
            format_count(len(around.hazards_of(kind.key)), kind.counted.removesuffix("s")) for kind in HAZARDS
        )
        + "."
    )
    for note in around.notes:
        yield make_printable(f"Note: {note}")


def _name_column(names: tuple[str, ...], k: int) -> str:
    return f"column {names[k]}" if k < len(names) and names[k] else "the record number"


# Judged places as text for a terminal and as JSON.
def format_answers(
    planned: Sequence[NamedPlace],
    results: Sequence[Checked],
    level: int,
    station: Station,
    in_full: bool,
    units: Units = "metric",
) -> Iterator[str]:
    """Every place in full, or a line each."""
    yield describe_station(level, station, units)
    if in_full:
        for place, result in zip(planned, results, strict=True):
            yield ""
            yield from format_answer(place, result, units)
    else:
        heads = ("place", "verdict", "conf.", "grids", "parks", "held down by")
        rows = [_format_answer_row(p, r, units) for p, r in zip(planned, results, strict=True)]
        yield from format_columns(rows, heads)
    words = Counter(format_verdict(r.verdict.word, r.verdict.coarse) for r in results)
    known = (format_verdict(w, c) for w in ("firm", "doubtful", "not counted") for c in (False, True))
    counts = ", ".join(f"{words[word]:,} {word}" for word in dict.fromkeys(known) if words[word])
    yield ""
    yield f"{len(results):,} places: {counts}." if len(results) > 1 else f"Verdict: {counts[2:]}."
    yield from format_closing(ALWAYS)


def format_closing(cautions: Sequence[str]) -> Iterator[str]:
    """What every answer ends with."""
    yield "Confidence is that of all parts at once: one receiver error moves them all."
    yield from cautions


def _format_answer_row(place: NamedPlace, result: Checked, units: Units) -> tuple[str, ...]:
    verdict = result.verdict
    return (
        place.name,
        format_verdict(verdict.word, verdict.coarse),
        format_probability(verdict.confidence),
        " ".join(verdict.locators),
        " ".join(verdict.parks),
        format_text(result.driver, units),
    )


def format_answer(place: NamedPlace, result: Checked, units: Units = "metric") -> Iterator[str]:
    """One place in full."""
    yield from map(make_line_printable, _format_lines(place, result, units))


def _format_lines(place: NamedPlace, result: Checked, units: Units) -> Iterator[str]:
    verdict = result.verdict
    yield place.understood if place.name in place.understood else f"{place.name}: {place.understood}"
    word = format_verdict(verdict.word, verdict.coarse)
    yield f"  {word}, confidence {format_probability(verdict.confidence)}: {_format_claim(verdict)}"
    if verdict.confidence < 1.0:
        yield f"  held down by: {format_text(result.driver, units)}"
    if result.parks:
        rows = [_format_park(park, units) for park in result.parks]
        yield from format_columns(rows, indent="  ")
    yield from (f"  WARNING: {format_text(text, units)}" for text in list_outline_warnings(result))
    yield from (f"  {note}" for note in list_entry_notes(list_entry(result)))
    for line in result.lines:
        away = format_fine_length(line.distance_m, units)
        name = _name_line(line.kind, line.lon, line.lat)
        yield f"  {name}: {away} to the {format_bearing(line.bearing_deg)}"
    if result.move is not None:
        yield f"  better: {format_move(result.move, units)}"


def _format_claim(verdict: Verdict) -> str:
    grids, parks = len(verdict.locators), len(verdict.parks)
    return f"{' '.join(verdict.locators) or 'no grid'} x {format_count(parks, 'park')} = {grids * parks}"


def _format_park(park: ParkAt, units: Units) -> tuple[str, ...]:
    edge = "inholding" if park.at_inholding else "boundary"
    if park.cell_share is None:
        where = format_clearance(park.clearance_m, units)
    else:
        where, edge = format_share(park.cell_share), f"{edge} {format_fine_length(park.edge_m, units)}"
    return (
        name_park(park.park, park.park_name),
        where,
        f"{edge} to the {format_bearing(park.edge_deg)}",
        format_probability(park.p),
        format_verdict(park.word, park.coarse),
    )


def describe_answer(
    place: NamedPlace, result: Checked, level: int, station: Station, units: Units = "metric"
) -> dict[str, Any]:
    """One answer in words, part by part, for a front that lays it out as the map does."""
    verdict, move = result.verdict, result.move
    found: dict[str, Any] = {
        "title": f"The whole cell {place.cell}" if place.cell else "Place checked",
        "understood": place.understood,
        "lon": result.lon,
        "lat": result.lat,
        **_describe_claim(verdict),
        "driver": format_text(result.driver, units) if verdict.confidence < 1.0 else "",
        "parks": [_describe_park(park, units) for park in result.parks],
        "notes": list_entry_notes(list_entry(result)),
        "lines": [
            (
                line.kind
                if line.kind == "corner"
                else _name_line(line.kind, line.lon, line.lat).rstrip("0").rstrip("."),
                f"{format_fine_length(line.distance_m, units)} to the {format_bearing(line.bearing_deg)}",
            )
            for line in result.lines
        ],
        "coordinates": [
            ("decimal degrees", format_position(result.lon, result.lat)),
            ("degrees, minutes", format_degrees_minutes(result.lon, result.lat)),
            ("locator", encode(result.lon, result.lat, len(LEVELS))),
        ],
        "rests": describe_station(level, station, units),
        "better": None,
    }
    if move is not None:
        step = f"{format_fine_length(move.distance_m, units)} to the {format_bearing(move.bearing_deg)}"
        claim = _describe_claim(move.verdict)
        found["better"] = {**claim, "step": step, "place": format_position(move.lon, move.lat)}
    return found


def _describe_claim(verdict: Verdict) -> dict[str, Any]:
    grids, parks = len(verdict.locators), len(verdict.parks)
    return {
        "locators": list(verdict.locators),
        "word": format_verdict(verdict.word, verdict.coarse),
        "look": name_look(verdict.word),
        "confidence": format_probability(verdict.confidence),
        "counts": (
            (grids, "grid" if grids == 1 else "grids"),
            (parks, "park" if parks == 1 else "parks"),
            (grids * parks, "pair (yield)" if grids * parks == 1 else "pairs (yield)"),
        ),
    }


def _describe_park(park: ParkAt, units: Units) -> dict[str, str]:
    _, where, edge, p, word = _format_park(park, units)
    warning = "" if park.coarse is None else format_text(warn_of_outline(park.coarse), units)
    return {
        "id": park.park,
        "name": park.park_name,
        "where": f"{where}; {edge}",
        "p": p,
        "word": word,
        "look": name_look(park.word),
        "warning": warning,
    }


def _name_line(kind: str, lon: float, lat: float) -> str:
    value = {"meridian": f"{lon:.6f}", "parallel": f"{lat:.6f}"}.get(kind, format_position(lon, lat))
    return f"{kind} {value}"


def format_json_lines(planned: Sequence[NamedPlace], results: Iterable[Checked]) -> Iterator[str]:
    """Lines of a JSON list of answers, one object a line, as the results come."""
    before = "["
    for place, result in zip(planned, results, strict=True):
        yield before + json.dumps(convert_to_json(place, result), ensure_ascii=False)
        before = ","
    yield "]"


def convert_to_json(place: NamedPlace, result: Checked) -> dict[str, Any]:
    """One answer as values of JSON."""
    return {
        "place": place.name,
        "understood": place.understood,
        "lon": result.lon,
        "lat": result.lat,
        "cell": place.cell,
        **_convert_verdict(result.verdict),
        "driver": result.driver,
        "near_parks": [
            {
                "park": p.park,
                "park_name": p.park_name,
                "inside": side_of(p.clearance_m) == "inside",
                "clearance_m": round(p.clearance_m, 3),
                "edge": list(p.edge),
                "edge_m": round(p.edge_m, 3),
                "edge_deg": round(p.edge_deg, 2),
                "at_inholding": p.at_inholding,
                "confidence": p.p,
                "verdict": p.word,
                "outline_error_m": None if p.coarse is None else p.coarse.error_m,
                "cell_share": p.cell_share,
                "entry": p.entry or None,
            }
            for p in result.parks
        ],
        "lines": [
            {
                "kind": line.kind,
                "lon": line.lon,
                "lat": line.lat,
                "distance_m": round(line.distance_m, 3),
                "bearing_deg": round(line.bearing_deg, 2),
            }
            for line in result.lines
        ],
        "move": None
        if result.move is None
        else {
            "distance_m": round(result.move.distance_m, 2),
            "bearing_deg": round(result.move.bearing_deg, 1),
            "lon": result.move.lon,
            "lat": result.move.lat,
            **_convert_verdict(result.move.verdict),
        },
    }


def _convert_verdict(verdict: Verdict) -> dict[str, Any]:
    return {
        "locators": list(verdict.locators),
        "parks": list(verdict.parks),
        "n_grids": len(verdict.locators),
        "n_parks": len(verdict.parks),
        "yield": len(verdict.locators) * len(verdict.parks),
        "grids_confidence": verdict.grids_p,
        "parks_confidence": list(verdict.parks_p),
        "confidence": verdict.confidence,
        "verdict": verdict.word,
        "outline_error_m": verdict.outline_error_m,
    }
