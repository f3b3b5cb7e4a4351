"""The looks of a KML file: the light colours of the page, told apart by size and name as well."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from scout.model import Spot

__all__ = ["add_styles", "style_of"]

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


def style_of(spot: Spot) -> str:
    """Name of the style that a spot's mark takes."""
    if spot.near is not None:
        return "near"
    return "uncounted" if spot.verdict.word == "not counted" else spot.verdict.word


def add_styles(document: ET.Element) -> None:
    """The shared styles that placemarks refer to."""
    for name, (colour, scale) in _MARKS.items():
        icon = ET.SubElement(_style(document, name), "IconStyle")
        _value(icon, "color", _kml_colour(colour))
        _value(icon, "scale", f"{scale:g}")
    for name, (colour, width) in _LINES.items():
        _line(_style(document, name), colour, width)
    park = _style(document, "park")
    _line(park, _PARK_EDGE, 2)
    _value(ET.SubElement(park, "PolyStyle"), "color", _kml_colour(_PARK, _PARK_STRENGTH))


def _style(document: ET.Element, name: str) -> ET.Element:
    style = ET.SubElement(document, "Style", {"id": name})
    style.tail = "\n"
    return style


def _line(style: ET.Element, colour: str, width: int) -> None:
    line = ET.SubElement(style, "LineStyle")
    _value(line, "color", _kml_colour(colour))
    _value(line, "width", str(width))


def _kml_colour(colour: str, strength: float = 1.0) -> str:
    """Opacity, blue, green, red: the order of KML 2.2, section 15.2 (kml:color).

    Examples
    --------
    >>> _kml_colour("#0f4f7d")
    'ff7d4f0f'
    """
    red, green, blue = colour[1:3], colour[3:5], colour[5:7]
    return f"{round(strength * 255):02x}{blue}{green}{red}"


def _value(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = text
