"""What a notebook holds of visits beside what their places would count for today."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from scout.geo.probability import DOUBTFUL, choose_word
from scout.io.plain_text import clean_text
from scout.model import BadVisit, Checked, Visit
from scout.parks.names import NamedPark, find_other_parks, is_same_park

# The notebook rounds the position's error to 0.1 m, which may move a confidence by this much and no more
# for receivers of 1 m or worse: less is no difference.
_ROUNDED_P = 0.02


@dataclass(frozen=True, slots=True)
class VisitChange:
    """A visit whose place would be judged otherwise today."""

    visit: Visit
    word: str  # of the verdict then; empty where the notebook does not hold it
    checked: Checked
    lost: tuple[NamedPark, ...]  # parks it was noted for that would not count
    gained: tuple[NamedPark, ...]


@dataclass(frozen=True, slots=True)
class VisitReview:
    """All visits of a notebook, gone through."""

    changes: tuple[VisitChange, ...]
    same: int
    outside: tuple[Visit, ...]  # further from the data than anything in them could be
    left_out: tuple[BadVisit, ...]


def review_visit(visit: Visit, checked: Checked, *, ids_hold: bool) -> VisitChange | None:
    """Compare what a visit was noted for with its place judged anew; None where there is no difference.

    Parameters
    ----------
    visit : Visit
    checked : Checked
        Its place, with its own error and at its own level.
    ids_hold : bool
        Whether the boundary data give parks ids of their own, see `scout.parks.names.is_same_park`.
    """
    noted = [(park.park, park.name) for park in visit.parks]
    here = {(clean_text(one.park), clean_text(one.park_name)): one.p for one in checked.parks}
    counted = [park for park, p in here.items() if p >= DOUBTFUL]
    lost, gained = find_other_parks(noted, counted, ids_hold=ids_hold)
    same = not lost and not gained
    then = {(park.park, park.name): park.confidence for park in visit.parks}
    # What is as sure as it was, but for the rounding, is neither lost nor gained.
    unsure = {park: _find_p(park, here, ids_hold) for park in noted}
    lost = [park for park in lost if not _is_alike(then[park], unsure[park])]
    gained = [park for park in gained if not _is_alike(here[park], DOUBTFUL)]
    word = _read_word(visit)
    if lost or gained:
        return VisitChange(visit, word, checked, tuple(lost), tuple(gained))
    # Of other parks than today's verdict has, the product is all that is known.
    claim = checked.verdict.confidence if same else checked.verdict.grids_p * math.prod(unsure.values())
    if not noted or not word or choose_word(claim) == word or _is_alike(visit.confidence, claim):
        return None
    return VisitChange(visit, word, checked, (), ())


def _find_p(park: NamedPark, here: Mapping[NamedPark, float], ids_hold: bool) -> float:
    """How surely the station would lie in a park today."""
    return max((p for other, p in here.items() if is_same_park(park, other, ids_hold=ids_hold)), default=0.0)


def _is_alike(then: float | None, now: float) -> bool:
    return then is not None and abs(then - now) < _ROUNDED_P


def _read_word(visit: Visit) -> str:
    """The verdict of a visit; none where parks were given by hand, for nobody has judged them."""
    if not visit.parks:
        return "not counted"
    if visit.confidence is None or any(park.confidence is None for park in visit.parks):
        return ""
    return choose_word(visit.confidence)
