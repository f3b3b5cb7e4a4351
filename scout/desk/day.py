"""A place to check, a card, a pack: what the commands of these names give."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from scout.card import build, spot_of
from scout.cautions import ALWAYS
from scout.cli.answers import answer, closing, plain
from scout.cli.card import particulars_from
from scout.cli.check import judged, planned_from
from scout.cli.pack import ranks_from
from scout.desk.settings import Asked
from scout.desk.shelf import Shelf
from scout.model import Findings
from scout.pack import pack

__all__ = ["card", "checked", "packed"]


def checked(shelf: Shelf, asked: Asked, place: str, show: Callable[[str], None]) -> dict[str, Any]:
    """The answer of ``scout check`` for one place, in words and in values."""
    inputs = asked.inputs
    planned = planned_from([place])
    parks = shelf.parks(inputs.parks, show)
    (result,) = judged(parks, planned, inputs.options.level, inputs.options.station, show)
    return {
        **plain(planned[0], result),
        "words": list(answer(planned[0], result)),
        "closing": list(closing(ALWAYS)),
    }


def card(findings: Findings, rank: int, asked: Asked) -> tuple[str, str]:
    """Name and text of the card of a spot."""
    name = f"card-{spot_of(findings, rank).rank:04d}.html"
    return name, build(_undated(findings), rank, particulars_from(asked.words))


def packed(findings: Findings, spots: str, asked: Asked) -> tuple[str, bytes]:
    """Name and bytes of the pack of some spots."""
    ranks = ranks_from(spots.replace(",", " ").split())
    return "pack.zip", pack(_undated(findings), ranks, particulars_from(asked.words))


def _undated(findings: Findings) -> Findings:
    """Cards and packs read no clock, so that they repeat."""
    return replace(findings, made_on="")
