"""What can go wrong, each with one line for the user.

::

    ScoutError
    +-- InputError            a file, an argument or a text that cannot be used
    |   +-- ArgumentError     a file, a layer that is named and not there
    |   +-- RecordError       one record of a file
    |   +-- CrsError          a coordinate system that is missing or cannot be trusted
    |   +-- LocatorError      a text that is not a Maidenhead locator
    |   +-- PlaceError        a text that is not a place on the globe
    +-- OutputError           a result that cannot be written
    +-- FaultError            a fault in scout itself, not in what it was given
"""

from __future__ import annotations

_LONGEST = 500  # characters of what is wrong, and of what to do


class ScoutError(Exception):
    """An error the user can act on; its text is always one line.

    Parameters
    ----------
    where : str
        The file, record, option or text that is at fault.
    what : str
        What is wrong with it.
    remedy : str
        What to do about it; may be empty.
    """

    def __init__(self, where: str, what: str, remedy: str = "") -> None:
        self.where = where
        self.what = what
        self.remedy = remedy
        super().__init__(where, what, remedy)

    def __str__(self) -> str:
        text = f"{self.where}: {_shorten(self.what)}"
        if self.remedy:
            text = f"{text}; {_shorten(self.remedy)}"
        return " ".join(make_printable(text).split())


class InputError(ScoutError):
    """A file, an argument or a text that cannot be used."""


class RecordError(InputError):
    """One record of a file that cannot be used."""


class ArgumentError(InputError):
    """What was named is not there: a slip of the user's, which no other file can make up for."""


class CrsError(InputError):
    """A coordinate reference system that is missing or cannot be trusted."""


class LocatorError(InputError):
    """A text that is not a Maidenhead locator."""


class PlaceError(InputError):
    """A text that does not name a place on the globe."""


class OutputError(ScoutError):
    """A result that cannot be written."""


class FaultError(ScoutError):
    """A fault in this program itself, said in a line; ``__cause__`` is what was not foreseen."""

    def __init__(self, where: str, cause: BaseException) -> None:
        said = " ".join(str(cause).split())
        kind = type(cause).__name__
        what = f"a fault in scout itself ({kind}: {said})" if said else f"a fault in scout itself ({kind})"
        remedy = "set SCOUT_DETAILS=1, run it again and send the developers what it prints"
        super().__init__(where, what, remedy)
        self.__cause__ = cause


def _shorten(text: str) -> str:
    """What libraries quote of a damaged file may go on for megabytes."""
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST * 3 // 4]} ... {text[-_LONGEST // 5 :]}"


def make_printable(text: str) -> str:
    r"""Text from data made safe for a terminal: control characters become U+FFFD.

    Examples
    --------
    >>> make_printable("Quiet\x1b[31m Cove")
    'Quiet�[31m Cove'
    """
    return "".join(c if c.isprintable() or c.isspace() else "\ufffd" for c in text)
