"""The command line: thin, it calls the rest. Each area hands in its commands and imports what is heavy as they run."""

from __future__ import annotations

import argparse
import io
import os
import re
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module

from growth import __version__
from growth.errors import GrowthError, printable

# Modules with a function add_command(subparsers). They import nothing heavy before their command runs. Each command
# sets the defaults `run`, the function; `extra`, which brings its libraries; `instead`, an option that does without.
AREAS = (
    "growth.commands",
    "growth.calculator.command",
    "growth.giveaway.command",
    "growth.kit.command",
    "growth.client.command",
    "growth.exercises.command",
    "growth.sweep.command",
    "growth.records.command",
    "growth.earned.command",
    "growth.spreadsheet.command",
)

ENDING_SIGNALS = (signal.SIGTERM, signal.SIGHUP)
TOO_LITTLE_MEMORY = "this machine, or the limit set for this command, has too little memory for it"


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code: 0 well, 2 for bad input or an unusable file, 130 interrupted."""
    if not _streams_are_usable():
        return 2
    try:
        with _ended_as_by_ctrl_c():
            arguments = build_parser().parse_args(argv)
            code = _run(arguments)
            sys.stdout.flush()
        return code
    except SystemExit as leaving:  # argparse has said what it had to say
        return leaving.code if isinstance(leaving.code, int) else 2
    except GrowthError as error:
        return complain(error)
    except KeyboardInterrupt:
        return _said("interrupted", 130)
    except BrokenPipeError:  # the reader, such as head, has seen enough
        _let_go_of_output()
        return 141
    except OSError as error:
        _let_go_of_output()
        place = f"{error.filename}: " if error.filename else ""
        return _said(f"{place}{error.strerror or error}")
    except MemoryError:
        return _said(TOO_LITTLE_MEMORY)
    except ImportError as error:
        if not re.search("failed to map segment|annot allocate memory", f"{error} {error.__cause__}"):
            raise
        return _said(TOO_LITTLE_MEMORY)  # a library that could not even be loaded


@contextmanager
def _ended_as_by_ctrl_c() -> Iterator[None]:
    """Have a signal to end raise KeyboardInterrupt, so that no half file and no kernel stays behind."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def interrupt(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    ignored = {number for number in ENDING_SIGNALS if signal.getsignal(number) == signal.SIG_IGN}  # as nohup does
    before = {number: signal.signal(number, interrupt) for number in ENDING_SIGNALS if number not in ignored}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _streams_are_usable() -> bool:
    """Whether there is an output to write to. A closed stream is opened on nothing, so that no file gets its number."""
    closed = sys.stdout is None
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # the lowest number that is free
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w")  # noqa: SIM115, for as long as the command runs
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a narrow terminal encoding is no reason to fail
    if closed:
        _said("standard output is closed, so nothing could be said; nothing was done")
    return not closed


def _let_go_of_output() -> None:
    """Send what is still to be written to standard output to nowhere, so that leaving raises no second error."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _said(text: str, code: int = 2) -> int:
    """Say one line on standard error and return the exit code for it."""
    print(f"growth: {printable(text)}", file=sys.stderr)
    return code


def _run(arguments: argparse.Namespace) -> int:
    """Run the command. Where a library is not installed: GrowthError with the extra that brings it."""
    from growth.output import check_outputs

    if any(value in ([], "--") for value in vars(arguments).values()):  # what argparse makes of --to=--, by version
        raise GrowthError("-- is no name; write ./-- for a file that is called so")
    check_outputs(arguments)
    try:
        return arguments.run(arguments) or 0
    except ModuleNotFoundError as missing:
        extra, instead = getattr(arguments, "extra", ""), getattr(arguments, "instead", "")
        library = missing.name or ""
        if not extra or library.partition(".")[0] == "growth":
            raise
        otherwise = f", or give {instead}" if instead else ""
        raise GrowthError(f"this needs {library}; install growth-workbook[{extra}]{otherwise}") from None


def complain(error: GrowthError) -> int:
    """Say what is wrong, one problem a line, and return the exit code for it."""
    for line in str(error).splitlines():
        _said(line)
    return 2


def build_parser() -> argparse.ArgumentParser:
    """The parser with the commands of every area."""
    parser = argparse.ArgumentParser(
        prog="growth",
        description="Forecast the growth of a software subscription from a scenario file, and publish it as a page.",
        epilog="A forecast is neither advice nor a promise. Exit codes: 0 well, 2 bad input, 130 interrupted.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"growth {__version__}")
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name in AREAS:
        import_module(name).add_command(subparsers)
    return parser


if __name__ == "__main__":
    raise SystemExit(main())
