"""The ground around spots as the page draws it: barriers, closed areas, power lines, parking."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scout.model import GEOMETRY
from scout.page.frame import Frame, whole
from scout.page.packed import pack
from scout.surroundings import NAME, WHAT, Surroundings

__all__ = ["AROUND_KM", "around"]

AROUND_KM = 2.0  # what lies further from every spot and its walk is left out
_VERTICES = 1_500  # of each kind, some 5 bytes each; the tolerance grows until it is met
_FINEST_M, _COARSEST_M = 2.0, 256.0
_STARTS = 300
_METRES_PER_DEG = 111_200.0


def around(surroundings: Surroundings | None, places: NDArray[np.float64], frame: Frame) -> dict[str, Any]:
    """What the script draws of the surroundings, empty without access data.

    Parameters
    ----------
    surroundings : Surroundings or None
    places : array, shape (n, 2)
        Longitude and latitude of spots and of the vertices of their walks, degrees.
    frame : Frame
        The page's longitudes.

    Returns
    -------
    dict
        ``barriers``, ``closed`` and ``power`` hold ``lines`` and ``areas`` in packed rings and the
        ``words`` found in them; ``starts`` holds ``[x, y, what, name]``.
    """
    if surroundings is None or not len(places):
        return {}
    ground = _neighbourhood(places)
    return {
        "barriers": _drawn(surroundings.barriers, ground, frame),
        "closed": _drawn(surroundings.closed, ground, frame),
        "power": _drawn(surroundings.power_lines, ground, frame),
        "starts": _starts(surroundings.starts, ground, frame),
    }


def _neighbourhood(places: NDArray[np.float64]) -> Any:
    """Boxes around places, joined: cheap, and never smaller than the circles."""
    dy = AROUND_KM * 1000 / _METRES_PER_DEG
    dx = dy / np.maximum(np.cos(np.radians(np.minimum(np.abs(places[:, 1]) + dy, 89.0))), 0.02)
    # Places nearly alike give boxes nearly alike: one of each tenth of a box will do.
    cells = np.unique(np.round(places / (dy / 10)).astype(np.int64), axis=0, return_index=True)[1]
    x, y = places[cells].T
    boxes = shapely.box(x - 1.1 * dx[cells], y - 1.1 * dy, x + 1.1 * dx[cells], y + 1.1 * dy)
    joined = shapely.union_all(boxes)
    shapely.prepare(joined)
    return joined


def _near(frame_of_data: Any, ground: Any) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Geometries cut to the ground, and which rows they are of; 360 degrees away counts as here."""
    shapes = frame_of_data[GEOMETRY].to_numpy()
    west, _, east, _ = shapely.bounds(shapes).T if len(shapes) else np.empty((4, 0))
    middle = shapely.bounds(ground)[[0, 2]].mean()
    turns = 360.0 * np.round((middle - (west + east) / 2) / 360.0)
    xy, of = shapely.get_coordinates(shapes, return_index=True)
    there = shapely.set_coordinates(shapes.copy(), np.column_stack([xy[:, 0] + turns[of], xy[:, 1]]))
    hit = shapely.intersects(ground, there)
    return there[hit], hit


def _drawn(frame_of_data: Any, ground: Any, frame: Frame) -> dict[str, Any]:
    shapes, hit = _near(frame_of_data, ground)
    words = sorted({str(word) for word in frame_of_data[WHAT][hit]}) if len(hit) else []
    cut = shapely.get_parts(shapely.get_parts(shapely.intersection(shapely.make_valid(shapes), ground)))
    parts = _simple(cut[~shapely.is_empty(cut)])
    lines = parts[shapely.get_type_id(parts) == 1]
    areas = parts[shapely.get_type_id(parts) == 3]
    return {
        "lines": [_packed(line.coords, frame) for line in lines],
        "areas": [
            [_packed(ring.coords[:-1], frame) for ring in (area.exterior, *area.interiors)] for area in areas
        ],
        "words": words,
    }


def _simple(parts: NDArray[Any]) -> NDArray[Any]:
    """As few vertices as the page can afford, in degrees scaled to the middle latitude."""
    tolerance_m = _FINEST_M
    simple = parts
    while len(parts) and tolerance_m <= _COARSEST_M:
        simple = shapely.simplify(parts, tolerance_m / _METRES_PER_DEG)
        if shapely.get_num_coordinates(simple).sum() <= _VERTICES:
            break
        tolerance_m *= 2
    return simple[~shapely.is_empty(simple)] if len(simple) else simple


def _packed(coordinates: Any, frame: Frame) -> str:
    xy = np.asarray(coordinates, dtype=float)[:, :2]
    turn = float(frame.turns(xy[:, 0].mean()))
    return pack(whole(np.column_stack([xy[:, 0] + turn, xy[:, 1]])))


def _starts(frame_of_data: Any, ground: Any, frame: Frame) -> list[list[Any]]:
    shapes, hit = _near(frame_of_data, ground)
    if not len(hit):
        return []
    rows = frame_of_data[hit]
    at = shapely.get_coordinates(shapely.centroid(shapes))[:_STARTS]
    return [
        [*whole([frame.lon(float(x)), float(y)]).tolist(), str(what), str(name or "")]
        for (x, y), what, name in zip(at, rows[WHAT], rows[NAME], strict=False)
    ]
