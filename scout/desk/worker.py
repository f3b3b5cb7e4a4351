"""The process behind a tab: jobs in, progress and answers out.

A process of one tab: jobs come in as lines of JSON, progress and answers go out as lines of JSON.

It has everything imported, so that the first click need not wait for that; ends when the desk does;
and can be ended at any moment, for it holds nothing but what can be read again.
"""

from __future__ import annotations

import gc
import json
import os
import queue
import shutil
import signal
import socket
import sys
import tempfile
import threading
import traceback
import warnings
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path, PurePath
from typing import Any, TextIO

from scout.app.request import make_request
from scout.desk import jobs, notebook, preview
from scout.desk.files import LOADED, NOTEBOOK, LayerCache, list_named
from scout.desk.jobs import SearchJob
from scout.desk.settings import (
    load_settings,
    make_desk_request,
    make_desk_settings,
    make_outing,
    word_error,
    write_outing,
)
from scout.errors import InputError, OutputError, ScoutError
from scout.io.write import write_file

Show = Callable[[str], None]
Roles = Mapping[str, Sequence[str]]
_FAULT = (
    "This should not have happened: it is a fault of scout, not of what you brought. What the developers "
    "need to know stands in the terminal from which the desk was started."
)


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
                self.search.made, self.search.lists = self.made, Path(given["lists"])
                return {}
            case "preview":
                return preview.preview_files(self.cache, settings, roles, show)
            case "search":
                return self.search.run(make_desk_request(settings, roles), show, part)
            case "list":
                if not roles.get("list"):
                    raise InputError("", "no saved list is here", "bring one")
                return self.search.open_list(roles["list"][0], make_desk_settings(settings).units)
            case "load":
                return self._loaded(str(given["text"]))
            case "outing":
                return self._made("outing.toml", write_outing(settings, roles))
            case "save":
                return self._made(
                    *self.search.saved(given["suffix"], given.get("list"), str(given.get("best") or ""))
                )
            case "check":
                asked = make_desk_request(settings, roles)
                return jobs.check_places(self.cache, asked, given, self.made, show)
            case "arrive":
                asked = make_desk_request(settings, roles)
                name, content, said = jobs.judge_arrival(self.cache, asked, given, show)
                return {**self._made(name, content), **said}
            case "card":
                found = self.search.found(given.get("list"))
                return self._made(*jobs.build_spot_card(found, int(given["spot"]), given))
            case "pack":
                found = self.search.found(given.get("list"))
                return self._made(*jobs.build_spot_pack(found, str(given["spots"]), given))
            case "trip":
                found = self.search.found(given.get("list"))
                asked = make_request(
                    make_outing(settings, roles)
                )  # a list that was opened needs no boundaries
                return jobs.plan_day(found, asked, given, self.made, show)
            case "view":
                seen = make_outing(settings, roles)
                return jobs.see_from(make_request(seen).settings, given, seen.parks, self.made, show)
            case "site":
                found = self.search.found(given.get("list"))
                return self._made(*jobs.build_spot_site(found, str(given["spots"])))
            case "compare":
                asked, old = make_desk_request(settings, roles), list_named(roles.get("old", ()))
                book = self.notebook if given.get("visits") and Path(self.notebook).exists() else None
                return jobs.compare_boundaries(asked, settings, old, book, self.made, show)
            case "prepare":
                asked = make_desk_request(settings, roles)
                return jobs.prepare_boundaries(asked, given.get("keep") or (), self.made, show)
            case "locate":
                return jobs.look_up(str(given["place"])[:200])
            case other:
                return self._do_notebook(str(other), given, settings, roles, show)

    def _do_notebook(
        self, job: str, given: Mapping[str, Any], settings: dict[str, Any], roles: Roles, show: Show
    ) -> Any:
        """Do one job on the notebook."""
        book = self.notebook
        match job:
            case "visit":
                return notebook.add_visit(book, given["visit"], settings, roles, show)
            case "edit":
                number = int(given["number"])
                return notebook.edit_visit(book, number, given["visit"], settings, roles, show)
            case "entry":
                return notebook.get_visit(book, int(given["number"]))
            case "undo":
                return notebook.undo_change(book)
            case "delete":
                return notebook.delete_visit(book, int(given["number"]))
            case "visits":
                return notebook.list_visits(book)
            case "tally":
                level = notebook.find_level(settings)
                some = make_desk_request(settings, roles) if roles.get("parks") else None
                every = bool(given.get("all"))
                return notebook.tally_visits(book, level, some, self.cache, show, everything=every)
            case "journal":
                name, content, left_out = notebook.build_journal(book, given["suffix"], settings)
                return {**self._made(name, content), "left_out": left_out}
            case "stamp":
                return notebook.stamp_log(book, given, self.made)
            case "notebook":
                return self._copy_notebook()
            case "keep":
                self.notebook = notebook.keep_notebook(book, str(given["path"]))
                return {"onDisk": self.notebook, **notebook.list_visits(self.notebook)}
            case _:
                raise InputError(job[:40], "the desk has no such job")

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

    def _copy_notebook(self) -> dict[str, Any]:
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

    def __init__(self, coming: TextIO, out: TextIO) -> None:
        self.coming, self.out = coming, out
        self.jobs: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        self.job = 0  # the number of the one that is done
        self.stopped = 0  # of the last one that is to stop

    def listen(self) -> None:
        """Take jobs as they come; end with the desk, whatever is being done."""
        for line in self.coming:
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


