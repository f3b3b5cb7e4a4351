"""``scout look``: what files of boundaries hold, without a search."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import click

from scout.app.settings import Settings
from scout.cli.lines import print_lines
from scout.cli.options import ManyFiles, add_parks_option, add_settings
from scout.cli.progress import show_progress

if TYPE_CHECKING:
    from scout.app.look import ColumnLook, LayerLook, Look

_LONGEST = 30  # characters of a value


@click.command("look", cls=ManyFiles)
@add_parks_option(required=True)
@add_settings("reading")
@click.option("--map", "map_path", metavar="OUT.html", help="Write a map of the parks that would be taken.")
def command(files: tuple[str, ...], map_path: str | None, **words: Any) -> int:
    """Say what boundary files hold: layers, columns and their values, and what would be taken as parks.

    Nothing is searched. The most frequent values of each column help to write a --where, the columns to
    choose --id-column and --name-column; with these given, the last lines say what they come to. Exit
    status: 0 when there are parks, 2 for bad input.
    """
    from scout.app.look import look_into, make_findings
    from scout.app.outputs import check_page, check_targets, date_findings
    from scout.io.write import write_file
    from scout.output.report import format_coarse, format_reading_report, make_line_printable
    from scout.page.document import build_map

    settings = Settings(**words)
    check_page("map", map_path)
    check_targets(files, [map_path] if map_path is not None else [])
    with show_progress() as show:
        look: Look = look_into(settings.make_park_files(files), show)
        if map_path is not None:
            show("writing")
            findings = make_findings(look, settings.level_number, settings.station)
            write_file(map_path, build_map(date_findings(findings)))
    for one in look.layers:
        print_lines(map(make_line_printable, _format_layer(one)))
        click.echo()
    print_lines(format_reading_report(look.parks.sources, look.parks.report))
    print_lines(format_coarse(look.coarse, settings.units))
    if map_path is not None:
        click.echo(f"Wrote {map_path}")
    return 0


def _format_layer(look: LayerLook) -> Iterator[str]:
    from scout.output.report import format_columns
    from scout.output.text import format_count, format_position

    source = look.layer.source
    yield f"{source.path} [{source.layer}]: {format_count(source.records, 'record')}, {source.crs}"
    kinds = [format_count(count, kind) for kind, count in look.kinds]
    kinds += [f"{look.without:,} without geometry"] if look.without else []
    yield f"  {', '.join(kinds)}"
    if look.bounds is not None:
        west, south, east, north = look.bounds
        yield f"  from {format_position(west, south)} to {format_position(east, north)}"
    yield f"  schema: {look.profile or 'none that is known'}"
    heads = ("column", "filled", "different", "most frequent")
    rows = [_format_column(one, source.records) for one in look.columns]
    yield from format_columns(rows, heads, indent="  ")


def _format_column(column: ColumnLook, records: int) -> tuple[str, ...]:
    shown = column.values if column.different <= column.filled / 2 else column.values[:2]
    texts = [f"{_cut(text)} ({count:,})" if count > 1 else _cut(text) for text, count in shown]
    more = ", ..." if column.different > len(shown) else ""
    share = f"{100 * column.filled / records:.0f} %" if records else ""
    return (column.name, share, f"{column.different:,}", ", ".join(texts) + more)


def _cut(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}\u2026"
