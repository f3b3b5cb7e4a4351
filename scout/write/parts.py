"""Files on their way: written beside their targets, locked while the run that writes them lives."""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows: there an open file cannot be deleted, which does as well
    fcntl = None  # type: ignore[assignment]

__all__ = ["Part", "remove_left"]

_SUFFIX = ".scout-part"  # no file of anybody's ends so


class Part:
    """A file beside its target, made empty. Its lock ends with this process and those that share it."""

    def __init__(self, target: Path) -> None:
        self.target = target
        self.handle, self.path = tempfile.mkstemp(dir=target.parent, prefix=_prefix(target), suffix=_SUFFIX)
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
    start = _prefix(target)
    with suppress(OSError):
        for entry in list(os.scandir(target.parent)):
            if entry.name.startswith(start) and entry.name.endswith(_SUFFIX):
                _remove_unlocked(entry.path)


def _prefix(target: Path) -> str:
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
