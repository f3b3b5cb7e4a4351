"""Python programs in processes of their own, forked from one that has imported what most of them need.

For tests of what happens to a running program, not of how it starts: imports were most of what those took.
"""

from __future__ import annotations

import json
import os
import selectors
import signal
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_TESTS = Path(__file__).parent

# Forks once for each program it is asked for; the fork runs that at its own top level, as `python -c` does.
_SERVER = """
import io, json, os, socket, struct, sys
sys.path.insert(0, sys.argv[2])
exec(sys.argv[3])
sys.path.remove(sys.argv[2])
asked = socket.socket(fileno=int(sys.argv[1]))
while True:
    words, handles, _, _ = socket.recv_fds(asked, 1_000_000, 3)
    if not words:
        sys.exit()
    child = os.fork()
    if child == 0:
        break
    for handle in handles:
        os.close(handle)
    asked.sendall(struct.pack("!q", child))
    asked.sendall(struct.pack("!q", os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])))
asked.close()
for number, handle in enumerate(handles):
    os.dup2(handle, number)
    os.close(handle)
for name, number in (("stdout", 1), ("stderr", 2)):
    now = getattr(sys, name)
    bare = open(number, "wb", buffering=-1 if number == 1 else 0, closefd=False)
    direct = os.isatty(number)
    made = io.TextIOWrapper(
        bare, now.encoding, now.errors, line_buffering=number == 2 or direct, write_through=number == 2
    )
    setattr(sys, name, made)
    setattr(sys, f"__{name}__", made)
code, folder, words, environment = json.loads(words)
if environment is not None:
    os.environ.clear()
    os.environ.update(environment)
sys.argv = ["-c", *words]
os.chdir(folder)
exec(code, {"__name__": "__main__"})
"""

# What the commands import.
_COMMANDS = """
from fuzz.cage import warm_up
import scout.app.pack, scout.cli, scout.output.visits, scout.sight.path, scout.tours.plan, segno
warm_up()
"""


class Forked:
    """A running program; used as one of `subprocess.Popen` is."""

    def __init__(
        self,
        server: socket.socket,
        program: tuple[str, list[str], Path, dict[str, str] | None],
        terminal: int | None,
    ) -> None:
        self._server = server
        self.returncode: int | None = None
        (out, to_out), (err, to_err) = os.pipe(), os.pipe()
        nothing = os.open(os.devnull, os.O_RDONLY)
        handles = [nothing, to_out, to_err] if terminal is None else [terminal] * 3
        code, words, folder, environment = program
        socket.send_fds(server, [json.dumps([code, str(folder), words, environment]).encode()], handles)
        for handle in (nothing, to_out, to_err):
            os.close(handle)
        self.stdout, self.stderr = os.fdopen(out, "rb"), os.fdopen(err, "rb")
        self._number = self._receive(20.0)

    def _receive(self, timeout: float) -> int:
        self._server.settimeout(timeout)
        (number,) = struct.unpack("!q", self._server.recv(8, socket.MSG_WAITALL))
        return int(number)

    def send_signal(self, sent: signal.Signals) -> None:
        os.kill(self._number, sent)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)

    def communicate(self, timeout: float = 60.0) -> tuple[bytes, bytes]:
        """What it still says until it ends."""
        said = {self.stdout: b"", self.stderr: b""}
        given_up = time.monotonic() + timeout
        with self.stdout, self.stderr, selectors.DefaultSelector() as talking:
            for stream in said:
                talking.register(stream, selectors.EVENT_READ)
            while talking.get_map():
                ready = talking.select(given_up - time.monotonic())
                if not ready:
                    raise TimeoutError(f"still running after {timeout:g} s")
                for key, _ in ready:
                    part = key.fileobj.read1(65536)  # type: ignore[union-attr]
                    said[key.fileobj] += part  # type: ignore[index]
                    if not part:
                        talking.unregister(key.fileobj)
        if self.returncode is None:
            self.returncode = self._receive(max(given_up - time.monotonic(), 1.0))
        return said[self.stdout], said[self.stderr]

    def end(self) -> None:
        """End it where a test has left it."""
        if self.returncode is None:
            self.kill()
            self.returncode = self._receive(20.0)
            self.stdout.close()
            self.stderr.close()


class Forks:
    """Starts programs, one at a time."""

    def __init__(self, server: socket.socket) -> None:
        self._server = server
        self._last: Forked | None = None

    def start(
        self,
        code: str,
        words: list[str],
        folder: Path,
        environment: dict[str, str] | None = None,
        terminal: int | None = None,
    ) -> Forked:
        """Start a program in a folder; ``terminal`` is a handle that it reads from and writes to."""
        self.end()
        self._last = Forked(self._server, (code, words, folder, environment), terminal)
        return self._last

    def end(self) -> None:
        if self._last is not None:
            self._last.end()

    def run(
        self, code: str, words: list[str], folder: Path, timeout: float = 60.0
    ) -> subprocess.CompletedProcess[str]:
        program = self.start(code, words, folder)
        out, err = (text.decode() for text in program.communicate(timeout))
        assert program.returncode is not None
        return subprocess.CompletedProcess(words, program.returncode, out, err)


@contextmanager
def serve_forks(imports: str = _COMMANDS) -> Iterator[Forks]:
    """Start programs from one process, which has run ``imports`` and ends with the block."""
    mine, its = socket.socketpair()
    words = [sys.executable, "-c", _SERVER, str(its.fileno()), str(_TESTS), imports]
    with mine, subprocess.Popen(words, pass_fds=[its.fileno()]):
        its.close()
        forks = Forks(mine)
        try:
            yield forks
        finally:
            forks.end()
            mine.close()
