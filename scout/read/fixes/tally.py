"""What became of the lines of a recording, counted, with the first line of each kind."""

from __future__ import annotations

from collections import Counter

from scout.standstill import ReadCounts

__all__ = ["Tally"]

_NAMED = {  # what is worth a line number
    "checksum_errors": ("fails its checksum", "fail their checksum"),
    "unreadable": ("cannot be read", "cannot be read"),
    "bad_times": ("has a time that cannot be read", "have a time that cannot be read"),
}
_LONGEST = 60  # characters of a reason, which quotes the file


class Tally:
    """Counts by the names of `ReadCounts`."""

    def __init__(self) -> None:
        self._count: Counter[str] = Counter()
        self._first: dict[str, tuple[int, str]] = {}

    def add(self, name: str, line: int, why: str = "") -> None:
        """Count one thing, met on a line."""
        self._count[name] += 1
        self._first.setdefault(name, (line, why[:_LONGEST]))

    def __getitem__(self, name: str) -> int:
        return self._count[name]

    def counts(self) -> ReadCounts:
        """The counts so far."""
        return ReadCounts(**{name: self._count[name] for name in ReadCounts.__dataclass_fields__})

    def notes(self, things: str) -> tuple[str, ...]:
        """One sentence for each kind of fault, with where it was met first."""
        told = []
        for name, (one, many) in _NAMED.items():
            if count := self._count[name]:
                line, why = self._first[name]
                place = f"line {line}{': ' if why else ''}{why}"
                what = f"1 of the {things} {one}" if count == 1 else f"{count} of the {things} {many}"
                told.append(f"{what} (the first in {place}).")
        return tuple(told)

    def summary(self, things: str) -> str:
        """The counts in a few words, for an error."""
        parts = [f"{self._count['lines']} {things}"]
        for name in ("without_fix", "checksum_errors", "unreadable"):
            if count := self._count[name]:
                parts.append(f"{count} {name.replace('_', ' ')}")
        return ", ".join(parts)
