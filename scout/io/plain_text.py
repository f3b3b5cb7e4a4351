"""Text from data made fit for any output: what no format can hold is replaced, never passed on."""

from __future__ import annotations

import re

_REPLACEMENT = "\ufffd"
# Controls but tab, line feed, carriage return and next line, and what XML 1.0 (section 2.2) forbids beside
# them. The C1 controls are allowed there and good for nothing.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ufffe\uffff\ud800-\udfff]")
_SURROGATE = re.compile("[\ud800-\udfff]")
# Marks that turn the direction of all that follows: in a sentence of ours they would turn our words too.
_TURNING = re.compile("[\u202a-\u202e\u2066-\u2069]")


def clean_text(text: str) -> str:
    r"""Text that every format can hold; tabs and line ends stay.

    Examples
    --------
    >>> clean_text("Quiet\x00 Cove") == "Quiet\ufffd Cove"
    True
    """
    if text.isprintable():
        return text
    if _SURROGATE.search(text):
        text = text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")
    return _FORBIDDEN.sub(_REPLACEMENT, text)


def make_one_line(text: str, most: int = 100) -> str:
    r"""Text for the middle of a sentence: one line, no turning marks, cut with an ellipsis.

    Examples
    --------
    >>> make_one_line("Quiet\n\tCove"), make_one_line("abcdef", 4)
    ('Quiet Cove', 'abc…')
    """
    text = " ".join(_TURNING.sub("", clean_text(text)).split())
    return text if len(text) <= most else f"{text[: most - 1]}…"
