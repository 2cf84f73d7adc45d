"""The command line: thin, it calls the rest. Each area hands in its commands and imports what is heavy as they run."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from importlib.util import find_spec

from growth import __version__
from growth.errors import GrowthError

# Modules with a function add_command(subparsers). They import nothing heavy before their command runs. Each command
# sets the defaults `run`, the function; `extra`, which brings its libraries; `instead`, an option that does without.
AREAS = (
    "growth.commands",
    "growth.giveaway.command",
    "growth.kit.command",
    "growth.sweep.command",
    "growth.records.command",
    "growth.earned.command",
    "growth.spreadsheet.command",
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code: 0 well, 2 for bad input or an unusable file, 130 interrupted."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a narrow terminal encoding is no reason to fail
    try:
        arguments = build_parser().parse_args(argv)
        code = _run(arguments)
        sys.stdout.flush()
        return code
    except SystemExit as leaving:  # argparse has said what it had to say
        return leaving.code if isinstance(leaving.code, int) else 2
    except GrowthError as error:
        return complain(error)
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader, such as head, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        print(f"growth: {place}{error.strerror or error}", file=sys.stderr)
        return 2


def _run(arguments: argparse.Namespace) -> int:
    """Run the command. Where a library is not installed: GrowthError with the extra that brings it."""
    from growth.options import check_outputs

    check_outputs(arguments)
    try:
        return arguments.run(arguments) or 0
    except ModuleNotFoundError as missing:
        extra, instead = getattr(arguments, "extra", ""), getattr(arguments, "instead", "")
        if not extra or missing.name.partition(".")[0] == "growth":
            raise
        otherwise = f", or give {instead}" if instead else ""
        raise GrowthError(f"this needs {missing.name}; install growth-workbook[{extra}]{otherwise}") from None


def complain(error: GrowthError) -> int:
    """Say what is wrong, one problem a line, and return the exit code for it."""
    for line in str(error).splitlines():
        print(f"growth: {line}", file=sys.stderr)
    return 2


def build_parser() -> argparse.ArgumentParser:
    """The parser with the commands of every area that is there."""
    parser = argparse.ArgumentParser(
        prog="growth",
        description="Forecast the growth of a software subscription from a scenario file, and publish it as a page.",
        epilog="A forecast is neither advice nor a promise. Exit codes: 0 well, 2 bad input, 130 interrupted.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"growth {__version__}")
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name in AREAS:
        if _exists(name):
            import_module(name).add_command(subparsers)
    return parser


def _exists(name: str) -> bool:
    package = name.rpartition(".")[0]
    return (package == "growth" or find_spec(package) is not None) and find_spec(name) is not None


if __name__ == "__main__":
    raise SystemExit(main())
