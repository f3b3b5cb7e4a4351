"""What the page can ask for."""

from __future__ import annotations

import asyncio
import json
import math
import os
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from scout.app.outing import find_demo_outing
from scout.cautions import ALWAYS
from scout.desk.access import Keys, know
from scout.desk.page import get_static
from scout.desk.settings import list_fields, word_error
from scout.desk.workspace import TooLarge, Workspace, Workspaces
from scout.errors import InputError, ScoutError
from scout.geo.coordinates.parse import read_place

Answer = dict[str, Any]
_NO_WINDOW = (
    "This window was put away, for it said nothing for long. Reload the page and bring the files again."
)


def make_app(workspaces: Workspaces, keys: Keys, stop: Callable[[], None]) -> Starlette:
    """The application; ``stop`` ends the server."""
    desk = _DeskApp(workspaces, keys, stop)
    app = Starlette(
        routes=[
            Route("/", desk.page),
            Route("/own/{name}", desk.own),
            Route("/made/{door}/{name}", desk.made),
            Route("/api/enter", desk.enter, methods=["POST"]),
            Route("/api/place", desk.place, methods=["POST"]),
            Route("/api/ping", desk.ping),
            Route("/api/stop", desk.stop_all, methods=["POST"]),
            Route("/api/windows", desk.open, methods=["POST"]),
            Route("/api/windows/{id}", desk.look),
            Route("/api/windows/{id}/left", desk.left, methods=["POST"]),
            Route("/api/windows/{id}/file", desk.file, methods=["POST", "PUT", "DELETE"]),
            Route("/api/windows/{id}/do", desk.do, methods=["POST"]),
            Route("/api/windows/{id}/progress", desk.progress),
            Route("/api/windows/{id}/stop", desk.stop, methods=["POST"]),
        ],
        exception_handlers={
            ScoutError: _answer_refusal,
            OSError: _no_disk,
            HTTPException: _answer_problem,
            ClientDisconnect: _answer_gone,
        },
    )
    app.router.redirect_slashes = False  # what is not there is not there
    return app


async def _answer_refusal(request: Request, error: Exception) -> Response:
    """What the user can put right is an answer like others: browsers log every error status."""
    return JSONResponse({"error": word_error(error)})


async def _no_disk(request: Request, error: Exception) -> Response:
    why = f" ({error.strerror})" if isinstance(error, OSError) and error.strerror else ""
    text = f"The disk does not do what the desk needs{why}: make room on it, and try again."
    return JSONResponse({"error": {"where": "", "text": text}})


async def _answer_problem(request: Request, error: Exception) -> Response:
    status, text = (error.status_code, error.detail) if isinstance(error, HTTPException) else (500, "")
    return JSONResponse({"error": {"where": "", "text": text}}, status, headers={"connection": "close"})


async def _answer_gone(request: Request, error: Exception) -> Response:
    return Response(status_code=400)


