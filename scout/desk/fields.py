"""The settings of the page: the options of a search, with their defaults and the words that explain them."""

from __future__ import annotations

from typing import Any

import click

from scout.cli.find import command

__all__ = ["fields"]


def fields() -> dict[str, dict[str, Any]]:
    """Default and explanation of every option, by its key in an outing file."""
    return {
        max(option.opts, key=len).lstrip("-"): {
            "default": option.default if isinstance(option.default, (str, int, float)) else None,
            "help": option.help or "",
        }
        for option in command.params
        if isinstance(option, click.Option)
    }
