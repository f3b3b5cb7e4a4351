"""Records chosen by what their columns say: a condition in SQL, run by SQLite over the attributes alone.

The condition sees one table in memory and nothing else: statements, subqueries and functions that reach
beyond a row's own values are refused by SQLite's authorizer, and its time is bounded.
"""

from __future__ import annotations

import difflib
import re
import sqlite3
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scout.errors import InputError, SettingName

_WHERE = SettingName("where")
_LONGEST = 10_000  # characters of a condition
_LONGEST_TEXT = 100_000  # characters of a value that are looked at
_LONGEST_VALUE = 1_000_000  # bytes of a value, also of one made on the way
_LONGEST_S = 20.0  # of a condition over one layer
_STEPS = 1000  # of SQLite's machine between two looks at the clock
# Functions of a row's own values; all of them are SQLite's (https://sqlite.org/lang_corefunc.html).
_FUNCTIONS = frozenset(
    {"abs", "coalesce", "glob", "ifnull", "iif", "instr", "length", "like", "lower", "ltrim", "max", "min"}
    | {"nullif", "replace", "round", "rtrim", "substr", "substring", "trim", "typeof", "upper"}
)
_TEXT_IN_QUOTES = re.compile(r"'(?:[^']|'')*'")
_NAME_IN_QUOTES = re.compile(r'"((?:[^"]|"")*)"')
_NO_STATEMENT = re.compile(r'"(?:[^"]|"")*"|\[[^\]]*\]|`(?:[^`]|``)*`|--[^\n]*')
_SHOWN = 40  # columns listed in a line
_EXAMPLE = """write a condition on columns, such as "Category = 'Fee' AND Acres > 40\""""


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition on the columns of a layer, checked.

    Examples
    --------
    >>> frame = pd.DataFrame({"kind": ["Fee", "Easement", None], "acres": [40, 10, 70]})
    >>> Condition("kind = 'Fee' or acres > 50").choose(frame).tolist()
    [True, False, True]
    """

    text: str
    where: str = _WHERE  # what the condition came from, for messages

    def find_columns(self, there: Sequence[str]) -> list[str]:
        """Find the columns of a layer that the condition asks for, in their order.

        Raises
        ------
        InputError
            It is no condition on such columns; `NoSuchColumn` where one is not there.
        """
        used: set[str] = set()
        self._run(pd.DataFrame({name: [] for name in there}, dtype=object), used)
        return [name for name in there if name.casefold() in used]

    def choose(self, frame: pd.DataFrame) -> NDArray[np.bool_]:
        """Choose the rows for which the condition holds.

        Raises
        ------
        InputError
            It is no condition on such columns, or takes too long.
        """
        there = [str(name) for name in frame.columns]
        # Columns of public data hold few different values: equal rows are asked about once.
        asked = frame[self.find_columns(there)]
        first, row = _find_different(asked)
        return self._run(asked.iloc[first], set())[row]

    def _run(self, frame: pd.DataFrame, used: set[str]) -> NDArray[np.bool_]:
        names = [str(name) for name in frame.columns]
        self._check_text(names)
        kept = _keep_distinct(names)
        base = sqlite3.connect(":memory:")
        base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST_VALUE)
        try:
            # A table without columns is none; this one goes by a name that no file has.
            quoted = ", ".join(['"\x01"', *(f'"{name.replace(chr(34), chr(34) * 2)}"' for name in kept)])
            base.execute(f"create table records ({quoted})")
            columns = [_convert_values(frame[name]) for name in kept]
            marks = ", ".join("?" * (len(kept) + 1))
            base.executemany(
                f"insert into records values ({marks})", zip(range(len(frame)), *columns, strict=True)
            )
            base.commit()
            return self._ask(base, len(frame), kept, used)
        except (sqlite3.Error, sqlite3.Warning, ValueError) as error:
            raise self._explain(str(error), names) from error
        finally:
            base.close()

    def _ask(
        self, base: sqlite3.Connection, count: int, kept: Sequence[str], used: set[str]
    ) -> NDArray[np.bool_]:
        """Run the condition with all doors shut but the table's."""
        seen, own = {"select": 0}, {"\x01", *kept}

        def judge(action: int, first: str | None, second: str | None, *_: Any) -> int:
            if action == sqlite3.SQLITE_SELECT:
                seen["select"] += 1
                return sqlite3.SQLITE_OK if seen["select"] == 1 else sqlite3.SQLITE_DENY
            if action == sqlite3.SQLITE_READ and first == "records" and second in own:
                used.add((second or "").casefold())
                return sqlite3.SQLITE_OK
            if action == sqlite3.SQLITE_FUNCTION and (second or "").casefold() in _FUNCTIONS:
                return sqlite3.SQLITE_OK
            return sqlite3.SQLITE_DENY

        end = time.monotonic() + _LONGEST_S
        base.set_authorizer(judge)
        base.set_progress_handler(lambda: time.monotonic() > end, _STEPS)
        found = np.zeros(count, dtype=bool)
        rows = base.execute(f'select "\x01" from records where (\n{self.text}\n)')
        found[[row for (row,) in rows]] = True
        return found

    def _check_text(self, there: Sequence[str]) -> None:
        """See that it is one condition; SQLite takes a name in double quotes that is no column as text."""
        if not self.text.strip() or len(self.text) > _LONGEST or "\0" in self.text:
            raise InputError(self.where, "is no condition", _EXAMPLE)
        bare = _TEXT_IN_QUOTES.sub("''", self.text)
        if ";" in _NO_STATEMENT.sub("", bare):
            raise InputError(self.where, "a semicolon ends no condition", "give one condition, without it")
        low = {name.casefold() for name in there}
        for name in _NAME_IN_QUOTES.findall(bare):
            if name.replace('""', '"').casefold() not in low:
                raise NoSuchColumn(self.where, name, there)

    def _explain(self, why: str, there: Sequence[str]) -> InputError:
        if missing := re.match(r"no such column: (.*)", why):
            return NoSuchColumn(self.where, missing[1], there)
        if "interrupted" in why:
            return InputError(self.where, f"takes over {_LONGEST_S:g} s", "give a simpler condition")
        if "not authorized" in why or "prohibited" in why:
            return InputError(self.where, "reaches beyond the columns of a record", _EXAMPLE)
        return InputError(self.where, f"is no condition ({why[:200]})", _EXAMPLE)


