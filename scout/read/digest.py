"""The fingerprint of a file, so that what was made of it can be told to belong to it."""

from __future__ import annotations

import hashlib
from pathlib import Path

__all__ = ["sha256_of"]


def sha256_of(path: str | Path) -> str:
    """SHA-256 (FIPS 180-4) of a file's bytes, in hexadecimal digits."""
    with Path(path).open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
