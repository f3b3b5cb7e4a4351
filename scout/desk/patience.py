"""Connections with a limit to waiting: who opens them and says nothing, or half a sentence, makes way."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from scout.desk.limits import Limits

__all__ = ["Patience", "know"]


class _Connection:
    """One connection, as the desk waits for it."""

    def __init__(self, transport: asyncio.Transport) -> None:
        self.transport = transport
        self.known = False  # it has shown the key
        self.waiting = True  # for the other side to go on
        self.since = time.monotonic()  # the request began to come
        self.timer: asyncio.TimerHandle | None = None

    def stop_timer(self) -> None:
        if self.timer is not None:
            self.timer.cancel()
            self.timer = None


class Patience:
    """ASGI middleware and, through `protocol`, a watch on the server's connections.

    All clients of this machine have one address, so they are told apart by the key: a connection that has
    shown it is known, every other one is a stranger's. Among too many connections the one that has been
    waited for longest makes way, strangers first, whether half of a head or half of a body has come. A
    stranger has ``head_s`` for a whole request and its answer, a known connection for a head.
    """

    def __init__(self, app: ASGIApp, limits: Limits) -> None:
        self.app, self.limits = app, limits
        self._open: dict[Any, _Connection] = {}  # by the address of the other side

    def protocol(self, served: type[asyncio.Protocol]) -> type[asyncio.Protocol]:
        """Derive a protocol that tells of its begin and end; it builds on asyncio's own methods only."""
        patience = self

        class Watched(served):  # type: ignore[valid-type,misc]
            def connection_made(self, transport: Any) -> None:
                super().connection_made(transport)
                self.watched = patience._begin(transport)

            def connection_lost(self, exc: Exception | None) -> None:
                super().connection_lost(exc)
                patience._forget(self.watched)

        return Watched

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; while its body is waited for its connection may have to make way."""
        found = self._open.get(scope.get("client")) if scope["type"] == "http" else None
        if found is None:
            await self.app(scope, receive, send)
            return
        connection = found
        connection.waiting = False
        if connection.known:
            connection.stop_timer()

        async def wait() -> Message:
            connection.waiting = True
            try:
                return await receive()
            finally:
                connection.waiting = False

        def know() -> None:
            connection.known = True
            connection.stop_timer()

        try:
            await self.app({**scope, "know": know}, wait, send)
        finally:
            self._wait_for_head(connection)

    def _begin(self, transport: asyncio.Transport) -> _Connection:
        connection = _Connection(transport)
        self._open[transport.get_extra_info("peername")] = connection
        self._wait_for_head(connection)
        while len(self._open) > self.limits.connections:
            waited_for = [one for one in self._open.values() if one.waiting]
            self._drop(min(waited_for, key=lambda one: (one.known, one.since)))
        return connection

    def _wait_for_head(self, connection: _Connection) -> None:
        connection.stop_timer()
        connection.waiting, connection.since = True, time.monotonic()
        if not connection.transport.is_closing():
            loop = asyncio.get_running_loop()
            connection.timer = loop.call_later(self.limits.head_s, self._drop, connection)

    def _drop(self, connection: _Connection) -> None:
        connection.transport.abort()
        self._forget(connection)

    def _forget(self, connection: _Connection) -> None:
        connection.stop_timer()
        name = connection.transport.get_extra_info("peername")
        if self._open.get(name) is connection:
            del self._open[name]


def know(scope: Scope) -> None:
    """Take the connection of a request for one that has shown the key."""
    found: Callable[[], None] | None = scope.get("know")
    if found is not None:
        found()
