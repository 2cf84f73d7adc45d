"""Temporary folders and files that no signal leaves behind for good.

A run that is killed cannot clean up after itself. So each folder or file is held by a lock, which goes with its
process: what a run finds without one is left behind, and is removed.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, BinaryIO

PREFIX = "growth-run-"
HELD = ".held"  # the file in each folder that its run keeps locked


@contextmanager
def scratch() -> Iterator[Path]:
    """A folder of this run's own in the system's folder for temporary files, removed at the end.

    Folders that killed runs left behind are removed first.

    Returns
    -------
    Iterator[Path]
        The folder. It is empty but for the file that is locked.

    Raises
    ------
    OSError
        A folder cannot be made.

    >>> with scratch() as folder:
    ...     _ = (folder / "draft.txt").write_text("one")
    >>> folder.exists()
    False
    """
    place = Path(tempfile.gettempdir())
    for left in place.glob(f"{PREFIX}*"):
        _remove_left_folder(left)
    folder, held = _held_folder(place)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        held.close()


def held_file(folder: Path, prefix: str) -> tuple[str, BinaryIO]:
    """A new file that is held until it is closed; files of the same prefix that nobody holds are removed first.

    Parameters
    ----------
    folder : where the file is made.
    prefix : what its name begins with; files of ours alone may begin so.

    Returns
    -------
    tuple[str, BinaryIO]
        The path of the file, and the file open for writing.

    Raises
    ------
    OSError
        The file cannot be made.

    >>> with scratch() as folder:
    ...     path, stream = held_file(folder, ".page.html.growth-")
    ...     with stream:
    ...         _ = stream.write(b"half a p")  # and killed
    ...     path, stream = held_file(folder, ".page.html.growth-")
    ...     stream.close()
    ...     [name.startswith(".page.html.growth-") for name in os.listdir(folder) if name != ".held"]
    [True]
    """
    for entry in os.scandir(folder):
        if entry.name.startswith(prefix) and entry.is_file(follow_symlinks=False):
            with suppress(OSError), open(entry, "r+b") as left:
                if lock(left):
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
        import fcntl
    except ImportError:  # Windows
        import msvcrt

        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError:
            return False
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _held_folder(place: Path) -> tuple[Path, IO[str]]:
    """A new folder, and the open file in it that is locked."""
    while True:
        folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir=place))
        with suppress(FileNotFoundError):  # another run took it for one left behind, before it was locked
            held = open(folder / HELD, "w")  # noqa: SIM115, closed by the caller
            if lock(held) and (folder / HELD).exists():
                return folder, held
            held.close()


def _remove_left_folder(folder: Path) -> None:
    """Remove a folder of this user's that no run holds; as far as that is possible."""
    with suppress(OSError):
        if folder.is_symlink() or (hasattr(os, "getuid") and folder.stat().st_uid != os.getuid()):
            return
        if not (folder / HELD).exists():
            folder.rmdir()  # killed before there was anything in it
            return
        with open(folder / HELD, "r+") as held:
            if lock(held):
                shutil.rmtree(folder, ignore_errors=True)
