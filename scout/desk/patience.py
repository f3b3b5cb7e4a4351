"""HTTP with a limit to waiting: who opens connections and says nothing, or half a sentence, is dropped."""

from __future__ import annotations

import asyncio
from typing import Any, ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

from scout.desk.limits import Limits

__all__ = ["patient"]


def patient(limits: Limits) -> type[H11Protocol]:
    """A protocol for uvicorn, which by itself waits for a request's head for ever."""

    class Patient(H11Protocol):
        """Waits so long for a head; among too many connections the oldest half-open one goes."""

        waiting: ClassVar[dict[Any, None]] = {}  # half-open connections, the oldest first

        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self._timer: asyncio.TimerHandle | None = None

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            while len(self.connections) > limits.connections and Patient.waiting:
                next(iter(Patient.waiting))._drop()
            if len(self.connections) > limits.connections:
                self._drop()
            else:
                self._wait()

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            if self.cycle is None or self.cycle.response_complete:
                self._wait()
            else:
                self._listen()

        def on_response_complete(self) -> None:
            super().on_response_complete()
            if self.cycle is None or self.cycle.response_complete:
                self._wait()

        def connection_lost(self, exc: Exception | None) -> None:
            self._listen()
            super().connection_lost(exc)

        def _wait(self) -> None:
            if self._timer is None:
                Patient.waiting[self] = None
                self._timer = self.loop.call_later(limits.head_s, self._drop)

        def _listen(self) -> None:
            Patient.waiting.pop(self, None)
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None

        def _drop(self) -> None:
            self._listen()
            self.connections.discard(self)
            self.transport.abort()

    return Patient
