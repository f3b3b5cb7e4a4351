"""``scout grid``: locators to coordinates and back."""

from __future__ import annotations

import click


@click.command("grid", context_settings={"ignore_unknown_options": True})
@click.argument("places", nargs=-1, required=True, metavar="PLACE...", type=click.UNPROCESSED)
def command(places: tuple[str, ...]) -> None:
    """Show the cell of a locator, or the locators of a place.

    PLACE is a locator of one to five pairs (JO22ab) or coordinates, latitude first: in degrees
    (52.06,4.04), in degrees and minutes or seconds ("52 03.6 N 4 02.4 E"), as UTM, MGRS, ISO 6709
    or geo: URI.
    """
    from scout.geo.coordinates.parse import read_place
    from scout.geo.geodesy import compute_degree_lengths
    from scout.geo.locator import LEVELS, decode, encode
    from scout.output.text import format_degrees_minutes, format_fixed, format_position

    for k, text in enumerate(places):
        if k:
            click.echo()
        place = read_place(text)
        if place.cell is not None:
            cell = decode(place.cell)
            level = len(cell.locator) // 2
            per_lon, per_lat = compute_degree_lengths(cell.lat)
            click.echo(f"{cell.locator}  ({LEVELS[level - 1]})")
            click.echo(f"  south-west corner  {format_position(cell.west, cell.south)}")
            click.echo(
                f"  centre             {format_position(cell.lon, cell.lat)}   "
                f"{format_degrees_minutes(cell.lon, cell.lat)}"
            )
            click.echo(f"  north-east corner  {format_position(cell.east, cell.north)}")
            # The lattice is exact: its sizes are given to 0.1 m however large they are.
            wide, high = (format_fixed(float(m), 1) for m in (cell.width * per_lon, cell.height * per_lat))
            click.echo(f"  size at the centre {wide} m east-west, {high} m north-south")
        else:
            click.echo(place.understood)
            per_lon, per_lat = compute_degree_lengths(place.lat)
            for level, name in enumerate(LEVELS, start=1):
                locator = encode(place.lon, place.lat, level)
                cell = decode(locator)
                sides = (cell.width * per_lon, cell.height * per_lat)
                size = f"{' x '.join(format_fixed(float(m), 1) for m in sides)} m"
                click.echo(f"  {name:10} {locator:10}  {size}")
