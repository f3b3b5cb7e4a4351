"""``scout desk``: everything in the browser, for people without a terminal."""

from __future__ import annotations

from pathlib import Path

import click

from scout.errors import InputError


@click.command("desk")
@click.option(
    "--notebook",
    metavar="FILE",
    envvar="SCOUT_NOTEBOOK",
    show_envvar=True,
    help="Keep visits in this notebook.",
)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, metavar="N", help="Port; any that is free if not."
)
@click.option("--no-browser", is_flag=True, help="Do not open the browser, only show the address.")
@click.option("--until-left", is_flag=True, help="End when the last window has been closed for some minutes.")
@click.option("--menu", is_flag=True, help="Put the desk into the menu of programs, and do no more.")
def command(notebook: str | None, port: int, no_browser: bool, until_left: bool, menu: bool) -> int:
    """Open the desk: bring files, search, check and plan in your own browser.

    The desk runs on this machine and is reached from this machine only; nothing is sent anywhere. What is
    brought is copied into a private folder, which goes when the desk stops: Ctrl-C, or the page's button.
    """
    try:
        from scout.desk.server import DeskServer, open_browser, put_into_menu
    except ModuleNotFoundError as error:
        remedy = "install it with: pip install 'lattice-scout[desk]'"
        raise InputError("desk", f"needs {error.name}, which is not installed", remedy) from error

    kept = "" if notebook is None else _resolve_notebook(notebook)
    if menu:
        click.echo(f"Wrote {put_into_menu(kept)}")
        return 0
    desk = DeskServer(port, kept, until_left)

    def renewed() -> None:
        click.echo(f"The next window opens at {desk.address(desk.keys.shown)}")

    def started() -> None:
        click.echo(f"The desk is open at {desk.address(desk.keys.shown)}")
        click.echo("The address is for you alone and opens once. Ctrl-C stops the desk.")
        desk.keys.renewed = renewed
        if not no_browser:
            open_browser(desk)

    desk.run(started)
    click.echo("The desk is closed.")
    return 0


def _resolve_notebook(notebook: str) -> str:
    """The notebook's absolute path, if one can be there."""
    from scout.visits.notebook import Notebook

    path = Path(notebook).absolute()
    book = Notebook(path)
    if book.exists():
        book.visits(lambda _: None)
    elif not path.parent.is_dir():
        raise InputError(f"--notebook {notebook}", f"there is no folder {path.parent}", "make it first")
    return str(path)
