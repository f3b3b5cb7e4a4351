"""Numbers that Python and the page's script must both give: run this to write them anew, look at the diff.

Every value is computed by `scout`, whose own tests hold it against sources outside; the tests of both sides
read the files. ``locators.json`` and ``places.json`` are written by hand.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from scout.errors import InputError
from scout.geo import probability
from scout.geo.boundaries import Boundaries
from scout.geo.geodesy import (
    LocalFrame,
    compute_degree_lengths,
    make_polynomial_frame,
    measure_geodesic,
    wrap_lon,
)
from scout.geo.joint import Errors, UnsureConditions, join_contained, join_parts
from scout.geo.probability import compute_contained_p
from scout.model import Units
from scout.output import text as wording
from scout.page.packing import OUTLINE_UNITS_PER_DEG, pack_ring
from scout.recording.standstill import settle_fixes
from scout.recording.values import Fixes

FOLDER = Path(__file__).parent
LATITUDES = (-89.9, -70.0, -41.0, 0.0, 34.0, 45.0, 60.0, 79.9, 84.0)
Rows = list[dict[str, Any]]


def geodesy() -> dict[str, Rows]:
    """Lengths of a degree, the series, and geodesics from centimetres to the width of a field."""
    rng = np.random.default_rng(11)
    lengths = [{"lat": lat, "per": [float(v) for v in compute_degree_lengths(lat)]} for lat in LATITUDES]
    series, lines = [], []
    for lat in LATITUDES:
        dlon, dlat = (float(v) for v in rng.uniform(-0.05, 0.05, 2))
        at = [float(v) for v in make_polynomial_frame(lat).forward(dlon, dlat)]
        series.append({"lat": lat, "dlon": dlon, "dlat": dlat, "at": at})
        for reach in (1e-7, 1e-4, 0.01, 0.5, 9.0):
            lon = float(rng.uniform(-180, 180))
            end = (
                float(lon + rng.uniform(-reach, reach)),
                float(np.clip(lat + rng.uniform(-reach, reach), -90, 90)),
            )
            distance, bearing = measure_geodesic(lon, lat, *end)
            lines.append({"from": [lon, lat], "to": list(end), "distance": distance, "bearing": bearing})
    return {"lengths": lengths, "series": series, "lines": lines}


def error_budget() -> dict[str, Rows]:
    """Probabilities of touching a line, four cells, three cells; the verdict for a probability."""
    rows = []
    for radius, sigma in ((5.0, 2.0), (5.0, 3.3), (5.0, 0.05), (1.0, 8.0), (30.0, 2.0), (3.0, 0.0)):
        for dx, dy in ((0.0, 0.0), (0.4, 1.1), (3.0, 4.1), (4.9, 4.9), (6.0, 0.5), (20.0, 30.0)):
            rows.append(
                {
                    "radius": radius,
                    "sigma": sigma,
                    "dx": dx,
                    "dy": dy,
                    "line": float(probability.compute_line_p(dx, radius, sigma)),
                    "four": float(probability.compute_four_cells_p(dx, dy, radius, sigma)),
                    "three": float(probability.compute_three_cells_p(dx, dy, radius, sigma)),
                }
            )
    words = [
        {"p": p, "word": probability.choose_word(p)} for p in (0.0, 0.4999999, 0.5, 0.9499999, 0.95, 1.0)
    ]
    return {
        "touching": rows,
        "words": words,
        "sigma": [{"error": 4.9, "sigma": float(probability.compute_sigma(4.9))}],
    }


# In metres about the middle; long edges, tips, bays, necks, holes and parts.
SHAPES = {
    "long edge": shapely.box(-3000, 0, 3000, 5000),
    "right-angled tip": shapely.box(0, 0, 900, 900),
    "sharp tip": shapely.Polygon([(0, 0), (900, 0), (900, 400)]),
    "bay": shapely.box(-900, -900, 900, 900) - shapely.box(-900, -900, 0, 0),
    "neck": shapely.box(-500, -14, 500, 14),
    "inholding": shapely.box(-900, -900, 900, 900) - shapely.Point(12, 0).buffer(4, quad_segs=4),
    "two parts": shapely.MultiPolygon([shapely.box(-900, 0, 900, 900), shapely.box(-900, -60, 900, -9)]),
    "saw": shapely.Polygon(
        [(-100, 300), *((x, k % 2 * 15) for k, x in enumerate(range(-100, 101, 8))), (100, 300)]
    ),
}


def boundaries() -> dict[str, Rows]:
    """Clearance and probability inside, beside outlines of all shapes."""
    rng = np.random.default_rng(12)
    rows = []
    for lat in (-41.0, 12.0, 69.0):
        lon = float(rng.uniform(-179, 179))
        per = np.array([float(v) for v in compute_degree_lengths(lat)])
        for name, shape in SHAPES.items():
            rings = whole_rings(shapely.transform(shape, lambda xy, at=(lon, lat), per=per: at + xy / per))
            outline = [[pack_ring(np.array(ring)) for ring in polygon] for polygon in rings]
            for radius, sigma in ((5.0, 6.06), (2.0, 1.0)):
                places = [*rng.uniform(-25, 25, (3, 2)).tolist(), [300.0, 120.0]]
                seen = [
                    seen_from(rings, (np.array([lon, lat]) + np.array(p) / per).tolist(), radius, sigma)
                    for p in places
                ]
                rows.append(
                    {
                        "shape": name,
                        "rings": rings,
                        "outline": outline,
                        "radius": radius,
                        "sigma": sigma,
                        "seen": seen,
                    }
                )
    return {"boundaries": rows, "together": judged_together(rows)}


CELLS = ("nothing", "one", "meridian", "parallel", "four")
CELLS += ("north-east", "north-west", "south-west", "south-east")


def judged_together(rows: Rows) -> Rows:
    """Cells and two of these outlines, or one of them twice, as the conditions of one station."""
    rng = np.random.default_rng(13)
    found = []
    for k in range(2 * len(rows)):
        one = rows[k % len(rows)]
        other = one if k % 3 == 0 else rows[(k + 2) % len(rows)]
        shapes = np.array([shape_of(row["rings"]) for row in (one, other)], dtype=object)
        ground = Boundaries(shapes)
        radius, sigma_fix = float(rng.choice([1.0, 5.0])), float(rng.choice([0.5, 2.0, 8.0]))
        sigma = np.full(2, rng.choice([0.3, 2.0, 6.0])) if k % 2 else rng.choice([0.3, 2.0, 6.0], 2)
        east, north = one["seen"][k % 3]["place"]
        park, lon, lat = np.arange(2), np.full(2, east), np.full(2, north)
        clearance = ground.clearance(park, lon, lat)
        spread = np.hypot(sigma_fix, sigma)
        p = compute_contained_p(ground, park, lon, lat, clearance, radius, spread)
        x, y, touching = (float(v) for v in (*rng.normal(0, 0.4 * radius, 2), rng.uniform(0.5, 0.99)))
        cell = np.array([[k % len(CELLS), x, y]])

        def join(
            some: UnsureConditions, ground=ground, cell=cell, at=(lon, lat), sigma=sigma,
            clearance=clearance, errors=(radius, sigma_fix),
        ) -> Any:  # fmt: skip
            few, parks = Errors(*errors, sigma[some.pair]), some.pair
            place = parks, at[0][parks], at[1][parks]
            return join_contained(ground, some, cell, place, few, clearance[parks])

        confidence = join_parts(np.array([0, 2]), np.array([touching]), p, join)
        found.append(
            {
                "outlines": [one["outline"], other["outline"]],
                "place": [east, north],
                "radius": radius,
                "sigmaFix": sigma_fix,
                "cells": {"claim": CELLS[k % len(CELLS)], "x": x, "y": y, "p": touching},
                "parks": [
                    {"sigma": float(s), "clearance": float(c), "p": float(v)}
                    for s, c, v in zip(sigma, clearance, p, strict=True)
                ],
                "confidence": float(confidence[0]),
            }
        )
    return found


def whole_rings(shape: Any) -> list[list[list[list[int]]]]:
    """Polygons, rings, vertices: open, in the units that the page's outlines have."""
    parts = [[part.exterior, *part.interiors] for part in shapely.get_parts(shape)]
    return [
        [np.rint(np.array(ring.coords)[:-1] * OUTLINE_UNITS_PER_DEG).astype(int).tolist() for ring in rings]
        for rings in parts
    ]


