"""One search as any front asks for it: boundary files, settings, and what an outing says besides."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from scout.app.outing import Outing, make_settings
from scout.app.settings import Settings
from scout.app.sources import AccessFiles, ParkFiles, search_files
from scout.errors import InputError, SettingName
from scout.model import collect_credits
from scout.quantities import MeasuredText

if TYPE_CHECKING:
    from scout.model import Findings


@dataclass(frozen=True, slots=True)
class SearchRequest:
    """What is searched and how; ``outing`` adds author, credits, columns to show, tags of access files."""

    parks: tuple[str, ...]
    settings: Settings = field(default_factory=Settings)
    outing: Outing = field(default_factory=Outing)

    @property
    def park_files(self) -> ParkFiles:
        """The boundary files and how to read them."""
        return self.settings.make_park_files(self.parks, self.outing.show)

    @property
    def access_files(self) -> AccessFiles:
        """The files of the ground and how to read them."""
        return self.settings.make_access_files(self.outing.tags, self.parks)

    @property
    def files(self) -> tuple[str, ...]:
        """Everything that is read, which no output may overwrite."""
        beside = (self.outing.where,) if self.outing.where else ()
        return (*dict.fromkeys((*self.parks, *self.access_files.files)), *beside)


def make_request(outing: Outing) -> SearchRequest:
    """The search that an outing describes by itself."""
    return SearchRequest(outing.parks, make_settings(outing), outing)


def search(request: SearchRequest, show: Callable[[str], None]) -> Findings:
    """Read the files and search them; the findings with title, author, credits and units of the request."""
    settings = request.settings
    found = search_files(
        request.park_files,
        settings.make_options(),
        request.access_files,
        show,
        settings.cluster,
    )
    return add_particulars(found, request)


def add_particulars(findings: Findings, request: SearchRequest) -> Findings:
    """The findings with what the request says of them: title, author, credits, units."""
    said, settings = request.outing, request.settings
    around = () if findings.surroundings is None else findings.surroundings.sources
    return replace(
        findings,
        title=settings.title,
        author=said.author,
        credits=collect_credits(said.credits, (*findings.sources, *around)),
        units=settings.units,
    )


def open_saved(path: str) -> Findings:
    """The findings that a saved GeoPackage carries, without another search.

    Raises
    ------
    InputError
        It is none that ``find --save`` wrote.
    """
    from scout.io.geopackage import read_metadata
    from scout.output.saved import SAVED_URI, load_findings

    text = read_metadata(path, SAVED_URI)
    if text is None:
        what = MeasuredText("carries no result of ", SettingName("find", written="scout find"))
        raise InputError(path, what, "give a .gpkg in which scout saved its spots")
    return load_findings(text, path)
