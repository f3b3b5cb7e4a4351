"""Places found as KML and KMZ.

KML 2.2 (OGC 07-147r2): folders of spots, stretches, parks and walks, in colours of our own.

Nothing in it is fetched: no picture, no style, no link. The order of elements is the schema's.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from dataclasses import replace
from html import escape
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import shapely

from scout.cautions import ALWAYS
from scout.geo.antimeridian import cut_geometries, make_path, round_place
from scout.io.plain_text import clean_text, make_one_line
from scout.model import ATTRIBUTES, GEOMETRY, PARK_ID, PARK_NAME, Findings, Ranked, Spot
from scout.output.text import (
    format_heading,
    format_length,
    format_number,
    format_walk_line,
    list_about,
    list_credits,
    list_facts,
)

# Name: colour as #rrggbb and scale. Dark blue, light amber and grey differ in lightness, so nobody has to
# see hues; every mark has a name that says what it is.
_MARKS = {
    "firm": ("#0f4f7d", 1.2),
    "doubtful": ("#f2b33d", 1.0),
    "uncounted": ("#5f6b73", 0.8),
    "near": ("#7a4a00", 0.7),
}
_LINES = {"stretch": ("#a1306b", 4), "walk": ("#1b2a32", 3)}
_PARK, _PARK_EDGE = "#2b7a68", "#2a6557"
_PARK_STRENGTH = 0.24


def name_style(spot: Spot) -> str:
    """Name of the style that a spot's mark takes."""
    if spot.near is not None:
        return "near"
    return "uncounted" if spot.verdict.word == "not counted" else spot.verdict.word


def add_styles(document: ET.Element) -> None:
    """The shared styles that placemarks refer to."""
    for name, (colour, scale) in _MARKS.items():
        icon = ET.SubElement(_add_style(document, name), "IconStyle")
        _add_value(icon, "color", _format_colour(colour))
        _add_value(icon, "scale", f"{scale:g}")
    for name, (colour, width) in _LINES.items():
        _add_line_style(_add_style(document, name), colour, width)
    park = _add_style(document, "park")
    _add_line_style(park, _PARK_EDGE, 2)
    _add_value(ET.SubElement(park, "PolyStyle"), "color", _format_colour(_PARK, _PARK_STRENGTH))


def _add_style(document: ET.Element, name: str) -> ET.Element:
    style = ET.SubElement(document, "Style", {"id": name})
    style.tail = "\n"
    return style


def _add_line_style(style: ET.Element, colour: str, width: int) -> None:
    line = ET.SubElement(style, "LineStyle")
    _add_value(line, "color", _format_colour(colour))
    _add_value(line, "width", str(width))


def _format_colour(colour: str, strength: float = 1.0) -> str:
    """Opacity, blue, green, red: the order of KML 2.2, section 15.2 (kml:color).

    Examples
    --------
    >>> _format_colour("#0f4f7d")
    'ff7d4f0f'
    """
    red, green, blue = colour[1:3], colour[3:5], colour[5:7]
    return f"{round(strength * 255):02x}{blue}{green}{red}"


