"""Findings and answers as text for a terminal."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from scout.cautions import ALWAYS
from scout.errors import make_printable
from scout.geo.boundaries import side_of
from scout.geo.coordinates.forms import format_decimal
from scout.geo.locator import LEVELS
from scout.io.places import NamedPlace
from scout.model import (
    Checked,
    Findings,
    Move,
    ParkAt,
    ParkReport,
    Ranked,
    Route,
    Source,
    Station,
    Surroundings,
    Verdict,
)
from scout.search.rank import edge_m, has_plenty

_HEADS = ("#", "what", "grids x parks", "verdict", "conf.", "clear", "lat, lon", "locators", "parks")
_HOME = "home, straight"
_EDGE = "to the edge"
_SHOWN_LINES = 5  # of each list of repaired or refused records


def format_ranking(findings: Findings, most: int) -> Iterator[str]:
    """The best spots as a table, then what was left out and the cautions."""
    station = findings.station
    yield (
        f"Level {LEVELS[findings.level - 1]}; station radius {station.radius_m:g} m, "
        f"fix error {station.fix_error_m:g} m, boundary error {station.boundary_error_m:g} m (95 %)."
    )
    yield from findings.remarks
    shown = findings.spots[:most]
    extra = [_EDGE] * any(_goes_by_edge(ranked) for ranked in shown)
    extra += [_HOME] * (findings.home is not None) + ["walk"] * (findings.walking is not None)
    extra += ["new"] * any(ranked.new is not None for ranked in shown)
    heads = (*_HEADS[:6], *extra, *_HEADS[6:])
    yield from format_columns([heads, *(_format_row(r, extra) for r in shown)])
    yield from _format_warnings(shown)
    if len(findings.spots) > most:
        yield f"... and {len(findings.spots) - most:,} more; --map shows and --save writes them."
    if not findings.spots:
        yield "Nothing found."
    for left in findings.left_out:
        yield f"Not listed: {left.count:,} {left.reason}."
    yield ""
    yield from ALWAYS


def _format_warnings(shown: Sequence[Ranked]) -> Iterator[str]:
    """A line for whatever is dangerous at a spot, or keeps people from it."""
    for ranked in shown:
        for warning in ranked.warnings:
            yield make_printable(f"#{ranked.rank} WARNING: {warning}")
        if ranked.route is not None and ranked.route.reason:
            yield make_printable(f"#{ranked.rank} {ranked.route.state}: {ranked.route.reason}.")


def _format_walk(route: Route | None) -> str:
    if route is None:
        return ""
    return route.state if route.out_min is None else f"{route.out_min:.0f} min"


def _goes_by_edge(ranked: Ranked) -> bool:
    """Whether the order goes by an edge that the clearance does not tell."""
    return edge_m(ranked) not in (None, ranked.spot.clearance_m)


def _clearance(ranked: Ranked) -> str:
    return f"{_format_metres(ranked.spot.clearance_m)}{', plenty' if has_plenty(ranked) else ''}"


def _edge(ranked: Ranked) -> str:
    metres = edge_m(ranked)
    return "" if metres is None else _format_metres(metres)


def _format_row(ranked: Ranked, extra: list[str]) -> tuple[str, ...]:
    spot = ranked.spot
    pairs = f"{ranked.n_grids} x {ranked.n_parks} = {ranked.grid_park_pairs}"
    parks = ", ".join(
        f"{name} ({park})" if name else park
        for park, name in zip(spot.verdict.parks, spot.park_names, strict=True)
    )
    if spot.near is not None:
        near = spot.near
        pairs = f"{ranked.n_grids} x 0"
        parks = f"{near.distance_m:.0f} m towards {near.bearing_deg:.0f} deg: {near.park_name or near.park}"
    cells = (
        str(ranked.rank),
        spot.kind,
        pairs,
        spot.verdict.word,
        f"{spot.verdict.confidence:.3f}",
        _clearance(ranked),
        *([_edge(ranked)] if _EDGE in extra else []),
        *([f"{ranked.home_km:.1f} km"] if _HOME in extra and ranked.home_km is not None else []),
        *([_format_walk(ranked.route)] if "walk" in extra else []),
        *([str(ranked.new.pairs if ranked.new else "")] if "new" in extra else []),
        format_decimal(spot.lon, spot.lat, 5),
        " ".join(spot.verdict.locators),
        parks,
    )
    return tuple(make_printable(c) for c in cells)


def _format_metres(value: float) -> str:
    return f"{value / 1000:.1f} km" if abs(value) >= 10_000 else f"{value:.0f} m"


def format_columns(rows: list[tuple[str, ...]]) -> Iterator[str]:
    """Rows set in columns as wide as their widest cell; wide characters count as two."""
    widths = [max(map(_measure_width, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = (c + " " * (w - _measure_width(c)) for c, w in zip(row, widths, strict=True))
        yield "  ".join(cells).rstrip()


def _measure_width(text: str) -> int:
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return len(text) + wide - sum(unicodedata.combining(c) > 0 for c in text)


def format_reading_report(sources: tuple[Source, ...], report: ParkReport) -> Iterator[str]:
    """How the files were read: transformation, columns, what was repaired, refused or skipped."""
    for k, source in enumerate(sources):
        accuracy = "accuracy unknown" if source.accuracy_m is None else f"accuracy {source.accuracy_m:g} m"
        columns_ = (
            f"id from {_name_column(report.id_column, k)}, name from {_name_column(report.name_column, k)}"
        )
        yield make_printable(
            f"{source.path} [{source.layer}]: {source.records:,} records, {source.crs}, "
            f"to WGS 84 by {source.operation} ({accuracy}); {columns_}"
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
        yield make_printable(
            f"{source.path} [{source.layer}]: {source.records:,} records near the spots, {source.crs}"
        )
        for warning in source.warnings:
            yield make_printable(f"  warning: {warning}")
    yield (
        f"Near the spots: {len(around.ways):,} ways, {len(around.starts):,} places to park, "
        f"{len(around.barriers):,} barriers, {len(around.closed):,} closed areas, "
        f"{len(around.power_lines):,} overhead lines."
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
) -> Iterator[str]:
    """Every place in full, or a line each."""
    yield (
        f"Level {LEVELS[level - 1]}; station radius {station.radius_m:g} m, "
        f"fix error {station.fix_error_m:g} m, boundary error {station.boundary_error_m:g} m (95 %)."
    )
    if in_full:
        for place, result in zip(planned, results, strict=True):
            yield ""
            yield from format_answer(place, result)
    else:
        heads = ("place", "verdict", "conf.", "grids", "parks", "held down by")
        yield from format_columns(
            [heads, *(_format_answer_row(p, r) for p, r in zip(planned, results, strict=True))]
        )
    words = [r.verdict.word for r in results]
    counts = ", ".join(f"{words.count(w):,} {w}" for w in ("firm", "doubtful", "not counted") if w in words)
    yield ""
    yield f"{len(results):,} places: {counts}." if len(results) > 1 else f"Verdict: {counts[2:]}."
    yield from format_closing(ALWAYS)


def format_closing(cautions: Sequence[str]) -> Iterator[str]:
    """What every answer ends with."""
    yield "Confidence multiplies its parts as if their errors were independent."
    yield from cautions


def _format_answer_row(place: NamedPlace, result: Checked) -> tuple[str, ...]:
    verdict = result.verdict
    cells = (
        place.name,
        verdict.word,
        f"{verdict.confidence:.3f}",
        " ".join(verdict.locators),
        " ".join(verdict.parks),
        result.driver,
    )
    return tuple(make_printable(cell) for cell in cells)


def format_answer(place: NamedPlace, result: Checked) -> Iterator[str]:
    """One place in full."""
    yield from (make_printable(line) for line in _format_lines(place, result))


def _format_lines(place: NamedPlace, result: Checked) -> Iterator[str]:
    verdict = result.verdict
    yield place.understood if place.name in place.understood else f"{place.name}: {place.understood}"
    yield f"  {verdict.word}, confidence {verdict.confidence:.3f}: {_format_claim(verdict)}"
    if verdict.confidence < 1.0:
        yield f"  held down by: {result.driver}"
    yield from (
        f"  {line}" for line in format_columns([_format_park(park) for park in result.parks]) if result.parks
    )
    for line in result.lines:
        value = {"meridian": f"{line.lon:.6f}", "parallel": f"{line.lat:.6f}"}.get(
            line.kind, format_decimal(line.lon, line.lat)
        )
        yield f"  {line.kind} {value}: {_format_far(line.distance_m)} {_format_bearing(line.bearing_deg)}"
    if result.move is not None:
        yield f"  better: {_format_move(result.move)}"


def _format_claim(verdict: Verdict) -> str:
    grids, parks = len(verdict.locators), len(verdict.parks)
    return f"{' '.join(verdict.locators) or 'no grid'} x {parks} park{'s' * (parks != 1)} = {grids * parks}"


def _format_park(park: ParkAt) -> tuple[str, ...]:
    side = side_of(park.clearance_m)
    if park.cell_share is not None:
        side = {0.0: "none of the cell", 1.0: "the whole cell"}.get(
            park.cell_share, f"{100 * park.cell_share:.0f} % of the cell"
        )
    edge = "inholding" if park.at_inholding else "boundary"
    return (
        f"{park.park_name} ({park.park})" if park.park_name else park.park,
        side,
        f"{edge} {_format_far(park.edge_m)} {_format_bearing(park.edge_deg)}",
        f"{park.p:.3f}",
        park.word,
    )


def _format_far(metres: float) -> str:
    return f"{metres:.1f} m" if metres < 10_000 else f"{metres / 1000:.1f} km"


def _format_bearing(bearing_deg: float) -> str:
    return f"towards {round(bearing_deg) % 360} deg"


def _format_move(move: Move) -> str:
    verdict = move.verdict
    grids, parks = len(verdict.locators), len(verdict.parks)
    return (
        f"{move.distance_m:.1f} m {_format_bearing(move.bearing_deg)}, "
        f"to {format_decimal(move.lon, move.lat)}: then "
        f"{grids} grid{'s' * (grids != 1)}, {parks} park{'s' * (parks != 1)}, "
        f"confidence {verdict.confidence:.3f} ({verdict.word})"
    )


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
                "cell_share": p.cell_share,
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
    }
