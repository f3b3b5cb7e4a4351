"""Small nets of roads, drawn in metres about the equator, as files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from xml.sax.saxutils import quoteattr

import numpy as np
import pytest

Line = tuple[list[tuple[float, float]], dict[str, str]]


def degrees(points: Any, lon: float = -20.0) -> list[list[float]]:
    scaled = np.atleast_2d(np.asarray(points, dtype=float)) / [111319.4908, 110574.2758]
    placed: list[list[float]] = np.round(scaled + np.array([lon, 0.0]), 7).tolist()
    return placed


def write_geojson(path: Path, things: list[Line], lon: float = -20.0) -> Path:
    features = []
    for points, tags in things:
        xy = degrees(points, lon)
        shape = (
            {"type": "LineString", "coordinates": xy}
            if len(xy) > 1
            else {"type": "Point", "coordinates": xy[0]}
        )
        features.append({"type": "Feature", "properties": tags, "geometry": shape})
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return path


def write_osm(path: Path, things: list[Line], lon: float = -20.0, first: int = 1) -> Path:
    pytest.importorskip("osmium", reason="reads OpenStreetMap data; pip install osmium")
    nodes: dict[tuple[float, float], dict[str, str]] = {}
    for points, tags in things:
        for x, y in degrees(points, lon):
            nodes.setdefault((x, y), {}).update(tags if len(points) == 1 else {})
    ids = {place: n for n, place in enumerate(nodes, 1)}
    texts = ['<osm version="0.6">']
    for (x, y), tags in nodes.items():
        inner = "".join(f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in tags.items())
        texts.append(f'<node id="{ids[x, y]}" version="1" lon="{x}" lat="{y}">{inner}</node>')
    ways = [(points, tags) for points, tags in things if len(points) > 1]
    for number, (points, tags) in enumerate(ways, first):
        inner = "".join(f'<nd ref="{ids[x, y]}"/>' for x, y in degrees(points, lon))
        inner += "".join(f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in tags.items())
        texts.append(f'<way id="{number}" version="1">{inner}</way>')
    path.write_text("\n".join([*texts, "</osm>"]), encoding="utf-8")
    return path
