"""The results of a sweep: what lies where, one sweep at a time, and which reports are done or have failed.

reports/NAME.ipynb   done: the last cell has run without error
failed/NAME.ipynb    the notebook with its error, beside NAME.json that says what went wrong
points.parquet       a row for every point
comparison.html      the page
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from growth.sweep.lock import Check, held
from growth.sweep.reading import SweepError
from growth.sweep.store import store_of
from growth.sweep.tasks import Task
from growth.sweep.worker import has_no_place, unwritten

POINTS, PAGE = "points.parquet", "comparison.html"


class Folder:
    """The state of reports at an address, which is a folder or a place in a store."""

    def __init__(self, address: str | Path) -> None:
        self.store = store_of(address)
        self.unfinished: Path | None = None  # of this machine, while the folder is held
        self.check: Check = lambda: None  # raises SweepError where the folder is no longer ours

    def done(self) -> set[str]:
        """The names of the reports that are there: each is put in place only when it is whole."""
        return {name.removesuffix(".ipynb") for name in self.store.names("reports") if name.endswith(".ipynb")}

    def why_failed(self) -> dict[str, str]:
        """The name of each report that failed the last time, and what went wrong."""
        found = {}
        for name in self.store.names("failed"):
            if name.endswith(".json"):
                with suppress(OSError, ValueError, KeyError, TypeError):
                    found[name.removesuffix(".json")] = json.loads(self.store.read(f"failed/{name}"))["why"]
        return found

    def made(self, task: Task) -> Path:
        """Where the report of a task is made before it is put in place."""
        return self.unfinished / f"{task.name}.ipynb"

    def settle(self, task: Task, made: Path, why: str) -> str:
        """Put a finished report in its place, or keep a failed one with its reason; returns why it failed, or "".

        One that cannot be written, such as on a full disk, is not recorded as failed, so that it is run again.
        """
        try:
            if has_no_place(why):
                made.unlink(missing_ok=True)
            elif why:
                self.keep_failure(task, made, why)
            else:
                self.keep(task, made)
        except (OSError, ValueError) as error:
            why = why or unwritten(error)
        return why

    def keep(self, task: Task, made: Path) -> None:
        """Put a finished report in its place. Raises OSError, or ValueError where it is no notebook."""
        self._move(made, f"reports/{task.name}.ipynb")

    def keep_failure(self, task: Task, made: Path, why: str) -> None:
        """Keep the notebook of a failed report, as far as it came, and why it failed. Raises OSError."""
        with suppress(OSError, ValueError):
            self._move(made, f"failed/{task.name}.ipynb")
        text = json.dumps({"why": why, "varied": task.varied}, indent=2, ensure_ascii=False)
        self.store.write(f"failed/{task.name}.json", text + "\n")

    def forget_failure(self, task: Task) -> None:
        """Remove what an earlier run left of this report's failure. Raises OSError."""
        for ending in ("ipynb", "json"):
            self.store.remove(f"failed/{task.name}.{ending}")

    @contextmanager
    def locked(self, say: Callable[[str], None] = lambda text: None) -> Iterator[None]:
        """Hold the folder for one sweep. Raises SweepError where another holds it, or where it cannot be written.

        say: told what the user should know while he waits.
        """
        with ExitStack() as stack:
            try:
                self.store.prepare()
                self.check = stack.enter_context(held(self.store, say))
                self.unfinished = self.store.scratch()
                stack.callback(shutil.rmtree, self.unfinished, ignore_errors=True)
                self._clear()
            except OSError as error:
                why = error.strerror or error
                raise SweepError(f"the folder cannot be written: {why}", file=self.store.where()) from None
            yield

    def _clear(self) -> None:
        """Remove what a killed sweep left beside the files that it was writing."""
        for part, begins in (("", (".points.", ".comparison.")), ("reports", "."), ("failed", ".")):
            for name in self.store.names(part):
                if name.startswith(begins):
                    self.store.remove(f"{part}/{name}".lstrip("/"))

    def _move(self, made: Path, name: str) -> None:
        """The notebook under its final name, whole or not at all, with that name in its own record of it."""
        notebook = json.loads(made.read_text(encoding="utf-8"))
        notebook["metadata"].get("papermill", {})["output_path"] = name.rpartition("/")[2]
        self.store.write(name, json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n")
        made.unlink()
