"""``scout trip``: several places in a day, in the order that gives most."""

from __future__ import annotations

from typing import Any

import click

from scout.app.outing import Outing
from scout.app.settings import File, Settings
from scout.cli.card import get_findings
from scout.cli.options import (
    KindType,
    ManyFiles,
    add_outing_option,
    add_parks_option,
    add_settings,
)

OUT = KindType(File())


@click.command("trip", cls=ManyFiles)
@add_parks_option()
@add_outing_option
@click.option(
    "--result",
    "saved",
    type=OUT,
    metavar="RESULT.gpkg",
    help="Take the list that scout find saved there, and do not search.",
)
@click.option("--date", "day", metavar="DATE", required=True, help="Day of the trip, the first if there are more: 2026-06-21.")
@click.option("--zone", metavar="ZONE", help="Local time: Pacific/Auckland or -07:00; by the longitude if not.")
@add_settings("trip", "station", "search", "reading", "access", "display")
def command(**words: Any) -> int:
    """Plan a day, or several."""
    from scout.app.outputs import date_findings
    from scout.app.trip import plan_trip
    from scout.output.trip import format_trip
    print(words)
    return 0
