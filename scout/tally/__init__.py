"""What visits have done and what is still missing: grids, parks and pairs of both, at a level."""

from scout.tally.done import Added, Done, Year, added, by_year, cell_keys, done, grids_of
from scout.tally.missing import ParkReach, missing

__all__ = [
    "Added",
    "Done",
    "ParkReach",
    "Year",
    "added",
    "by_year",
    "cell_keys",
    "done",
    "grids_of",
    "missing",
]
