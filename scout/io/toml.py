"""Files of settings in TOML, such as an outing."""

from __future__ import annotations

import tomllib
from typing import Any

from scout.errors import InputError

MOST_BYTES = 64_000  # a long one has 5,000; without a limit a hostile one keeps the parser busy
_MOST_DOTS = 500  # in a line: a key of 32,000 parts keeps the parser busy for 20 s, one of 500 for 10 ms
_TOO_DEEP = ("is nested too deeply", "an outing file needs no lists in lists and no long lines")
_HOW = 'write a setting a line, as level = "square" or within = 60'


def read_content(path: str) -> bytes:
    """Read a TOML file's bytes, of a longer one than `parse_toml` takes no more than shows it."""
    from scout.io.formats import check_local

    try:
        with check_local(path).open("rb") as stream:
            return stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror})", "check the path") from error


def parse_toml(data: bytes, where: str) -> dict[str, Any]:
    """Parse the content of a TOML file.

    Raises
    ------
    InputError
        It is none, or too large or too deep for a file of settings.
    """
    if len(data) > MOST_BYTES:
        what = f"is too large for an outing file (over {MOST_BYTES:,} bytes)"
        raise InputError(where, what, "name the file that lists options and files, not data")
    if any(line.count(b".") > _MOST_DOTS for line in data.splitlines()):
        raise InputError(where, *_TOO_DEEP)
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(where, f"is not UTF-8 text (line {line})", "save it as UTF-8") from error
    except RecursionError as error:
        raise InputError(where, *_TOO_DEEP) from error
    except ValueError as error:  # TOMLDecodeError, and a number with more digits than Python takes
        raise InputError(where, f"is not TOML: {_shorten(str(error))}", _HOW) from error


def _shorten(text: str) -> str:
    return text if len(text) <= 160 else f"{text[:70]} ... {text[-80:]}"  # the place stands at the end
