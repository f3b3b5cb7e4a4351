"""Files that were read stay read: the next search of the same parks begins at once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from scout.cli.sources import ParkFiles, parks_of
from scout.model import Layer, Parks
from scout.read import read_layers
from scout.read.files import check_twice

__all__ = ["Shelf"]

State = tuple[tuple[str, int, int], ...]


class Shelf:
    """Layers by file, and the last parks made of them."""

    def __init__(self) -> None:
        self._layers: dict[tuple[str, str | None, str | None], tuple[State, list[Layer]]] = {}
        self._parks: tuple[ParkFiles, State, Parks] | None = None

    def layers(self, file: str, sources: ParkFiles, show: Callable[[str], None]) -> list[Layer]:
        """Layers of one boundary file."""
        key, state = (file, sources.layer, sources.crs), _state(file)
        kept = self._layers.get(key)
        if kept is None or kept[0] != state:
            kept = (state, read_layers([file], layer=sources.layer, assume_crs=sources.crs, progress=show))
            self._layers[key] = kept
        return kept[1]

    def parks(self, sources: ParkFiles, show: Callable[[str], None]) -> Parks:
        """Parks of the boundary files, as `scout.cli.sources.parks_from` reads them."""
        check_twice(sources.files)
        state = tuple(one for file in sources.files for one in _state(file))
        if self._parks is None or self._parks[:2] != (sources, state):
            layers = [layer for file in sources.files for layer in self.layers(file, sources, show)]
            self._parks = (sources, state, parks_of(sources, layers))
        return self._parks[2]

    def keep_only(self, files: list[str]) -> None:
        """Forget files that were put away."""
        self._layers = {key: kept for key, kept in self._layers.items() if key[0] in files}
        if self._parks is not None and not set(self._parks[0].files) <= set(files):
            self._parks = None


def _state(file: str) -> State:
    """Name, time and size of the file and of what lies beside it under the same stem."""
    path = Path(file)
    beside = sorted(one for one in path.parent.iterdir() if one.stem == path.stem and one.is_file())
    return tuple((one.name, one.stat().st_mtime_ns, one.stat().st_size) for one in beside)
