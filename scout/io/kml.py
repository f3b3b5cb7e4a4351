"""A KML text cut into its layers, so that each is parsed once: GDAL parses all of a file for every layer.

A layer is a folder or document with what lies right in it, in the order in which their elements begin.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from xml.parsers import expat

from scout.io.formats import Opening

_CONTAINERS = ("Document", "Folder")
_TAG = re.compile(rb"""<(?:"[^"]*"|'[^']*'|[^"'>])*>""")
_SCHEMA_URL = re.compile(rb"""schemaUrl\s*=\s*["'][^"'#]*#?([^"']*)["']""")
_AT_ONCE = 2**20  # bytes


class _Strange(Exception):
    """The text has something that a part of it could not be read without."""


@dataclass
class _Container:
    """A folder or document: where it begins and ends, in bytes, and which pieces of it are others."""

    begins: int
    ends: int = 0
    name: str = ""
    inner: list[tuple[int, int]] = field(default_factory=list)
    places: int = 0  # features right in it


def cut_layers(opening: Opening, names: Sequence[str]) -> list[tuple[Opening, int]] | None:
    """Cut a KML into one text for each layer.

    Parameters
    ----------
    opening : Opening
        Of a whole KML.
    names : sequence of str
        Its layers, as GDAL lists them.

    Returns
    -------
    list of (Opening, int), optional
        What to open for each layer, and its number there. None where the text cannot be cut so that it is
        sure to read the same: each layer has to be read from the whole of it then.
    """
    target = opening.target
    text = target if isinstance(target, bytes) else Path(target).read_bytes()
    try:
        found = _Scan(text)
    except (_Strange, expat.ExpatError):
        return None
    root, *_ = containers = found.containers
    if not root.places and len(names) == len(containers) - 1:
        containers = containers[1:]  # a document of folders only is no layer
    if len(names) != len(containers) or not all(map(_is_called, containers, names)):
        return None
    return [(replace(opening, target=found.alone(one)), 0) for one in containers]


def _is_called(one: _Container, name: str) -> bool:
    return not one.name or name == one.name or name.startswith(f"{one.name} (#")


class _Scan:
    """All containers of a text."""

    def __init__(self, text: bytes) -> None:
        self.text = text
        self.head = b""  # all up to the first container
        self.containers: list[_Container] = []
        self._schemas: dict[bytes, bytes] = {}  # of the outermost document, by id and by name
        self._path: list[str] = []
        self._open: list[_Container] = []
        self._schema: tuple[int, list[bytes]] = 0, []  # where the open one begins, and its keys
        parser = expat.ParserCreate()
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        self._parser = parser
        for first in range(0, len(text), _AT_ONCE):
            parser.Parse(text[first : first + _AT_ONCE], first + _AT_ONCE >= len(text))
        if not self.containers:
            raise _Strange

    def alone(self, one: _Container) -> bytes:
        """A text with one container, without those in it."""
        pieces, at = [], one.begins
        for first, last in one.inner:
            pieces.append(self.text[at:first])
            at = last
        body = b"".join([*pieces, self.text[at : one.ends]])
        if one is self.containers[0]:
            return b"".join([self.head, body, b"</", self._kml, b">"])
        asked = dict.fromkeys(_SCHEMA_URL.findall(body))
        schemas = dict.fromkeys(self._schemas[key] for key in asked if key in self._schemas)
        around = self._prefix + b"Document>"
        return b"".join([self.head, b"<", around, *schemas, body, b"</", around, b"</", self._kml, b">"])

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        at, local = self._parser.CurrentByteIndex, name.rpartition(":")[2]
        depth, inside = len(self._path), len(self._open)
        right_in = inside and depth == inside + 1
        if depth == 0:
            if local != "kml" or name.encode() not in self.text[at : at + len(name) + 1]:
                raise _Strange
            self._kml = name.encode()
            self._prefix = self._kml[: -len(b"kml")]
        elif local in _CONTAINERS and depth == inside + 1:
            if not inside:
                if self.containers:
                    raise _Strange  # two outermost ones
                self.head = self.text[:at]
            self.containers.append(_Container(at))
            self._open.append(self.containers[-1])
        elif local in _CONTAINERS:
            raise _Strange  # where none belongs
        elif right_in and local == "name":
            self._parser.CharacterDataHandler = self._named
        elif right_in and local == "Schema" and self._path[1:] == ["Document"]:
            keys = [attributes.get(key, "").encode() for key in ("id", "name")]
            self._schema = at, keys
        elif right_in and (local in ("Placemark", "NetworkLink", "Tour") or local.endswith("Overlay")):
            self._open[-1].places += 1
        self._path.append(local)

    def _named(self, text: str) -> None:
        self._open[-1].name += text

    def _end(self, _: str) -> None:
        local = self._path.pop()
        depth, inside = len(self._path), len(self._open)
        if local == "name" and depth == inside + 1:
            self._parser.CharacterDataHandler = None
        elif local == "Schema" and self._path[1:] == ["Document"]:
            begins, keys = self._schema
            for key in keys:
                self._schemas.setdefault(key, self.text[begins : self._tag_end()])
        elif local in _CONTAINERS:
            one = self._open.pop()
            one.ends = self._tag_end()
            if self._open:
                self._open[-1].inner.append((one.begins, one.ends))

    def _tag_end(self) -> int:
        found = _TAG.match(self.text, self._parser.CurrentByteIndex)
        if found is None:
            raise _Strange
        return found.end()
