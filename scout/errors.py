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

from collections.abc import Callable, Mapping

# Settings as people who see no options know them: the names of the fields of the desk.
LABELS: Mapping[str, str] = {
    "level": "Grids of level",
    "station-radius": "Station radius",
    "fix-error": "Receiver error",
    "boundary-error": "Boundary error",
    "home": "Home",
    "within": "Within",
    "area": "Only in this area",
    "near": "Near misses up to",
    "min-grids": "Least grids",
    "min-parks": "Least parks",
    "min-confidence": "Least confidence",
    "notebook": "Rank first what my visits have not done yet",
    "park": "Only these parks",
    "corridor": "Half-width of trails and rivers",
    "id-column": "Ids from",
    "name-column": "Names from",
    "where": "Only records for which this holds",
    "profile": "Schema of the data",
    "pieces": "Pieces of one name that touch",
    "same-ground": "Common ground that makes parks of one name one",
    "forests": "Forests and woods of OpenStreetMap data are parks too",
    "layer": "Only this layer of each file",
    "strict": "End at the first file that cannot be used",
    "crs": "Coordinate system of files that name none",
    "access": "Roads, paths, parking",
    "barriers": "Water, cliffs, closed ground",
    "hazards": "Overhead power lines",
    "heights": "Heights",
    "longest-walk": "Longest walk",
    "load": "Load carried",
    "power-line": "Warn of power lines nearer than",
    "cluster": "Workers",
    "map": "Map",
    "save": "Save",
    "top": "Only the best",
    "save-listed": "Save only the best",
    "title": "Title of the map",
    "units": "Lengths shown in",
    "antenna-height": "Antenna above ground",
    "towards": "Horizon towards",
    "open-to": "Only spots open to",
    # Of a trip.
    "hours": "Hours of the day",
    "end": "Where the day ends",
    "most-places": "Most places a day",
    "set-up": "Setting up, min",
    "operating": "On the air, min",
    "take-down": "Taking down, min",
    "break": "Break, min",
    "must": "Places that must be in",
    "between": "Places only in some hours",
    "days": "Days in a row",
    "doubtful": "Doubtful places may be in as well",
    "consider": "Choose among the best",
    # Of a view.
    "to": "Line of sight to",
    "to-height": "Antenna there",
    "mhz": "Frequency",
    # Of single commands.
    "parks": "Boundaries",
    "place": "Where the station stood",
    "arrival": "Recording",
    "from": "File of places",
    "contacts": "Contacts",
    "power": "Power",
    "visit": "Visit",
    "start": "Start",
    "visit-end": "End",
    "in-park": "A park by hand",
    "grids": "Claim only these grids",
    "sig": "Programme of the parks",
    "date": "Day",
    "zone": "Time zone",
    "out": "Where it goes",
    "sheet": "Arrival sheet",
    # What commands do.
    "find": "Search",
    "visit-add": "Write the visit down",
    "visit-edit": "Change",
    "visit-delete": "Delete",
    "visit-list": "Visits",
    "web": "Site",
}

_LONGEST = 500  # characters of what is wrong, and of what to do


class SettingName(str):
    """A setting, an option or a command named in a sentence, perhaps with the value it should have.

    As a string it is the option, or whatever ``written`` says; ``label`` is for those who see no options.

    Examples
    --------
    >>> name = SettingName("min-grids", "2")
    >>> name, name.label
    ('--min-grids 2', '“Least grids” 2')
    """

    key: str
    value: str
    written: str

    def __new__(cls, key: str, value: object = "", written: str = "") -> SettingName:
        """Name a setting by its key; ``value`` follows the name."""
        found = super().__new__(cls, written or f"--{key} {value}".rstrip())
        found.key, found.value, found.written = key, str(value), written
        return found

    def __getnewargs__(self) -> tuple[str, str, str]:  # type: ignore[override]
        return self.key, self.value, self.written

    @property
    def label(self) -> str:
        """The setting by the name of its field."""
        return f"“{LABELS.get(self.key, self.key)}” {self.value}".rstrip()


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
        return self.word()

    def word(self, name: Callable[[str], str] = str) -> str:
        """The line, its parts worded by ``name``: what settings are called hangs on who reads it."""
        where, what, remedy = (name(part) for part in (self.where, self.what, self.remedy))
        text = f"{_shorten(where)}: {_shorten(what)}" if where else _shorten(what)
        if remedy:
            text = f"{text}; {_shorten(remedy)}"
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
