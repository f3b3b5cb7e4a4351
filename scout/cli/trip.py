"""``scout trip``: several places in a day, in the order that gives most."""

from __future__ import annotations

from typing import Any

import click

from scout.app.outing import Outing
from scout.app.settings import File, Settings, list_settings
from scout.cli.card import get_findings
from scout.cli.lines import print_lines
from scout.cli.options import (
    KindType,
    ManyFiles,
    add_outing_option,
    add_parks_option,
    add_settings,
)
from scout.cli.progress import show_progress

_OUT = KindType(File())
# What may be given beside a saved result: it says nothing of what was searched.
_BESIDE = ("units", "home", "notebook", "access", "crs", *(one.name for one in list_settings("trip")))


@click.command("trip", cls=ManyFiles)
@add_parks_option()
@add_outing_option
@click.option(
    "--result",
    "saved",
    type=_OUT,
    metavar="RESULT.gpkg",
    help="Take the list that scout find saved there, and do not search.",
)
@click.option(
    "--date",
    "day",
    metavar="DATE",
    required=True,
    help="Day of the trip, the first if there are more: 2026-06-21.",
)
@click.option(
    "--zone", metavar="ZONE", help="Local time: Pacific/Auckland or -07:00; by the longitude if not."
)
@click.option("--call", metavar="CALL", default="", help="Operator's call sign, such as Q1AAA/P.")
@add_settings("trip")
@click.option("--map", "map_path", type=_OUT, metavar="OUT.html", help="Write the map with the tours drawn.")
@click.option(
    "--sheet", "sheet_path", type=_OUT, metavar="OUT.html", help="Write the sheet of the day, to print."
)
@click.option(
    "--save",
    "save_paths",
    type=_OUT,
    multiple=True,
    metavar="OUT",
    help="Write the best tour as .gpx or .ics (calendar); may come again.",
)
@click.option(
    "--out", "pack_path", type=_OUT, metavar="OUT.zip", help="Write all of it, and a card for each place."
)
@add_settings("title", "station", "search", "reading", "access", "display")
def command(
    *,
    day: str,
    zone: str | None,
    call: str,
    map_path: str | None,
    sheet_path: str | None,
    save_paths: tuple[str, ...],
    pack_path: str | None,
    files: tuple[str, ...],
    outing: Outing,
    saved: str | None,
    **words: Any,
) -> int:
    """Plan a day with several places: which of them, in which order, for most new pairs.

    The places are those that scout find lists with the same options, or a result it saved. From home and
    back, or to another end, in the hours given, with the drives by the roads of the access data, the walks,
    and the time it takes at each place. A pair counts once however many places give it; what the notebook
    has, no more. The three best tours are told, the best in full. Needs the extra named trip.
    """
    from scout.app.outputs import status_of, write_outputs
    from scout.app.trip import make_trip_request, plan_trip
    from scout.app.trip_outputs import check_trip_outputs, make_trip_outputs
    from scout.output.card import make_particulars
    from scout.output.trip import format_trip

    particulars = make_particulars(call, "", day, zone)
    assert particulars.day is not None
    paths = check_trip_outputs(map_path, sheet_path, save_paths, pack_path)
    settings = Settings(**words)
    findings = get_findings(paths, files=files, outing=outing, saved=saved, beside=_BESIDE, **words)
    request = make_trip_request(settings, findings.level, particulars.day, particulars.zone)
    access = settings.make_access_files(outing.tags, files or outing.parks)
    with show_progress() as show:
        trip = plan_trip(findings, settings, request, access, show)
        show("writing")
        written, failed = write_outputs(
            make_trip_outputs(trip, particulars, map_path, sheet_path, save_paths, pack_path)
        )
    print_lines((*format_trip(trip), *(f"Wrote {path}" for path in written)))
    return status_of(0, failed)