class _DeskApp:
    def __init__(self, workspaces: Workspaces, keys: Keys, stop: Callable[[], None]) -> None:
        self.workspaces, self.keys, self._stop, self.limits = workspaces, keys, stop, workspaces.limits

    # The page

    async def page(self, request: Request) -> Response:
        return self._static("desk.html")

    async def own(self, request: Request) -> Response:
        return self._static(request.path_params["name"])

    def _static(self, name: str) -> Response:
        found = get_static(name)
        if found is None:
            raise HTTPException(404, "There is no such page.")
        return Response(found.content, media_type=found.kind)

    async def made(self, request: Request) -> Response:
        """A map, a card, an export: to look at, or with ``?save`` to keep."""
        workspace, name = self.workspaces.behind(request.path_params["door"]), request.path_params["name"]
        # Asked for among the names there are: a disk refuses some names with an error of its own.
        if workspace is None or name.startswith(".") or name not in os.listdir(workspace.made):
            raise HTTPException(404, "There is no such page.")
        path = workspace.made / name
        know(request.scope)  # the door is a key too, and a large file may be taken slowly
        how = "attachment" if "save" in request.query_params else "inline"
        kind = "text/html" if name.endswith(".html") else "application/octet-stream"
        return FileResponse(path, media_type=kind, filename=name, content_disposition_type=how)

    # The desk

    async def enter(self, request: Request) -> Response:
        asked = await self._asked(request, self.limits.key_bytes)
        key = self.keys.exchange(str(asked.get("key", "")))
        if key is None:
            raise HTTPException(401, "This address does not open the desk, or was used already.")
        know(request.scope)
        return JSONResponse(
            {
                "key": key,
                "cautions": list(ALWAYS),
                "fields": list_fields(),
                "home": str(Path.home() / "visits.gpkg"),
            }
        )

    async def ping(self, request: Request) -> Response:
        return JSONResponse({})

    async def place(self, request: Request) -> Response:
        """How a text is understood as a place, while it is typed."""
        place = read_place(str((await self._asked(request)).get("text", ""))[:200])
        return JSONResponse({"lon": place.lon, "lat": place.lat, "words": place.understood})

    async def stop_all(self, request: Request) -> Response:
        self._stop()
        return JSONResponse({})

    async def open(self, request: Request) -> Response:
        name = self.workspaces.open()
        return JSONResponse({"id": name, **self._workspace(name).describe()})

    # One window

    def _workspace(self, name: str) -> Workspace:
        found = self.workspaces.get(name)
        if found is None:
            raise HTTPException(404, _NO_WINDOW)
        found.look()
        return found

    async def look(self, request: Request) -> Response:
        """How a window is; a tab that was loaded again asks whether its window is still there."""
        name = request.path_params["id"]
        if "again" in request.query_params:
            if self.workspaces.get(name) is None:
                return JSONResponse({"gone": True})
            await self._workspace(name).stop()  # nobody is left to hear what was being worked out
        return JSONResponse(self._workspace(name).describe())

    async def left(self, request: Request) -> Response:
        self._workspace(request.path_params["id"]).left = True
        return JSONResponse({})

    async def file(self, request: Request) -> Response:
        workspace = self._workspace(request.path_params["id"])
        name, role = request.query_params.get("name", ""), request.query_params.get("role", "parks")
        if request.method == "DELETE":
            workspace.put_away(name)
        elif request.method == "POST":  # asked first: whoever is refused while sending may not hear why
            size = request.query_params.get("size", "")
            workspace.welcome(name, role, int(size) if size.isdecimal() and len(size) < 20 else 0)
        else:
            try:
                await workspace.bring(name, role, _read_length(request), self._pieces(request))
            except InputError as error:
                # Nothing more of a file is taken in once it is refused.
                answer = {"error": word_error(error)}
                status = 413 if isinstance(error, TooLarge) else 200
                return JSONResponse(answer, status, headers={"connection": "close"})
        return JSONResponse(workspace.describe())

    async def do(self, request: Request) -> Response:
        workspace = self._workspace(request.path_params["id"])
        asked = await self._asked(request)
        job, given, at = str(asked.get("job", "")), asked.get("given") or {}, _read_ms(asked)
        if not isinstance(given, dict) or job == "open":
            raise HTTPException(400, "The desk has no such job.")
        if job == "demo":
            return await self._demo(workspace)
        message = await workspace.do(job, given, at)
        done = message.get("done")
        if job == "keep" and done is not None:
            workspace.notebook = self.workspaces.notebook = done["onDisk"]
        if job == "load" and done is not None:
            workspace.expect(done["roles"])
        return JSONResponse({**message, "window": workspace.describe()})

    async def _demo(self, workspace: Workspace) -> Response:
        outing = find_demo_outing()
        data = [p for p in outing.parent.iterdir() if p.suffix in (".geojson", ".gpkg", ".tif")]
        await asyncio.to_thread(workspace.copy_in, sorted(data))
        message = await workspace.do("load", {"text": outing.read_text("utf-8")})
        if "done" in message:
            workspace.expect(message["done"]["roles"])
        return JSONResponse({**message, "window": workspace.describe()})

    async def progress(self, request: Request) -> Response:
        workspace = self._workspace(request.path_params["id"])
        part = None if "seen" in request.query_params else workspace.part
        return JSONResponse({"progress": workspace.progress, "part": part})

    async def stop(self, request: Request) -> Response:
        """Cancel the search, or with ``all`` whatever only reads."""
        workspace = self._workspace(request.path_params["id"])
        asked = await self._asked(request)
        if asked.get("all"):
            await workspace.stop(at_ms=_read_ms(asked))
        else:
            await workspace.stop(["search"], _read_ms(asked))
        return JSONResponse({})

    # Bodies

    async def _asked(self, request: Request, most: int = 0) -> Answer:
        """The JSON object of a request."""
        body = bytearray()
        try:
            async with asyncio.timeout(self.limits.body_s):
                async for piece in self._pieces(request):
                    body += piece
                    if len(body) > (most or self.limits.json_bytes):
                        raise HTTPException(413, "That is more than the desk is asked at once.")
        except TimeoutError:
            raise HTTPException(408, "The question took too long to come.") from None
        try:
            found = json.loads(body or b"{}")
            json.dumps(found, ensure_ascii=False).encode()  # halves of surrogate pairs are no text
        except (ValueError, RecursionError):
            found = None
        if not isinstance(found, dict):
            raise HTTPException(400, "The desk is asked in JSON.")
        return found

    async def _pieces(self, request: Request) -> AsyncIterator[bytes]:
        """The body as it comes, if it comes."""
        stream = aiter(request.stream())
        while True:
            try:
                yield await asyncio.wait_for(anext(stream), self.limits.body_s)
            except StopAsyncIteration:
                return
            except TimeoutError:
                raise HTTPException(408, "Nothing more came.") from None


def _read_ms(asked: Answer) -> float | None:
    """When the page asked, by the clock of this machine."""
    at = asked.get("at")
    return float(at) if isinstance(at, (int, float)) and math.isfinite(at) else None


def _read_length(request: Request) -> int | None:
    text = request.headers.get("content-length", "")
    return int(text) if text.isdecimal() and len(text) < 20 else None
