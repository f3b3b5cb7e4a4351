"""GeoJSON as RFC 7946 has it: a point per spot."""

from __future__ import annotations

import json

from scout.exports.antimeridian import place
from scout.exports.properties import properties
from scout.model import Findings

__all__ = ["to_geojson"]


def to_geojson(findings: Findings) -> str:
    """RFC 7946 points, one per spot, in rank order; coordinates to 1e-8 deg (a millimetre)."""
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": list(place(r.spot.lon, r.spot.lat))},
            "properties": properties(r),
        }
        for r in findings.spots
    ]
    lines = ",\n".join(json.dumps(f, ensure_ascii=False, allow_nan=False) for f in features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'
