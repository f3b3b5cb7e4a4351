"""``scout`` as a program: both fronts together. An interrupt is no fault, however early it comes.

So nothing is imported here before `main` is ready for one.
"""

from __future__ import annotations

import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    import click


def gather_commands() -> click.Group:
    """The commands of both fronts as one group."""
    from scout.cli import command

    command.homes = {"desk": "scout.desk.command:command", **command.homes}
    return command


def main(arguments: list[str] | None = None) -> int:
    """Run a command line; gives its exit status."""
    try:
        import scout.cli  # imported here, for an interrupt may come meanwhile

        gather_commands()
        return scout.cli.main(arguments)
    except KeyboardInterrupt:
        sys.stderr.write("scout: stopped\n")
        return 130


if __name__ == "__main__":
    sys.exit(main())
