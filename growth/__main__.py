"""The entry of the command `growth`: as little as can be before an interruption is one line and not a traceback."""

from __future__ import annotations

import sys


def main() -> int:
    """Run the command line; see `growth.cli.main`."""
    try:
        from growth.cli import main as run

        return run()
    except KeyboardInterrupt:  # while it was loading
        print("growth: interrupted", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())
