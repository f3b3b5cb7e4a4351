"""Lines of an answer: as they are in a pipe; on a terminal set to its width, verdicts in colour."""

from __future__ import annotations

import itertools
import shutil
import sys
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

    from scout.output.report import TableLine

_ROOM = 24  # columns that a wrapped text needs to be read with ease
# Where a verdict stands: alone, after what it judges, before its confidence; never within a name.
_VERDICT = r"(?:^|^Verdict: |, )(?P<{}>{})(?=[,.]| \d|$)"
_COLOURS = {
    "green": _VERDICT.format("green", "firm"),
    "yellow": _VERDICT.format("yellow", "doubtful|(?:firm|doubtful) if the outline is true"),
    "red": _VERDICT.format("red", "not counted"),
    "bold": r"^(?:#\d+ )?(?P<bold>WARNING)\b",
}


def is_on_terminal() -> bool:
    """Whether people read the answer as it comes."""
    return sys.stdout.isatty()


def print_lines(lines: Iterable[str]) -> None:
    """Print an answer. In a pipe every line stays as it is, for programs read it."""
    if not is_on_terminal():
        for line in lines:
            click.echo(line)
        return
    from rich.console import Console  # here, for it takes as long as a small search and few runs need it

    from scout.output.report import TableLine

    # What colours there are, and whether they are wanted, rich finds out (NO_COLOR, TERM=dumb).
    console = Console(width=max(shutil.get_terminal_size().columns, 20), highlight=False, markup=False)
    for is_table, some in itertools.groupby(lines, lambda line: isinstance(line, TableLine)):
        for text in _fit_tables(some, console) if is_table else _fit_prose(some, console):  # type: ignore[arg-type]
            console.print(text, soft_wrap=True)


def print_answer(answer: Iterable[str], written: Iterable[str], reading: Iterable[str]) -> None:
    """Print what was found, what was written and how the files were read; on a terminal that comes last."""
    found = [*answer, *(f"Wrote {path}" for path in written)]
    print_lines([*found, "", *reading] if is_on_terminal() else [*reading, "", *found])


def _fit_prose(lines: Iterable[str], console: Console) -> Iterator[Text]:
    for line in lines:
        words = line.lstrip(" ")
        indent = " " * (len(line) - len(words))
        yield from _wrap(_colour(words), console, indent, f"{indent}  ")


def _fit_tables(lines: Iterable[TableLine], console: Console) -> Iterator[Text]:
    for _, rows in itertools.groupby(lines, lambda line: id(line.widths)):
        yield from _fit_table(list(rows), console)


def _fit_table(rows: list[TableLine], console: Console) -> Iterator[Text]:
    """A table in the width of the terminal.

    Where its columns do not fit side by side, the heads break; then the last column wraps, if that is all
    that is too wide and has room; else as many columns as fit stay, and the others follow below them, each
    with its head.
    """
    from rich.text import Text

    heads, indent = rows[0].heads, rows[0].indent
    table = [[_colour(cell) for cell in row.cells] for row in rows]
    body = table[1:] if heads and len(table) > 1 else table
    room = console.width - len(indent)
    widths = [max(cell.cell_len for cell in column) for column in zip(*table, strict=True)]
    if sum(widths) + 2 * (len(widths) - 1) > room and heads:
        least = [max(map(len, head.split()), default=0) for head in heads]
        widths = [max(least[k], *(cells[k].cell_len for cells in body)) for k in range(len(widths))]
    ends = [sum(widths[: k + 1]) + 2 * k for k in range(len(widths))]
    kept = sum(end <= room for end in ends)
    if kept == len(widths) - 1 and (kept == 0 or room - ends[kept - 1] - 2 >= _ROOM):
        widths[-1] = room - (ends[kept - 1] + 2 if kept else 0)
        kept += 1
    kept = max(kept, 1)
    widths[0] = min(widths[0], room)
    below = indent + " " * min(widths[0] + 2, 4)
    for k, cells in enumerate(table):
        columns = [cell.wrap(console, width) for cell, width in zip(cells[:kept], widths, strict=False)]
        for each in itertools.zip_longest(*columns, fillvalue=Text()):
            line = Text(indent)
            for cell, width in zip(each, widths, strict=False):
                cell.rstrip()
                line.append_text(cell).append(" " * (width + 2 - cell.cell_len))
            line.rstrip()
            yield line
        if k or not heads:
            names = heads[kept:] or [""] * (len(cells) - kept)
            yield from _pack(zip(names, cells[kept:], strict=True), console, below)


def _pack(cells: Iterable[tuple[str, Text]], console: Console, indent: str) -> Iterator[Text]:
    """Cells one after another, each after its head, in as few lines as hold them."""
    from rich.text import Text

    line = Text()
    for head, cell in cells:
        if not cell:
            continue
        named = Text().append(f"{head} " if head else "", "dim").append_text(cell)
        if line and len(indent) + line.cell_len + 2 + named.cell_len > console.width:
            yield from _wrap(line, console, indent)
            line = Text()
        line = line.append("  ").append_text(named) if line else named
    if line:
        yield from _wrap(line, console, indent)


def _wrap(text: Text, console: Console, first: str = "", rest: str | None = None) -> Iterator[Text]:
    """Lines of a text, broken between words; what has a word longer than a line (a path) is left whole."""
    from rich.cells import cell_len
    from rich.text import Text

    rest = first if rest is None else rest
    within = console.width - len(rest)
    if max(map(cell_len, text.plain.split()), default=0) > within:
        yield Text(first).append_text(text)
        return
    for k, line in enumerate(text.wrap(console, within)):
        line.rstrip()
        yield Text(first if k == 0 else rest).append_text(line)


def _colour(words: str) -> Text:
    from rich.text import Text

    text = Text(words)
    for pattern in _COLOURS.values():
        text.highlight_regex(pattern)
    return text
