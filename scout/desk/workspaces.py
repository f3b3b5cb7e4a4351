"""All tabs: opened, looked after and cleared up, under one private folder."""

from __future__ import annotations

import asyncio
import secrets
import time
from collections.abc import Callable

from scout.desk.folders import PrivateFolder, remove_leftovers
from scout.desk.limits import Limits
from scout.desk.workers import Spares
from scout.desk.workspace import Workspace
from scout.errors import InputError

__all__ = ["Workspaces"]


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

    async def close(self) -> None:
        """End all processes and remove everything."""
        if self._sweeper is not None:
            self._sweeper.cancel()
        await self.spares.close()
        for name in list(self._all):
            await self.close_one(name)
        await asyncio.to_thread(self._private.close)
