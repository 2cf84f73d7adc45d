"""The results of a sweep: reports by name, what lies where, what is done or has failed, and which files are its own.

A report is named by its parameters and by a hash of all that decides what it holds.

reports/NAME.ipynb   done: the notebook, run to its last cell; NAME.html beside it is the same as a page to read
failed/NAME.ipynb    a notebook that failed, as far as it came; NAME.json beside it says why
points.parquet       a row for every point
comparison.html      the page that compares them
sweep-files.txt      the names of all these: a sweep replaces and removes nothing else
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Container, Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from growth import __version__
from growth.files import scratch
from growth.output import SEAL_NAME, holds_its_seal
from growth.sweep.comparison_words import axis_labels, axis_texts
from growth.sweep.design import Design
from growth.sweep.evaluate import scenario_at
from growth.sweep.load_sweep import SweepError
from growth.sweep.report_notebook import has_no_place, unwritten
from growth.sweep.store import store_of

POINTS, PAGE, LIST = "points.parquet", "comparison.html", "sweep-files.txt"
LIST_HEAD = "# Files that growth sweep made here. It replaces and removes no other file.\n"
OTHERWISE = "move it, or choose another folder"


@dataclass(frozen=True, slots=True)
class Task:
    """One report: its point, its file's name without ending, what is varied, the same in words, and the parameters."""

    point: int
    name: str
    varied: dict[str, Any]
    parameters: dict[str, Any]
    title: str = ""


def tasks_of(
    design: Design, numbers: Iterable[int], notebook: Path, *, takes: Container[str] = ("varied",)
) -> list[Task]:
    """The reports of the points `numbers`, in their order; equal points share one report.

    takes: the parameters that the notebook names; of these it gets `varied`, axis -> value, `point`, the same in
    words, and `locale`, that of the base scenario's page, beside `scenario`.
    """
    content = hashlib.sha256(notebook.read_bytes()).hexdigest()
    labels, texts, locale = axis_labels(design), axis_texts(design, design.loaded.locale), design.loaded.locale
    tasks: dict[str, Task] = {}
    for number in map(int, numbers):
        point = design.point(number)
        words = ", ".join(f"{labels.get(axis, axis)} {texts[axis]([value])[0]}" for axis, value in point.items())
        offered = {"varied": point, "point": words, "locale": locale}
        parameters = {"scenario": scenario_at(design, number)} | {k: v for k, v in offered.items() if k in takes}
        name = f"{_words(point)}--{digest(parameters, content, __version__)}"
        tasks.setdefault(name, Task(number, name, point, parameters, words))
    return list(tasks.values())


