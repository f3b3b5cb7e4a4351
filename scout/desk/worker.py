"""A process of one tab: jobs come in as lines of JSON, progress and answers go out as lines of JSON.

It starts with everything imported, so that the first click need not wait for that; ends when the desk does;
and can be ended at any moment, for it holds nothing but what can be read again.
"""

from __future__ import annotations

import json
import os
import queue
import sys
import threading
import traceback
from collections.abc import Callable
from functools import partial
from typing import Any, TextIO

import click

from scout.desk.names import LOADED, OUTING
from scout.errors import ScoutError

__all__ = ["main"]

_NICE = 5  # the page and the rest of the machine come first


class _Stopped(Exception):
    """The user wants no more of this job."""


class _Desk:
    """The other end of the pipes."""

    def __init__(self, out: TextIO) -> None:
        self.out = out
        self.jobs: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        self.job = 0  # the number of the one that is done
        self.stopped = 0  # of the last one that is to stop

    def listen(self) -> None:
        """Take jobs as they come; end with the desk, whatever is being done."""
        for line in sys.stdin:
            message = json.loads(line)
            if "stop" in message:
                self.stopped = message["stop"]
            else:
                self.jobs.put(message)
        os._exit(0)

    def say(self, **words: Any) -> None:
        self.out.write(json.dumps(words) + "\n")
        self.out.flush()

    def hand_over(self, part: Any) -> None:
        self.say(part=part)

    def show(self, text: str) -> None:
        if self.stopped >= self.job:
            raise _Stopped
        self.say(progress=text)


def main() -> None:
    """Do jobs until the desk closes the pipe."""
    # What a library prints, in C or in Python, is neither an answer nor advice to the user.
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    terminal = os.fdopen(os.dup(2), "w", encoding="utf-8", errors="backslashreplace", buffering=1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    if hasattr(os, "nice"):
        os.nice(_NICE)
    desk = _Desk(out)
    from scout.desk.bench import Bench

    bench = Bench()
    bench.warm()
    threading.Thread(target=desk.listen, daemon=True).start()
    while True:
        message = desk.jobs.get()
        desk.job = message["number"]
        desk.say(**_done(partial(bench.do, message, desk.show, desk.hand_over), terminal))


def _done(job: Callable[[], Any], terminal: TextIO) -> dict[str, Any]:
    try:
        return {"done": job()}
    except _Stopped:
        return {"stopped": True}
    except ScoutError as error:
        return {"error": {"where": error.where, "text": _plain(str(error))}}
    except click.ClickException as error:
        return {"error": {"where": "", "text": error.format_message()}}
    except MemoryError:
        text = "There is not enough memory for this; choose a smaller radius, or smaller files."
        return {"error": {"where": "", "text": text}}
    except Exception as error:  # a fault of ours must not leave the page waiting
        traceback.print_exc(file=terminal)
        text = f"This should not have happened, and is a fault of scout ({type(error).__name__}: {error})."
        return {"error": {"where": "", "text": text[:400]}}


def _plain(text: str) -> str:
    """Without the name of a file that the desk itself wrote."""
    return text.removeprefix(f"{OUTING}: ").removeprefix(f"{LOADED}: ")


if __name__ == "__main__":
    main()
