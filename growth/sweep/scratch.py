"""The folder in which reports are made, marked so that the next sweep may clear it."""

from __future__ import annotations

import shutil
from contextlib import suppress
from pathlib import Path

from growth.sweep.load_sweep import SweepError

MARK = "made-by-growth-sweep"  # a file in the folder: what else lies there may be removed


def emptied(path: Path) -> Path:
    """An empty folder at `path`; what a killed sweep left in it, known by its mark, is removed first."""
    if path.is_symlink() or (path.exists() and not (path / MARK).is_file() and any(path.iterdir())):
        raise SweepError("no sweep made this folder; move it, or choose another place", file=str(path))
    path.mkdir(mode=0o700, exist_ok=True)
    (path / MARK).touch()
    _clear(path)
    return path


def discard(path: Path) -> None:
    """Remove a scratch folder, its mark last, as far as that is possible."""
    with suppress(OSError):
        _clear(path)
        (path / MARK).unlink(missing_ok=True)
        path.rmdir()


def _clear(path: Path) -> None:
    for entry in path.iterdir():
        if entry.is_dir() and not entry.is_symlink():
            shutil.rmtree(entry, ignore_errors=True)
        elif entry.name != MARK:
            entry.unlink(missing_ok=True)
