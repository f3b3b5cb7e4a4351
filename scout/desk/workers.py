"""Processes that do the work, seen from the server: started ahead, told what to do, ended at any moment."""

from __future__ import annotations

import asyncio
import json
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import Callable
from contextlib import suppress
from typing import Any

__all__ = ["Spares", "Worker"]

_LONGEST_LINE = 2**26  # an answer with a picture of many parks
_TOO_LONG = (
    f"The answer is larger than the {_LONGEST_LINE >> 20} MiB that the desk shows at once: "
    "choose a smaller radius or area, or use the command line. Your files are here."
)
_GONE = "The process that did the work has ended, perhaps for want of memory. Your files are here: try again."


class Worker:
    """One process."""

    def __init__(self, process: Process) -> None:
        self.process = process
        self._reader = asyncio.create_task(self._read())
        self._answer: asyncio.Future[dict[str, Any]] | None = None
        self._heard: Callable[[dict[str, Any]], None] = lambda _: None
        self._job = 0  # its number: what is asked of a job must not reach the next one

    @classmethod
    async def start(cls) -> Worker:
        """A process that imports what it will need."""
        command = (sys.executable, "-m", "scout.desk.worker")
        # In a group of its own where there are such: Ctrl-C in the terminal is for the server alone.
        process = await asyncio.create_subprocess_exec(
            *command, stdin=PIPE, stdout=PIPE, limit=_LONGEST_LINE, start_new_session=True
        )
        return cls(process)

    @property
    def alive(self) -> bool:
        """Whether the process still runs and is listened to."""
        return self.process.returncode is None and not self._reader.done()

    async def do(self, message: dict[str, Any], heard: Callable[[dict[str, Any]], None]) -> dict[str, Any]:
        """One job, one at a time; its progress goes to ``heard``."""
        self._answer, self._heard = asyncio.get_running_loop().create_future(), heard
        self._job += 1
        try:
            self._send({**message, "number": self._job})
            return await self._answer
        finally:
            self._answer = None

    def ask_to_stop(self) -> None:
        """Let the job end by itself, if it is one that tells of its progress."""
        self._send({"stop": self._job})

    async def end(self) -> None:
        """End the process, whatever it is doing."""
        with suppress(ProcessLookupError):
            self.process.kill()
        await self.process.wait()
        await asyncio.gather(self._reader, return_exceptions=True)

    def _send(self, message: dict[str, Any]) -> None:
        stream = self.process.stdin
        if stream is None or stream.is_closing() or not self.alive:
            self._settle({"error": {"where": "", "text": _GONE}})
            return
        with suppress(ConnectionError):
            stream.write(json.dumps(message).encode("utf-8") + b"\n")

    async def _read(self) -> None:
        stream = self.process.stdout
        try:
            while stream is not None and (line := await stream.readline()):
                message = json.loads(line)
                if {"done", "error", "stopped"} & set(message):
                    self._settle(message)
                else:
                    self._heard(message)
        except ValueError:  # a line over the limit
            self._settle({"error": {"where": "", "text": _TOO_LONG}})
            with suppress(ProcessLookupError):
                self.process.kill()
        finally:
            self._settle({"error": {"where": "", "text": _GONE}})

    def _settle(self, message: dict[str, Any]) -> None:
        if self._answer is not None and not self._answer.done():
            self._answer.set_result(message)


class Spares:
    """One process always waits with everything imported, for the next tab or after a cancel."""

    def __init__(self) -> None:
        self._next: asyncio.Task[Worker] | None = None
        self._closed = False

    def prepare(self) -> None:
        """Start the one that waits, if there is none."""
        if self._next is None and not self._closed:
            self._next = asyncio.create_task(Worker.start())

    async def take(self) -> Worker:
        """The one that waits; another is started in its place."""
        self.prepare()
        coming, self._next = self._next, None
        if coming is None:
            raise RuntimeError("the desk is closed")
        worker = await coming
        self.prepare()
        if not worker.alive:
            return await Worker.start()
        return worker

    async def close(self) -> None:
        """End the one that waits."""
        self._closed = True
        coming, self._next = self._next, None
        if coming is not None:
            await (await coming).end()
