"""Numbers that Python and the page's script must both give: run this to write them anew, look at the diff.

Every value is computed by `scout`, whose own tests hold it against sources outside; the tests of both sides
read the files. ``locators.json`` and ``places.json`` are written by hand.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from scout.geo import probability
from scout.geo.boundaries import Boundaries
from scout.geo.coordinates.forms import format_decimal, format_geo_uri
from scout.geo.geodesy import compute_degree_lengths, make_polynomial_frame, measure_geodesic
from scout.geo.probability import compute_contained_p
from scout.output import text as wording
from scout.page.packing import OUTLINE_UNITS_PER_DEG, pack_ring

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
    return {"boundaries": rows}


def whole_rings(shape: Any) -> list[list[list[list[int]]]]:
    """Polygons, rings, vertices: open, in the units that the page's outlines have."""
    parts = [[part.exterior, *part.interiors] for part in shapely.get_parts(shape)]
    return [
        [np.rint(np.array(ring.coords)[:-1] * OUTLINE_UNITS_PER_DEG).astype(int).tolist() for ring in rings]
        for rings in parts
    ]


def seen_from(rings: list[Any], place: list[float], radius: float, sigma: float) -> dict[str, Any]:
    """One place beside an outline, judged by `scout`."""
    degrees = [[np.array(ring) / OUTLINE_UNITS_PER_DEG for ring in polygon] for polygon in rings]
    shape = shapely.multipolygons([shapely.Polygon(shell, holes) for shell, *holes in degrees])
    ground = Boundaries(np.array([shape], dtype=object))
    park, lon, lat = np.array([0]), np.array([place[0]]), np.array([place[1]])
    clearance = ground.clearance(park, lon, lat)
    p = compute_contained_p(ground, park, lon, lat, clearance, radius, np.array([sigma]))
    return {"place": place, "clearance": float(clearance[0]), "p": float(p[0])}


def words() -> dict[str, Rows]:
    """Numbers and places in words."""
    lengths = (0.0, 0.04, 3.24, 9.94, 9.96, 412.3, 999.4, 999.6, 1530.0, 9994.0, 48_210.0, 1_234_567.0)
    places = (
        (-116.5, 33.99999999),
        (0.00000001, -0.00000001),
        (-111.9999999, -41.0000004),
        (179.9999999, 0.5),
        (20.0, -90.0),
    )
    return {
        "shares": [
            {"share": p, "text": wording.format_percent(p)}
            for p in (0.0, 0.0004, 0.4996, 0.9499, 0.95, 0.9991, 1.0)
        ],
        "lengths": [{"metres": m, "text": wording.format_metres(m)} for m in lengths],
        "clearances": [{"metres": m, "text": wording.format_clearance(m)} for m in (240.2, -12.3, 0.0)],
        "bearings": [
            {"degrees": d, "text": wording.format_bearing(d)} for d in (0.0, 22.4, 22.6, 134.6, 270.0, 359.7)
        ],
        "counts": [{"count": n, "text": wording.format_count(n, "park")} for n in (0, 1, 2, 1234567)],
        "durations": [
            {"minutes": m, "text": wording.format_span(m)}
            for m in (0.2, 1.4, 1.5, 24.4, 24.5, 59.4, 59.5, 60.0, 84.0, 119.6, 725.0)
        ],
        "distances": [
            {"kilometres": k, "text": wording.format_distance(k)}
            for k in (0.0, 0.04, 9.96, 68.2, 99.94, 99.97, 100.4, 205.3, 1234.6)
        ],
        "places": [
            {
                "lon": lon,
                "lat": lat,
                "decimal": format_decimal(lon, lat),
                "minutes": wording.format_degrees_minutes(lon, lat),
                "link": format_geo_uri(lon, lat),
            }
            for lon, lat in places
        ],
    }


FILES: dict[str, Callable[[], dict[str, Rows]]] = {
    "geodesy": geodesy,
    "confidence": error_budget,
    "boundaries": boundaries,
    "words": words,
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
