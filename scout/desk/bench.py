"""What a tab's process does, and what it keeps from one job to the next: the parks, and what was found."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path, PurePath
from typing import Any

from scout.desk import day, understanding, visiting
from scout.desk.names import LOADED, NOTEBOOK
from scout.desk.searching import Search
from scout.desk.settings import asked, loaded, outing_text
from scout.desk.shelf import Shelf
from scout.errors import InputError
from scout.write import write_file

__all__ = ["Bench"]

Show = Callable[[str], None]


class Bench:
    """One tab's work. Its working directory is the folder of the files that were brought."""

    def __init__(self) -> None:
        self.shelf = Shelf()
        self.search = Search(self.shelf)
        self.made = Path()
        self.notebook = NOTEBOOK

    def warm(self) -> None:
        """Import what the first jobs need."""
        import scout.access.ways
        import scout.check
        import scout.exports
        import scout.find
        import scout.page
        import scout.reach
        import scout.read.heights
        import scout.read.tagged  # noqa: F401

    def do(self, message: Mapping[str, Any], show: Show, part: Callable[[Any], None]) -> Any:
        """Do one job and give what the page is told of it."""
        given, roles = message.get("given") or {}, message.get("roles") or {}
        settings = self._with_notebook(given.get("settings") or {})
        match message["job"]:
            case "open":
                os.chdir(given["folder"])
                self.made, self.notebook = Path(given["made"]), given["notebook"] or NOTEBOOK
                return {}
            case "understand":
                return understanding.understood(self.shelf, settings, roles, show)
            case "search":
                return self.search.run(asked(settings, roles), self.made, show, part)
            case "load":
                return self._loaded(str(given["text"]))
            case "outing":
                return self._made("outing.toml", outing_text(settings, roles))
            case "save":
                return self._made(*self.search.saved(given["suffix"], given.get("list")))
            case "check":
                return day.checked(self.shelf, asked(settings, roles), given["place"], show)
            case "card":
                said = asked(settings, roles, *_day_words(given))
                return self._made(*day.card(self.search.found(given.get("list")), int(given["spot"]), said))
            case "pack":
                said = asked(settings, roles, *_day_words(given))
                return self._made(
                    *day.packed(self.search.found(given.get("list")), str(given["spots"]), said)
                )
            case "visit":
                return visiting.added(self.notebook, given["visit"], settings, roles)
            case "undo" | "delete":
                return visiting.changed(self.notebook, message["job"], given.get("number"))
            case "visits":
                return visiting.listed(self.notebook)
            case "tally":
                level, some = (
                    visiting.level_of(settings),
                    asked(settings, roles) if roles.get("parks") else None,
                )
                return visiting.tallied(self.notebook, level, some, self.shelf, show)
            case "journal":
                name, content, left_out = visiting.journal(self.notebook, given["suffix"], settings)
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
        return loaded(LOADED)

    def _made(self, name: str, content: str | bytes) -> dict[str, Any]:
        if PurePath(name).name != name:
            raise InputError(name[:60], "this is no plain file name")
        write_file(self.made / name, content)
        return {"made": name}

    def _notebook(self) -> dict[str, Any]:
        """A copy of the notebook to take away."""
        from scout.notebook import Notebook

        Notebook(self.notebook).visits(lambda _: None)  # a file that is no notebook is refused with a line
        shutil.copyfile(self.notebook, self.made / NOTEBOOK)
        return {"made": NOTEBOOK}


def _day_words(given: Mapping[str, Any]) -> list[str]:
    """The particulars of a card as words of a command line."""
    names = ("call", "club-call", "date", "zone")
    return [f"--{name}={given[name]}" for name in names if str(given.get(name) or "").strip()]