def _add_value(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = text


_SPOT_FOLDERS = {
    "corner": "Corners",
    "line": "Lines",
    "overlap": "Overlaps",
    "place": "Places",
    "near-miss": "Near misses",
}
# A globe draws the shortest way between two points, which leaves a parallel by 0.3 m in the middle of this.
_LONGEST_EDGE_DEG = 0.05


def to_kml(findings: Findings) -> bytes:
    """KML 2.2 in UTF-8; folders that would be empty are left out."""
    findings = replace(findings, spots=tuple(findings.spots))  # made once: every folder looks at them
    root = ET.Element("kml", {"xmlns": "http://www.opengis.net/kml/2.2"})
    document = ET.SubElement(root, "Document")
    _add_text(document, "name", make_one_line(findings.title) or "Spots")
    _add_text(document, "open", "1")
    if author := make_one_line(findings.author):
        root.set("xmlns:atom", "http://www.w3.org/2005/Atom")
        _add_text(ET.SubElement(document, "atom:author"), "atom:name", author)
    _describe_placemark(document, list_about(findings))
    add_styles(document)
    for kind, name in _SPOT_FOLDERS.items():
        _add_folder(
            document, name, (_make_spot_placemark(r, findings) for r in findings.spots if r.spot.kind == kind)
        )
    _add_folder(document, "Stretches", _make_stretch_placemarks(findings))
    _add_folder(document, "Parks", _make_park_placemarks(findings))
    _add_folder(document, "Walks", _make_walk_placemarks(findings))
    text: str = ET.tostring(root, encoding="unicode")  # to bytes at once: small writes take long
    return f"<?xml version='1.0' encoding='utf-8'?>\n{text}".encode()


def _add_folder(document: ET.Element, name: str, placemarks: Iterable[ET.Element]) -> None:
    folder = ET.Element("Folder")
    _add_text(folder, "name", name)
    for placemark in placemarks:
        placemark.tail = "\n"
        folder.append(placemark)
    if len(folder) > 1:
        folder.tail = "\n"
        document.append(folder)


def _make_placemark(name: str, lines: Iterable[str], style: str, geometry: Any) -> ET.Element:
    placemark = ET.Element("Placemark")
    _add_text(placemark, "name", name)
    _describe_placemark(placemark, lines)
    _add_text(placemark, "styleUrl", f"#{style}")
    _add_geometry(placemark, geometry)
    return placemark


def _make_spot_placemark(ranked: Ranked, findings: Findings) -> ET.Element:
    point = shapely.Point(round_place(ranked.spot.lon, ranked.spot.lat))
    return _make_placemark(
        format_heading(ranked, findings),
        [*list_facts(ranked, findings.units, findings.aims), *ALWAYS],
        name_style(ranked.spot),
        point,
    )


def _make_stretch_placemarks(findings: Findings) -> Iterable[ET.Element]:
    ends = np.array([(s.start, s.end) for r in findings.spots for s in r.spot.stretches]).reshape(-1, 2, 2)
    ends[:, :, 0] = np.unwrap(ends[:, :, 0], period=360)  # the shorter way between the two
    shapes = iter(_prepare_shapes(shapely.linestrings(ends)))
    for ranked in findings.spots:
        for stretch in ranked.spot.stretches:
            name = f"{format_number(ranked.rank, findings)} {stretch.line} {' '.join(stretch.locators)}"
            lines = [
                f"{format_length(stretch.length_m, findings.units)} along a {stretch.line}.",
                f"Parks: {'; '.join(make_one_line(park) for park in stretch.parks)}.",
            ]
            yield _make_placemark(name, lines, "stretch", next(shapes))


def _make_park_placemarks(findings: Findings) -> Iterable[ET.Element]:
    frame = findings.parks
    if not len(frame):
        return
    attributes = frame[ATTRIBUTES] if ATTRIBUTES in frame else [{}] * len(frame)
    credits = list_credits(findings)
    shapes = _prepare_shapes(frame[GEOMETRY])
    for park, name, more, shape in zip(frame[PARK_ID], frame[PARK_NAME], attributes, shapes, strict=True):
        title = f"{make_one_line(park)} {make_one_line(name)}".strip()
        facts = [
            f"{make_one_line(key)}: {make_one_line(str(value), 1000)}" for key, value in (more or {}).items()
        ]
        yield _make_placemark(title, [*facts, *credits, ALWAYS[0]], "park", shape)


def _make_walk_placemarks(findings: Findings) -> Iterable[ET.Element]:
    for ranked in findings.spots:
        if ranked.route is not None and len(ranked.route.line) > 1:
            name = f"{format_number(ranked.rank, findings)} walk"
            line = cut_geometries([make_path(ranked.route.line)])[0]
            yield _make_placemark(
                name, [format_walk_line(ranked.route, findings.units), *ALWAYS], "walk", line
            )


def _prepare_shapes(geometries: Iterable[Any]) -> Any:
    """Shapes cut at 180, their long edges split, outer rings counterclockwise."""
    whole = shapely.segmentize(cut_geometries(geometries), _LONGEST_EDGE_DEG)
    return shapely.orient_polygons(whole)


def _describe_placemark(parent: ET.Element, lines: Iterable[str]) -> None:
    """A description is HTML inside XML: text from data is escaped for one here, for the other on writing."""
    _add_value(parent, "description", "<br/>\n".join(escape(clean_text(line)) for line in lines))


def _add_geometry(parent: ET.Element, geometry: Any) -> None:
    kind = geometry.geom_type
    if kind == "Point":
        _add_vertices(ET.SubElement(parent, "Point"), geometry, 8)
    elif kind == "LineString":
        line = ET.SubElement(parent, "LineString")
        _add_text(line, "tessellate", "1")
        _add_vertices(line, geometry)
    elif kind == "Polygon":
        polygon = ET.SubElement(parent, "Polygon")
        _add_text(polygon, "tessellate", "1")
        for tag, rings in (("outerBoundaryIs", [geometry.exterior]), ("innerBoundaryIs", geometry.interiors)):
            for ring in rings:
                _add_vertices(ET.SubElement(ET.SubElement(polygon, tag), "LinearRing"), ring)
    else:
        together = ET.SubElement(parent, "MultiGeometry")
        for part in shapely.get_parts(geometry):
            _add_geometry(together, part)


def _add_vertices(parent: ET.Element, geometry: Any, digits: int = 7) -> None:
    xy = shapely.get_coordinates(geometry).tolist()
    ET.SubElement(parent, "coordinates").text = " ".join(f"{x:.{digits}f},{y:.{digits}f}" for x, y in xy)


def _add_text(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = clean_text(text)


# KMZ: the KML in a zip archive, under the name that KML 2.2 recommends.
_ANY_DAY = (1980, 1, 1, 0, 0, 0)  # the first that a zip archive knows: the same findings, the same bytes


def to_kmz(findings: Findings) -> bytes:
    """A zip archive that holds ``doc.kml`` and nothing else."""
    entry = zipfile.ZipInfo("doc.kml", date_time=_ANY_DAY)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.create_system = 3  # its permissions are Unix ones, wherever this runs
    entry.external_attr = 0o644 << 16
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(entry, to_kml(findings))
    return out.getvalue()
