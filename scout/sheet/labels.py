"""Where the words of a picture go: off its middle, off each other, never out of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from scout.outlines import Floats

__all__ = ["Label", "Labels"]

Anchor = Literal["start", "middle", "end"]
Kind = Literal["lattice", "cell", "edge"]

_LETTER = 0.58  # width of a usual letter, in sizes of the type
_LINE = 1.1  # height of a line of text
_PAD = 12.0
_LONGEST = 24  # letters of a park's name


@dataclass(frozen=True, slots=True)
class Label:
    """A word of a picture: the baseline's place in units, and what it names."""

    kind: Kind
    text: str
    x: float
    y: float
    anchor: Anchor


class Labels:
    """Labels of one square picture, placed one after the other.

    Parameters
    ----------
    side, size : float
        Of the picture and of its type, units.
    edges : array, shape (n, 2)
        Places along all boundaries, which words should not cover.
    """

    def __init__(self, side: float, size: float, edges: Floats) -> None:
        self._side, self._letter, self._line = side, _LETTER * size, _LINE * size
        self._edges = edges
        self._labels: list[Label] = []

    @property
    def placed(self) -> tuple[Label, ...]:
        """All labels so far."""
        return tuple(self._labels)

    def lattice(self, name: str, upright: bool, x: float, y: float) -> None:
        """Name a line at its end, a meridian at the top, a parallel on the right; none over another."""
        if not upright:
            y = y - _PAD if y > 2 * self._line else y + self._line
            label = self._label("lattice", name, self._side - _PAD, y, "end")
        elif x + _PAD + self._width(name) < self._side:
            label = self._label("lattice", name, x + _PAD, self._line, "start")
        else:
            label = self._label("lattice", name, x - _PAD, self._line, "end")
        if self._gap(label) > 0.0:
            self._labels.append(label)

    def cell(self, name: str, left: float, top: float, right: float, bottom: float) -> None:
        """Name a cell in the corner of it that is nearest to a corner of the picture; none too narrow."""
        if right - left < self._width(name) + 2 * _PAD or bottom - top < 2 * self._line:
            return
        if top <= 0.0:
            y = min(2.2 * self._line, bottom - _PAD)  # under the names of the meridians
        elif bottom >= self._side:
            y = bottom - _PAD
        else:
            y = (top + bottom + self._line) / 2
        if left <= 0.0:
            label = self._label("cell", name, left + _PAD, y, "start")
        elif right >= self._side:
            label = self._label("cell", name, right - _PAD, y, "end")
        else:
            label = self._label("cell", name, (left + right) / 2, y, "middle")
        self._labels.append(label)

    def edge(self, name: str, along: Floats) -> None:
        """Name a boundary next to one of the places along it; not at all if there is no room."""
        text = name if len(name) <= _LONGEST else name[: _LONGEST - 1] + "…"
        best, where = -math.inf, None
        for x, y in along.tolist():
            for label in self._beside(text, x, y):
                score = self._room(label)
                if score > best:
                    best, where = score, label
        if where is not None:
            self._labels.append(where)

    def _beside(self, text: str, x: float, y: float) -> Iterator[Label]:
        """The places for a word next to a point: right, left, above, below."""
        middle = y + 0.35 * self._line
        yield self._label("edge", text, x + _PAD, middle, "start")
        yield self._label("edge", text, x - _PAD, middle, "end")
        yield self._label("edge", text, x, y - _PAD, "middle")
        yield self._label("edge", text, x, y + self._line, "middle")

    def _room(self, label: Label) -> float:
        """How good a place is: in the picture, off other words and boundaries, away from the middle."""
        left, top, right, bottom = self._box(label)
        if min(left, top) < _PAD or max(right, bottom) > self._side - _PAD:
            return -math.inf
        gap = self._gap(label)
        east, south = self._edges.T
        covered = np.count_nonzero((east > left) & (east < right) & (south > top) & (south < bottom))
        off_middle = math.hypot((left + right - self._side) / 2, (top + bottom - self._side) / 2)
        touching = 500.0 if gap < _PAD else 0.0
        return gap + min(off_middle, self._side / 3) - 100.0 * float(covered) - touching

    def _gap(self, label: Label) -> float:
        """Distance to the nearest other label, as far as it matters."""
        left, top, right, bottom = self._box(label)
        gap = 150.0
        for other in map(self._box, self._labels):
            across = max(other[0] - right, left - other[2], 0.0)
            down = max(other[1] - bottom, top - other[3], 0.0)
            gap = min(gap, math.hypot(across, down))
        return gap

    @staticmethod
    def _label(kind: Kind, text: str, x: float, y: float, anchor: Anchor) -> Label:
        return Label(kind, text, round(x, 1), round(y, 1), anchor)

    def _width(self, text: str) -> float:
        return self._letter * len(text)

    def _box(self, label: Label) -> tuple[float, float, float, float]:
        wide = self._width(label.text)
        left = label.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[label.anchor] * wide
        return left, label.y - 0.8 * self._line, left + wide, label.y + 0.25 * self._line
