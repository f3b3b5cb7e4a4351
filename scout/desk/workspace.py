"""A folder and a process for each tab, and all of them together."""

from __future__ import annotations

import asyncio
import json
import os
import secrets
import shutil
import stat
import sys
import tempfile
import time
from asyncio import StreamReader, StreamWriter
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from scout.desk.files import BEFORE, NOTEBOOK, OTHER_ROLES, ROLES, check_name, is_part, list_named
from scout.desk.limits import Limits
from scout.desk.processes import ProcessCopy, WorkProcess, start_process
from scout.errors import InputError

_LONGEST_LINE = 2**26  # an answer with a picture of many parks
_TOO_LONG = (
    f"The answer is larger than the {_LONGEST_LINE >> 20} MiB that the desk shows at once: "
    "choose a smaller radius or area, or use the command line. Your files are here."
)
_GONE = "The process that did the work has ended, perhaps for want of memory. Your files are here: try again."


class Worker:
    """One process."""

    def __init__(self, process: WorkProcess, reader: StreamReader, writer: StreamWriter) -> None:
        self.process, self._from, self._to = process, reader, writer
        self._reader = asyncio.create_task(self._read())
        self._answer: asyncio.Future[dict[str, Any]] | None = None
        self._heard: Callable[[dict[str, Any]], None] = lambda _: None
        self._job = 0  # its number: what is asked of a job must not reach the next one
        self._ending = False

    @classmethod
    async def start(cls) -> Worker:
        """A process that has imported what it will need, or is about to."""
        return cls(*await start_process(_LONGEST_LINE))

    @property
    def alive(self) -> bool:
        """Whether the process still runs and is listened to."""
        return not self._ending and self.process.returncode is None and not self._reader.done()

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
        """End the process, whatever it is doing.

        From the first moment it takes no more jobs: the system tells of the end only later.
        """
        self._ending = True
        with suppress(ProcessLookupError):
            self.process.kill()
        await self.process.wait()
        await asyncio.gather(self._reader, return_exceptions=True)

    def _send(self, message: dict[str, Any]) -> None:
        if self._to.is_closing() or not self.alive:
            self._settle({"error": {"where": "", "text": _GONE}})
            return
        with suppress(ConnectionError):
            self._to.write(json.dumps(message).encode("utf-8") + b"\n")

    async def _read(self) -> None:
        try:
            while line := await self._from.readline():
                message = json.loads(line)
                if isinstance(self.process, ProcessCopy) and "pid" in message:
                    self.process.know(message["pid"])
                elif {"done", "error", "stopped"} & set(message):
                    self._settle(message)
                else:
                    self._heard(message)
        except ConnectionError:  # it ended with something unread
            return
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
            raise InputError("", "the desk is being closed")
        worker = await coming
        self.prepare()
        if not worker.alive:
            await worker.end()
            return await Worker.start()
        return worker

    async def close(self) -> None:
        """End the one that waits."""
        self._closed = True
        coming, self._next = self._next, None
        if coming is not None:
            await (await coming).end()


# The private folder of one run, and those that runs which were killed have left behind.
if sys.platform != "win32":
    import fcntl


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


# One tab's files, process and outputs, apart from every other tab's and bounded.
# Jobs that may be cancelled.
_ONLY_READ = ("search", "preview", "check", "trip", "view", "tally", "arrive", "compare", "prepare")


def _now_ms() -> float:
    """The time as a page on this machine counts it."""
    return time.time() * 1000.0


class TooLarge(InputError):
    """A file that there is no room for."""


