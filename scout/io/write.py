"""Outputs to disk: beside the target, flushed, renamed. An interrupted run leaves the old files whole."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from scout.errors import OutputError
from scout.io.moving import ENDING, OutputPart, move_all, remove_left

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
    """Write several files, by their paths, all or none: none takes its place before all are on the disk.

    Raises
    ------
    OutputError
        When a folder is missing, not writable or full; all files are as they were before. Where the system
        refuses the very last step, the renaming, for one of them, the others are written.
    """
    for error in _written(contents, all_or_none=True).values():
        raise error


@contextmanager
def make_folder(path: str | Path) -> Iterator[None]:
    """Make a folder, if there is none, for what is written inside the block; it goes again where that fails.

    Raises
    ------
    OutputError
        When it cannot be made.
    """
    folder = Path(path)
    try:
        folder.mkdir()
    except FileExistsError:
        yield
        return
    except OSError as error:
        raise _refused(str(path), error) from error
    try:
        yield
    except BaseException:
        with suppress(OSError):
            folder.rmdir()
        raise


def write_possible(contents: Mapping[str, Content]) -> dict[str, OutputError]:
    """Write those of several files that can be written; they take their places when all are on the disk.

    Returns
    -------
    dict
        By path, why a file could not be written; it is as it was before.
    """
    return _written(contents, all_or_none=False)


def _written(contents: Mapping[str, Content], *, all_or_none: bool) -> dict[str, OutputError]:
    parts: dict[str, OutputPart] = {}  # what is written and not yet in its place
    failed: dict[str, OutputError] = {}
    try:
        with _tidy_when_ended():
            for path, content in contents.items():
                try:
                    _write_part(path, content, parts)
                except OutputError as error:
                    failed[path] = error
                except OSError as error:
                    failed[path] = _refused(path, error)
                if path in failed:
                    if all_or_none:
                        return failed
                    if path in parts:
                        parts.pop(path).remove()  # makes room for those after it
            refused = move_all(list(parts.values()))
            failed |= {path: _refused(path, refused[part]) for path, part in parts.items() if part in refused}
        return failed
    finally:
        for part in parts.values():
            part.remove()


def _refused(path: str, error: OSError) -> OutputError:
    return OutputError(path, f"cannot be written ({error.strerror})", "try another folder")


@contextmanager
def _tidy_when_ended() -> Iterator[None]:
    """Interrupts and requests to end are exceptions inside, so that nothing half written stays behind."""
    here = threading.current_thread() is threading.main_thread()
    heard = [number for number in ENDING if here and signal.getsignal(number) is signal.SIG_DFL]
    before = signal.getsignal(signal.SIGINT)
    for number in heard:
        signal.signal(number, lambda number, _: sys.exit(128 + number))
    if here and callable(before):
        signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        for number in heard:
            signal.signal(number, signal.SIG_DFL)
        if here and callable(before):
            signal.signal(signal.SIGINT, before)


def _target(path: str) -> Path:
    """Where a path leads, through links too: what they point at is written, and they stay."""
    target = Path(os.path.realpath(path))
    if target.is_symlink():
        raise OutputError(path, "this link leads round in a circle", "name another file")
    if target.is_dir():
        raise OutputError(path, "this is a folder", "name a file in it")
    if target.exists() and not target.is_file():
        raise OutputError(path, "this is no regular file", "name another")
    if not target.parent.is_dir():
        folder = target.parent if os.path.islink(path) else Path(path).parent
        raise OutputError(path, f"there is no folder {folder}", "make it first")
    return target


def _write_part(path: str, content: Content, parts: dict[str, OutputPart]) -> None:
    """Write and flush a file beside the target; ``parts`` knows it as soon as it exists."""
    target = _target(path)
    remove_left(target)
    parts[path] = part = OutputPart(target)
    with os.fdopen(os.dup(part.handle), "wb") as file:
        if callable(content):
            content(file)
        else:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
        file.flush()
        os.fsync(file.fileno())
    os.chmod(part.path, _choose_mode(target))


def _choose_mode(target: Path) -> int:
    """The old file's permissions, or those a new file would get."""
    if target.exists():
        return target.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
