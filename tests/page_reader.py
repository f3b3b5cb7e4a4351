"""A page taken apart with the standard library's HTML parser, and its script files by themselves."""

from __future__ import annotations

import json
from html.parser import HTMLParser
from typing import Any

from scout import page
from scout.page.bundle import join_modules


def script(*names: str) -> str:
    """Some of the page's script files and all they import, as plain script to stand in a function."""
    return join_modules(page.__name__, *names)


class Reader(HTMLParser):
    """Elements in order, and the text of scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[str, dict[str, str | None], str]] = []
        self.shown: list[str] = []
        self._open: tuple[str, dict[str, str | None]] | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._open = self.elements[-1]

    def handle_endtag(self, tag: str) -> None:
        if self._open and tag == self._open[0]:
            self._open = None

    def handle_data(self, data: str) -> None:
        if self._open:
            self.texts.append((*self._open, data))
        else:
            self.shown.append(data)

    def policy(self) -> str:
        first = self.elements[[tag for tag, _ in self.elements].index("head") + 1]
        assert first[0] == "meta"
        assert first[1]["http-equiv"] == "Content-Security-Policy"
        return first[1]["content"] or ""

    def data(self) -> dict[str, Any]:
        (text,) = [t for tag, attrs, t in self.texts if attrs.get("type") == "application/json"]
        loaded: dict[str, Any] = json.loads(text)
        return loaded


def words(text: str) -> str:
    return " ".join(" ".join(Reader(text).shown).split()).replace(" ,", ",")
