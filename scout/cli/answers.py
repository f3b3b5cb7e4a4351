"""Judged places as text for a terminal and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from scout.cautions import ALWAYS
from scout.clearance import side_of
from scout.cli.tables import columns
from scout.coordinates import decimal
from scout.errors import printable
from scout.locator import LEVELS
from scout.model import Checked, Move, ParkAt, Station, Verdict
from scout.read.places import NamedPlace

__all__ = ["answer", "closing", "json_lines", "plain", "told"]


def told(
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
            yield from answer(place, result)
    else:
        heads = ("place", "verdict", "conf.", "grids", "parks", "held down by")
        yield from columns([heads, *(_row(p, r) for p, r in zip(planned, results, strict=True))])
    words = [r.verdict.word for r in results]
    counts = ", ".join(f"{words.count(w):,} {w}" for w in ("firm", "doubtful", "not counted") if w in words)
    yield ""
    yield f"{len(results):,} places: {counts}." if len(results) > 1 else f"Verdict: {counts[2:]}."
    yield from closing(ALWAYS)


def closing(cautions: Sequence[str]) -> Iterator[str]:
    """What every answer ends with."""
    yield "Confidence multiplies its parts as if their errors were independent."
    yield from cautions


def _row(place: NamedPlace, result: Checked) -> tuple[str, ...]:
    verdict = result.verdict
    cells = (
        place.name,
        verdict.word,
        f"{verdict.confidence:.3f}",
        " ".join(verdict.locators),
        " ".join(verdict.parks),
        result.driver,
    )
    return tuple(printable(cell) for cell in cells)


def answer(place: NamedPlace, result: Checked) -> Iterator[str]:
    """One place in full."""
    yield from (printable(line) for line in _lines(place, result))


def _lines(place: NamedPlace, result: Checked) -> Iterator[str]:
    verdict = result.verdict
    yield place.understood if place.name in place.understood else f"{place.name}: {place.understood}"
    yield f"  {verdict.word}, confidence {verdict.confidence:.3f}: {_claim(verdict)}"
    if verdict.confidence < 1.0:
        yield f"  held down by: {result.driver}"
    yield from (f"  {line}" for line in columns([_park(park) for park in result.parks]) if result.parks)
    for line in result.lines:
        value = {"meridian": f"{line.lon:.6f}", "parallel": f"{line.lat:.6f}"}.get(
            line.kind, decimal(line.lon, line.lat)
        )
        yield f"  {line.kind} {value}: {_far(line.distance_m)} {_towards(line.bearing_deg)}"
    if result.move is not None:
        yield f"  better: {_move(result.move)}"


def _claim(verdict: Verdict) -> str:
    grids, parks = len(verdict.locators), len(verdict.parks)
    return f"{' '.join(verdict.locators) or 'no grid'} x {parks} park{'s' * (parks != 1)} = {grids * parks}"


def _park(park: ParkAt) -> tuple[str, ...]:
    side = side_of(park.clearance_m)
    if park.cell_share is not None:
        side = {0.0: "none of the cell", 1.0: "the whole cell"}.get(
            park.cell_share, f"{100 * park.cell_share:.0f} % of the cell"
        )
    edge = "inholding" if park.at_inholding else "boundary"
    return (
        f"{park.park_name} ({park.park})" if park.park_name else park.park,
        side,
        f"{edge} {_far(park.edge_m)} {_towards(park.edge_deg)}",
        f"{park.p:.3f}",
        park.word,
    )


def _far(metres: float) -> str:
    return f"{metres:.1f} m" if metres < 10_000 else f"{metres / 1000:.1f} km"


def _towards(bearing_deg: float) -> str:
    return f"towards {round(bearing_deg) % 360} deg"


def _move(move: Move) -> str:
    verdict = move.verdict
    grids, parks = len(verdict.locators), len(verdict.parks)
    return (
        f"{move.distance_m:.1f} m {_towards(move.bearing_deg)}, to {decimal(move.lon, move.lat)}: then "
        f"{grids} grid{'s' * (grids != 1)}, {parks} park{'s' * (parks != 1)}, "
        f"confidence {verdict.confidence:.3f} ({verdict.word})"
    )


def json_lines(planned: Sequence[NamedPlace], results: Iterable[Checked]) -> Iterator[str]:
    """Lines of a JSON list of answers, one object a line, as the results come."""
    before = "["
    for place, result in zip(planned, results, strict=True):
        yield before + json.dumps(plain(place, result), ensure_ascii=False)
        before = ","
    yield "]"


def plain(place: NamedPlace, result: Checked) -> dict[str, Any]:
    """One answer as values of JSON."""
    return {
        "place": place.name,
        "understood": place.understood,
        "lon": result.lon,
        "lat": result.lat,
        "cell": place.cell,
        **_plain_verdict(result.verdict),
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
            **_plain_verdict(result.move.verdict),
        },
    }


def _plain_verdict(verdict: Verdict) -> dict[str, Any]:
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
