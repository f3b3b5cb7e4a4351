"""The README keeps its word: help shown is help given, commands exist, examples in docstrings run."""

import doctest
import importlib
import pkgutil
import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

import scout
from scout.cli import command

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SHOWN = re.compile(r"<!-- help: (scout[^>]*?) -->\n```text\n(.*?)```", re.DOTALL)


def help_of(words):
    runner = CliRunner()
    result = runner.invoke(
        command, [*shlex.split(words)[1:], "--help"], prog_name="scout", terminal_width=100
    )
    assert result.exit_code == 0
    return result.output


def test_every_command_is_in_the_readme():
    shown = {words for words, _ in SHOWN.findall(README)}
    assert shown == {f"scout {name}" for name in command.list_commands(None)}


@pytest.mark.parametrize(("words", "text"), SHOWN.findall(README), ids=lambda v: v[:12])
def test_help_shown_is_help_given(words, text):
    assert text == help_of(words)


def test_the_readme_opens_with_the_job_and_has_the_two_commands():
    assert README.startswith("# scout\n\n`scout` finds places for a portable amateur-radio station.")
    plain = [line for line in README.splitlines() if line.startswith("python3 -m venv")]
    assert [line.rsplit("/", 1)[1] for line in plain] == ["scout demo", "pytest"]


def test_options_named_in_the_readme_exist():
    given = " ".join(
        help_of(f"scout {words}")
        for name in command.list_commands(None)
        for words in [
            name,
            *(f"{name} {one}" for one in getattr(command.get_command(None, name), "commands", ())),
        ]
    )
    named = set(re.findall(r"`(--[a-z-]+)", README)) | set(re.findall(r" (--[a-z-]+) ", README))
    foreign = {"--extra"}  # uv's
    assert not [option for option in sorted(named - foreign) if option not in given]


def modules():
    return [m.name for m in pkgutil.walk_packages(scout.__path__, "scout.")]


@pytest.mark.parametrize("name", modules())
def test_examples_in_docstrings_run(name):
    failed, _ = doctest.testmod(importlib.import_module(name))
    assert failed == 0
