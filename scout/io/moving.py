"""Files on their way: written beside their targets, then all moved to their places together.

Files take their places together: once begun, neither a signal nor the end of this process parts them.

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
import tempfile
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows: there an open file cannot be deleted, which does as well
    fcntl = None  # type: ignore[assignment]


_SUFFIX = ".scout-part"  # no file of anybody's ends so


class OutputPart:
    """A file beside its target, made empty. Its lock ends with this process and those that share it."""

    def __init__(self, target: Path) -> None:
        self.target = target
        self.handle, self.path = tempfile.mkstemp(
            dir=target.parent, prefix=_make_prefix(target), suffix=_SUFFIX
        )
        _lock(self.handle)

    def close(self) -> None:
        """Let the lock go."""
        if self.handle >= 0:
            os.close(self.handle)
            self.handle = -1

    def remove(self) -> None:
        """Remove the file, where it has not taken its place."""
        self.close()
        with suppress(OSError):
            os.unlink(self.path)


def remove_left(target: Path) -> None:
    """Remove what runs that were killed have left beside a target; what a living run writes is locked."""
    start = _make_prefix(target)
    with suppress(OSError):
        for entry in list(os.scandir(target.parent)):
            if entry.name.startswith(start) and entry.name.endswith(_SUFFIX):
                _remove_unlocked(entry.path)


def is_part_name(name: str) -> bool:
    """Whether a file of this name is on its way, or was left on it."""
    return name.startswith(".") and name.endswith(_SUFFIX)


def _make_prefix(target: Path) -> str:
    return f".{target.name[:40]}."


def _remove_unlocked(path: str) -> None:
    with suppress(OSError):
        handle = os.open(path, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
        try:
            if fcntl is not None:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                os.unlink(path)
        finally:
            os.close(handle)
        if fcntl is None:
            os.unlink(path)


def _lock(handle: int) -> None:
    if fcntl is not None:
        with suppress(OSError):  # a file system without locks, where nothing left is removed either
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


# Files take their places together: once begun, neither a signal nor the end of this process parts them.
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


def move_all(parts: Sequence[OutputPart]) -> dict[OutputPart, OSError]:
    """Rename parts to their targets; give those that the system refuses, with its reason."""
    if len(parts) > 1:
        with suppress(OSError, subprocess.SubprocessError), _start_mover(parts) as mover, _hold_signals():
            mover.communicate(json.dumps([[part.path, str(part.target)] for part in parts]) + "\n")
    refused = {}
    with _hold_signals():
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
def _start_mover(parts: Sequence[OutputPart]) -> Iterator[subprocess.Popen[str]]:
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
def _hold_signals() -> Iterator[None]:
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
