"""``scout demo``: the main job on the invented island that comes with scout."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import click


@click.command("demo")
def command() -> int:
    """Search the demo island and write maps/demo.html.

    The island, its parks and their references are invented.
    """
    from scout.app.outing import find_demo_outing, load_outing
    from scout.app.request import make_request
    from scout.cli.find import run_search

    target = Path("maps", "demo.html")
    target.parent.mkdir(exist_ok=True)
    request = make_request(load_outing(str(find_demo_outing())))
    settings = replace(request.settings, map_path=str(target))
    if importlib.util.find_spec("rasterio") is None:
        settings = replace(settings, heights=())
        click.echo("The extra named heights is not installed: the walks are timed as on level ground.")
    status = run_search(replace(request, settings=settings))
    click.echo(f"Open the map in a browser: {target.absolute().as_uri()}")
    return status
