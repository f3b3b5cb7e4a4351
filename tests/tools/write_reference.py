"""Write the help of every command into DEVELOPERS.md: `python tests/tools/write_reference.py`."""

import re
from pathlib import Path

from click.testing import CliRunner

from scout.cli import command

PAGE = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
HEAD = "## Reference: the commands' help\n"


def help_of(words):
    """What a command prints when asked for help, at the width of the reference."""
    result = CliRunner().invoke(command, [*words, "--help"], prog_name="scout", terminal_width=100)
    assert result.exit_code == 0, result.output
    return result.output


def reference():
    """The whole section: a block for each command."""
    blocks = [
        f"<!-- help: scout {name} -->\n```text\n{help_of([name])}```\n"
        for name in command.list_commands(None)
    ]
    return HEAD + "\n" + "\n".join(blocks)


if __name__ == "__main__":
    text = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(
        re.sub(rf"{re.escape(HEAD)}.*", "", text, flags=re.DOTALL) + reference(), encoding="utf-8"
    )
