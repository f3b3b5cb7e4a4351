"""The private folder of one run, and those that runs which were killed have left behind."""

from __future__ import annotations

import os
import shutil
import stat
import sys
import tempfile
from contextlib import suppress
from pathlib import Path

if sys.platform != "win32":
    import fcntl

__all__ = ["PrivateFolder", "remove_leftovers"]

_COMING, _PREFIX = "scout-desk-", "scout-desks-"


class PrivateFolder:
    """A folder for this user alone, locked as long as the process lives: a lock goes with its process."""

    def __init__(self) -> None:
        self.path = Path(tempfile.mkdtemp(prefix=_COMING))  # 0700 by definition
        self._lock = -1
        if sys.platform != "win32":
            self._lock = os.open(self.path, os.O_RDONLY)
            fcntl.flock(self._lock, fcntl.LOCK_EX)
            # Under this name it is never to be seen without its lock.
            self.path = self.path.rename(self.path.with_name(self.path.name.replace(_COMING, _PREFIX)))

    def close(self) -> None:
        """Remove it with all that is in it."""
        shutil.rmtree(self.path, ignore_errors=True)
        if self._lock >= 0:
            os.close(self._lock)


def remove_leftovers() -> None:
    """Remove the folders of this user's desks that have ended without doing so.

    A folder is taken only with its lock, which no living desk lets go of. Where the system has no such locks
    it stays.
    """
    if sys.platform == "win32":
        return
    for path in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*"):
        with suppress(OSError):  # another's, or another desk is removing it
            found = path.lstat()
            if stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid():
                _remove_unlocked(path)


def _remove_unlocked(path: Path) -> None:
    lock = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_DIRECTORY)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        shutil.rmtree(path, ignore_errors=True)
    finally:
        os.close(lock)
