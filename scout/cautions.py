"""The caution texts, once. Shown wherever a place is recommended."""

__all__ = ["ALWAYS", "NOT_A_SURVEY"]

NOT_A_SURVEY = "This is a plan, not a survey, and no proof of where a boundary runs."

ALWAYS: tuple[str, ...] = (
    NOT_A_SURVEY,
    "Get the land manager's permission; keep to local rules, closures and opening hours.",
    "Keep antennas, masts and lines well clear of overhead power lines.",
    "Leave at the first thunder; stay away until 30 minutes after the last.",
    "Mind water, cliffs, tides, steep ground and darkness; tell someone where you are going.",
    "RF exposure rules apply to you and to passers-by.",
    "Whether a set-up counts is the award sponsor's decision: read the current rules.",
)
