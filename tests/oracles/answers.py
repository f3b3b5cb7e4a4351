"""What a search answered, put in the oracle's terms: nodes, intervals and park numbers."""

from __future__ import annotations

from dataclasses import replace
from math import floor

import numpy as np
import shapely

from oracles import exact
from oracles.arrangement import HAIR_DEG, Interval, Node
from scout.model import Findings, Spot, Stretch


def of_kind(findings: Findings, kind: str) -> list[Spot]:
    """All spots of one kind, in the order listed."""
    return [ranked.spot for ranked in findings.spots if ranked.spot.kind == kind]


def park_numbers(ids: tuple[str, ...]) -> frozenset[int]:
    """P3 is park 3; an id named twice is a mistake."""
    assert len(set(ids)) == len(ids), f"a park is named twice: {ids}"
    return frozenset(int(name.removeprefix("P")) for name in ids)


def node(corner: tuple[float, float], level: int) -> Node:
    """Lattice numbers of a corner that must be exact to the last bit."""
    lon, lat = corner
    i = round((lon + 180) / float(exact.width(level)))
    j = round((lat + 90) / float(exact.height(level)))
    assert -180 <= lon < 180, f"longitude {lon} of a corner"
    assert (lon, lat) == (exact.edge_lon(i, level), exact.edge_lat(j, level)), f"{corner} is no corner"
    return i, j


def cells_at(corner: Node, level: int) -> dict[tuple[int, int], str]:
    """The four cells round a corner by the quadrant they lie in, seen from the corner."""
    i, j = corner
    return {
        (1, 1): exact.text(i, j, level),
        (-1, 1): exact.text(i - 1, j, level),
        (1, -1): exact.text(i, j - 1, level),
        (-1, -1): exact.text(i - 1, j - 1, level),
    }


def sides(meridian: bool, line: int, cell: int, level: int) -> set[str]:
    """The two cells on either side of a cell edge."""
    if meridian:
        return {exact.text(line - 1, cell, level), exact.text(line, cell, level)}
    return {exact.text(cell, line - 1, level), exact.text(cell, line, level)}


def as_interval(stretch: Stretch, level: int) -> Interval:
    """A stretch as the oracle writes it, longitudes folded to the cell edge it lies on."""
    (lon1, lat1), (lon2, lat2) = stretch.start, stretch.end
    lon2 = lon1 + (lon2 - lon1 + 180) % 360 - 180
    meridian = stretch.line == "meridian"
    held = park_numbers(stretch.parks)
    if meridian:
        assert abs(lon1 - lon2) < 1e-9
        start, end, step, origin, edge = lat1, lat2, exact.height(level), 90, exact.edge_lon
        line = round((lon1 + 180) / float(exact.width(level))) % exact.columns(level)
        assert abs((edge(line, level) - lon1 + 180) % 360 - 180) < 1e-9
    else:
        assert lat1 == lat2
        start, end, step, origin, edge = lon1, lon2, exact.width(level), 180, exact.edge_lat
        line = round((lat1 + 90) / float(exact.height(level)))
        assert edge(line, level) == lat1
    start, end = min(start, end), max(start, end)
    cell = floor(((start + end) / 2 + origin) / float(step))
    turns = 0 if meridian else cell // exact.columns(level)
    return Interval(
        meridian, line, cell - turns * exact.columns(level), start - 360 * turns, end - 360 * turns, held
    )


def same_interval(got: Interval, wanted: Interval, parks: list[shapely.Geometry], level: int) -> bool:
    """The same part of the same cell edge for the same parks.

    Where a boundary runs along the line within twice the snap, a stretch may end anywhere.
    """
    if (got.meridian, got.line, got.cell) != (wanted.meridian, wanted.line, wanted.cell):
        return False
    if got.parks != wanted.parks:
        return False
    pairs = ((got.start_deg, wanted.start_deg), (got.end_deg, wanted.end_deg))
    return all(
        abs(end - other) < 1e-8 or hugged(replace(got, start_deg=end, end_deg=other), parks, level)
        for end, other in pairs
    )


def hugged(interval: Interval, parks: list[shapely.Geometry], level: int) -> bool:
    """Whether a boundary keeps within a hair of the line from end to end."""
    value = (exact.edge_lon if interval.meridian else exact.edge_lat)(interval.line, level)
    along = np.linspace(interval.start_deg, interval.end_deg, 9)
    lon, lat = (np.full(9, value), along) if interval.meridian else (along, np.full(9, value))
    boundaries = shapely.boundary(np.asarray(parks, dtype=object))[:, None, None]
    points = np.stack([shapely.points(lon + turn, lat) for turn in (-360, 0, 360)])
    return bool(shapely.distance(boundaries, points).min(axis=(0, 1)).max() < HAIR_DEG)
