"""Write the help of every command into DEVELOPERS.md: `python tests/tools/write_reference.py`."""

from pathlib import Path

import click
from click.testing import CliRunner

from scout.__main__ import gather_commands

PAGE = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
HEAD = "## Reference: the commands' help\n"


def list_commands():
    """The words of every command and of the commands inside it."""
    group = gather_commands()
    context = click.Context(group)
    for name in group.list_commands(context):
        yield [name]
        inner = group.get_command(context, name)
        if isinstance(inner, click.Group):
            yield from ([name, one] for one in inner.list_commands(context))


def get_help(words):
    """What a command prints when asked for help, at the width of the reference."""
    result = CliRunner().invoke(gather_commands(), [*words, "--help"], prog_name="scout", terminal_width=100)
    assert result.exit_code == 0, result.output
    return result.output


def make_reference():
    """The whole section: a block for each command."""
    blocks = []
    for words in list_commands():
        name = " ".join(["scout", *words])
        blocks.append(f"### {name}\n\n<!-- help: {name} -->\n```text\n{get_help(words)}```\n")
    return HEAD + "\n" + "\n".join(blocks)


if __name__ == "__main__":
    text = PAGE.read_text(encoding="utf-8")
    before = text.partition(HEAD)[0]
    PAGE.write_text(before + make_reference(), encoding="utf-8")
