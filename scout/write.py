"""Outputs to disk: beside the target, flushed, renamed. An interrupted run leaves the old file whole."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from scout.errors import OutputError

__all__ = ["write_file"]


def write_file(path: str | Path, content: str | bytes) -> None:
    """Write a whole file or nothing; text goes out as UTF-8.

    Raises
    ------
    OutputError
        When the folder is missing, not writable or full.
    """
    target = Path(path)
    data = content.encode("utf-8") if isinstance(content, str) else content
    if target.is_dir():
        raise OutputError(str(path), "this is a folder", "name a file in it")
    if not target.parent.is_dir():
        raise OutputError(str(path), f"there is no folder {target.parent}", "make it first")
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:40]}.")
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, _usual_mode(target))
        os.replace(temporary, target)
        temporary = ""
    except OSError as error:
        raise OutputError(str(path), f"cannot be written ({error.strerror})", "try another folder") from None
    finally:
        if temporary and os.path.exists(temporary):
            os.unlink(temporary)


def _usual_mode(target: Path) -> int:
    """The old file's permissions, or those a new file would get."""
    if target.exists():
        return target.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