def shape_of(rings: list[Any]) -> Any:
    """The polygons of rings in the page's units."""
    degrees = [[np.array(ring) / OUTLINE_UNITS_PER_DEG for ring in polygon] for polygon in rings]
    return shapely.multipolygons([shapely.Polygon(shell, holes) for shell, *holes in degrees])


def seen_from(rings: list[Any], place: list[float], radius: float, sigma: float) -> dict[str, Any]:
    """One place beside an outline, judged by `scout`."""
    ground = Boundaries(np.array([shape_of(rings)], dtype=object))
    park, lon, lat = np.array([0]), np.array([place[0]]), np.array([place[1]])
    clearance = ground.clearance(park, lon, lat)
    p = compute_contained_p(ground, park, lon, lat, clearance, radius, np.array([sigma]))
    return {"place": place, "clearance": float(clearance[0]), "p": float(p[0])}


SENTENCES: list[list[Any]] = [
    ["Overhead line ", [34.6, "plain"], " away (north line): keep clear of it."],
    ["no parking or road within ", [3000.0, "stated"], "; the busy road ", [412.3, "plain"], " away"],
    ["only ", [3.21, "fine"], " inside Fen <5 km>"],
    ["no length here"],
]
UNKNOWN: list[tuple[str, Callable[[float], str]]] = [
    ("plain", wording.format_length),
    ("fine", wording.format_fine_length),
    ("stated", wording.format_stated_length),
    ("height", wording.format_height),
    ("clearance", wording.format_clearance),
    ("bearing", wording.format_bearing),
    ("slope", wording.format_slope),
    ("minutes", wording.format_minutes),
    ("share", wording.format_probability),
]


