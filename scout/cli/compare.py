"""``scout compare``: what changed between two versions of boundary files."""

from __future__ import annotations

from typing import Any

import click
from click.core import ParameterSource

from scout.app.outing import Outing
from scout.app.request import SearchRequest
from scout.app.settings import File, Settings
from scout.cli.lines import print_answer
from scout.cli.options import (
    FilesOption,
    KindType,
    ManyFiles,
    add_outing_option,
    add_settings,
)
from scout.cli.progress import show_progress
from scout.errors import InputError


@click.command("compare", cls=ManyFiles)
@click.argument("named", nargs=-1, metavar="OLD NEW", type=KindType(File()))
@click.option("--old", cls=FilesOption, help="Boundary files before, if there are several.")
@click.option("--parks", "files", cls=FilesOption, help="Those now, if there are several.")
@add_outing_option
@add_settings("station", "search", "reading", "access", but=("notebook",))
@click.option("--notebook", metavar="FILE", help="List its visits that would be judged otherwise today.")
@click.option("--save", "save_path", metavar="OUT.geojson", help="Write what changed as GeoJSON.")
@click.option("--map", "map_path", metavar="OUT.html", help="Write a map of what changed.")
@add_settings("display")
@click.pass_context
def command(
    ctx: click.Context,
    /,
    named: tuple[str, ...],
    old: tuple[str, ...],
    files: tuple[str, ...],
    outing: Outing,
    notebook: str | None,
    save_path: str | None,
    map_path: str | None,
    **words: Any,
) -> int:
    """Say which spots vanished, appeared, moved or are judged otherwise since the boundaries changed.

    OLD is a boundary file, or a .gpkg that scout find --save wrote; NEW is a boundary file. Several are
    named by --old FILE... and --parks FILE... . Both are searched with the same settings; a saved result
    brings its own. Near misses are told where a spot becomes one or was one. Exit status: 0 when something
    changed, 1 when nothing did, 2 for bad input.
    """
    from scout.app.compare import CompareRequest, compare, make_changed_findings
    from scout.app.find import cut_to_best
    from scout.app.outputs import (
        MAP_SPOTS,
        check_changes_path,
        check_page,
        check_targets,
        date_findings,
        status_of,
        write_outputs,
    )
    from scout.output.compare import format_changes, to_changes_geojson
    from scout.output.report import format_reading_report
    from scout.page.document import build_map

    before, now = _part_files(named, old, files or outing.parks)
    given = {name for name in words if ctx.get_parameter_source(name) is not ParameterSource.DEFAULT}
    new = SearchRequest(now, Settings(**words), outing)
    request = CompareRequest(before, new, frozenset(given), notebook)
    check_page("map", map_path)
    check_changes_path(save_path)
    check_targets(request.files, [path for path in (map_path, save_path) if path is not None])
    with show_progress() as show:
        changed = compare(request, show)
        makers = {}
        if save_path is not None:
            makers[save_path] = lambda: to_changes_geojson(changed)
        if map_path is not None:
            makers[map_path] = lambda: build_map(
                cut_to_best(date_findings(make_changed_findings(changed)), MAP_SPOTS)
            )
        show("writing")
        written, failed = write_outputs(makers)
    reading = []
    for head, findings in (("Before", changed.old), ("Now", changed.new)):
        reading.append(f"{head}:")
        reading += format_reading_report(findings.sources, findings.report, new.settings.units)
    print_answer(format_changes(changed), written, reading)
    return status_of(0 if changed.differs else 1, failed)


def _part_files(
    named: tuple[str, ...], old: tuple[str, ...], new: tuple[str, ...]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The files before and those now: two words, or one side by its option and the other by words."""
    if not old and not new and len(named) == 2:
        return named[:1], named[1:]
    if bool(named) + bool(old) + bool(new) != 2:
        raise InputError(
            "compare",
            "it takes the boundaries before and those now",
            "name OLD and NEW, or --old FILE... and --parks FILE...",
        )
    return old or named, new or named
