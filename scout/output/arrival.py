"""A judged recording as text for a terminal, as JSON and as the sheet."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from scout.cautions import ON_ARRIVAL
from scout.errors import make_printable
from scout.geo.locator import LEVELS, encode
from scout.io.local_files import compute_sha256
from scout.io.places import NamedPlace
from scout.model import Parks, Units
from scout.output.report import convert_to_json, format_answer, format_closing, format_columns
from scout.output.text import (
    format_fine_length,
    format_position,
    format_stated_length,
    format_text,
    format_verdict,
)
from scout.recording import arrive
from scout.recording.arrive import Arrival

_NAMED = 10  # dropped fixes named one by one; the JSON has them all


def format_arrival(arrival: Arrival, units: Units = "metric") -> Iterator[str]:
    """Where, when and how sure; what was dropped; the answer for the place."""
    station = arrival.station
    yield make_printable(arrival.fixes.path)
    yield from format_columns(list_arrival_facts(arrival, units), indent="  ")
    yield from _list_dropped(arrival, units)
    yield from (make_printable(format_text(note, units)) for note in arrival.notes)
    yield ""
    radius, boundary = (
        format_stated_length(length_m, units) for length_m in (station.radius_m, station.boundary_error_m)
    )
    yield (
        f"Level {LEVELS[arrival.level - 1]}; station radius {radius}, boundary error {boundary} (95 %); "
        f"fix error {format_fine_length(station.fix_error_m, units)}, this recording's."
    )
    yield from format_answer(name_arrival(arrival), arrival.checked, units)
    yield ""
    verdict = arrival.checked.verdict
    yield f"Verdict: {format_verdict(verdict.word, verdict.coarse)}."
    yield from format_closing(ON_ARRIVAL)


def list_arrival_facts(arrival: Arrival, units: Units = "metric") -> list[tuple[str, str]]:
    """Where, when, what was recorded and how sure it is, as terms and texts."""
    found = arrival.standstill
    return [
        *arrive.describe_place(found),
        *arrive.describe_time(found),
        *arrive.describe_recording(arrival.fixes, found),
        *arrive.describe_accuracy(found, units),
    ]


def _list_dropped(arrival: Arrival, units: Units) -> Iterator[str]:
    found = arrival.standstill
    for outlier in found.outliers[:_NAMED]:
        yield f"Dropped: {arrive.describe_dropped(outlier, found.dated, units)}"
    if len(found.outliers) > _NAMED:
        yield f"Dropped: {len(found.outliers) - _NAMED:,} more."


def format_arrival_json(arrival: Arrival) -> str:
    """The standstill and the answer as one object; what is not known is null."""
    found, fixes = arrival.standstill, arrival.fixes
    values: dict[str, Any] = {
        "standstill": {
            "recording": fixes.path,
            "kind": fixes.kind,
            "lon": found.lon,
            "lat": found.lat,
            "locators": [encode(found.lon, found.lat, level) for level in range(1, len(LEVELS) + 1)],
            "start": _format_iso(found.start_s),
            "end": _format_iso(found.end_s),
            "dated": found.dated,
            "duration_s": found.duration_s,
            "moved": found.moved,
            "fixes": found.n_fixes,
            "fixes_used": found.n_used,
            "outliers": [
                {
                    "fix": outlier.index + 1,
                    "time": _format_iso(outlier.time_s),
                    "distance_m": outlier.distance_m,
                    "bearing_deg": outlier.bearing_deg,
                }
                for outlier in found.outliers
            ],
            "independent_fixes": found.n_effective,
            "scatter_95_m": found.scatter_95_m,
            "sigma": found.sigma._asdict(),
            "random_95_m": found.random_95_m,
            "floor_95_m": found.floor_95_m,
            "error_95_m": found.error_95_m,
            "hdop": found.hdop,
            "satellites": found.satellites,
            "fix_types": dict(found.fix_types),
            "counts": asdict(fixes.counts),
            "notes": list(arrival.notes),
        },
        "answer": convert_to_json(name_arrival(arrival), arrival.checked),
    }
    return json.dumps(_round_values(values), ensure_ascii=False, indent=1, allow_nan=False)


def build_sheet_text(
    arrival: Arrival,
    parks: Parks,
    *,
    call: str,
    operator: str,
    title: str,
    made_by: str,
    units: Units = "metric",
) -> str:
    """The arrival sheet, with the command and the day it was made."""
    from scout.output.sheet import SheetParticulars, build_sheet

    particulars = SheetParticulars(
        title=title,
        call=call,
        operator=operator,
        made_by=made_by,
        made_on=datetime.now(UTC).strftime("%Y-%m-%d"),
        recording_sha256=compute_sha256(arrival.fixes.path),
        units=units,
    )
    return build_sheet(arrival, parks, particulars)


def name_arrival(arrival: Arrival) -> NamedPlace:
    """The place where the receiver stood, named by its coordinates."""
    found = arrival.standstill
    where = format_position(found.lon, found.lat)
    return NamedPlace(where, found.lon, found.lat, where)


def _format_iso(time_s: float) -> str | None:
    """UTC; 1970-01-01 stands for a day that is not known, as `dated` says."""
    return None if math.isnan(time_s) else arrive.convert_to_utc(time_s).isoformat()


def _round_values(value: Any) -> Any:
    """The same values, with null for a number that is not known, to 0.1 mm at most."""
    if isinstance(value, dict):
        return {name: _round_values(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [_round_values(inner) for inner in value]
    if isinstance(value, float):
        return None if math.isnan(value) else round(value, 9)
    return value
