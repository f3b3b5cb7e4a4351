"""The caution texts, once. Shown wherever a place is recommended."""

from __future__ import annotations

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
