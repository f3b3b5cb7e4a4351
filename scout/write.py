"""Outputs to disk: beside the target, flushed, renamed. An interrupted run leaves the old file whole."""

from __future__ import annotations

import os
import signal
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from scout.errors import OutputError

__all__ = ["Content", "write_file", "write_files"]

Content = str | bytes | Callable[[IO[bytes]], None]  # what is too large to hold writes itself


def write_file(path: str | Path, content: Content) -> None:
    """Write a whole file or nothing; text goes out as UTF-8.

    Raises
    ------
    OutputError
        When the folder is missing, not writable or full.
    """
    write_files({str(path): content})


def write_files(contents: Mapping[str, Content]) -> None:
    """Write several files, by their paths: none takes its place before all are on the disk.

    Raises
    ------
    OutputError
        When a folder is missing, not writable or full; all files are as they were before.
    """
    beside: dict[str, str] = {}  # what is written and not yet in its place
    path = ""
    try:
        with _tidy_when_ended():
            for path, content in contents.items():
                _check(path)
                _write_beside(path, content, beside)
            for path in contents:
                os.replace(beside[path], path)
                del beside[path]
    except OSError as error:
        raise OutputError(path, f"cannot be written ({error.strerror})", "try another folder") from None
    finally:
        for temporary in beside.values():
            with suppress(OSError):
                os.unlink(temporary)


@contextmanager
def _tidy_when_ended() -> Iterator[None]:
    """A request to end is heard as an exception inside, so that nothing half written stays behind."""
    here = threading.current_thread() is threading.main_thread()
    if not here or signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL:
        yield
        return
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)


def _check(path: str) -> None:
    target = Path(path)
    if target.is_dir():
        raise OutputError(path, "this is a folder", "name a file in it")
    if target.exists() and not target.is_file():
        raise OutputError(path, "this is no regular file", "name another")
    if not target.parent.is_dir():
        raise OutputError(path, f"there is no folder {target.parent}", "make it first")


def _write_beside(path: str, content: Content, beside: dict[str, str]) -> None:
    """Write and flush a file beside the target; ``beside`` knows it as soon as it exists."""
    target = Path(path)
    handle, beside[path] = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:40]}.")
    with os.fdopen(handle, "wb") as file:
        if callable(content):
            content(file)
        else:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
        file.flush()
        os.fsync(file.fileno())
    os.chmod(beside[path], _usual_mode(target))


def _usual_mode(target: Path) -> int:
    """The old file's permissions, or those a new file would get."""
    if target.exists():
        return target.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
