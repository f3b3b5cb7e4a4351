"""A folder served on this machine, as a web space serves it, until it is stopped."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path


class Served:
    """One server: what it was asked for, and an end that closes its port."""

    def __init__(self, folder: Path) -> None:
        self.asked: list[str] = []
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, self.asked, directory=folder))
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.05})
        self._thread.start()
        self.running = True
        self.address = f"http://localhost:{self._server.server_port}/"

    def stop(self) -> None:
        if self.running:
            self.running = False
            self._server.shutdown()
            self._server.server_close()
            self._thread.join()


class _Quiet(SimpleHTTPRequestHandler):
    def __init__(self, asked: list[str], *args, **kwargs) -> None:
        self._asked = asked
        super().__init__(*args, **kwargs)

    def send_head(self):
        self._asked.append(self.path)
        # Its clock has whole seconds: a file written again within one would be "not modified".
        del self.headers["If-Modified-Since"]
        return super().send_head()

    def log_message(self, *args) -> None:
        pass


@contextmanager
def serving(folder: Path) -> Iterator[Served]:
    server = Served(folder)
    try:
        yield server
    finally:
        server.stop()
