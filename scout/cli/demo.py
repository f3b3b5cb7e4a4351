"""``scout demo``: the main job on the invented island that comes with scout."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import click


@click.command("demo")
@click.pass_context
def command(ctx: click.Context) -> int:
    """Search the demo island and write maps/demo.html.

    The island, its parks and their references are invented.
    """
    from scout.cli.find import command as find

    target = Path("maps", "demo.html")
    target.parent.mkdir(exist_ok=True)
    with find.make_context(
        "find", ["--outing", str(find_demo_outing()), "--map", str(target)], parent=ctx
    ) as inner:
        if importlib.util.find_spec("rasterio") is None:
            inner.params["heights"] = ()
            click.echo("The extra named heights is not installed: the walks are timed as on level ground.")
        status: int = find.invoke(inner)
    click.echo(f"Open the map in a browser: {target.absolute().as_uri()}")
    return status


def find_demo_outing() -> Path:
    """Find the outing file of the demo island, its data beside it: in a checkout, else in the wheel."""
    package = Path(__file__).parents[1]
    folders = (package.parent / "data_demo", package / "demo")
    return next(folder / "outing.toml" for folder in folders if (folder / "outing.toml").is_file())
