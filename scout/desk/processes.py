"""Processes to work in: copies of one that has everything imported, or, where there are none, started afresh.

On Linux a process that belongs to the desk imports what work needs and does no work itself; each worker is a
copy of it (fork), there at once, which shares its memory until it writes there. It runs no thread of
Python's; what libraries have running and open bears a fork. Elsewhere, and before Linux 5.3, a
worker imports for itself.
"""

from __future__ import annotations

import asyncio
import atexit
import os
import signal
import socket
import subprocess
import sys
import threading
from asyncio import StreamReader, StreamWriter
from asyncio.subprocess import PIPE
from contextlib import suppress
from typing import Protocol, cast

_COMMAND = (sys.executable, "-m", "scout.desk.worker")


class WorkProcess(Protocol):
    """What is asked of the process itself; all else goes through its two streams."""

    @property
    def returncode(self) -> int | None:
        """None while it runs, as far as is known."""

    def kill(self) -> None:
        """End it, whatever it does."""

    async def wait(self) -> object:
        """Return when it has ended."""


async def start_process(limit: int) -> tuple[WorkProcess, StreamReader, StreamWriter]:
    """A process that does jobs, and the streams from it and to it; lines longer than ``limit`` are errors."""
    if not _can_copy():
        # In a group of its own where there are such: Ctrl-C in the terminal is for the server alone.
        process = await asyncio.create_subprocess_exec(
            *_COMMAND, stdin=PIPE, stdout=PIPE, limit=limit, start_new_session=True
        )
        return process, cast(StreamReader, process.stdout), cast(StreamWriter, process.stdin)
    reader, writer = await asyncio.open_connection(sock=_template.copy(), limit=limit)
    return ProcessCopy(writer), reader, writer


def _can_copy() -> bool:
    """Whether the system can end a process that is no child of ours, and never another by mistake."""
    if sys.platform != "linux":
        return False
    try:
        os.close(os.pidfd_open(os.getpid()))
    except OSError:
        return False
    return True


class ProcessCopy:
    """A copy, which tells its number when it is there."""

    def __init__(self, writer: StreamWriter) -> None:
        self.returncode: int | None = None
        self._writer = writer
        self._handle = -1  # of the process: a number alone may come to mean another

    def know(self, pid: int) -> None:
        """Take its number, of which it tells in its first line."""
        with suppress(ProcessLookupError):
            self._handle = os.pidfd_open(pid)

    def kill(self) -> None:
        """End it; one that is not there yet ends with its line."""
        if self._handle < 0:
            self._writer.close()
        elif self.returncode is None:
            with suppress(ProcessLookupError):
                signal.pidfd_send_signal(self._handle, signal.SIGKILL)

    async def wait(self) -> None:
        """Return when it has ended."""
        if self._handle >= 0 and self.returncode is None:
            ended = asyncio.Event()
            loop = asyncio.get_running_loop()
            handle = os.dup(self._handle)  # others may wait for it too
            loop.add_reader(handle, ended.set)
            try:
                await ended.wait()
            finally:
                loop.remove_reader(handle)
                os.close(handle)
        if self._handle >= 0 and self.returncode is None:
            os.close(self._handle)
        self.returncode = -signal.SIGKILL
        self._writer.close()


class _Template:
    """The process with everything imported: one for all desks of this process, started with the first."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._line: socket.socket | None = None

    def copy(self) -> socket.socket:
        """The line to a new copy, which need not be there yet."""
        ours, theirs = socket.socketpair()
        with self._lock, theirs:
            line = self._ready()
            try:
                socket.send_fds(line, [b"+"], [theirs.fileno()])
            except ConnectionError:  # it has ended, perhaps for want of memory
                self.close()
                socket.send_fds(self._ready(), [b"+"], [theirs.fileno()])
        ours.setblocking(False)
        return ours

    def _ready(self) -> socket.socket:
        if self._process is not None and self._process.poll() is not None:
            self.close()
        if self._line is None:
            self._line, theirs = socket.socketpair(type=socket.SOCK_SEQPACKET)
            with theirs:
                self._process = subprocess.Popen(
                    [*_COMMAND, str(theirs.fileno())],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    pass_fds=[theirs.fileno()],
                    start_new_session=True,
                )
        return self._line

    def close(self) -> None:
        """End it: it holds nothing, and its copies go with their own lines."""
        if self._line is not None:
            self._line.close()
        if self._process is not None:
            self._process.kill()
            self._process.wait()
        self._line = self._process = None


_template = _Template()
atexit.register(_template.close)
