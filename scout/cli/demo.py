"""``scout demo``: the main job on the invented island that comes with the project."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["command", "demo_outing"]

_OUTING = Path("data_demo", "outing.toml")


@click.command("demo")
@click.pass_context
def command(ctx: click.Context) -> int:
    """Search the demo island and write maps/demo.html.

    The island, its parks and their references are invented.
    """
    from scout.cli.find import command as find

    outing = demo_outing()
    target = outing.parents[1] / "maps" / "demo.html"
    target.parent.mkdir(exist_ok=True)
    words = ["--outing", str(outing), "--map", str(target)]
    with find.make_context("find", words, parent=ctx) as inner:
        status: int = find.invoke(inner)
    click.echo(f"Open the map in a browser: {target.absolute().as_uri()}")
    return status


def demo_outing() -> Path:
    """The outing file of the demo island, its data beside it."""
    from scout.errors import InputError

    root = next((p for p in (Path(), Path(__file__).parents[2]) if (p / _OUTING).is_file()), None)
    if root is None:
        raise InputError(
            "data_demo", "the demo files are not here", "run scout demo from the project's folder"
        )
    return root / _OUTING
