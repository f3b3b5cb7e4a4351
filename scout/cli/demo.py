"""``scout demo``: the main job on the invented island that comes with the project."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["command"]

_FILES = ("parks.geojson", "forest.gpkg", "corridors.geojson")
_HARBOUR = (-111.8914, -41.0457)  # Tarrow Quay, where the ferry lands
_CORRIDOR_M = 30.48


@click.command("demo")
def command() -> int:
    """Search the demo island and write maps/demo.html.

    The island, its parks and their references are invented.
    """
    from scout.cli.find import Wanted, run
    from scout.errors import InputError
    from scout.find import Options

    root = next(
        (p for p in (Path(), Path(__file__).parents[2]) if (p / "data_demo" / _FILES[0]).is_file()), None
    )
    if root is None:
        raise InputError(
            "data_demo", "the demo files are not here", "run scout demo from the project's folder"
        )
    maps = root / "maps"
    maps.mkdir(exist_ok=True)
    target = maps / "demo.html"
    status = run(
        [root / "data_demo" / name for name in _FILES],
        Options(home=_HARBOUR),
        {},
        {"corridor_m": _CORRIDOR_M},
        Wanted(map_path=str(target), title="Brindlesay, the demo island"),
    )
    click.echo(f"Open the map in a browser: {target.absolute().as_uri()}")
    return status
