"""``scout stamp``: the station's location into a log."""

from __future__ import annotations

import os.path
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scout.cli.lines import print_lines
from scout.cli.options import NUMBER, add_notebook_option

if TYPE_CHECKING:
    from scout.model import Visit
    from scout.visits.stamp import StampedLog


@click.command("stamp")
@click.argument("path", metavar="LOG.adi")
@click.option("--visit", "number", type=NUMBER, required=True, metavar="N", help="Number of the visit.")
@click.option("--out", "folder", required=True, metavar="DIR", help="Folder for the stamped logs.")
@add_notebook_option
@click.option(
    "--sig", default="", metavar="NAME", help="Name of the parks' programme, for MY_SIG; a log per park."
)
@click.option("--grids", metavar="A,B", help="Claim only these grids of the visit, say two of three.")
@click.option("--force", is_flag=True, help="Replace what the log says otherwise.")
@click.option("--inside-only", is_flag=True, help="Leave contacts outside the visit out.")
@click.option("--dry-run", is_flag=True, help="Show what would change and write nothing.")
def command(
    path: str,
    number: int,
    folder: str,
    notebook: str,
    sig: str,
    grids: str | None,
    force: bool,
    inside_only: bool,
    dry_run: bool,
) -> int:
    """Set the station's location in the contacts of a visit, in copies of a log.

    LOG.adi is an ADIF log (ADI) of any program. Grids, coordinates, call signs and, with --sig, the park
    are set; every other byte stays as it is. What the log says otherwise is listed and left alone. Where
    the visit counts for several parks there is a log for each. Exit status: 0 when all is set, 1 when
    something was left alone or no contact lies within the visit, 2 for bad input.
    """
    from scout.app.visits import check_stampable, read_log, stamp_visit
    from scout.errors import OutputError, make_printable
    from scout.output.visits import format_stamping
    from scout.visits.notebook import Notebook

    visit = Notebook(notebook).visit(number)
    check_stampable(visit, sig)
    if os.path.exists(folder) and not os.path.isdir(folder):
        raise OutputError(f"--out {folder}", "this is no folder", "name another; one that is missing is made")
    log = read_log(path)
    chosen = _choose_grids(visit, grids)
    stamping = stamp_visit(log, visit, sig.strip(), chosen, force=force, only_inside=inside_only)
    written = _list_targets(path, Path(folder), stamping.outputs)
    print_lines(map(make_printable, format_stamping(stamping)))
    if not dry_run:
        _write(written, Path(folder))
    for output in stamping.outputs:
        target = str(Path(folder, output.name))
        word = "Unchanged" if target not in written else "Would write" if dry_run else "Wrote"
        click.echo(f"{word} {target}")
    return 0 if stamping.complete else 1


def _write(written: Mapping[str, bytes], folder: Path) -> None:
    """Write the logs, and before that the folder with those above it; a failure takes the new ones away."""
    from scout.errors import OutputError
    from scout.io.write import write_files

    new = [one for one in (folder, *folder.parents) if written and not os.path.exists(one)]
    try:
        if new:
            folder.mkdir(parents=True, exist_ok=True)
        write_files(written)
    except (OSError, ValueError, OutputError) as error:  # no path may hold a zero byte
        for one in new:
            with suppress(OSError):  # it was not made, or somebody has put something into it since
                one.rmdir()
        if isinstance(error, OutputError):
            raise
        what = f"the folder cannot be made ({getattr(error, 'strerror', error)})"
        raise OutputError(f"--out {folder}", what, "try another") from None


def _choose_grids(visit: Visit, grids: str | None) -> tuple[str, ...] | None:
    """The grids to claim as the user says; of three, someone at a terminal is asked."""
    from scout.visits.adi import list_choices, list_grids

    if grids is not None:
        return tuple(grids.replace(",", " ").split())
    squares = list_grids(visit.locators)
    if len(squares) != 3 or not sys.stdin.isatty():
        return None
    pairs = [",".join(pair) for pair in list_choices(squares)]
    click.echo(f"The visit claims {' '.join(squares)}. ADIF takes two or four grids; three have no form.")
    return tuple(click.prompt("Claim which", type=click.Choice([*pairs, *squares])).split(","))


def _list_targets(path: str, folder: Path, outputs: Sequence[StampedLog]) -> Mapping[str, bytes]:
    """What has to be written; never over the log that is read, nor over another."""
    from scout.errors import OutputError

    written: dict[str, bytes] = {}
    for output in outputs:
        target = folder / output.name
        there = target.read_bytes() if os.path.isfile(target) else None
        if there == output.stamped.data:
            continue
        if there is not None:
            same = target.samefile(path)
            what = "this is the log that is read" if same else "another log goes by this name"
            raise OutputError(str(target), what, "name another folder with --out")
        written[str(target)] = output.stamped.data
    return written
