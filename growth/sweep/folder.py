"""The folder of a sweep: what lies where, one sweep at a time, and which reports are done or have failed.

reports/NAME.ipynb   done: the last cell has run without error
failed/NAME.ipynb    the notebook with its error, beside NAME.json that says what went wrong
points.parquet       a row for every point
comparison.html      the page
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from growth.files import replace_file
from growth.sweep.reading import SweepError
from growth.sweep.tasks import Task

PARTS = ".unfinished"


class Folder:
    """Paths within the folder, and the state of reports in it."""

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path).resolve()
        self.reports, self.failed = self.path / "reports", self.path / "failed"
        self.unfinished = self.path / PARTS
        self.points, self.page = self.path / "points.parquet", self.path / "comparison.html"

    def done(self, task: Task) -> bool:
        """Whether the report is there: it is put in place only when it is whole."""
        return (self.reports / f"{task.name}.ipynb").is_file()

    def why_failed(self, task: Task) -> str:
        """What went wrong the last time; "" where nothing did."""
        try:
            return json.loads((self.failed / f"{task.name}.json").read_text(encoding="utf-8"))["why"]
        except (OSError, ValueError, KeyError, TypeError):
            return ""

    def keep(self, task: Task) -> None:
        """Put a finished report in its place."""
        _move(self.unfinished / f"{task.name}.ipynb", self.reports / f"{task.name}.ipynb")
        for ending in ("ipynb", "json"):
            (self.failed / f"{task.name}.{ending}").unlink(missing_ok=True)

    def keep_failure(self, task: Task, why: str) -> None:
        """Keep the notebook of a failed report, as far as it came, and why it failed."""
        with suppress(OSError, ValueError):
            _move(self.unfinished / f"{task.name}.ipynb", self.failed / f"{task.name}.ipynb")
        text = json.dumps({"why": why, "varied": task.varied}, indent=2, ensure_ascii=False)
        replace_file(self.failed / f"{task.name}.json", text + "\n")

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Hold the folder for one sweep. Raises SweepError where another holds it, or where it cannot be written.

        The lock goes with the process, so that none is left behind by a sweep that was killed.
        """
        try:
            for part in (self.reports, self.failed):
                part.mkdir(parents=True, exist_ok=True)
            lock = open(self.path / ".lock", "a+")  # noqa: SIM115
        except OSError as error:
            raise SweepError(f"the folder cannot be written: {error.strerror}", file=str(self.path)) from None
        with lock:
            if not _take(lock.fileno()):
                raise SweepError(
                    "another sweep is writing into this folder; wait for it, or take another", file=str(self.path)
                )
            shutil.rmtree(self.unfinished, ignore_errors=True)
            for stray in (
                *self.path.glob(".points.*"),
                *self.reports.glob(".*"),
                *self.failed.glob(".*"),
                *self.path.glob(".comparison*"),
            ):
                with suppress(OSError):
                    stray.unlink()
            self.unfinished.mkdir()
            try:
                yield
            finally:
                shutil.rmtree(self.unfinished, ignore_errors=True)


def _move(source: Path, target: Path) -> None:
    """The notebook under its final name, whole or not at all, with that name in its own record of it."""
    notebook = json.loads(source.read_text(encoding="utf-8"))
    notebook["metadata"].get("papermill", {})["output_path"] = target.name
    replace_file(target, json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n")
    source.unlink()


def _take(handle: int) -> bool:
    try:
        import fcntl
    except ImportError:  # Windows
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    os.set_inheritable(handle, False)
    return True
