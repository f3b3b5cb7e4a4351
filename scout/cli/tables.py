"""Findings as text for a terminal."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence

from scout.cautions import ALWAYS
from scout.coordinates import decimal
from scout.errors import printable
from scout.locator import LEVELS
from scout.model import Findings, ParkReport, Ranked, Source
from scout.rank import edge_m, has_plenty
from scout.surroundings import Route, Surroundings

__all__ = ["columns", "ranking", "reading_report", "surroundings_report"]

_HEADS = ("#", "what", "grids x parks", "verdict", "conf.", "clear", "lat, lon", "locators", "parks")
_HOME = "home, straight"
_EDGE = "to the edge"
_SHOWN_LINES = 5  # of each list of repaired or refused records


def ranking(findings: Findings, most: int) -> Iterator[str]:
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
    yield from columns([heads, *(_row(r, extra) for r in shown)])
    yield from _warned(shown)
    if len(findings.spots) > most:
        yield f"... and {len(findings.spots) - most:,} more; --map shows and --save writes them."
    if not findings.spots:
        yield "Nothing found."
    for left in findings.left_out:
        yield f"Not listed: {left.count:,} {left.reason}."
    yield ""
    yield from ALWAYS


def _warned(shown: Sequence[Ranked]) -> Iterator[str]:
    """A line for whatever is dangerous at a spot, or keeps people from it."""
    for ranked in shown:
        for warning in ranked.warnings:
            yield printable(f"#{ranked.rank} WARNING: {warning}")
        if ranked.route is not None and ranked.route.reason:
            yield printable(f"#{ranked.rank} {ranked.route.state}: {ranked.route.reason}.")


def _walk(route: Route | None) -> str:
    if route is None:
        return ""
    return route.state if route.out_min is None else f"{route.out_min:.0f} min"


def _goes_by_edge(ranked: Ranked) -> bool:
    """Whether the order goes by an edge that the clearance does not tell."""
    return edge_m(ranked) not in (None, ranked.spot.clearance_m)


def _clearance(ranked: Ranked) -> str:
    return f"{_metres(ranked.spot.clearance_m)}{', plenty' if has_plenty(ranked) else ''}"


def _edge(ranked: Ranked) -> str:
    metres = edge_m(ranked)
    return "" if metres is None else _metres(metres)


def _row(ranked: Ranked, extra: list[str]) -> tuple[str, ...]:
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
        *([_walk(ranked.route)] if "walk" in extra else []),
        *([str(ranked.new.pairs if ranked.new else "")] if "new" in extra else []),
        decimal(spot.lon, spot.lat, 5),
        " ".join(spot.verdict.locators),
        parks,
    )
    return tuple(printable(c) for c in cells)


def _metres(value: float) -> str:
    return f"{value / 1000:.1f} km" if abs(value) >= 10_000 else f"{value:.0f} m"


def columns(rows: list[tuple[str, ...]]) -> Iterator[str]:
    """Rows set in columns as wide as their widest cell; wide characters count as two."""
    widths = [max(map(_width, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = (c + " " * (w - _width(c)) for c, w in zip(row, widths, strict=True))
        yield "  ".join(cells).rstrip()


def _width(text: str) -> int:
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return len(text) + wide - sum(unicodedata.combining(c) > 0 for c in text)


def reading_report(sources: tuple[Source, ...], report: ParkReport) -> Iterator[str]:
    """How the files were read: transformation, columns, what was repaired, refused or skipped."""
    for k, source in enumerate(sources):
        accuracy = "accuracy unknown" if source.accuracy_m is None else f"accuracy {source.accuracy_m:g} m"
        columns_ = f"id from {_column(report.id_column, k)}, name from {_column(report.name_column, k)}"
        yield printable(
            f"{source.path} [{source.layer}]: {source.records:,} records, {source.crs}, "
            f"to WGS 84 by {source.operation} ({accuracy}); {columns_}"
        )
        for warning in source.warnings:
            yield printable(f"  warning: {warning}")
    yield f"{report.counts}."
    for note in report.notes:
        yield printable(f"Note: {note}")
    for word, lines in (
        ("Repaired", report.repaired),
        ("Refused", report.refused),
        ("Skipped", report.skipped),
    ):
        for line in lines[:_SHOWN_LINES]:
            yield printable(f"{word}: {line}")
        if len(lines) > _SHOWN_LINES:
            yield f"{word}: {len(lines) - _SHOWN_LINES:,} more like these."


def surroundings_report(around: Surroundings) -> Iterator[str]:
    """What was read for the walks, and what was not understood in it."""
    for source in around.sources:
        yield printable(
            f"{source.path} [{source.layer}]: {source.records:,} records near the spots, {source.crs}"
        )
        for warning in source.warnings:
            yield printable(f"  warning: {warning}")
    yield (
        f"Near the spots: {len(around.ways):,} ways, {len(around.starts):,} places to park, "
        f"{len(around.barriers):,} barriers, {len(around.closed):,} closed areas, "
        f"{len(around.power_lines):,} overhead lines."
    )
    for note in around.notes:
        yield printable(f"Note: {note}")


def _column(names: tuple[str, ...], k: int) -> str:
    return f"column {names[k]}" if k < len(names) and names[k] else "the record number"
