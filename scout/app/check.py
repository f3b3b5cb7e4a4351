"""Planned places judged, each by the position error that it states."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from scout.io.places import NamedPlace
from scout.model import Checked, Parks, Station

_MOVES = 2000  # places for which the better centre is worked out


def judge_planned(
    parks: Parks, planned: Sequence[NamedPlace], level: int, station: Station, show: Callable[[str], None]
) -> Iterator[Checked]:
    """Answers in the order of the places; one that states its own uncertainty is judged with that."""
    from scout.search.check import CheckOptions, check_places

    groups: dict[float, list[int]] = {}
    for row, place in enumerate(planned):
        groups.setdefault(max(station.fix_error_m, place.uncertainty_m or 0.0), []).append(row)
    found: dict[int, Checked] = {}
    for error, rows in groups.items():
        options = CheckOptions(level, replace(station, fix_error_m=error), moves=len(planned) <= _MOVES)
        lon, lat = [planned[r].lon for r in rows], [planned[r].lat for r in rows]
        some = check_places(parks, lon, lat, options, [planned[r].cell for r in rows], show)
        if len(groups) == 1:
            yield from some
            return
        found.update(zip(rows, some, strict=True))
    yield from (found[row] for row in range(len(planned)))