class Workspace:
    """One tab."""

    def __init__(self, folder: Path, notebook: str, limits: Limits, spares: Spares) -> None:
        self.folder, self.notebook, self.limits, self._spares = folder, notebook, limits, spares
        self.brought, self.made, self.lists = folder / "brought", folder / "made", folder / "lists"
        for one in (folder, self.brought, self.made, self.lists, self.brought / BEFORE):
            one.mkdir(mode=0o700)
        self.door = secrets.token_urlsafe(24)  # to what was made, for links: a link carries no header
        self.sizes: dict[str, int] = {}
        self.roles: dict[str, list[str]] = {}
        self.expected: dict[str, list[str]] = {}  # of a loaded outing file: in this order
        self.progress, self.part = "", None
        self.seen, self.left = time.monotonic(), False
        self.worker: Worker | None = None
        self._busy = asyncio.Lock()
        self._running = ""  # the job
        self._run: object = None  # one for each job that is done
        self._asked_ms = 0.0  # when the job that runs was asked for
        self._stopped_ms = dict.fromkeys(_ONLY_READ, 0.0)  # what was asked for up to then is not done
        self._coming: dict[str, int] = {}

    def look(self) -> None:
        """The tab is there."""
        self.seen, self.left = time.monotonic(), False

    @property
    def stale(self) -> bool:
        """Whether nobody will come back to it."""
        if self._running and not self.left:
            return False
        return time.monotonic() - self.seen > (self.limits.left_s if self.left else self.limits.idle_s)

    def describe(self) -> dict[str, Any]:
        """What a page that was loaded again needs to know."""
        return {
            "roles": {role: list_named(names) for role, names in self.roles.items()},
            "sizes": self.sizes,
            "missing": self._missing(),
            "door": self.door,
            "onDisk": self.notebook,
            "book": bool(self.notebook) or (self.brought / NOTEBOOK).exists(),
        }

    def _missing(self) -> list[str]:
        wanted = {name for names in self.expected.values() for name in names}
        return sorted(wanted - set(self.sizes))

    # Files

    def welcome(self, name: str, role: str, size: int) -> None:
        """See that a file could be brought, before it is sent.

        Raises
        ------
        InputError
            Its name, its kind or its size will not do.
        """
        self._check_room(self._named(name, role), size)

    async def bring(self, name: str, role: str, length: int | None, pieces: AsyncIterator[bytes]) -> None:
        """Take a file in, whole or not at all.

        Raises
        ------
        InputError
            Its name, its kind or its size will not do.
        """
        name = self._named(name, role)
        if length is not None:
            self._check_room(name, length)
        path = self.folder / f"coming-{secrets.token_hex(8)}"
        self._coming[path.name] = 0
        try:
            with path.open("xb") as file:
                async for piece in pieces:
                    self._coming[path.name] += len(piece)
                    self._check_room(name, self._coming[path.name], path.name)
                    await asyncio.to_thread(file.write, piece)
            if length is not None and self._coming[path.name] != length:
                raise InputError(name, "did not arrive whole", "bring it again")
            path.replace(self.brought / name)
            self.sizes[name] = self._coming[path.name]
        except OSError as error:
            raise InputError(name, f"cannot be kept ({error.strerror})", "make room on the disk") from error
        finally:
            del self._coming[path.name]
            path.unlink(missing_ok=True)
        self._place(name, role)

    def _named(self, name: str, role: str) -> str:
        if role == "notebook":
            if self.notebook:
                raise InputError(name[:60], "this desk has a notebook already", "see its name below")
            check_name(name, role)
            return NOTEBOOK
        plain = check_name(name, role)
        return f"{BEFORE}/{plain}" if role == "old" else plain

    def _check_room(self, name: str, size: int, own: str = "") -> None:
        limits = self.limits
        others = sum(size for one, size in self.sizes.items() if one != name)
        others += sum(size for one, size in self._coming.items() if one != own)
        if size > limits.file_bytes:
            what = f"is larger than the {limits.file_bytes / 1e6:,.0f} MB that the desk takes"
            raise TooLarge(name, what, "cut the region you need out of it, or use the command line")
        if others + size > limits.all_bytes:
            what = f"makes more than {limits.all_bytes / 1e6:,.0f} MB of files"
            raise TooLarge(name, what, "put others away first")
        if name not in self.sizes and len(self.sizes) + len(self._coming) > limits.files:
            raise InputError(name, f"makes more than {limits.files} files", "put others away first")

    def _place(self, name: str, role: str) -> None:
        if role not in (*ROLES, *OTHER_ROLES):
            return
        if role in ("recording", "log", "places", "list"):  # of these the last one counts
            self.roles[role] = [name]
            return
        roles = [one for one, names in self.expected.items() if name in names] or [role]
        if roles == [role]:  # it plays this part from now on
            self.roles = {one: [n for n in names if n != name] for one, names in self.roles.items()}
        for one in roles:
            names = self.roles.setdefault(one, [])
            if name not in names:
                names.append(name)
            order = self.expected.get(one, [])
            names.sort(key=lambda n: order.index(n) if n in order else len(order))

    def put_away(self, name: str) -> None:
        """Remove a file; of a Shapefile its parts as well."""
        if name not in self.sizes:
            raise InputError(name[:60], "is not here")
        parts = [name, *(one for one in self.sizes if is_part(one, name))]
        for one in parts:
            (self.brought / one).unlink(missing_ok=True)
            del self.sizes[one]
        self.roles = {role: [n for n in names if n not in parts] for role, names in self.roles.items()}

    def expect(self, roles: Mapping[str, Sequence[str]]) -> None:
        """The files that a loaded outing file names play their parts, also those that come later."""
        self.expected = {role: list(names) for role, names in roles.items()}
        here = {name: role for role, names in self.roles.items() for name in names}
        named = {name for names in roles.values() for name in names}
        self.roles = {role: [n for n in names if n not in named] for role, names in self.roles.items()}
        for names in self.expected.values():
            for name in names:
                if name in self.sizes:
                    self._place(name, here.get(name, "parks"))

    def copy_in(self, paths: Sequence[Path]) -> None:
        """Take files of the project itself, each whole or not at all.

        Raises
        ------
        InputError
            There is no room for them.
        """
        for path in paths:
            coming = self.folder / f"coming-{secrets.token_hex(8)}"
            try:
                shutil.copyfile(path, coming)
                coming.replace(self.brought / path.name)
            except OSError as error:
                what = f"cannot be kept ({error.strerror})"
                raise InputError(path.name, what, "make room on the disk") from error
            finally:
                coming.unlink(missing_ok=True)
            self.sizes[path.name] = path.stat().st_size

    # Jobs

    async def do(self, job: str, given: Mapping[str, Any], at_ms: float | None = None) -> dict[str, Any]:
        """One job after the other; what comes out is the worker's answer.

        ``at_ms`` is when it was asked for, by this machine's clock: a request to stop may overtake it.
        """
        asked_ms = _now_ms() if at_ms is None else at_ms

        def is_stopped() -> bool:
            return asked_ms <= self._stopped_ms.get(job, 0.0)

        async with self._busy:
            if is_stopped():
                return {"stopped": True}
            self._asked_ms = asked_ms
            self.progress, self.part, self._running, self._run = "", None, job, object()
            try:
                worker = await self._ready()
                if is_stopped():
                    return {"stopped": True}
                answer = await worker.do({"job": job, "given": given, "roles": self.roles}, self._hear)
                return {"stopped": True} if is_stopped() else answer
            finally:
                self._running = self.progress = ""

    async def _ready(self) -> Worker:
        if self.worker is None or not self.worker.alive:
            if self.worker is not None:
                await self.worker.end()
            self.worker = await self._spares.take()
            folders = {"folder": str(self.brought), "made": str(self.made), "lists": str(self.lists)}
            given = {**folders, "notebook": self.notebook}
            opened = await self.worker.do({"job": "open", "given": given}, self._hear)
            if "done" not in opened and self.worker.alive:  # it cannot work there
                raise InputError("", str(opened.get("error", {}).get("text", "")))
        return self.worker

    def _hear(self, message: dict[str, Any]) -> None:
        self.progress = message.get("progress", self.progress)
        self.part = message.get("part", self.part)

    async def stop(self, jobs: Sequence[str] = _ONLY_READ, at_ms: float | None = None) -> None:
        """Cancel jobs, the one that runs and those that wait: by asking, and if that does not help, by force.

        What writes into the notebook is never cancelled, nor what was asked for after ``at_ms``.
        """
        asked_ms = _now_ms() if at_ms is None else at_ms
        for job in set(jobs) & set(_ONLY_READ):
            self._stopped_ms[job] = max(self._stopped_ms[job], asked_ms)
        worker, run = self.worker, self._run
        if self._asked_ms > asked_ms:
            return
        if self._running not in jobs or self._running not in _ONLY_READ or worker is None:
            return
        worker.ask_to_stop()
        deadline = time.monotonic() + self.limits.stop_s
        # Another job of the same kind may have begun meanwhile: that one is not meant.
        while self._running and self._run is run and time.monotonic() < deadline:
            await asyncio.sleep(0.02)
        if self._running and self._run is run and self.worker is worker:
            await worker.end()

    async def close(self) -> None:
        """End the process and remove the folder."""
        if self.worker is not None:
            await self.worker.end()
        await asyncio.to_thread(shutil.rmtree, self.folder, ignore_errors=True)


