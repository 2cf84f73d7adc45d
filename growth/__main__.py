"""The entry of the command `growth`: as little as can be before an interruption is one line and not a traceback."""

from __future__ import annotations

import sys


def main() -> int:
    """Run the command line; see `growth.cli.main`."""
    try:
        from growth.cli import main as run

        code = run()
    except KeyboardInterrupt:  # while it was loading
        return _interrupted()
    except Exception as error:
        if type(error).__name__ == "SchemaError" and "KeyboardInterrupt" in str(error):
            return _interrupted()  # pydantic reports an interruption while it builds a model as an error of the model
        raise
    if code == 130:
        import logging

        logging.disable()  # what libraries would still say of work that was cut off
    return code


def _interrupted() -> int:
    print("growth: interrupted", file=sys.stderr)
    return 130


if __name__ == "__main__":
    sys.exit(main())
