"""The front of a card: letters to be read across a table. All lengths in millimetres.

Calls and locators are drawn as text of a given width, so that no type, whatever its letters' widths, can run
out of its place; parks flow as text, in a size that their number and length allow.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scout.errors import InputError
from scout.locator import decode

__all__ = [
    "TALL_MM",
    "WIDE_MM",
    "Drawing",
    "ParkType",
    "Rule",
    "Word",
    "call_sign",
    "calls",
    "cells",
    "sizes",
]

WIDE_MM, TALL_MM = 190.0, 256.0  # what A4 (210 x 297) and Letter (216 x 279) both hold inside 10 mm margins

# Size of the type of a call. Its capitals are 0.66 (Liberation Serif) to 0.75 (URW Gothic) of that, 0.70 in
# Liberation Sans: 18.4 mm at the least, and 19.7 mm as a rule. Measured in Chromium.
_CALL_MM = 28.0
_LOCATOR_MM = 24.0
_LABEL_MM = 4.2
_TAIL_MM = 6.0  # under a line of capitals: the tail of Q, 0.21 of the size
_TALL_OF_CALL = 0.9  # a line of capitals, in sizes
_NARROWEST = 0.75  # a call is set narrower down to this before it takes a second line
_GAP = 10.0
_LONGEST_CALL = 16

# Widths of a bold sans-serif's letters, in sizes (the metrics that Arial, Helvetica and Liberation share).
_WIDTHS = {
    **dict.fromkeys("ABCDHKNRU", 0.722),
    **dict.fromkeys("EPSVXY", 0.667),
    **dict.fromkeys("FLTZ", 0.611),
    **dict.fromkeys("GOQ", 0.778),
    **dict.fromkeys("J0123456789acekxsvy", 0.556),
    **dict.fromkeys("bdghnopqu", 0.611),
    **dict.fromkeys("I/ijl.,:;' ", 0.278),
    **dict.fromkeys("ft-()", 0.333),
    "M": 0.833,
    "W": 0.944,
    "m": 0.889,
    "r": 0.389,
    "w": 0.778,
}
_OTHER = 1.1  # a sign of another script, an emoji

# Parks flow in whatever type there is, which may be this much wider.
_WIDER = 1.2
_SHRUNK = (1.0, 0.8, 0.65, 0.5, 0.4)
_MOST_PARKS = 24
_REFERENCE_MM, _LEAST_REFERENCE_MM = 22.0, 4.5  # one park's and a crowd's; who does not fit is only named
_LEAST_MM = 2.8  # no type is smaller
_FOOT = 22.0  # the verdict, the rules and gaps between the parts
_REST = 14.0  # two lines with the references of parks that are not set


@dataclass(frozen=True, slots=True)
class Word:
    """One line of text: its baseline's start, size and forced width; a label is small and plain."""

    text: str
    x: float
    y: float
    size: float
    width: float
    label: bool = False


@dataclass(frozen=True, slots=True)
class Rule:
    """A straight line: a lattice line, or a line to write on."""

    x1: float
    y1: float
    x2: float
    y2: float
    lattice: bool = False


@dataclass(frozen=True, slots=True)
class Drawing:
    """A row of the front, ``WIDE_MM`` wide."""

    tall: float
    words: tuple[Word, ...]
    rules: tuple[Rule, ...] = ()


@dataclass(frozen=True, slots=True)
class ParkType:
    """How the parks are set: so many, in so many columns, each so tall, in type of these sizes."""

    shown: int
    columns: int
    row: float
    reference: float
    name: float

    @property
    def wide(self) -> float:
        """Width of a column."""
        return WIDE_MM if self.columns == 1 else (WIDE_MM - _GAP) / 2

    def step(self, text: str, size: float, lines: int) -> int:
        """By how many steps a text shrinks to fit so many lines; type shrunk by half gets twice as many."""
        wide = _width(text, size) * _WIDER
        steps = [k for k, share in enumerate(_SHRUNK) if share * size >= _LEAST_MM or k == 0]
        fits = (k for k in steps if wide * _SHRUNK[k] <= int(lines / _SHRUNK[k]) * self.wide)
        return next(fits, steps[-1])


def call_sign(text: str) -> str:
    """A call sign in capitals; empty text stays empty.

    Examples
    --------
    >>> call_sign(" q1aaa/p ")
    'Q1AAA/P'

    Raises
    ------
    InputError
        When it is none.
    """
    call = text.strip().upper()
    if call and not re.fullmatch(r"[A-Z0-9]+(/[A-Z0-9]+)*", call):
        raise InputError(
            f"call sign {text[:40]}", "takes letters, digits and strokes", "write it as in Q1AAA/P"
        )
    if len(call) > _LONGEST_CALL:
        raise InputError(
            f"call sign {call[:40]}",
            f"is longer than {_LONGEST_CALL} signs",
            "give the call alone",
        )
    return call


