"""What a command ends with when it cannot go on: one line on stderr, and the exit status that says why."""

from __future__ import annotations

import os
import traceback

import click

from scout.errors import FaultError, ScoutError, make_printable

BAD_INPUT = 2  # the user can put it right
FAULT = 3  # the user cannot: never to be taken for "nothing found", which is 1
_DETAILS = "SCOUT_DETAILS"  # environment variable: the traceback of a fault as well


def complain(error: Exception) -> int:
    """Say in a line what ended a command, or kept it from a part of its work; give the exit status."""
    if isinstance(error, ScoutError):
        fault = error if isinstance(error, FaultError) else None
        say(str(error))
    else:
        fault = FaultError("scout", error)
        say(str(fault).removeprefix("scout: "))
    if fault is not None and os.environ.get(_DETAILS):
        click.echo(make_printable("".join(traceback.format_exception(fault.__cause__))), err=True, nl=False)
    return BAD_INPUT if fault is None else FAULT


def say(text: str) -> None:
    """A line on stderr."""
    click.echo(f"scout: {' '.join(make_printable(text).split())}", err=True)
