"""Confidence where one receiver error moves all conditions, against draws of the same errors by brute force.

Each draw has one error of the receiver and one of every boundary (one for both where two parks are drawn from
the same vertices); shapely says whether the disc lies inside, plain distances whether it touches the cells.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest
import shapely
from shapely import affinity

from scout.geo.boundaries import Boundaries
from scout.geo.geodesy import compute_degree_lengths
from scout.model import Station
from scout.search.verdict import FOUR, MERIDIAN, ONE, PARALLEL, THREE, Claims, JudgingContext, judge_claims

LAT, LON = 45.0, 10.0  # a corner of squares
PER_LON, PER_LAT = (float(v) for v in compute_degree_lengths(LAT))
SIGMAS = 2.4477468306808166  # in a 95 % radius (FGDC-STD-007.3-1998)
MIDDLE = {5: (1, 1), 6: (-1, 1), 7: (-1, -1), 8: (1, -1)}
FAR = 900.0


@dataclass
class Case:
    """A station of this radius at (x, y) metres from the corner, what it claims, and the errors."""

    radius: float
    fix_error: float
    grid: int
    x: float
    y: float
    parks: list = field(default_factory=list)  # in metres about the corner
    errors: list = field(default_factory=list)  # 95 %, of each boundary
    error_of: list = field(default_factory=list)  # number of the boundary error of each park


def draw_case(rng) -> Case:
    radius = float(rng.choice([1.0, 3.0, 5.0, 8.0, 15.0]))
    fix_error = float(rng.choice([1.0, 3.0, 4.9, 4.9, 8.0, 20.0, 50.0]))
    grid = int(rng.choice([ONE, MERIDIAN, PARALLEL, FOUR, *THREE]))
    x, y = rng.normal(0, 0.4 * radius, 2)
    if grid == ONE:
        x, y = rng.choice([-1, 1], 2) * (radius + rng.exponential(fix_error, 2)) * [1, 1.5]
    elif grid in THREE:
        x, y = np.abs(rng.normal(0.4 * radius, 0.3 * radius, 2)) * MIDDLE[grid]
    case = Case(radius, fix_error, grid, float(x), float(y))
    while len(case.parks) < rng.integers(1, 5):
        error = float(rng.choice([1.0, 1.0, 2.0, 5.0, 14.0, 14.0, 30.0, 50.0]))
        number = max(case.error_of, default=-1) + 1
        spread = float(np.hypot(fix_error, error) / SIGMAS)
        shapes = draw_shapes(rng, radius, spread)
        for shape in shapes:
            case.parks.append(affinity.translate(shape, case.x, case.y))
            case.errors.append(error)
            case.error_of.append(number)
    return case


def draw_shapes(rng, radius: float, spread: float) -> list:
    """One park about a station at the origin, or two that share a boundary."""
    room = radius + spread * rng.uniform(0.0, 3.0)
    turn = float(rng.choice([0.0, 90.0, 180.0, 270.0, rng.uniform(0, 360)]))
    kind = rng.choice(["edge", "tip", "bay", "needle", "strip", "hole", "ragged", "same", "beside", "twice"])
    if kind in ("same", "beside"):
        coast = draw_coast(rng, room, spread)
        left = shapely.Polygon([*coast, (FAR, FAR), (-FAR, FAR)])
        other = [(FAR, 0.5 * FAR), (-0.5 * FAR, FAR)] if kind == "same" else [(FAR, -FAR), (-FAR, -FAR)]
        return [affinity.rotate(s, turn, (0, 0)) for s in (left, shapely.Polygon([*coast, *other]))]
    if kind == "edge":
        shape = shapely.box(-FAR, -room, FAR, FAR)
    elif kind == "tip":
        half = np.radians(rng.uniform(10, 80))
        apex = -room / np.sin(half)
        shape = shapely.Polygon(
            [(0, apex), (FAR, apex + FAR / np.tan(half)), (-FAR, apex + FAR / np.tan(half))]
        )
    elif kind == "bay":
        shape = shapely.box(-FAR, -FAR, FAR, FAR) - shapely.box(-FAR, -FAR, -room / 2, -room / 2)
    elif kind == "needle":
        shape = shapely.Polygon([(-room * 3, -0.1), (room * 8, -1.5 * room), (room * 8, 1.5 * room)])
    elif kind == "strip":
        shape = shapely.box(-FAR, -room, FAR, radius + spread * rng.uniform(0.2, 3.0))
    elif kind == "hole":
        way = rng.uniform(0.8, 2.0) * room
        shape = shapely.box(-FAR, -FAR, FAR, FAR) - shapely.Point(way, 0).buffer(
            rng.uniform(0.1, 0.8) * room, 4
        )
    elif kind == "ragged":
        angle = np.sort(rng.uniform(0, 2 * np.pi, 12))
        away = room * rng.uniform(0.8, 3.0, 12)
        shape = shapely.Polygon(np.stack([away * np.cos(angle), away * np.sin(angle)], axis=1)).buffer(0)
        shape = max(shapely.get_parts(shape), key=lambda part: part.area)
    else:
        coast = draw_coast(rng, room, spread)
        shape = shapely.Polygon([*coast, (FAR, FAR), (-FAR, FAR)])
        return [affinity.rotate(shape, turn, (0, 0))] * 2
    return [affinity.rotate(shape, turn, (0, 0))]


def draw_coast(rng, room: float, spread: float) -> list:
    """A ragged line from west to east, some way south of the origin."""
    x = np.concatenate([[-FAR], np.sort(rng.uniform(-5, 5, 6)) * (room + spread), [FAR]])
    return list(zip(x.tolist(), (-room - rng.exponential(0.4 * spread, 8)).tolist(), strict=True))


def count_draws(case: Case, draws: int, rng) -> float:
    """Share of the draws in which every condition holds."""
    fix = case.fix_error / SIGMAS
    e = rng.normal(0.0, fix, (draws, 2)) + [case.x, case.y]
    e = e[is_touching(case, e)]
    shift = {}
    for shape, error, number in zip(case.parks, case.errors, case.error_of, strict=True):
        if number not in shift:
            shift[number] = rng.normal(0.0, error / SIGMAS, e.shape)
        room = shapely.intersection(shape, shapely.box(-400, -400, 400, 400)).buffer(
            -case.radius, quad_segs=32
        )
        if room.is_empty:
            return 0.0
        shapely.prepare(room)
        at = e + shift[number]
        kept = shapely.contains_xy(room, at[:, 0], at[:, 1])
        e = e[kept]
        shift = {n: b[kept] for n, b in shift.items()}
    return len(e) / draws


def is_touching(case: Case, e):
    x, y = e.T
    r, grid = case.radius, case.grid
    if grid == ONE:  # of the quadrant that the stated centre lies in
        out = np.hypot(np.maximum(-np.sign(case.x) * x, 0), np.maximum(-np.sign(case.y) * y, 0))
        return out <= r
    if grid == MERIDIAN:
        return np.abs(x) <= r
    if grid == PARALLEL:
        return np.abs(y) <= r
    quadrants = [(1, 1), (-1, 1), (-1, -1), (1, -1)]
    if grid in THREE:
        sx, sy = MIDDLE[grid]
        quadrants.remove((-sx, -sy))
    touched = [np.hypot(np.maximum(-sx * x, 0), np.maximum(-sy * y, 0)) <= r for sx, sy in quadrants]
    return np.all(touched, axis=0)


def judge_case(case: Case):
    globe = [shapely.transform(s, lambda xy: [LON, LAT] + xy / [PER_LON, PER_LAT]) for s in case.parks]
    station = Station(radius_m=case.radius, fix_error_m=case.fix_error)
    ground = JudgingContext(
        Boundaries(np.array(globe, dtype=object)), np.array(case.errors), 2, station
    )
    n = len(case.parks)
    lon, lat, dx, dy = (np.array([v]) for v in (LON, LAT, case.x, case.y))
    if case.grid == ONE:
        lon, lat, dx, dy = lon + dx / PER_LON, lat + dy / PER_LAT, 0 * dx, 0 * dy
    claims = Claims(lon, lat, np.array([case.grid]), np.array([0, n]), np.arange(n))
    return judge_claims(claims, dx, dy, ground)
