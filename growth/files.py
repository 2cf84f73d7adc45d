"""Files: reading only bounded regular files, writing so that a failure loses nothing, and temporary ones.

A run that is killed cannot clean up after itself. So each temporary file is held by a lock, which goes with its
process, and each folder by a file beside it: what a run finds without a lock is left behind, and is removed.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib.resources import files
from pathlib import Path
from typing import IO, BinaryIO

from growth.errors import FileError, GrowthError, Problem

TEMPORARY = ".growth-run-"  # what the names of temporary folders begin with
FOLDER = "-files"  # behind the name of a held file: the folder that goes with it


def regular_file(
    path: str | Path, *, most_bytes: int | None = None, error: type[GrowthError] = FileError, fix: str = ""
) -> Path:
    """Check that a path is a regular file before it is opened, so that no command waits for a pipe or a device.

    A link is followed. Raises `error` where there is no such file, where it is a folder, a device or a pipe, and where
    it has more than `most_bytes`; fix: what to suggest then.

    >>> regular_file("/dev/null")
    Traceback (most recent call last):
    growth.errors.FileError: /dev/null: a regular file is needed (found a device or pipe)
    """
    try:
        about = os.stat(path)
    except FileNotFoundError:
        problem = Problem("", "there is no such file", fix="Check the name and the folder.")
        raise error([problem], file=str(path)) from None
    except (OSError, ValueError) as wrong:
        raise error([_unreadable(wrong)], file=str(path)) from None
    _check_kind(about, path, most_bytes, error, fix)
    return Path(path)


def open_input(
    path: str | Path, *, most_bytes: int | None = None, error: type[GrowthError] = FileError, fix: str = ""
) -> BinaryIO:
    """Open a regular file for reading in binary; parameters and errors are those of `regular_file`.

    The file is looked at again once it is open, so that a pipe put in its place meanwhile is refused too.

    >>> import tempfile
    >>> with tempfile.NamedTemporaryFile() as file, open_input(file.name) as stream:
    ...     stream.read()
    b''
    """
    regular_file(path, most_bytes=most_bytes, error=error, fix=fix)
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    except (OSError, ValueError) as wrong:
        raise error([_unreadable(wrong)], file=str(path)) from None
    stream = os.fdopen(handle, "rb")
    try:
        _check_kind(os.fstat(handle), path, most_bytes, error, fix)
    except BaseException:
        stream.close()
        raise
    return stream


def read_input(path: str | Path, *, most_bytes: int, error: type[GrowthError] = FileError, fix: str = "") -> bytes:
    """The content of a regular file of at most `most_bytes`; parameters and errors are those of `regular_file`.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "shop.yaml"
    ...     _ = path.write_text("scenario:")
    ...     read_input(path, most_bytes=100)
    b'scenario:'
    """
    with open_input(path, most_bytes=most_bytes, error=error, fix=fix) as stream:
        try:
            content = stream.read(most_bytes + 1)
        except OSError as wrong:
            raise error([_unreadable(wrong)], file=str(path)) from None
    if len(content) > most_bytes:  # it grew, or never told its size
        raise error([_too_large(len(content), most_bytes, fix)], file=str(path))
    return content


def not_a_table(head: bytes) -> Problem | None:
    """What is wrong where the first bytes are those of another kind of file than a CSV; None where they may be one.

    >>> print(not_a_table(b"PK\\x03\\x04\\x14"))
    a CSV file is needed (found a spreadsheet or an archive). Save the sheet as CSV, or unpack the archive.
    """
    for start, (kind, fix) in _OTHER_KINDS.items():
        if head.startswith(start):
            return Problem("", "a CSV file is needed", kind, fix)
    return None


_OTHER_KINDS = {
    b"PK\x03\x04": ("a spreadsheet or an archive", "Save the sheet as CSV, or unpack the archive."),
    b"\xd0\xcf\x11\xe0": ("an old spreadsheet", "Save the sheet as CSV."),
    b"\x1f\x8b": ("a compressed file", "Unpack it."),
    b"%PDF": ("a PDF", "Export the table as CSV."),
    b"SQLite format 3": ("a database", "Export the table as CSV."),
    b"PAR1": ("a Parquet file", "Let its name end in .parquet."),
}


def _check_kind(
    about: os.stat_result, path: str | Path, most_bytes: int | None, error: type[GrowthError], fix: str
) -> None:
    if stat.S_ISDIR(about.st_mode):
        raise error([Problem("", "a file is needed", "a directory", "Name the file in it.")], file=str(path))
    if not stat.S_ISREG(about.st_mode):
        raise error([Problem("", "a regular file is needed", "a device or pipe")], file=str(path))
    if most_bytes is not None and about.st_size > most_bytes:
        raise error([_too_large(about.st_size, most_bytes, fix)], file=str(path))


def _too_large(size: int, most: int, fix: str) -> Problem:
    return Problem("", f"at most {most // 1024:,} KB", f"{-(-size // 1024):,} KB", fix)


def _unreadable(wrong: OSError | ValueError) -> Problem:
    return Problem("", "it cannot be read", getattr(wrong, "strerror", None) or str(wrong))


def current_umask() -> int:
    """The permissions that new files do not get."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def replace_file(path: str | Path, content: str | bytes) -> Path:
    """Write `content` (text as UTF-8, line ends as they are) to `path`, whole or not at all; `write_output` is for
    files that a user names.

    The content is written to a new file in the same directory, flushed to the disk and renamed. An existing file keeps
    its permissions, and a link keeps pointing where it did. Raises OSError; the old file is then untouched and nothing
    is left beside it. What a killed run left beside it is removed.
    """
    path = Path(os.path.realpath(path))
    content = content.encode("utf-8") if isinstance(content, str) else content
    try:
        mode = path.stat().st_mode & 0o7777
    except FileNotFoundError:
        mode = 0o666 & ~current_umask()
    beside = ""
    try:
        beside, stream = held_file(path.parent, f".{path.name[:80]}.growth-")
        with stream:
            stream.write(content)
            stream.flush()
            os.fchmod(stream.fileno(), mode)
            os.fsync(stream.fileno())
            os.replace(beside, path)
    except BaseException as failed:
        with suppress(OSError):
            os.unlink(beside)
        if isinstance(failed, OSError):  # of the file that was asked for, not of the one beside it
            failed.filename, failed.filename2 = str(path), None
        raise
    return path