def measured_text(parts: list[Any]) -> wording.MeasuredText:
    """A sentence of texts and lengths, as the page is given it."""
    return wording.MeasuredText(*(p if isinstance(p, str) else wording.Length(*p) for p in parts))


def words() -> dict[str, Rows]:
    """Numbers and places in words."""
    lengths = (
        *(0.0, 0.04, 0.05, 0.25, 3.24, 9.94, 9.95, 9.96, 99.94, 99.95, 99.96, 412.3, 412.5, 999.4, 999.5),
        *(999.6, 1000.0, 1530.0, 9960.0, 9994.0, 9995.0, 48_210.0, 99_949.0, 99_950.0, 1_234_567.0),
        *(
            3.03,
            3.04,
            30.48,
            100.0,
            304.8,
            804.5,
            804.6,
            804.672,
            1609.344,
            16_093.44,
            160_934.4,
        ),  # feet, miles
    )
    settings = (0.0, 4.9, 5.0, 12.345, 14.0, 30.48, 500.0, 999.9996, 1000.0, 3000.0, 80_000.0, 402_336.0)
    heights = (0.0, -0.4, -12.5, 0.5, 64.5, 118.2, 1234.5, 8848.86)
    clearances = (240.2, -12.3, 0.0, 0.04, -0.05, 0.05, 99.96, -1500.0)
    both: tuple[Units, Units] = ("metric", "imperial")
    places = (
        (-116.5, 33.99999999),
        (0.00000001, -0.00000001),
        (-111.9999999, -41.0000004),
        (179.9999999, 0.5),
        (20.0, -90.0),
    )
    return {
        "shares": [
            {"share": p, "text": wording.format_probability(p)}
            for p in (0.0, 0.0004, 0.4996, 0.9499, 0.95, 0.999, 0.9991, 1.0)
        ],
        "lengths": [
            {
                "units": units,
                "metres": m,
                "plain": wording.format_length(m, units),
                "fine": wording.format_fine_length(m, units),
            }
            for units in both
            for m in lengths
        ],
        "settings": [
            {"units": units, "metres": m, "text": wording.format_stated_length(m, units)}
            for units in both
            for m in settings
        ],
        "heights": [
            {"units": units, "metres": m, "text": wording.format_height(m, units)}
            for units in both
            for m in heights
        ],
        "clearances": [
            {"units": units, "metres": m, "text": wording.format_clearance(m, units)}
            for units in both
            for m in clearances
        ],
        "sentences": [
            {"units": units, "parts": parts, "text": wording.format_text(measured_text(parts), units)}
            for units in both
            for parts in SENTENCES
        ],
        "bearings": [
            {"degrees": d, "text": wording.format_bearing(d)}
            for d in (0.0, 22.4, 22.5, 22.6, 134.5, 134.6, 270.0, 337.5, 359.4, 359.6, -90.0, 720.0)
        ],
        "slopes": [{"degrees": d, "text": wording.format_slope(d)} for d in (0.0, 0.5, 22.49, 35.5)],
        "offPaths": [
            {"off": off, "length": length, "text": wording.format_off_paths(off, length)}
            for off, length in (
                (0.0, 900.0),
                (0.49, 900.0),
                (0.5, 900.0),
                (13.4, 900.0),
                (13.5, 900.0),
                (402.0, 1312.0),
                (900.0, 900.0),
                (900.4, 900.0),
                (-1.0, 900.0),
                (5.0, 0.0),
            )
        ],
        "minutes": [
            {"minutes": m, "text": wording.format_minutes(m)}
            for m in (
                0.0,
                0.2,
                0.4,
                1.4,
                1.5,
                24.4,
                24.5,
                59.4,
                59.5,
                59.6,
                60.0,
                84.0,
                119.5,
                1500.0,
                60_000.0,
            )
        ],
        "verdicts": [
            {"word": word, "ifTrue": doubt, "text": wording.format_verdict(word, doubt)}
            for word in ("firm", "doubtful", "not counted", "near miss")
            for doubt in (False, True)
        ],
        "unknown": [
            {"what": what, "value": name, "text": word(value)}
            for what, word in UNKNOWN
            for name, value in (("NaN", math.nan), ("Infinity", math.inf), ("-Infinity", -math.inf))
        ]
        + [
            {"what": what, "value": "-1", "text": word(-1.0)}
            for what, word in UNKNOWN
            if what in ("plain", "fine", "stated", "minutes", "share")
        ],
        "counts": [{"count": n, "text": wording.format_count(n, "park")} for n in (0, 1, 2, 1234567)],
        "places": [
            {
                "lon": lon,
                "lat": lat,
                "decimal": wording.format_position(lon, lat),
                "minutes": wording.format_degrees_minutes(lon, lat),
                "link": wording.format_geo_uri(lon, lat),
            }
            for lon, lat in places
        ],
    }


