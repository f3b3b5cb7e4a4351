"""The desk's server: start and end, the browser, the menu."""

from __future__ import annotations

import asyncio
import logging
import os
import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from types import FrameType

import uvicorn
from pyshortcuts import make_shortcut

from scout.desk.access import Guard, Keys, Timeouts
from scout.desk.app import make_app
from scout.desk.limits import Limits
from scout.desk.page import get_static
from scout.desk.workspace import Workspaces
from scout.errors import InputError, OutputError


def put_into_menu(notebook: str = "") -> Path:
    """Write the entry that opens this installation's desk; gives where it is."""
    name = "scout.exe" if sys.platform == "win32" else "scout"
    program = Path(sys.executable).with_name(name)
    words = ["desk", "--until-left", *([f"--notebook={notebook}"] if notebook else [])]
    for path in (str(program), notebook):
        if " " in path:  # an entry's command is parted at blanks
            raise OutputError(path, "has a blank in its path, which a menu entry cannot hold", "move it")
    if not program.is_file():
        raise OutputError(str(program), "is not there to be opened", "install lattice-scout with pip")
    only_desktop = sys.platform == "darwin"
    icon = None if sys.platform != "linux" else str(files(__package__) / "icon.svg")
    made = make_shortcut(
        " ".join([str(program), *words]),
        name="scout desk",
        description="Find the spots where Maidenhead grid squares and parks meet",
        icon=icon,
        terminal=False,
        desktop=only_desktop,
        startmenu=not only_desktop,
        noexe=True,
    )
    return Path(made.desktop_dir if only_desktop else made.startmenu_dir, made.target)


# The desk from start to end: a port of this machine, the browser, and nothing left behind.
HOST = "127.0.0.1"
_QUEUE = 4096  # connections that the system holds until they are taken


@dataclass
class DeskServer:
    """One run of the desk.

    Parameters
    ----------
    port : int
        0 for any that is free.
    notebook : str
        Absolute path of the notebook that all windows share; empty for one in each window.
    until_left : bool
        Whether to end when the last window has been closed, where there is no terminal to end it from.
    limits : Limits
    """

    port: int = 0
    notebook: str = ""
    until_left: bool = False
    limits: Limits = field(default_factory=Limits)
    keys: Keys = field(default_factory=Keys)

    def __post_init__(self) -> None:
        self._socket = _open_socket(self.port)
        self.port = self._socket.getsockname()[1]
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ending = asyncio.Event()
        self.workspaces: Workspaces | None = None  # while it runs

    def address(self, key: str) -> str:
        """The address that opens the desk; what follows # is not sent anywhere by a browser."""
        return f"http://{HOST}:{self.port}/#{key}"

    def run(self, started: Callable[[], None]) -> None:
        """Serve until Ctrl-C, a signal to end, or the page's own button.

        ``started`` is called when the desk answers.
        """
        with _handle_signals(self.stop):
            asyncio.run(self._run(started))

    def stop(self) -> None:
        """End after the requests that are being answered; jobs are ended, so that these are answered soon."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._ending.set)

    async def _run(self, started: Callable[[], None]) -> None:
        self._loop = asyncio.get_running_loop()
        workspaces = self.workspaces = Workspaces(
            self.limits, self.notebook, self.stop if self.until_left else lambda: None
        )
        try:
            await workspaces.start()
            get_static("desk.html")  # the first of them reads them all
            guard = Guard(make_app(workspaces, self.keys, self.stop), self.keys, [self.port])
            timeouts = Timeouts(guard, self.limits)
            config = uvicorn.Config(
                timeouts,
                http="h11",
                ws="none",
                lifespan="off",
                log_config=None,
                log_level="error",
                access_log=False,
                server_header=False,
                proxy_headers=False,
                timeout_keep_alive=30,
                timeout_graceful_shutdown=1,
                # As many are taken at a time: each is listened to before too many others have come.
                backlog=max(self.limits.connections // 4, 1),
            )
            config.load()
            config.http_protocol_class = timeouts.protocol(config.http_protocol_class)
            server = _Server(config, self.stop)
            serving = asyncio.create_task(server.serve([self._socket]))
            while not server.started and not serving.done():
                await asyncio.sleep(0.01)
            self._socket.listen(_QUEUE)
            started()
            ending = asyncio.create_task(self._ending.wait())
            await asyncio.wait([serving, ending], return_when=asyncio.FIRST_COMPLETED)
            await workspaces.end_jobs()
            # Whoever still sends something is cut off, and that is no fault to be told of.
            logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL + 1)
            server.should_exit = True
            await serving
        finally:
            await workspaces.close()
            self.workspaces = None


class _Server(uvicorn.Server):
    """A server that leaves it to the desk what a signal to end comes to: jobs are ended before requests."""

    def __init__(self, config: uvicorn.Config, stop: Callable[[], None]) -> None:
        super().__init__(config)
        self._stop = stop

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Take a signal to end."""
        self._stop()


def open_browser(desk: DeskServer) -> None:
    """Show the desk in the user's browser, by an address that works once."""
    webbrowser.open(desk.address(desk.keys.ticket()))


@contextmanager
def _handle_signals(stop: Callable[[], None]) -> Iterator[None]:
    """Signals to end do that and no more: uvicorn hands them on before all is cleared up."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    names = [name for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), lambda *_: stop()) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


def _open_socket(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # elsewhere it would let two desks have one port
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((HOST, port))
        listener.listen(1)  # from now on nobody else has it
    except OSError as error:
        listener.close()
        remedy = "leave --port out, and a free one is taken"
        raise InputError(f"--port {port}", f"cannot be used ({error.strerror})", remedy) from None
    return listener