class NoSuchColumn(InputError):
    """Raised for a condition on a column that a layer does not have."""

    def __init__(self, where: str, column: str, there: Sequence[str]) -> None:
        self.column = column
        near = difflib.get_close_matches(column.casefold(), [name.casefold() for name in there], 1)
        meant = next((name for name in there if near and name.casefold() == near[0]), "")
        hint = f"did you mean {meant!r}? " if meant else ""
        more = f" and {len(there) - _SHOWN:,} more" if len(there) > _SHOWN else ""
        columns = ", ".join(there[:_SHOWN]) + more
        super().__init__(where, f"there is no column {column!r}", f"{hint}columns: {columns}")


def _keep_distinct(names: Sequence[str]) -> list[str]:
    """The first of names that SQLite takes for one, which it does without regard to case in ASCII."""
    met: dict[str, str] = {}
    for name in names:
        met.setdefault("".join(c.lower() if c.isascii() else c for c in name), name)
    return [name for name in met.values() if "\0" not in name and name]


def _find_different(frame: pd.DataFrame) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The first of equal rows each, and for every row which of those it is like."""
    row = np.zeros(len(frame), dtype=np.int64)
    for name in frame.columns:
        code, values = pd.factorize(frame[name], use_na_sentinel=True)
        row = pd.factorize(row * (len(values) + 1) + code + 1)[0]
    return np.unique(row, return_index=True)[1], row


def _convert_values(column: pd.Series) -> list[Any]:
    """Values as SQLite holds them: numbers, texts, nothing; dates as ISO text, yes and no as 1 and 0."""
    if column.dtype.kind == "M":
        column = column.dt.strftime("%Y-%m-%dT%H:%M:%S")
    values = column.astype(object).where(column.notna(), None).tolist()
    return [value if value is None else _convert_value(value) for value in values]


def _convert_value(value: Any) -> Any:
    if isinstance(value, (bool, np.bool_)):
        return int(value)
    if isinstance(value, (int, np.integer)):
        return int(value) if -(2**63) <= value < 2**63 else float(value)
    if isinstance(value, (float, np.floating)):
        return float(value)
    if isinstance(value, bytes):
        return value[:_LONGEST_TEXT].decode("utf-8", errors="replace")
    return str(value)[:_LONGEST_TEXT]
