"""Files take their places together: once begun, neither a signal nor the end of this process parts them.

One rename is all or nothing; several in a row are not. So a small process of its own does them: it gets all
the names in one line and does nothing without its end. It hears no signal, is in no terminal's group and
outlives this one.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress

from scout.write.parts import Part

__all__ = ["ENDING", "move_all"]

# Requests to end that a process may hear; not all systems have both.
ENDING = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]

_MOVER = """
import json, os, signal, sys
for name in ("SIGINT", "SIGTERM", "SIGHUP"):
    if hasattr(signal, name):
        signal.signal(getattr(signal, name), signal.SIG_IGN)
print("ready", flush=True)
line = sys.stdin.readline()
for source, target in json.loads(line) if line.endswith("\\n") else ():
    try:
        os.replace(source, target)
    except OSError:
        pass
"""


def move_all(parts: Sequence[Part]) -> dict[Part, OSError]:
    """Rename parts to their targets; give those that the system refuses, with its reason."""
    if len(parts) > 1:
        with suppress(OSError, subprocess.SubprocessError), _mover(parts) as mover, _signals_held():
            mover.communicate(json.dumps([[part.path, str(part.target)] for part in parts]) + "\n")
    refused = {}
    with _signals_held():
        for part in parts:
            if os.name == "nt":
                part.close()
            try:
                # What the mover has moved is gone; what it could not move is tried again, for the reason.
                if len(parts) == 1 or os.path.lexists(part.path):
                    os.replace(part.path, part.target)
            except OSError as error:
                refused[part] = error
    return refused


@contextmanager
def _mover(parts: Sequence[Part]) -> Iterator[subprocess.Popen[str]]:
    """The process, ready to begin. It shares the locks: no other run takes its files for left ones."""
    if os.name == "nt":
        for part in parts:
            part.close()
    process = subprocess.Popen(
        [sys.executable, "-I", "-S", "-c", _MOVER],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
        pass_fds=() if os.name == "nt" else [part.handle for part in parts],
    )
    try:
        assert process.stdout is not None
        if process.stdout.readline() != "ready\n":
            raise subprocess.SubprocessError
        yield process
    finally:
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                with suppress(OSError):
                    stream.close()
        process.wait()


@contextmanager
def _signals_held() -> Iterator[None]:
    """Requests to end are heard when the block is done."""
    here = threading.current_thread() is threading.main_thread()
    came: list[int] = []
    before = {}
    for number in (signal.SIGINT, *ENDING):
        if here and signal.getsignal(number) is not signal.SIG_IGN:
            before[number] = signal.signal(number, lambda number, _: came.append(number))
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)
        for number in came[:1]:
            signal.raise_signal(number)
