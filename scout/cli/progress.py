"""Progress on a terminal; silence in a pipe."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from scout.errors import make_printable


@contextmanager
def show_progress() -> Iterator[Callable[[str], None]]:
    """A function that shows what is being done on one line of the terminal, cleared at the end."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return

    def show(text: str) -> None:
        width = shutil.get_terminal_size().columns - 1
        sys.stderr.write(f"\r{make_printable(text)[:width]:<{width}}")
        sys.stderr.flush()

    try:
        yield show
    finally:
        show("")
        sys.stderr.write("\r")
        sys.stderr.flush()