@contextmanager
def scratch(place: Path | None = None) -> Iterator[Path]:
    """An empty folder of this run's own, removed at the end; first those that killed runs left behind.

    place: where it is made; None for the system's folder for temporary files. Raises OSError.

    >>> with scratch() as folder:
    ...     _ = (folder / "draft.txt").write_text("one")
    >>> folder.exists()
    False
    """
    held, stream = held_file(place or Path(tempfile.gettempdir()), TEMPORARY)
    folder = Path(held + FOLDER)
    with stream:
        try:
            folder.mkdir(mode=0o700)
            yield folder
        finally:
            shutil.rmtree(folder, ignore_errors=True)
            os.unlink(held)


def held_file(folder: Path, prefix: str) -> tuple[str, BinaryIO]:
    """A new file that is held until it is closed: its path, and the file open for writing. Raises OSError.

    Files of the same prefix that nobody holds are removed first, with their folders; files of ours alone may begin so.

    >>> with scratch() as folder:
    ...     path, stream = held_file(folder, ".page.html.growth-")
    ...     with stream:
    ...         _ = stream.write(b"half a p")  # and killed
    ...     path, stream = held_file(folder, ".page.html.growth-")
    ...     stream.close()
    ...     [name.startswith(".page.html.growth-") for name in os.listdir(folder)]
    [True]
    """
    for entry in os.scandir(folder):
        if entry.name.startswith(prefix) and entry.is_file(follow_symlinks=False):
            with suppress(OSError), open(entry, "r+b") as left:
                if lock(left):
                    shutil.rmtree(entry.path + FOLDER, ignore_errors=True)
                    os.unlink(entry)
    while True:
        handle, path = tempfile.mkstemp(prefix=prefix, dir=folder)
        stream = os.fdopen(handle, "wb")
        if lock(stream) and os.path.exists(path):
            return path, stream
        stream.close()  # another run took it for one left behind, before it was locked


def lock(file: IO[str] | IO[bytes]) -> bool:
    """Lock an open file for this process, until it is closed; False where another process holds it.

    >>> with tempfile.TemporaryFile() as file:
    ...     lock(file)
    True
    """
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def shipped(name: str) -> Path:
    """The path of a file in notebooks/ or scenarios/, such as "notebooks/giveaway.ipynb".

    An installation holds these folders within the package; a clone holds them beside it. Raises FileError where the
    file is in neither.

    >>> shipped("scenarios/fernhollow.yaml").name
    'fernhollow.yaml'
    """
    package = Path(str(files("growth")))
    found = next((place / name for place in (package, package.parent) if (place / name).is_file()), None)
    if found is None:
        raise FileError("it did not come along with this installation; install growth-workbook anew", file=name)
    return found
