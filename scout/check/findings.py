"""Checked places as findings, so that the map can show them like any spot."""

from __future__ import annotations

from collections.abc import Sequence

from scout.check import Check
from scout.model import PARK_ID, Checked, Findings, NearMiss, Parks, Ranked, Spot
from scout.parks.shelf import named

__all__ = ["as_findings"]


def as_findings(parks: Parks, names: Sequence[str], results: Sequence[Checked], options: Check) -> Findings:
    """One spot of kind "place" per answer, in the order they were asked for.

    Parameters
    ----------
    names : sequence of str
        What each place is called.
    """
    seen = {park.park for result in results for park in result.parks}
    frame = parks.frame
    return Findings(
        level=options.level,
        station=options.station,
        spots=tuple(
            _ranked(number, name, result)
            for number, (name, result) in enumerate(zip(names, results, strict=True), start=1)
        ),
        left_out=(),
        named=named(frame[frame[PARK_ID].isin(seen)].reset_index(drop=True)),
        sources=parks.sources,
        report=parks.report,
    )


def _ranked(number: int, name: str, result: Checked) -> Ranked:
    verdict = result.verdict
    called = {park.park: park.park_name for park in result.parks}
    spot = Spot(
        kind="place",
        lon=result.lon,
        lat=result.lat,
        corner=None,
        verdict=verdict,
        park_names=tuple(called[park] for park in verdict.parks),
        near=None if verdict.parks else _nearest(result),
        notes=_notes(name, result),
    )
    grids, held = len(verdict.locators), len(verdict.parks)
    return Ranked(number, spot, grids, held, grids * held)


def _nearest(result: Checked) -> NearMiss | None:
    """The nearest park of a place where none counts."""
    if not result.parks:
        return None
    park = max(result.parks, key=lambda p: p.clearance_m)
    return NearMiss(park.park, park.park_name, -park.clearance_m, park.edge_deg)


def _notes(name: str, result: Checked) -> tuple[str, ...]:
    notes = [f"Asked for as {name}.", f"What holds it down: {result.driver}."]
    if result.move is not None:
        move, verdict = result.move, result.move.verdict
        grids, parks = len(verdict.locators), len(verdict.parks)
        notes.append(
            f"Better: {move.distance_m:.1f} m towards {move.bearing_deg:.0f} degrees, then {grids} "
            f"grid{'s' * (grids != 1)}, {parks} park{'s' * (parks != 1)}, {verdict.word} "
            f"({verdict.confidence:.3f})."
        )
    return tuple(notes)
