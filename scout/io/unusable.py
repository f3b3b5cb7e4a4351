"""Files and layers that cannot be used, among others that can: left out with a line, or the end of all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from scout.errors import ArgumentError, InputError
from scout.model import ParkReport
from scout.quantities import MeasuredText


@dataclass
class Unusable:
    """What was left out so far; with ``strict`` the first such file or layer ends the reading."""

    strict: bool = True
    errors: list[InputError] = field(default_factory=list)

    @contextmanager
    def guard(self) -> Iterator[None]:
        """Note that what is read inside cannot be used; what was named wrongly is refused all the same."""
        try:
            yield
        except ArgumentError:
            raise
        except InputError as error:
            if self.strict:
                raise
            self.errors.append(error)

    def check_some_left(self, some: object) -> None:
        """Refuse when nothing is left.

        Raises
        ------
        InputError
            The first error, with a count of the others.
        """
        if some or not self.errors:
            return
        first, more = self.errors[0], len(self.errors) - 1
        if not more:
            raise first
        raise InputError(first.where, f"{first.what}; nor can {more:,} more be used", first.remedy) from first

    def add_to(self, report: ParkReport) -> ParkReport:
        """Add what was left out to what is said of the records."""
        count = len(self.errors)
        if not count:
            return report
        note = f"{count:,} {'file or layer' if count == 1 else 'files or layers'} could not be used"
        lines = tuple(map(_word_line, self.errors))
        return replace(report, notes=(note, *report.notes), refused=(*lines, *report.refused))


def _word_line(error: InputError) -> str:
    """The line of an error, with the settings it names still known."""
    if not isinstance(error.remedy, MeasuredText):
        return str(error)
    return MeasuredText(str(InputError(error.where, error.what)), "; ", error.remedy)
