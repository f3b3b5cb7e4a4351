"""``scout grid``: locators to coordinates and back."""

from __future__ import annotations

import click

from scout.cli.options import refuse_options


@click.command("grid", context_settings={"ignore_unknown_options": True})
@click.argument(
    "places", nargs=-1, required=True, metavar="PLACE...", type=click.UNPROCESSED, callback=refuse_options
)
def command(places: tuple[str, ...]) -> None:
    """Show the cell of a locator, or the locators of a place.

    PLACE is a locator of one to five pairs (JO22ab) or coordinates, latitude first: in degrees
    (52.06,4.04), in degrees and minutes or seconds ("52 03.6 N 4 02.4 E"), as UTM, MGRS, ISO 6709
    or geo: URI.
    """
    from scout.geo.coordinates.parse import read_place
    from scout.output.text import list_cells

    for k, text in enumerate(places):
        if k:
            click.echo()
        found = read_place(text)
        head, rows = list_cells(found)
        click.echo(head)
        for term, *values in rows:
            wide = 10 if found.cell is None else 18
            click.echo(f"  {term:{wide}} {'  '.join(f'{value:10}' for value in values).rstrip()}")
