"""``scout view``: the horizon round a place, or the line of sight to another."""

from __future__ import annotations

from typing import Any

import click

from scout.app.settings import File, Settings
from scout.cli.options import FilesOption, KindType, ManyFiles, add_settings
from scout.cli.progress import show_progress
from scout.errors import make_printable


@click.command("view", cls=ManyFiles, context_settings={"ignore_unknown_options": True})
@click.argument("place", metavar="PLACE", type=click.UNPROCESSED)
@click.option("--heights", cls=FilesOption, required=True, help="Heights around it, GeoTIFF or .hgt.")
@click.option("--access", cls=FilesOption, help="Data with named peaks, for the skyline.")
@add_settings("antenna-height", "towards", "crs")
@click.option("--to", metavar="PLACE", help="The line of sight to this place in place of the horizon.")
@click.option("--to-height", type=float, default=5.0, show_default=True, metavar="M", help="Antenna there.")
@click.option(
    "--mhz",
    type=float,
    default=145.0,
    show_default=True,
    metavar="F",
    help="Frequency, for the Fresnel zone.",
)
@click.option("--date", "day", metavar="DATE", help="Tell the Sun of this day over the hills: 2026-06-21.")
@click.option(
    "--zone", metavar="ZONE", help="Local time: Pacific/Auckland or -07:00; by the longitude if not."
)
@click.option(
    "--out", "path", type=KindType(File()), metavar="OUT.html", help="Write a page with pictures and tables."
)
@add_settings("display")
def command(
    place: str,
    to: str | None,
    to_height: float,
    mhz: float,
    day: str | None,
    zone: str | None,
    path: str | None,
    **words: Any,
) -> int:
    """Say what an antenna sees from a place: open directions, hills, the Sun; or the line to another place.

    PLACE is decimal degrees (45.12,-89.45), a locator or any other form that scout check takes. Heights are
    needed as far as hills may stand; where they end too soon the horizon is unknown, never open. Named peaks
    come from --access data. Exit status: 0; with --to 1 where the line is not known to be free; 2 for bad
    input.
    """
    from scout.app.outputs import check_page, check_targets
    from scout.app.view import look_around, make_view_request
    from scout.io.write import write_file
    from scout.output.view import build_view_page, format_view

    settings = Settings(**words)
    request = make_view_request(place, settings, to=to, to_antenna_m=to_height, mhz=mhz, day=day, zone=zone)
    check_page("--out", path)
    check_targets(request.files.files, [path] if path is not None else [])
    with show_progress() as show:
        view = look_around(request, show)
        if path is not None:
            write_file(path, build_view_page(view, settings.units))
    for line in format_view(view, settings.units):
        click.echo(make_printable(line))
    if path is not None:
        click.echo(f"Wrote {path}")
    return 0 if view.path is None or view.path.state == "free" else 1
