"""Places judged: the search and the check of one planned place both come here, so that they cannot disagree.

`claims` says how sure a claim is at a station centre, `settling` where the centre should stand, and
`nearby` keeps the few edges that matter while it looks.
"""

from scout.verdict.claims import (
    FOUR,
    MERIDIAN,
    ONE,
    PARALLEL,
    THREE,
    Claims,
    Ground,
    Judged,
    estimate,
    estimated,
    judge,
    sharpened,
    touch_p,
)
from scout.verdict.settling import BENT, SURE, settle, stand

__all__ = [
    "BENT",
    "FOUR",
    "MERIDIAN",
    "ONE",
    "PARALLEL",
    "SURE",
    "THREE",
    "Claims",
    "Ground",
    "Judged",
    "estimate",
    "estimated",
    "judge",
    "settle",
    "sharpened",
    "stand",
    "touch_p",
]
