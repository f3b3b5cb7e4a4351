"""While a command works: progress on a terminal, silence in a pipe; and interrupts."""

from __future__ import annotations

import shutil
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from scout.errors import make_printable


class Interrupts:
    """Once a command works, an interrupt is raised in it: there may be something to tidy up.

    That one came is kept, since a library that is interrupted may make any other error of it.
    """

    def __init__(self) -> None:
        self.came = self._wanted = False

    @contextmanager
    def watch(self) -> Iterator[None]:
        """Watch for them in the block, where they are not ignored; then the handler is what it was."""
        before = signal.getsignal(signal.SIGINT)
        self.came = False
        self._wanted = callable(before) and threading.current_thread() is threading.main_thread()
        try:
            yield
        finally:
            if self._wanted:
                self._wanted = False
                signal.signal(signal.SIGINT, before)

    def hear(self) -> None:
        """Raise those that come from here on."""
        if self._wanted:
            signal.signal(signal.SIGINT, self._raise)

    def _raise(self, *_: object) -> None:
        self.came = True
        raise KeyboardInterrupt


INTERRUPTS = Interrupts()


@contextmanager
def show_progress() -> Iterator[Callable[[str], None]]:
    """A function that shows what is being done on one line of the terminal, cleared at the end."""
    INTERRUPTS.hear()
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
