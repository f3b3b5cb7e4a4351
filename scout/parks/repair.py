"""Invalid polygons made valid, with holes where they belong.

What shapely's two methods make of the usual faults (areas tested in test_parks_repair.py):

================================  =========================  ==========================
fault                             "structure"                "linework"
================================  =========================  ==========================
bow-tie                           both lobes                 both lobes
ring that overlaps itself         covered once               every second layer a hole
overlapping or nested parts       united                     the overlap becomes a hole
overlapping or nested holes       all of them outside        every second one inside
hole partly outside its shell     outside the park           its outer part added
hole beside its shell             added as a part            added as a part
hole larger than its shell        nothing left               the ring between them
spike, collapsed ring             dropped                    kept as a line
================================  =========================  ==========================

"structure" is right for all but the last but one, where the writer has put the rings in the wrong order:
such a part is read by linework. A hole beside its shell cannot take anything away; it is a part that was
written as a hole.
"""

from __future__ import annotations

import re

import shapely

__all__ = ["mended"]


def mended(geometry: shapely.Geometry) -> tuple[shapely.Geometry | None, str]:
    """A valid polygon or multipolygon, None if no area is left, and what was wrong.

    Parameters
    ----------
    geometry : Polygon or MultiPolygon
        Invalid.
    """
    reason = re.sub(r"\s*\[.*", "", shapely.is_valid_reason(geometry)).lower()
    parts, swapped = [], False
    for part in shapely.get_parts(geometry):
        outside_in = _hole_larger(part)
        swapped |= outside_in
        if outside_in:
            made = shapely.make_valid(part, method="linework")
        else:
            made = shapely.make_valid(part, method="structure", keep_collapsed=False)
        parts += [piece for piece in shapely.get_parts(made) if piece.geom_type == "Polygon"]
    if swapped:
        reason = "hole larger than its shell"
    whole = shapely.union_all(parts)
    return (None, reason) if whole.is_empty else (whole, reason)


def _hole_larger(part: shapely.Geometry) -> bool:
    rings = [shapely.polygons(ring) for ring in shapely.get_rings(part) if not ring.is_empty]
    if len(rings) < 2:
        return False
    shell, *holes = shapely.make_valid(rings, method="structure", keep_collapsed=False)
    return any(hole.area > shell.area and shapely.covers(hole, shell) for hole in holes)
