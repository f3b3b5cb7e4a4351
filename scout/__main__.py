"""``scout`` as a program: both fronts together. An interrupt is no fault, however early it comes."""

from __future__ import annotations

import sys


def main(arguments: list[str] | None = None) -> int:
    """Run a command line; gives its exit status."""
    try:
        import scout.cli  # imported here, for an interrupt may come meanwhile

        commands = scout.cli.command.homes
        scout.cli.command.homes = {"desk": "scout.desk.command", **commands}
        return scout.cli.main(arguments)
    except KeyboardInterrupt:
        sys.stderr.write("scout: stopped\n")
        return 130


if __name__ == "__main__":
    sys.exit(main())
