"""A recording made on the spot, judged: the whole job in memory, from fixes and parks to the answer."""

from __future__ import annotations

from dataclasses import dataclass, replace

from scout.cautions import shown_error
from scout.check import Check, check
from scout.model import Checked, Parks, Station
from scout.standstill import Fixes, Standstill, settle_fixes

__all__ = ["Arrival", "arrive"]


@dataclass(frozen=True, slots=True)
class Arrival:
    """One standstill and the answer for its position.

    The station's centre is taken to be where the receiver stood; its fix error is the standstill's 95 %
    radius.
    """

    fixes: Fixes
    standstill: Standstill
    checked: Checked
    level: int
    station: Station
    remarks: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """All that should be known about the recording, a sentence each."""
        return (*self.fixes.notes, *self.standstill.notes, *self.remarks)


def arrive(fixes: Fixes, parks: Parks, level: int = 2, station: Station | None = None) -> Arrival:
    """Judge the position of a recording.

    Parameters
    ----------
    fixes : Fixes
        As `scout.read.fixes.read_fixes` gives them.
    parks : Parks
        As `scout.parks.build_parks` makes them.
    level : int
        Pairs of the locator, 1 to 5.
    station : Station, optional
        Its fix error is not used: the recording tells its own.

    Raises
    ------
    InputError
        As `scout.standstill.settle_fixes` does.
    """
    found = settle_fixes(fixes)
    station = replace(station or Station(), fix_error_m=found.error_95_m)
    (checked,) = check(parks, [found.lon], [found.lat], Check(level, station))
    return Arrival(fixes, found, checked, level, station, shown_error(found.error_95_m))
