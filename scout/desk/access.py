"""Who may ask the desk, and how long it waits for them.

Who may ask: the page that this desk handed out, in the browser it was handed to, and nobody else.

Everything passes here first. A page of another origin can make a browser ask 127.0.0.1 (by a form, an image,
a name that it lets resolve to here), so Host, Origin and where the browser says that a request comes from are
checked; whatever reads or does something needs the key as a header as well, which no other page can send.
A cookie would not do: browsers send it to every port of this machine.
"""

from __future__ import annotations

import asyncio
import secrets
import time
from collections.abc import Callable, Iterable
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from scout.desk.limits import Limits

KEY_HEADER = "x-desk-key"
_HTTP_PORT = 80  # browsers leave it out of Host and Origin
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "frame-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
# Pages that were made (map, card, journal) bring a stricter policy of their own, by hashes. The sandbox gives
# them an origin of their own, in the desk's frame and in a tab of theirs.
_MADE_POLICY = (
    "frame-ancestors 'self'; base-uri 'none'; form-action 'none'; object-src 'none'; "
    "sandbox allow-scripts allow-downloads allow-modals allow-forms allow-popups "
    "allow-popups-to-escape-sandbox"
)
_ALWAYS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


class Keys:
    """The key that the page sends, and what it is exchanged for.

    Every key of an address opens once. What is handed to the browser passes through a list of processes that
    others on the machine may read, and what the user opens stays in the browser's history. ``shown`` is the
    one that is shown for the user to come back by: once it was used there is another, given to ``renewed``.
    """

    def __init__(self) -> None:
        self.shown, self._session = secrets.token_urlsafe(32), secrets.token_urlsafe(32)
        self._tickets: set[str] = set()
        self.renewed: Callable[[], None] = lambda: None

    def ticket(self) -> str:
        """A key that opens once."""
        made = secrets.token_urlsafe(32)
        self._tickets.add(made)
        return made

    def exchange(self, key: str) -> str | None:
        """The session's key for a key of an address."""
        if key in self._tickets:
            self._tickets.remove(key)
            return self._session
        if _is_same(key, self.shown):
            self.shown = secrets.token_urlsafe(32)
            self.renewed()
            return self._session
        return self._session if self.fits(key) else None

    def fits(self, key: str) -> bool:
        """Whether this is the session's key."""
        return _is_same(key, self._session)


def _is_same(text: str, secret: str) -> bool:
    return secrets.compare_digest(text.encode("utf-8", "replace"), secret.encode())


class Guard:
    """ASGI middleware that turns away, before anything is read, who may not ask."""

    def __init__(self, app: ASGIApp, keys: Keys, ports: Iterable[int]) -> None:
        self.app, self.keys = app, keys
        names = [f":{port}" for port in ports] + ["" for port in ports if port == _HTTP_PORT]
        self.hosts = {host + name for name in names for host in ("127.0.0.1", "localhost")}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check one request and pass it on."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        path = scope["path"]

        async def safely(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _ALWAYS.items():
                    headers[name] = value
                headers["content-security-policy"] = _POLICY
                if path.startswith("/made/"):
                    headers["content-security-policy"] = _MADE_POLICY
                    # Browsers show no page that has both a sandbox and an opener policy.
                    del headers["cross-origin-opener-policy"]
            await send(message)

        headers = Headers(scope=scope)
        refusal = self._refusal(headers, scope["method"], path)
        if refusal is None:
            if self._has_key(headers):
                know(scope)
            await self.app(scope, receive, safely)
            return
        status, text = refusal
        # What else the other side has to say is not listened to.
        answer = JSONResponse({"error": {"where": "", "text": text}}, status, headers={"connection": "close"})
        await answer(scope, receive, safely)

    def _has_key(self, headers: Headers) -> bool:
        return self.keys.fits(headers.get(KEY_HEADER, ""))

    def _refusal(self, headers: Headers, method: str, path: str) -> tuple[int, str] | None:
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return 421, "This desk answers to 127.0.0.1 only."
        origins = headers.getlist("origin")
        if any(origin.lower().removeprefix("http://") not in self.hosts for origin in origins):
            return 403, "This request comes from another page."
        if any(not origin.lower().startswith("http://") for origin in origins):
            return 403, "This request comes from another page."
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            return 403, "This request comes from another page."
        if method not in ("GET", "HEAD", "POST", "PUT", "DELETE"):
            return 405, "The desk knows no such request."
        if path.startswith("/api/") and path != "/api/enter" and not self._has_key(headers):
            return 401, "This window has no key to the desk: open it by the address that scout desk shows."
        return None


# Connections with a limit to waiting: who opens them and says nothing, or half a sentence, makes way.
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


class Timeouts:
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
        timeouts = self

        class Watched(served):  # type: ignore[valid-type,misc]
            def connection_made(self, transport: Any) -> None:
                super().connection_made(transport)
                self.watched = timeouts._begin(transport)

            def connection_lost(self, exc: Exception | None) -> None:
                super().connection_lost(exc)
                timeouts._forget(self.watched)

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
