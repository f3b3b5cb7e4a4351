"""Invalid polygons made valid, with holes where they belong.

What shapely's two methods make of the usual faults:

================================  =========================  ==========================
fault                             "structure"                "linework"
================================  =========================  ==========================
bow-tie                           both lobes                 both lobes
ring that overlaps itself         covered once               every second layer a hole
ring that runs along itself       may lose a lobe            keeps it
overlapping or nested parts       united                     the overlap becomes a hole
overlapping or nested holes       all of them outside        every second one inside
hole partly outside its shell     outside the park           its outer part added
hole beside its shell             added as a part            added as a part
hole larger than its shell        nothing left               the ring between them
spike, collapsed ring             dropped                    kept as a line
================================  =========================  ==========================

So each ring is filled by both and holds what either gives; then holes are taken from their shell and parts
united. A hole beside its shell cannot take anything away: it is a part that was written as a hole. Where a
hole is larger than its shell, the writer has put the rings in the wrong order, and linework reads the part.
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
    grounds = []
    for part in shapely.get_parts(geometry):
        shell, *holes = [_filled(ring) for ring in shapely.get_rings(part)] or [shapely.Polygon()]
        if any(hole.area > shell.area and shapely.covers(hole, shell) for hole in holes):
            reason = "hole larger than its shell"
            grounds.append(_areas(shapely.make_valid(part, method="linework")))
        else:
            grounds.append(_without(shell, holes))
    whole = shapely.union_all(grounds)
    return (None, reason) if whole.area == 0 else (whole, reason)


def _filled(ring: shapely.Geometry) -> shapely.Geometry:
    """The ground that one ring holds."""
    face = shapely.polygons(ring)
    structure = shapely.make_valid(face, method="structure", keep_collapsed=False)
    return shapely.union(structure, _areas(shapely.make_valid(face, method="linework")))


def _areas(geometry: shapely.Geometry) -> shapely.Geometry:
    return shapely.union_all([part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"])


def _without(shell: shapely.Geometry, holes: list[shapely.Geometry]) -> shapely.Geometry:
    inside = [hole for hole in holes if shapely.intersection(shell, hole).area > 0]
    beside = [hole for hole in holes if not any(hole is one for one in inside)]
    return shapely.union_all([shapely.difference(shell, shapely.union_all(inside)), *beside])
