"""The process behind a tab: jobs in, progress and answers out.

A process of one tab: jobs come in as lines of JSON, progress and answers go out as lines of JSON.

It starts with everything imported, so that the first click need not wait for that; ends when the desk does;
and can be ended at any moment, for it holds nothing but what can be read again.
"""

from __future__ import annotations

import json
import os
import queue
import shutil
import sys
import tempfile
import threading
import traceback
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path, PurePath
from typing import Any, TextIO

from scout.desk import jobs, preview
from scout.desk.files import LOADED, NOTEBOOK, OUTING, LayerCache
from scout.desk.jobs import SearchJob
from scout.desk.settings import load_settings, make_desk_request, write_outing
from scout.errors import InputError, ScoutError
from scout.io.write import write_file

Show = Callable[[str], None]


class Session:
    """One tab's work. Its working directory is the folder of the files that were brought."""

    def __init__(self) -> None:
        self.cache = LayerCache()
        self.search = SearchJob(self.cache)
        self.made = Path()
        self.notebook = NOTEBOOK

    def warm(self) -> None:
        """Import what the first jobs need."""
        import scout.app.find
        import scout.app.outputs
        import scout.io.rasters
        import scout.page.document
        import scout.search.check
        import scout.walk.reach
        import scout.walk.read  # noqa: F401

    def do(self, message: Mapping[str, Any], show: Show, part: Callable[[Any], None]) -> Any:
        """Do one job and give what the page is to know of it."""
        given, roles = message.get("given") or {}, message.get("roles") or {}
        settings = self._with_notebook(given.get("settings") or {})
        match message["job"]:
            case "open":
                os.chdir(given["folder"])
                tempfile.tempdir = given["made"]  # what is unpacked goes with the tab
                self.made, self.notebook = Path(given["made"]), given["notebook"] or NOTEBOOK
                return {}
            case "preview":
                return preview.preview_files(self.cache, settings, roles, show)
            case "search":
                return self.search.run(make_desk_request(settings, roles), self.made, show, part)
            case "load":
                return self._loaded(str(given["text"]))
            case "outing":
                return self._made("outing.toml", write_outing(settings, roles))
            case "save":
                return self._made(*self.search.saved(given["suffix"], given.get("list")))
            case "check":
                return jobs.check_place(self.cache, make_desk_request(settings, roles), given["place"], show)
            case "card":
                found = self.search.found(given.get("list"))
                return self._made(*jobs.build_spot_card(found, int(given["spot"]), given))
            case "pack":
                found = self.search.found(given.get("list"))
                return self._made(*jobs.build_spot_pack(found, str(given["spots"]), given))
            case "visit":
                return jobs.add_visit(self.notebook, given["visit"], settings, roles, show)
            case "undo":
                return jobs.undo_change(self.notebook)
            case "delete":
                return jobs.delete_visit(self.notebook, int(given["number"]))
            case "visits":
                return jobs.list_visits(self.notebook)
            case "tally":
                level, some = (
                    jobs.find_level(settings),
                    make_desk_request(settings, roles) if roles.get("parks") else None,
                )
                return jobs.tally_visits(self.notebook, level, some, self.cache, show)
            case "journal":
                name, content, left_out = jobs.build_journal(self.notebook, given["suffix"], settings)
                return {**self._made(name, content), "left_out": left_out}
            case "notebook":
                return self._notebook()
            case other:
                raise InputError(str(other)[:40], "the desk has no such job")

    def _with_notebook(self, settings: dict[str, Any]) -> dict[str, Any]:
        """A search that ranks first what is missing looks into the notebook of this desk."""
        options = dict(settings.get("options") or {})
        if options.pop("notebook", None) and Path(self.notebook).exists():
            options["notebook"] = self.notebook
        return {**settings, "options": options}

    def _loaded(self, text: str) -> dict[str, Any]:
        write_file(LOADED, text)
        return load_settings(LOADED)

    def _made(self, name: str, content: str | bytes) -> dict[str, Any]:
        if PurePath(name).name != name:
            raise InputError(name[:60], "this is no plain file name")
        write_file(self.made / name, content)
        return {"made": name}

    def _notebook(self) -> dict[str, Any]:
        """A copy of the notebook to take away."""
        from scout.visits.notebook import Notebook

        Notebook(self.notebook).visits(lambda _: None)  # a file that is no notebook is refused with a line
        shutil.copyfile(self.notebook, self.made / NOTEBOOK)
        return {"made": NOTEBOOK}


_NICE = 5  # the page and the rest of the machine come first


class _JobStopped(Exception):
    """The user wants no more of this job."""


class _DeskPipe:
    """The other end of the pipes."""

    def __init__(self, out: TextIO) -> None:
        self.out = out
        self.jobs: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        self.job = 0  # the number of the one that is done
        self.stopped = 0  # of the last one that is to stop

    def listen(self) -> None:
        """Take jobs as they come; end with the desk, whatever is being done."""
        for line in sys.stdin:
            message = json.loads(line)
            if "stop" in message:
                self.stopped = message["stop"]
            else:
                self.jobs.put(message)
        os._exit(0)

    def say(self, **words: Any) -> None:
        self.out.write(json.dumps(words) + "\n")
        self.out.flush()

    def hand_over(self, part: Any) -> None:
        self.say(part=part)

    def show(self, text: str) -> None:
        if self.stopped >= self.job:
            raise _JobStopped
        self.say(progress=text)


def main() -> None:
    """Do jobs until the desk closes the pipe."""
    # What a library prints, in C or in Python, is neither an answer nor advice to the user.
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    terminal = os.fdopen(os.dup(2), "w", encoding="utf-8", errors="backslashreplace", buffering=1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    if hasattr(os, "nice"):
        os.nice(_NICE)
    desk = _DeskPipe(out)

    bench = Session()
    bench.warm()
    threading.Thread(target=desk.listen, daemon=True).start()
    while True:
        message = desk.jobs.get()
        desk.job = message["number"]
        desk.say(**_do_job(partial(bench.do, message, desk.show, desk.hand_over), terminal))


def _do_job(job: Callable[[], Any], terminal: TextIO) -> dict[str, Any]:
    try:
        return {"done": job()}
    except _JobStopped:
        return {"stopped": True}
    except ScoutError as error:
        return {"error": {"where": error.where, "text": _strip_own_names(str(error))}}
    except MemoryError:
        text = "There is not enough memory for this; choose a smaller radius, or smaller files."
        return {"error": {"where": "", "text": text}}
    except Exception as error:  # a fault of ours must not leave the page waiting
        traceback.print_exc(file=terminal)
        text = f"This should not have happened, and is a fault of scout ({type(error).__name__}: {error})."
        return {"error": {"where": "", "text": text[:400]}}


def _strip_own_names(text: str) -> str:
    """Without the name of a file that the desk itself wrote."""
    return text.removeprefix(f"{OUTING}: ").removeprefix(f"{LOADED}: ")


if __name__ == "__main__":
    main()
