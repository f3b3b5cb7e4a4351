"""The files of the page, and what it shares with the map: one look, one Leaflet."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import NamedTuple

from scout.output.templates import read_text_of
from scout.page import leaflet
from scout.page.bundle import bundle

_KINDS = {"html": "text/html", "css": "text/css", "js": "text/javascript"}
_ENTRY = "start.js"


class Static(NamedTuple):
    """One file and its media type."""

    content: str
    kind: str


@cache
def _load_all() -> dict[str, Static]:
    own = {one.name for one in files(__package__).iterdir()}
    found = {
        name: Static(read_text_of(__package__, name), _KINDS[name.rsplit(".", 1)[1]])
        for name in sorted(own)
        if name.rsplit(".", 1)[-1] in ("html", "css")
    }
    shared = {
        _ENTRY: Static(bundle(__package__, _ENTRY), _KINDS["js"]),
        "page.css": Static(read_text_of("scout.page", "page.css"), _KINDS["css"]),
        "leaflet.css": Static(leaflet.load_style(), _KINDS["css"]),
        "leaflet.js": Static(leaflet.load_script(), _KINDS["js"]),
    }
    return found | shared


def get_static(name: str) -> Static | None:
    """The file of a name, of those there are."""
    return _load_all().get(name)
