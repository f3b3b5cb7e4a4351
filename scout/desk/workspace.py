"""One tab's files, process and outputs, apart from every other tab's and bounded."""

from __future__ import annotations

import asyncio
import secrets
import shutil
import time
from collections.abc import AsyncIterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from scout.desk.limits import Limits
from scout.desk.names import NOTEBOOK, ROLES, checked_name, is_part, named
from scout.desk.workers import Spares, Worker
from scout.errors import InputError

__all__ = ["TooLarge", "Workspace"]

_ONLY_READ = ("search", "understand", "check", "tally")  # jobs that may be cancelled


class TooLarge(InputError):
    """A file that there is no room for."""


class Workspace:
    """One tab."""

    def __init__(self, folder: Path, notebook: str, limits: Limits, spares: Spares) -> None:
        self.folder, self.notebook, self.limits, self._spares = folder, notebook, limits, spares
        self.brought, self.made = folder / "brought", folder / "made"
        for one in (folder, self.brought, self.made):
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
        self._turns = dict.fromkeys(_ONLY_READ, 0)
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

    def told(self) -> dict[str, Any]:
        """What a page that was loaded again needs to know."""
        return {
            "roles": {role: named(names) for role, names in self.roles.items()},
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
            checked_name(name, role)
            return NOTEBOOK
        return checked_name(name, role)

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
        if role not in ROLES:
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

    async def do(self, job: str, given: Mapping[str, Any]) -> dict[str, Any]:
        """One job after the other; what comes out is the worker's answer."""
        turn = self._turns.get(job)
        async with self._busy:
            if turn != self._turns.get(job):
                return {"stopped": True}
            self.progress, self.part, self._running, self._run = "", None, job, object()
            try:
                worker = await self._ready()
                if turn != self._turns.get(job):
                    return {"stopped": True}
                answer = await worker.do({"job": job, "given": given, "roles": self.roles}, self._hear)
                return answer if turn == self._turns.get(job) else {"stopped": True}
            finally:
                self._running = self.progress = ""

    async def _ready(self) -> Worker:
        if self.worker is None or not self.worker.alive:
            if self.worker is not None:
                await self.worker.end()
            self.worker = await self._spares.take()
            given = {"folder": str(self.brought), "made": str(self.made), "notebook": self.notebook}
            await self.worker.do({"job": "open", "given": given}, self._hear)
        return self.worker

    def _hear(self, message: dict[str, Any]) -> None:
        self.progress = message.get("progress", self.progress)
        self.part = message.get("part", self.part)

    async def stop(self, jobs: Sequence[str] = _ONLY_READ) -> None:
        """Cancel jobs, the one that runs and those that wait: by asking, and if that does not help, by force.

        What writes into the notebook is never cancelled.
        """
        for job in set(jobs) & set(_ONLY_READ):
            self._turns[job] += 1
        worker, run = self.worker, self._run
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
