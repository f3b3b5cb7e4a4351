"""``scout`` as a program: both fronts together. An interrupt is no fault, however early it comes.

So nothing is imported here before `main` is ready for one; and while the rest loads, one ends the program at
once, for raised inside an import it would leave a library in pieces.
"""

from __future__ import annotations

import sys

_STOPPED, _STATUS = "scout: stopped\n", 130

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
        import signal

        before = signal.getsignal(signal.SIGINT)
        try:
            if before is signal.default_int_handler:  # else it is ignored, or heard elsewhere
                signal.signal(signal.SIGINT, _leave)
        except ValueError:  # another thread's business
            before = None
        try:
            import scout.cli  # imported here, for an interrupt may come meanwhile

            gather_commands()
            return scout.cli.main(arguments)
        finally:
            if before is signal.default_int_handler:
                signal.signal(signal.SIGINT, before)
    except KeyboardInterrupt:
        sys.stderr.write(_STOPPED)
        return _STATUS


def _leave(*_: object) -> None:
    """End at once: nothing is written yet."""
    import os

    try:
        os.write(2, _STOPPED.encode())
    finally:
        os._exit(_STATUS)


if __name__ == "__main__":
    sys.exit(main())
