"""The desk in the menu of programs; on macOS, which has no such menu, on the desktop."""

from __future__ import annotations

import sys
from importlib.resources import files
from pathlib import Path

from pyshortcuts import make_shortcut

from scout.errors import OutputError

__all__ = ["put_into_menu"]


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
