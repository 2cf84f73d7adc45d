"""The rule of writing, and the options of commands that name what is written:

- a file that is read is never written;
- an existing file is replaced only if this package wrote it and nobody has changed it since, or with `--replace`.

What this package writes carries a seal, a checksum of its content, wherever the format has room for one: pages,
pictures, PDFs, workbooks, the schema. CSV, Parquet and YAML have none, so replacing them always takes `--replace`.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import os
import re
import stat
import sys
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from growth.errors import FileError, Problem
from growth.files import open_input, replace_file

SEAL_NAME = b"growth-workbook:"
SEAL = SEAL_NAME.decode() + "0" * 32  # a text that holds this gets its checksum there
YAML = (".yaml", ".yml")  # the suffixes of a scenario file
_SEALED = re.compile(SEAL_NAME + b"([0-9a-f]{32})")
_ROOM = {".html": "<!-- {} -->\n", ".svg": "<!-- {} -->\n", ".pdf": "% {}\n", ".png": "{}"}  # behind the content
_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+://")


def check_output(
    path: str | Path,
    *,
    suffixes: Sequence[str] = (),
    inputs: Iterable[str | Path | None] = (),
    replace: bool = False,
) -> None:
    """Check that the user's file at `path` may be written, by the rule at the top of this module.

    suffixes: the endings a name may have, in lower case; empty for any. inputs: what the command reads; None stands for
    an input that was not given. replace: whether the user asked for an existing file to be replaced.

    Raises FileError where the path is an address, names an input, a folder or a device, has the wrong suffix, lies in
    no folder, or is an existing file that is not ours to replace.

    >>> check_output("forecast.csv", suffixes=[".csv"])
    >>> check_output("forecast.yaml", suffixes=[".csv"])
    Traceback (most recent call last):
    growth.errors.FileError: forecast.yaml: the name of the file to write ends in .csv
    """
    path = local_path(path)
    if suffixes and path.suffix.lower() not in suffixes:
        raise FileError(f"the name of the file to write ends in {' or '.join(suffixes)}", file=str(path))
    for one in inputs:
        if one is not None and _same(path, one):
            rule, fix = "a file that is read is not written", "Choose another name for what is to be written."
            raise FileError([Problem("", rule, fix=fix)], file=str(path))
    try:
        about = os.stat(path)
    except FileNotFoundError:
        if not Path(os.path.realpath(path)).parent.is_dir():
            raise FileError("the folder to write it to does not exist", file=str(path)) from None
        return
    except (OSError, ValueError) as wrong:
        raise FileError(f"it cannot be written: {getattr(wrong, 'strerror', None) or wrong}", file=str(path)) from None
    if stat.S_ISDIR(about.st_mode):
        raise FileError([Problem("", "the name of a file is needed", "a directory")], file=str(path))
    if not stat.S_ISREG(about.st_mode):
        raise FileError([Problem("", "the name of a regular file is needed", "a device or pipe")], file=str(path))
    if not replace and not is_sealed(path):
        rule = "there is a file of this name, and growth did not write it as it stands"
        raise FileError([Problem("", rule, fix="Choose another name, or give --replace.")], file=str(path))


def write_output(
    path: str | Path,
    content: str | bytes,
    *,
    suffixes: Sequence[str] = (),
    inputs: Iterable[str | Path | None] = (),
    replace: bool = False,
) -> Path:
    """Write a file that the user asked for, whole or not at all, by the rule at the top of this module.

    The content is sealed where its format has room: by its suffix, or in the place of SEAL in the content. Parameters
    and errors are those of `check_output`; OSError where the disk refuses. Returns the path of the file.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     page = write_output(Path(folder) / "page.html", "<p>one</p>")
    ...     page = write_output(Path(folder) / "page.html", "<p>two</p>")  # as we left it: replaced
    ...     _ = page.write_text("<p>mine</p>")
    ...     write_output(page, "<p>three</p>")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    growth.errors.FileError: ...page.html: there is a file of this name, and growth did not write it as it stands...
    """
    check_output(path, suffixes=suffixes, inputs=inputs, replace=replace)
    return replace_file(path, sealed(content, Path(path).suffix.lower()))


def check_folder(path: str | Path) -> Path:
    """Check that files can be written to a folder of this name, there already or not. Raises FileError.

    >>> check_folder("s3://bucket/folder")
    Traceback (most recent call last):
    growth.errors.FileError: s3://bucket/folder: a folder of this machine is needed (found an address)
    """
    path = local_path(path, "a folder")
    above = next((one for one in (path, *path.parents) if os.path.lexists(one)), path)
    if not above.is_dir():
        raise FileError([Problem("", "the name of a folder is needed", f"the file {above}")], file=str(path))
    return path


def write_outputs(
    folder: str | Path,
    contents: Mapping[str, str | bytes],
    *,
    inputs: Iterable[str | Path | None] = (),
    replace: bool = False,
) -> list[Path]:
    """Write several files, name -> content, to a folder that is made if need be: all are checked before one is written.

    Errors are those of `write_output` for each. Returns the paths in the order of `contents`.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in write_outputs(Path(folder) / "new", {"a.html": "<p>a</p>", "b.txt": "b"})]
    ['a.html', 'b.txt']
    """
    place, inputs = check_folder(folder), tuple(inputs)
    place.mkdir(parents=True, exist_ok=True)
    for name in contents:
        check_output(place / name, inputs=inputs, replace=replace)
    return [write_output(place / name, text, inputs=inputs, replace=replace) for name, text in contents.items()]


def sealed(content: str | bytes, suffix: str = "") -> bytes:
    """Content as bytes (text as UTF-8), with its checksum in the place of SEAL, or where the suffix has room for it."""
    content = content.encode("utf-8") if isinstance(content, str) else content
    if SEAL.encode() not in content:
        if suffix == ".xlsx":
            stream = io.BytesIO(content)
            with zipfile.ZipFile(stream, "a") as archive:
                archive.comment = SEAL.encode()
            content = stream.getvalue()
        elif suffix in _ROOM:
            content += _ROOM[suffix].format(SEAL).encode()
        else:
            return content
    before, empty, after = content.rpartition(SEAL.encode())
    return before + SEAL_NAME + _checksum(before + empty + after) + after


def is_sealed(path: Path) -> bool:
    """Whether a file is as `sealed` left it."""
    try:
        with open_input(path) as stream:
            return holds_its_seal(stream.read())
    except (FileError, OSError):
        return False


def holds_its_seal(content: bytes) -> bool:
    """Whether content is as `sealed` left it.

    >>> holds_its_seal(sealed("<p>one</p>", ".html")), holds_its_seal(b"<p>mine</p>")
    (True, False)
    """
    found = list(_SEALED.finditer(content))[-1:]  # the last one is the file's own
    return any(one[1] == _checksum(content[: one.start()] + SEAL.encode() + content[one.end() :]) for one in found)


def _checksum(content: bytes) -> bytes:
    return hashlib.sha256(content).hexdigest()[:32].encode()


def local_path(path: str | Path, what: str = "a file") -> Path:
    """The path of a file or folder of this machine. Raises FileError for an empty name, a NUL or an address.

    >>> local_path("s3://bucket/ledger.db")
    Traceback (most recent call last):
    growth.errors.FileError: s3://bucket/ledger.db: a file of this machine is needed (found an address)
    """
    if not str(path) or "\0" in str(path):
        raise FileError([Problem("", f"the name of {what} is needed", "nothing" if not str(path) else "a NUL")])
    if _ADDRESS.match(str(path)):
        raise FileError([Problem("", f"{what} of this machine is needed", "an address")], file=str(path))
    return Path(path)


def _same(path: Path, other: str | Path) -> bool:
    with suppress(OSError, ValueError):
        return os.path.samefile(path, other)
    return os.path.realpath(path) == os.path.realpath(other)


class Writes(argparse.Action):
    """An option that names what a command writes: a file whose name has one of the suffixes, or a folder.

    The parser's actions tell the tests what each command writes.
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
    """Declare an option that names a file to write, such as `--to`, and `--replace` beside it.

    suffixes: the endings that the file's name may have, such as `[".csv"]`. help, metavar, required: as for
    `add_argument`. The command line checks the name before the command runs; the command writes by `write_output`, with
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
    """Like `add_file_output`, for a folder to write files to; the command writes by `write_outputs`.

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
    given = [value for name, value in vars(arguments).items() if name not in writes]
    single = [one for value in given for one in (value if isinstance(value, list) else [value])]
    return [one for one in single if isinstance(one, str)]


def _add_replace(parser: argparse.ArgumentParser) -> None:
    if not any("--replace" in action.option_strings for action in parser._actions):
        parser.add_argument("--replace", action="store_true", help="overwrite files that growth did not write, too")
