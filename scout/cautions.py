"""The caution texts, once. Shown wherever a place is recommended.

And the kinds of hazards that access data holds, with what is said of them: see `HazardKind`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from scout.model import CoarseOutline
from scout.quantities import Length, MeasuredText

NOT_A_SURVEY = "This is a plan, not a survey, and no proof of where a boundary runs."

_ANYWHERE: tuple[str, ...] = (
    "Get the land manager's permission; keep to local rules, closures and opening hours.",
    "Keep antennas, masts and lines well clear of overhead power lines.",
    "Leave at the first thunder; stay away until 30 minutes after the last.",
    "Mind water, cliffs, tides, steep ground and darkness; tell someone where you are going.",
    "RF exposure rules apply to you and to passers-by.",
    "Whether a set-up counts is the award sponsor's decision: read the current rules.",
)

ALWAYS: tuple[str, ...] = (NOT_A_SURVEY, *_ANYWHERE)

# Where someone stands already and has recorded it.
ON_ARRIVAL: tuple[str, ...] = (
    "This is a receiver's recording, not a survey, and no proof of where a boundary runs.",
    *_ANYWHERE,
)

_ENTRY_NOTES = {
    "restricted": "entry is restricted, say the boundary data; ask the land manager before you go.",
    "unknown": "whether the public may enter is not known from the boundary data; ask the land manager.",
}


def list_entry_notes(parks: Iterable[tuple[str, str]]) -> list[str]:
    """What is to be noted of parks that may not be open to everyone.

    Parameters
    ----------
    parks : iterable of (str, str)
        What a park is called, and its `scout.model.Entry`, or "".
    """
    return [f"{name}: {_ENTRY_NOTES[entry]}" for name, entry in parks if entry in _ENTRY_NOTES]


def select_entry_notes(notes: Iterable[str]) -> list[str]:
    """Those of a spot's notes that `list_entry_notes` made."""
    return [note for note in notes if note.endswith(tuple(f": {said}" for said in _ENTRY_NOTES.values()))]


def group_entry_notes(notes: Iterable[str]) -> tuple[list[str], list[str]]:
    """Part the notes of `list_entry_notes` from others; several of one kind become one with all the names.

    Examples
    --------
    >>> group_entry_notes([*list_entry_notes([("Fen", "restricted"), ("Moor", "restricted")]), "Wet."])[1]
    ['Wet.']
    """
    called: dict[str, list[str]] = {entry: [] for entry in _ENTRY_NOTES.values()}
    others = []
    for note in notes:
        said = next((text for text in called if note.endswith(f": {text}")), None)
        if said is None:
            others.append(note)
        else:
            called[said].append(note.removesuffix(f": {said}"))
    # What is to be done comes first: a long list of names may be cut.
    joined = [
        f"{names[0]}: {said}" if len(names) == 1 else f"{len(names)} parks: {said} {'; '.join(names)}"
        for said, names in called.items()
        if names
    ]
    return joined, others


@lru_cache(maxsize=1000)  # every spot in the park says it again
def warn_of_outline(coarse: CoarseOutline) -> MeasuredText:
    """Say that an outline looks generalised, by how much, and what to state instead."""
    called = f"{coarse.park_name} ({coarse.park})" if coarse.park_name else coarse.park
    return MeasuredText(
        f"The outline of {called} looks generalised: vertices ",
        Length(coarse.spacing_m),
        " apart along its curves, so the boundary may run ",
        Length(coarse.error_m),
        " from it, beyond the ",
        Length(coarse.taken_m, "stated"),
        " taken. Bring a finer outline, or take a boundary error of ",
        Length(coarse.advised_m, "stated"),
        ".",
    )


# Largest shown error for a station on a line or corner: award rules of September 2008, 20 ft.
_SHOWN_ERROR_M = 6.1


def remark_on_fix_error(fix_error_m: float) -> tuple[str, ...]:
    """The remark on a fix error that award rules may refuse; empty for a smaller one.

    Examples
    --------
    >>> remark_on_fix_error(4.9)
    ()
    """
    if fix_error_m <= _SHOWN_ERROR_M:
        return ()
    # The rule's own figure stands in both units always.
    text = MeasuredText(
        "The fix error is ",
        Length(fix_error_m, "fine"),
        ". Award rules for grids may refuse a receiver "
        f"that shows more than {_SHOWN_ERROR_M:g} m (20 ft): read the current ones.",
    )
    return (text,)


@dataclass(frozen=True, slots=True)
class HazardKind:
    """A kind of thing near a spot that is dangerous or where no station may stand.

    ``key`` is what `scout.walk.tags.select_hazards` gives, the colour on the map and its switch.
    """

    key: str
    title: str  # in the key of the map
    counted: str  # several of them
    linear: bool = False  # a line, also where it is drawn round an area
    near_m: float = 50.0  # warned of where a spot is nearer than this
    warning: str = ""  # of {length} and {what}; empty where no station may stand in it at all

    @property
    def closes(self) -> bool:
        """Whether no station may stand there."""
        return not self.warning

    def warn(self, length_m: float, what: str) -> MeasuredText:
        """Word the warning of such a thing at a distance."""
        before, _, after = self.warning.partition("{length}")
        return MeasuredText(before.format(what=what), Length(length_m), after.format(what=what))


HAZARDS: tuple[HazardKind, ...] = (
    HazardKind("closed", "closed ground", "closed areas"),
    HazardKind(
        "power",
        "overhead power lines",
        "overhead lines",
        linear=True,
        warning="Overhead line {length} away ({what}): keep antennas and wires well clear of it.",
    ),
)
