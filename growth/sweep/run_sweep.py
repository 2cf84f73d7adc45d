"""A whole sweep: checked, computed, reported, compared; and finished where an earlier run was cut off."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from growth.errors import GrowthError
from growth.files import shipped
from growth.giveaway.brief import read_giveaway
from growth.output import sealed
from growth.sweep import warm_kernels
from growth.sweep.design import Design, design_of
from growth.sweep.evaluate import check_points, key_of, write_table
from growth.sweep.load_sweep import load_sweep
from growth.sweep.notebook_page import style
from growth.sweep.parallel_reports import run_alone, run_in_parallel
from growth.sweep.report_notebook import parameters_of
from growth.sweep.results import PAGE, POINTS, Results
from growth.sweep.run_report import ENGINE
from growth.sweep.tasks import Task, digest, sweep_key, tasks_of


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """A checked sweep, ready to run: its file, points, report notebook and reports."""

    file: Path
    design: Design
    notebook: Path
    tasks: list[Task]


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """page: the comparison's address; failed: each report that failed, with why; run: how many were run just now.

    no_page: why there is no comparison, and `page` is then ""; else "".
    """

    page: str
    no_page: str
    failed: list[tuple[Task, str]]
    run: int


def prepare(file: str | Path, *, notebook: str | Path | None = None) -> Job:
    """Check everything that can be checked before a kernel starts.

    Parameters
    ----------
    file : the sweep file.
    notebook : a report notebook of the user's own; None for the one that comes along.

    Raises
    ------
    SweepError
        With every problem of the sweep file or the notebook.
    ScenarioError
        With every problem of the base scenario.
    """
    design = design_of(load_sweep(file))
    check_points(design)
    report = Path(notebook) if notebook else shipped("notebooks/report.ipynb")
    tasks = tasks_of(design, design.chosen(), report, takes=parameters_of(report))
    return Job(Path(file), design, report.resolve(), tasks)


def run_sweep(
    job: Job,
    *,
    to: str | Path,
    again: bool = False,
    take_over: bool = False,
    workers: int | None = None,
    limit: float = 600.0,
    warm: bool = True,
    scheduler: str | None = None,
    say: Callable[[str], None] = lambda text: None,
    bar: Callable[[int, int], Any] | None = None,
) -> Outcome:
    """Compute, report and compare into `to`; finished parts are kept.

    Parameters
    ----------
    job : as `prepare` gives it.
    to : a folder, or an address that fsspec opens.
    again : run reports that failed the last time too.
    take_over : replace the claim that a killed sweep left at an address.
    workers : reports at the same time; None for two a processor.
    limit : seconds for one report.
    warm : fork kernels from a process that holds the imports, where the system allows it.
    scheduler : address of a Dask cluster to run the reports on.
    say : told what the user should know.
    bar : given the number of reports and how many are there; makes a progress bar with `update`, `set_postfix_str` and
        `close`.

    Raises
    ------
    SweepError
        Where another sweep holds the folder, it cannot be written, or a file of the user's is in the way.
    OSError
        Where the table of points does not fit.
    """
    if warm and (reason := warm_kernels.unavailable()):
        say(reason)
        warm = False
    results = Results(to)
    with results.held(take_over=take_over):
        results.claim_names([POINTS, *results.report_names(job.tasks)])
        key = _compute(job, results)
        reports = _Reports(job, results, again=again)
        with reports.progress(bar):
            how: dict[str, Any] = {"results": results, "notebook": str(job.notebook), "limit": limit, "warm": warm}
            how["finished"] = reports.finished
            if scheduler is None:
                run_in_parallel(reports.waiting, workers=workers, **how)
            else:
                from growth.sweep.dask_cluster import run_on_cluster

                run_on_cluster(reports.waiting, scheduler=scheduler, **how)
        page, no_page = _compare(job, results, key, ENGINE if warm else None)
    return Outcome(page, no_page, reports.failures(), len(reports.waiting))


class _Reports:
    """The reports to run now, and those that have failed, now or before."""

    def __init__(self, job: Job, results: Results, *, again: bool) -> None:
        done = results.done()
        self._results, self._before = results, results.why_failed()
        self._left = [task for task in job.tasks if task.name not in done]
        self._total = len(job.tasks)
        self.waiting = [task for task in self._left if again or task.name not in self._before]
        self._failed = {} if again else {t.name: self._before[t.name] for t in self._left if t.name in self._before}
        self._bar: Any = None

    @contextmanager
    def progress(self, bar: Callable[[int, int], Any] | None) -> Iterator[None]:
        """Show a progress bar, if one is given and there is something to do."""
        self._bar = bar(self._total, self._total - len(self.waiting)) if bar and self.waiting else None
        try:
            yield
        finally:
            if self._bar is not None:
                self._bar.close()

    def finished(self, task: Task, why: str) -> None:
        """Record that a report has ended. why: why it failed, or ""."""
        if why:
            self._failed[task.name] = why
        elif task.name in self._before:
            with suppress(OSError):
                self._results.forget_failure(task)
        if self._bar is not None:
            self._bar.set_postfix_str(f"{len(self._failed)} failed", refresh=False)
            self._bar.update()

    def failures(self) -> list[tuple[Task, str]]:
        """Each report that failed, in the order of the points, with why."""
        return [(task, self._failed[task.name]) for task in self._left if task.name in self._failed]


def _compute(job: Job, results: Results) -> str:
    """Write the table of points, unless it is there already. Returns its key. Raises OSError."""
    key = sweep_key(job.design, job.notebook)
    with suppress(OSError), results.store.open(POINTS) as there:
        if key_of(there) == key:
            return key
    names = {task.point: f"{task.name}.ipynb" for task in job.tasks}
    made = results.unfinished / POINTS
    write_table(job.design, made, key=key, reports=names)
    results.store.put(made, POINTS)
    return key


def _look(job: Job) -> dict[str, Any]:
    """The look of the base scenario's page, as plain values. Raises ScenarioError."""
    loaded = job.design.loaded
    words = read_giveaway(job.file.parent / loaded.sweep.scenario, scenario=loaded.base)
    return words.look.model_dump(mode="json", exclude_defaults=True)


def _compare(job: Job, results: Results, table: str, engine: str | None) -> tuple[str, str]:
    """Run the comparison notebook and write its page. Returns the page's address and "", or "" and why not.

    table: what the table of points is known by. A page made from the same table, reports and notebook stays.
    """
    store, made = results.store, results.unfinished / "comparison.ipynb"
    try:
        notebook = shipped("notebooks/comparison.ipynb")
        look, locale = _look(job), job.design.loaded.locale
        key = digest(table, sorted(results.done()), notebook.read_text(encoding="utf-8"), style(), look, locale)
        if f'content="{key}"' not in (store.read(PAGE) or b"")[:2000].decode(errors="replace"):
            parameters = {"sweep": str(job.file.resolve()), "folder": store.address}
            run = {"notebook": str(notebook.resolve()), "output": str(made), "parameters": parameters, "engine": engine}
            why = run_alone({**run, "title": job.design.loaded.sweep.title, "key": key, "look": look, "locale": locale})
            if why:
                return "", f"{notebook.name}: {why}"
            results.claim_names([PAGE])
            page = made.with_suffix(".html")
            store.write(PAGE, sealed(page.read_bytes(), page.suffix))
            page.unlink()
    except (GrowthError, OSError) as error:
        return "", str(getattr(error, "strerror", None) or error)
    return store.where(PAGE), ""
