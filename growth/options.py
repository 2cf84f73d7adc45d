"""Options that write: how a command declares them, and the check of what they name before the command runs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from typing import Any

from growth.output import check_folder, check_output


class Writes(argparse.Action):
    """An option that names what a command writes.

    suffixes: the endings that the name of a file may have. folder: whether it names a folder. The parser's actions
    tell the tests what each command writes.
    """

    def __init__(self, *given: Any, suffixes: Sequence[str] = (), folder: bool = False, **named: Any) -> None:
        super().__init__(*given, **named)
        self.suffixes, self.folder = tuple(suffixes), folder

    def __call__(self, parser: Any, namespace: argparse.Namespace, value: Any, option: str | None = None) -> None:
        """Keep the value, and that it is to be written."""
        setattr(namespace, self.dest, value)
        namespace.writes = {**getattr(namespace, "writes", {}), self.dest: self}


def add_file_output(
    parser: argparse.ArgumentParser,
    option: str,
    *,
    suffixes: Sequence[str],
    help: str,
    metavar: str = "FILE",
    required: bool = False,
) -> None:
    """Declare an option that names a file to write, and `--replace` beside it.

    Parameters
    ----------
    parser : the command's parser.
    option : such as `--to`.
    suffixes : the endings that the file's name may have, such as `[".csv"]`.
    help, metavar, required : as for `add_argument`.

    The command line checks the name before the command runs; the command writes by `growth.output.write_output`, with
    `replace=arguments.replace` and the files that it reads as `inputs`.

    >>> parser = argparse.ArgumentParser()
    >>> add_file_output(parser, "--csv", suffixes=[".csv"], help="write the months here")
    >>> parser.parse_args(["--csv", "months.csv"]).replace
    False
    """
    parser.add_argument(option, action=Writes, suffixes=suffixes, help=help, metavar=metavar, required=required)
    _add_replace(parser)


def add_folder_output(
    parser: argparse.ArgumentParser, option: str, *, help: str, metavar: str = "DIR", required: bool = False
) -> None:
    """Declare an option that names a folder to write files to, and `--replace`; see `add_file_output`.

    The command writes by `growth.output.write_outputs`.

    >>> parser = argparse.ArgumentParser()
    >>> add_folder_output(parser, "--to", help="where the page goes")
    >>> parser.parse_args(["--to", "published", "--replace"]).replace
    True
    """
    parser.add_argument(option, action=Writes, folder=True, help=help, metavar=metavar, required=required)
    _add_replace(parser)


def check_outputs(arguments: argparse.Namespace) -> None:
    """Check everything that a command is told to write, before it runs. Raises FileError.

    Every other argument counts as an input, so that none can be overwritten whatever it is called.
    """
    for name, option in getattr(arguments, "writes", {}).items():
        value = getattr(arguments, name)
        if option.folder:
            check_folder(value)
        else:
            check_output(value, suffixes=option.suffixes, inputs=inputs_of(arguments), replace=arguments.replace)


def confirmed(yes: bool) -> bool:
    """Whether what was just shown is right: `--yes` was given, or somebody at a terminal says so.

    >>> confirmed(True)
    True
    """
    return yes or (sys.stdin.isatty() and input("Is that right? yes or no: ").strip().casefold() in ("y", "yes"))


def inputs_of(arguments: argparse.Namespace) -> list[str]:
    """The texts of all arguments that name no output: among them are the files that a command reads.

    >>> inputs_of(argparse.Namespace(scenario="shop.yaml", files=["a.csv"], months=3, run=print))
    ['shop.yaml', 'a.csv']
    """
    writes = getattr(arguments, "writes", {})
    return list(_texts([value for name, value in vars(arguments).items() if name not in writes]))


def _texts(values: Any) -> Iterator[str]:
    for value in values:
        if isinstance(value, str):
            yield value
        elif isinstance(value, list):
            yield from _texts(value)


def _add_replace(parser: argparse.ArgumentParser) -> None:
    if not any("--replace" in action.option_strings for action in parser._actions):
        parser.add_argument("--replace", action="store_true", help="overwrite files that growth did not write, too")