def digest(*parts: Any) -> str:
    """A hash of the parts, which must be JSON values: sixteen hexadecimal digits."""
    text = json.dumps(parts, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def sweep_key(design: Design, notebook: Path) -> str:
    """The key of a table of points: a hash of its points, base scenario, report notebook and our version."""
    loaded = design.loaded
    content = hashlib.sha256(notebook.read_bytes()).hexdigest()
    return digest(loaded.sweep.model_dump(mode="json"), loaded.base.model_dump(mode="json"), content, __version__)


def _words(varied: dict[str, Any]) -> str:
    """What varies, as part of a file name: letters, digits and a few signs that every file system accepts."""
    parts = [f"{title.rpartition('.')[2]}={value}" for title, value in varied.items()]
    return re.sub(r"[^A-Za-z0-9=._+-]+", "-", "__".join(parts)).strip("-.")[:100] or "point"


class Results:
    """The results at an address: a folder, or a place in a store.

    Only `held` lets a sweep write; `unfinished` is then a folder of this machine for reports in the making.
    """

    def __init__(self, address: str | Path) -> None:
        self.store = store_of(address)
        self.unfinished: Path = Path()
        self._own: set[str] = set()

    @contextmanager
    def held(self, *, take_over: bool = False) -> Iterator[None]:
        """Hold the results for one sweep.

        Raises SweepError where another one holds them, where they cannot be written, or where a file of the user's is
        in the way.
        """
        with ExitStack() as stack:
            try:
                stack.enter_context(self.store.held(take_over=take_over))
                self.unfinished = stack.enter_context(scratch(self.store.folder))
                self._own = self._listed()
                self._refuse_foreign([POINTS, PAGE])
                self._refuse_changed_page()
            except OSError as error:
                raise SweepError(f"it cannot be written: {error.strerror or error}", file=self.store.where()) from None
            yield

    def claim_names(self, names: Iterable[str]) -> None:
        """Add names to the list of the sweep's own files before they are written.

        Raises SweepError where a file of one of the names is there that no sweep wrote, OSError where the list cannot
        be written.
        """
        new = set(names) - self._own
        self._refuse_foreign(new)
        if new:
            self._own |= new
            self.store.write(LIST, LIST_HEAD + "".join(f"{name}\n" for name in sorted(self._own)))

    def report_names(self, tasks: Iterable[Task]) -> list[str]:
        """The files that the reports of these tasks may become."""
        endings = ("reports/{}.ipynb", "reports/{}.html", "failed/{}.ipynb", "failed/{}.json")
        return [ending.format(task.name) for task in tasks for ending in endings]

    def done(self) -> set[str]:
        """The names of finished reports: a notebook is put in place only when it is complete."""
        return {name.removesuffix(".ipynb") for name in self.store.names("reports") if name.endswith(".ipynb")}

    def why_failed(self) -> dict[str, str]:
        """The reports that failed last time, by name, and why."""
        found = {}
        for name in self.store.names("failed"):
            if name.endswith(".json"):
                with suppress(OSError, ValueError, KeyError, TypeError):
                    found[name.removesuffix(".json")] = json.loads(self.store.read(f"failed/{name}") or b"")["why"]
        return found

    def made(self, task: Task) -> Path:
        """Where the report of a task is made before it is moved to its place."""
        return self.unfinished / f"{task.name}.ipynb"

    def settle(self, task: Task, made: Path, why: str) -> str:
        """Move a finished report to its place, or keep a failed one with its reason. Returns why it failed, or "".

        One that cannot be written, such as on a full disc, is not recorded as failed, so that it is run again.
        """
        page = made.with_suffix(".html")
        try:
            if has_no_place(why):
                made.unlink(missing_ok=True)
            elif why:
                self._keep_failure(task, made, why)
            else:
                if page.is_file():
                    self.store.put(page, f"reports/{page.name}")
                self._move(made, f"reports/{task.name}.ipynb")
        except (OSError, ValueError) as error:
            why = why or unwritten(error)
        with suppress(OSError):
            page.unlink(missing_ok=True)
        return why

    def forget_failure(self, task: Task) -> None:
        """Remove the traces of this report's earlier failure. Raises OSError."""
        for ending in ("ipynb", "json"):
            if f"failed/{task.name}.{ending}" in self._own:
                self.store.remove(f"failed/{task.name}.{ending}")

    def _keep_failure(self, task: Task, made: Path, why: str) -> None:
        with suppress(OSError, ValueError):
            self._move(made, f"failed/{task.name}.ipynb")
        text = json.dumps({"why": why, "varied": task.varied}, indent=2, ensure_ascii=False)
        self.store.write(f"failed/{task.name}.json", text + "\n")

    def _listed(self) -> set[str]:
        """The names on the list. Raises SweepError if a file of its name is not a list of ours."""
        content = self.store.read(LIST)
        if content is not None and not content.startswith(LIST_HEAD.encode()):
            raise SweepError(f"no sweep made this file; {OTHERWISE}", self.store.where(LIST))
        return set((content or b"").decode(errors="replace").splitlines()[1:])

    def _refuse_changed_page(self) -> None:
        """Raise SweepError if somebody has changed the page since a sweep made it."""
        page = self.store.read(PAGE) or b""
        if SEAL_NAME in page and not holds_its_seal(page):
            raise SweepError(f"it was changed after a sweep made it; {OTHERWISE}", self.store.where(PAGE))

    def _refuse_foreign(self, names: Iterable[str]) -> None:
        """Raise SweepError for the first name that exists and that no sweep wrote."""
        foreign: dict[str, list[str]] = {}
        for name in set(names) - self._own:
            part, _, last = name.rpartition("/")
            foreign.setdefault(part, []).append(last)
        for part, lasts in foreign.items():
            if found := sorted(self.store.names(part).intersection(lasts)):
                where = self.store.where(f"{part}/{found[0]}".lstrip("/"))
                raise SweepError(f"no sweep made this file ({LIST} lists them); {OTHERWISE}", where)

    def _move(self, made: Path, name: str) -> None:
        """Move the notebook to its final name, whole or not at all, and record that name in it."""
        notebook = json.loads(made.read_text(encoding="utf-8"))
        notebook["metadata"].get("papermill", {})["output_path"] = name.rpartition("/")[2]
        self.store.write(name, json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n")
        made.unlink()