def make_copies(line: socket.socket) -> None:
    """Import what work needs, then become a worker for each line that the desk hands over, until it ends."""
    Session().warm()
    gc.collect()
    gc.freeze()  # what lies in memory now is not written to, so that copies share it
    # The threads that Python 3.12 warns of are those of libraries that have handlers for a fork.
    warnings.filterwarnings("ignore", ".*multi-threaded", DeprecationWarning)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for them here: the desk hears of their end
    while True:
        _, lines, *_ = socket.recv_fds(line, 1, 1)
        if not lines:
            return
        with socket.socket(fileno=lines[0]) as own:
            if os.fork() == 0:
                line.close()
                signal.signal(signal.SIGCHLD, signal.SIG_DFL)
                out = own.makefile("w", encoding="utf-8")
                with suppress(BrokenPipeError):  # ended before it was there
                    out.write(json.dumps({"pid": os.getpid()}) + "\n")
                    out.flush()
                work(own.makefile("r", encoding="utf-8"), out)


def work(coming: TextIO, out: TextIO) -> None:
    """Do jobs until the desk closes the line that they come by."""
    # What a library prints, in C or in Python, is neither an answer nor advice to the user.
    terminal = os.fdopen(os.dup(2), "w", encoding="utf-8", errors="backslashreplace", buffering=1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    if hasattr(os, "nice"):
        os.nice(_NICE)
    desk = _DeskPipe(coming, out)

    bench = Session()
    bench.warm()
    threading.Thread(target=desk.listen, daemon=True).start()
    while True:
        message = desk.jobs.get()
        desk.job = message["number"]
        desk.say(**_do_job(partial(bench.do, message, desk.show, desk.hand_over), terminal))
        try:
            bench.search.write_lists()
        except OutputError:  # no room: what was found lasts as long as this process
            continue


def _do_job(job: Callable[[], Any], terminal: TextIO) -> dict[str, Any]:
    try:
        return {"done": job()}
    except _JobStopped:
        return {"stopped": True}
    except ScoutError as error:
        return {"error": word_error(error)}
    except MemoryError:
        text = "There is not enough memory for this; choose a smaller radius, or smaller files."
        return {"error": {"where": "", "text": text}}
    except Exception:  # a fault of ours must not leave the page waiting
        traceback.print_exc(file=terminal)
        return {"error": {"where": "", "text": _FAULT}}


if __name__ == "__main__":
    if len(sys.argv) > 1:
        with socket.socket(fileno=int(sys.argv[1])) as asked:
            make_copies(asked)
    else:
        work(sys.stdin, os.fdopen(os.dup(1), "w", encoding="utf-8"))
