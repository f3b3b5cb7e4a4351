"""``scout`` as a program: an interrupt is no fault, however early it comes."""

from __future__ import annotations

import sys


def main() -> int:
    """Run the command line; gives its exit status."""
    try:
        from scout.cli import main as run  # imported here, for an interrupt may come meanwhile

        return run()
    except KeyboardInterrupt:
        sys.stderr.write("scout: stopped\n")
        return 130


if __name__ == "__main__":
    sys.exit(main())