# All tabs: opened, looked after and cleared up, under one private folder.
class Workspaces:
    """All tabs, under one private folder."""

    def __init__(
        self, limits: Limits, notebook: str = "", deserted: Callable[[], None] = lambda: None
    ) -> None:
        self.limits, self.notebook, self._deserted = limits, notebook, deserted
        remove_leftovers()
        self._private = PrivateFolder()
        self.folder = self._private.path
        self.spares = Spares()
        self._all: dict[str, Workspace] = {}
        self._quiet = time.monotonic()  # since when there is no tab
        self._sweeper: asyncio.Task[None] | None = None

    def open(self) -> str:
        """A new one, by its id.

        Raises
        ------
        InputError
            There are too many.
        """
        if len(self._all) >= self.limits.workspaces:
            raise InputError(
                "desk", f"{self.limits.workspaces} windows are open already", "close some of them"
            )
        name = secrets.token_urlsafe(16)
        self._all[name] = Workspace(self.folder / name, self.notebook, self.limits, self.spares)
        return name

    def get(self, name: str) -> Workspace | None:
        """The one of an id."""
        return self._all.get(name)

    def behind(self, door: str) -> Workspace | None:
        """The one whose outputs a link leads to."""
        return next(
            (one for one in self._all.values() if secrets.compare_digest(one.door.encode(), door.encode())),
            None,
        )

    async def close_one(self, name: str) -> None:
        """Remove one."""
        workspace = self._all.pop(name, None)
        if workspace is not None:
            await workspace.close()

    async def sweep(self) -> None:
        """Remove those that nobody will come back to; say so when there has been none for a while."""
        for name in [name for name, one in self._all.items() if one.stale]:
            await self.close_one(name)
        if self._all:
            self._quiet = time.monotonic()
        elif time.monotonic() - self._quiet > self.limits.left_s:
            self._deserted()

    async def start(self) -> None:
        """Prepare for the first tab, and look after all of them."""
        self.spares.prepare()
        self._sweeper = asyncio.create_task(self._sweep_for_ever())

    async def _sweep_for_ever(self) -> None:
        pause = min(self.limits.left_s, 30.0)
        while True:
            before = time.monotonic()
            await asyncio.sleep(pause)
            slept = time.monotonic() - before - pause
            if slept > pause:  # the machine itself was asleep: no tab could call
                self._quiet += slept
                for one in self._all.values():
                    one.seen += slept
            await self.sweep()

    async def end_jobs(self) -> None:
        """End whatever is being done, and begin nothing more."""
        await self.spares.close()
        await asyncio.gather(*(one.worker.end() for one in self._all.values() if one.worker is not None))

    async def close(self) -> None:
        """End all processes and remove everything."""
        if self._sweeper is not None:
            self._sweeper.cancel()
        await self.spares.close()
        for name in list(self._all):
            await self.close_one(name)
        await asyncio.to_thread(self._private.close)
