"""``scout stamp``: the station's location into a log."""

from __future__ import annotations

import os.path
import re
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scout.cli.options import add_notebook_option

if TYPE_CHECKING:
    from scout.model import Visit
    from scout.visits.adi import AdifLog
    from scout.visits.stamp import Conflict, Stamped, Timeline


_TOLD = 20  # lines of each list


@dataclass(frozen=True, slots=True)
class _StampedLog:
    """One log to write: the park it is for, empty for all, and what became of it."""

    path: Path
    park: str
    stamped: Stamped


@click.command("stamp")
@click.argument("path", metavar="LOG.adi")
@click.option("--visit", "number", type=int, required=True, metavar="N", help="Number of the visit.")
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
    from scout.visits.adi import parse_log
    from scout.visits.notebook import Notebook
    from scout.visits.stamp import sort_contacts

    visit = Notebook(notebook).visit(number)
    _check_options(visit, sig, folder)
    log = parse_log(_read_bytes(path), path)
    times = sort_contacts(log, visit)
    chosen = _choose_grids(visit, grids)
    outputs, notes = _make_logs(log, visit, times, Path(folder), sig.strip(), chosen, force, inside_only)
    written = _list_targets(path, outputs)
    for line in _format_stamped(log, visit, times, outputs, notes):
        click.echo(line)
    if not dry_run:
        _write(written, Path(folder))
    for output in outputs:
        word = "Unchanged" if str(output.path) not in written else "Would write" if dry_run else "Wrote"
        click.echo(f"{word} {output.path}")
    left = any(not conflict.replaced for output in outputs for conflict in output.stamped.conflicts)
    return 0 if outputs and not left else 1


def _check_options(visit: Visit, sig: str, folder: str) -> None:
    from scout.errors import InputError, OutputError

    where = f"visit {visit.number}"
    if visit.end is None:
        raise InputError(where, "its end is not noted", f"add it: scout visit edit {visit.number} --end TIME")
    if not visit.locators:
        raise InputError(where, "it claims no grid", f"judge it: scout visit edit {visit.number} --place ...")
    if sig and not visit.parks:
        raise InputError("--sig", f"{where} names no park", f"scout visit edit {visit.number} --in-park ID")
    if os.path.exists(folder) and not os.path.isdir(folder):
        raise OutputError(f"--out {folder}", "this is no folder", "name another; one that is missing is made")


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


def _read_bytes(path: str) -> bytes:
    from scout.errors import InputError
    from scout.io.formats import check_local

    try:
        return check_local(path).read_bytes()
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror})", "check the name") from None


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


def _make_logs(
    log: AdifLog,
    visit: Visit,
    times: Timeline,
    folder: Path,
    sig: str,
    grids: Sequence[str] | None,
    force: bool,
    inside_only: bool,
) -> tuple[list[_StampedLog], list[str]]:
    """The logs to write, none where no contact was made in the visit, and what to say of them."""
    from scout.visits.stamp import make_claim, stamp_log

    stem = Path(log.path).stem
    outputs: list[_StampedLog] = []
    notes: list[str] = []
    for park in [park.park for park in visit.parks] if sig else [""]:
        claim = make_claim(visit, sig, park, grids)
        notes += [note for note in claim.notes if note not in notes]
        stamped = stamp_log(log, claim, times.inside, force=force, only_inside=inside_only)
        ending = f"-{_make_plain_name(park) or f'visit-{visit.number}'}"
        name = f"{stem.removesuffix(ending)}{ending}.adi"  # stamped again, a log keeps its name
        taken = {output.path.name.lower() for output in outputs}
        if name.lower() in taken:
            name = f"{name[:-4]}-{len(taken) + 1}.adi"
        if times.inside and (stamped.carrying or not sig):
            outputs.append(_StampedLog(folder / name, park, stamped))
        elif times.inside:
            notes.append(f"{park}: no log is written, for every contact of the visit names another park.")
    if not sig and visit.parks:
        notes.append("No park is set: name the programme with --sig to have a log for each park.")
    return outputs, notes


def _make_plain_name(park: str) -> str:
    """A park's id as part of a file name anywhere."""
    return re.sub(r"[^A-Za-z0-9_-]+", "_", park).strip("_")[:60] or ("park" if park else "")


def _list_targets(path: str, outputs: Sequence[_StampedLog]) -> Mapping[str, bytes]:
    """What has to be written; never over the log that is read, nor over another."""
    from scout.errors import OutputError

    written: dict[str, bytes] = {}
    for output in outputs:
        target = output.path
        there = target.read_bytes() if os.path.isfile(target) else None
        if there == output.stamped.data:
            continue
        if there is not None:
            same = target.samefile(path)
            what = "this is the log that is read" if same else "another log goes by this name"
            raise OutputError(str(target), what, "name another folder with --out")
        written[str(target)] = output.stamped.data
    return written


def _format_stamped(
    log: AdifLog, visit: Visit, times: Timeline, outputs: Sequence[_StampedLog], notes: Sequence[str]
) -> Iterator[str]:
    from scout.errors import make_printable

    yield make_printable(
        f"{log.path}: {_count_contacts(len(log.contacts))}, "
        f"{len(times.inside):,} during visit {visit.number} "
        f"({visit.start:%Y-%m-%d %H:%M} to {visit.end:%Y-%m-%d %H:%M} UTC)."
    )
    yield from (make_printable(note) for note in (*log.notes, *notes))
    yield from _format_some("Outside", times.outside)
    if times.far:
        yield f"Outside: {times.far:,} more than a day before or after."
    yield from _format_some("Look at", times.doubts)
    for output in outputs:
        counts = ", ".join(f"{name} in {count:,}" for name, count in output.stamped.set_fields)
        head = f"{output.park}: " if output.park else ""
        yield make_printable(
            f"{head}{_count_contacts(output.stamped.changed)} change: {counts or 'nothing to set'}."
        )
        yield from _format_some(f"Conflict{', ' + output.park if output.park else ''}", _list_clashes(output))


def _count_contacts(count: int) -> str:
    return f"{count:,} contact{'s' * (count != 1)}"


def _list_clashes(output: _StampedLog) -> list[str]:
    def line(conflict: Conflict) -> str:
        done = "replaced" if conflict.replaced else "left alone"
        mine = conflict.value or "that nothing should stand there"
        who = f"contact {conflict.contact} ({conflict.call or 'no call sign'})"
        return f"{who}: {conflict.name} is {conflict.said!r}, the visit says {mine}: {done}"

    return [line(conflict) for conflict in output.stamped.conflicts]


def _format_some(word: str, lines: Sequence[str]) -> Iterator[str]:
    from scout.errors import make_printable

    for line in lines[:_TOLD]:
        yield make_printable(f"{word}: {line}{'' if line.endswith('?') else '.'}")
    if len(lines) > _TOLD:
        yield make_printable(f"{word}: {len(lines) - _TOLD:,} more like these.")