def calls(call: str, club_call: str = "") -> Drawing:
    """The operator's call and, beside it or under it, that of a club or an event; a blank for none.

    Examples
    --------
    >>> [word.text for word in calls("Q1AAA", "Q0CLUB").words if not word.label]
    ['Q1AAA', 'Q0CLUB']
    """
    named = [("operator", call)] + ([("club or event", club_call)] if club_call else [])
    half = (WIDE_MM - _GAP) / 2
    if club_call and all(_width(text, _CALL_MM) * _NARROWEST <= half for _, text in named):
        parts = [_call(label, text, k * (half + _GAP), 0.0, half) for k, (label, text) in enumerate(named)]
        return _together(parts)
    parts, top = [], 0.0
    for label, text in named:
        parts.append(_call(label, text, 0.0, top, WIDE_MM))
        top = parts[-1].tall + 2.0
    return _together(parts)


def _together(parts: Sequence[Drawing]) -> Drawing:
    return Drawing(
        max(part.tall for part in parts),
        tuple(word for part in parts for word in part.words),
        tuple(rule for part in parts for rule in part.rules),
    )


def _call(label: str, call: str, x: float, top: float, wide: float) -> Drawing:
    """One call from a height downwards."""
    words = [Word(label, x, top + _LABEL_MM, _LABEL_MM, _width(label, _LABEL_MM), label=True)]
    y = top + _LABEL_MM
    lines = _lines(call, wide)
    for line in lines:
        y += _TALL_OF_CALL * _CALL_MM
        words.append(Word(line, x, y, _CALL_MM, min(_width(line, _CALL_MM), wide)))
    if lines:
        return Drawing(y + _TAIL_MM, tuple(words))
    y += _TALL_OF_CALL * _CALL_MM
    return Drawing(y + _TAIL_MM, tuple(words), (Rule(x, y, x + wide, y),))


def _lines(call: str, wide: float) -> list[str]:
    """A call on one line, or on two that part after a stroke, as even as can be."""
    strokes = [k + 1 for k, sign in enumerate(call) if sign == "/"]
    if not strokes or _width(call, _CALL_MM) * _NARROWEST <= wide:
        return [call] if call else []
    cut = min(strokes, key=lambda k: max(_width(call[:k], 1.0), _width(call[k:], 1.0)))
    return [call[:cut], call[cut:]]


def cells(locators: Sequence[str]) -> Drawing:
    """The locators as their cells lie, north up, with the lattice lines between them."""
    named = [decode(locator) for locator in locators]
    # East of the first by less than half the globe: cells on both sides of 180 lie side by side.
    easts = [round((cell.west - named[0].west + 180.0) % 360.0 - 180.0, 9) for cell in named]
    columns, rows = sorted(set(easts)), sorted({cell.south for cell in named}, reverse=True)
    wide, pad = WIDE_MM / len(columns), 4.0
    size = min(_LOCATOR_MM, *((wide - 2 * pad) / _width(cell.locator, 1.0) for cell in named))
    tall = 1.2 * size
    words = []
    for cell, east in zip(named, easts, strict=True):
        width = _width(cell.locator, size)
        left = columns.index(east) * wide + (wide - width) / 2
        bottom = rows.index(cell.south) * tall + 0.95 * size
        words.append(Word(cell.locator, left, bottom, size, width))
    rules = [Rule(wide, 0.0, wide, len(rows) * tall, lattice=True)] if len(columns) > 1 else []
    rules += [Rule(0.0, tall, WIDE_MM, tall, lattice=True)] if len(rows) > 1 else []
    return Drawing(len(rows) * tall, tuple(words), tuple(rules))


def sizes(count: int, taken: Iterable[Drawing]) -> ParkType:
    """How ``count`` parks are set in what the other rows leave."""
    room = TALL_MM - _FOOT - sum(each.tall for each in taken)
    for shown in range(min(count, _MOST_PARKS), 1, -1):
        found = _set(shown, room - (_REST if shown < count else 0.0))
        if found.reference >= _LEAST_REFERENCE_MM:
            return found
    return _set(min(count, 1), room - (_REST if count > 1 else 0.0))


def _set(shown: int, room: float) -> ParkType:
    columns = 1 if shown <= 3 else 2
    row = room / max(1, -(-shown // columns))
    # One line of reference and two of name, 0.62 as large, with their leading; 2 mm between parks.
    reference = min(_REFERENCE_MM, (row - 2.0) / (1.15 + 2 * 0.62 * 1.2))
    return ParkType(shown, columns, round(row, 2), round(reference, 2), round(0.62 * reference, 2))


def _width(text: str, size: float) -> float:
    return size * sum(_WIDTHS.get(sign, 0.722 if sign.isascii() else _OTHER) for sign in text)
