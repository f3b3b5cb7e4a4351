"""The text cleaned, and the one line that a text which is no place gets."""

from __future__ import annotations

from scout.errors import PlaceError

__all__ = ["FORMS", "LONGEST", "cleaned", "refused"]

FORMS = (
    'write LAT,LON such as 45.123,-89.456 or "45 30.5 N 89 15.2 W", or a locator such as "EN55", '
    "a geo: URI, ISO 6709, UTM or MGRS"
)
LONGEST = 200  # characters; the longest form, a geo: URI with parameters, stays far below

_BLANKS = str.maketrans(dict.fromkeys("\t\r\n\u00a0\u2009\u202f", " ") | {"\u2212": "-"})


def cleaned(text: str) -> str:
    """The text with one kind of blank, none at its ends, and one kind of minus.

    Only the blanks and the minus that type-setting puts into coordinates are taken as such; everything
    else stays, so that a reader that does not expect it refuses it.
    """
    return " ".join(text.translate(_BLANKS).split(" ")).strip(" ") if len(text) <= LONGEST else text


def refused(text: str, what: str, remedy: str = FORMS) -> PlaceError:
    """Error for a text that is not a place; a long text is quoted by its start.

    Examples
    --------
    >>> print(refused("91,0", "latitude 91 is over 90", "write 0,91"))
    place '91,0': latitude 91 is over 90; write 0,91
    """
    quoted = repr(text) if len(text) <= 60 else f"{text[:57]!r}..."
    return PlaceError(f"place {quoted}", what, remedy)
