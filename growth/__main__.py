"""The entry of the command `growth`: as little as can be before an interruption is one line and not a traceback."""

from __future__ import annotations

import sys


def main() -> int:
    """Run the command line; see `growth.cli.main`."""
    try:
        from growth.cli import main as run

        code = run()
    except KeyboardInterrupt:  # while it was loading
        print("growth: interrupted", file=sys.stderr)
        return 130
    if code == 130:
        import logging

        logging.disable()  # what libraries would still say of work that was cut off
    return code


if __name__ == "__main__":
    sys.exit(main())