def _make_recording(kind: str, rng: np.random.Generator) -> Rows:
    """Fixes of a phone about a place in the south, near 180: seconds, degrees, the 95 % radius it states."""
    count, step_s, stated = 120, 5.0, 13.0
    if kind in ("one fix", "two at one time"):
        count = 1 if kind == "one fix" else 2
    time = np.arange(count) * step_s
    xy = 1.5 * rng.standard_normal((count, 2))
    if kind == "wander":
        for k in range(1, count):
            xy[k] = 0.97 * xy[k - 1] + 0.6 * rng.standard_normal(2)
        xy *= [2.0, 0.5]
    elif kind == "far off":
        xy[[7, 40, 41, 99]] += [60.0, -35.0]
    elif kind == "walk, then rest":
        xy[:50] += np.linspace(300, 0, 50)[:, None]
    elif kind == "long silence":
        time[70:] += 1000
    elif kind == "held":
        xy[:] = 0
    elif kind == "short":
        time = time / 20
    elif kind == "two at one time":
        time[:] = 0
    elif kind == "walk":
        xy += np.linspace(0, 900, count)[:, None]
    elif kind == "wide":
        xy *= 30
        stated = 150.0
    error = np.where(rng.uniform(size=count) < 0.9, stated, np.nan) if kind != "says nothing" else np.nan
    frame = LocalFrame(-179.99999, -41.0)
    lon, lat = frame.inverse(xy[:, 0], xy[:, 1])
    columns = (time + 1_764_000_000, wrap_lon(lon), lat, np.broadcast_to(error, count))
    return [
        {
            "time": float(t),
            "lon": round(float(x), 9),
            "lat": round(float(y), 9),
            "error": None if e != e else e,
        }
        for t, x, y, e in zip(*(np.asarray(column).tolist() for column in columns), strict=True)
    ]


