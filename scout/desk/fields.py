"""The settings of the page: the options of a search, with their defaults and the words that explain them."""

from __future__ import annotations

from typing import Any

from scout.cli.outing import keys

__all__ = ["fields"]


def fields() -> dict[str, dict[str, Any]]:
    """Default and explanation of every option, by its key in an outing file."""
    return {
        key: {
            "default": option.default if isinstance(option.default, (str, int, float)) else None,
            "help": option.help or "",
        }
        for key, option in keys().items()
    }