def standstill() -> dict[str, Rows]:
    """Recordings and the position with its error that comes of them, or that they are refused."""
    rng = np.random.default_rng(29)
    kinds = ("rest", "says nothing", "wander", "far off", "walk, then rest", "long silence", "held", "short")
    refused = ("walk", "wide", "two at one time")
    rows = []
    for kind in (*kinds, "one fix", *refused):
        fixes = _make_recording(kind, rng)
        columns = {
            key: np.array([np.nan if fix[key] is None else fix[key] for fix in fixes], dtype=float)
            for key in ("time", "lon", "lat", "error")
        }
        size, unsaid = len(fixes), np.full(len(fixes), np.nan)
        whole = Fixes(
            path=kind,
            kind="GPX",
            time_s=columns["time"],
            lon=columns["lon"],
            lat=columns["lat"],
            hdop=unsaid,
            satellites=unsaid,
            quality=np.full(size, -1),
            dimensions=np.zeros(size, dtype=np.int64),
            stated_error_m=columns["error"],
        )
        row: dict[str, Any] = {"kind": kind, "fixes": [list(fix.values()) for fix in fixes]}
        try:
            found = settle_fixes(whole)
        except InputError:
            row["refused"] = True
        else:
            row |= {
                "lon": found.lon,
                "lat": found.lat,
                "error": found.error_95_m,
                "floor": found.floor_95_m,
                "random": found.random_95_m,
                "scatter": None if math.isnan(found.scatter_95_m) else found.scatter_95_m,
                "independent": found.n_effective,
                "used": found.n_used,
                "dropped": len(found.outliers),
                "durationS": found.duration_s,
                "moved": found.moved,
            }
        assert row.get("refused", False) == (kind in refused), kind
        rows.append(row)
    return {"recordings": rows}


FILES: dict[str, Callable[[], dict[str, Rows]]] = {
    "geodesy": geodesy,
    "confidence": error_budget,
    "boundaries": boundaries,
    "words": words,
    "standstill": standstill,
}


def write() -> None:
    """Write all files, one row a line."""
    for name, make in FILES.items():
        about = (
            f"Made by make_vectors.py. {make.__doc__} Read by the tests of Python and of the page's script."
        )
        groups = [json.dumps("about") + ": " + json.dumps(about)]
        for group, rows in make().items():
            lines = ",\n    ".join(json.dumps(row, ensure_ascii=False) for row in rows)
            groups.append(f"{json.dumps(group)}: [\n    {lines}\n  ]")
        text = "{\n  " + ",\n  ".join(groups) + "\n}\n"
        (FOLDER / f"{name}.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
