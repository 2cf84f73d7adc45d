"""A whole sweep: checked, computed, reported, compared; and finished where an earlier run was cut off."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from growth.sweep import warm
from growth.sweep.design import Design, design_of
from growth.sweep.folder import POINTS, Folder
from growth.sweep.notebook import bundled, checked_notebook, takes_varied
from growth.sweep.onepass import check_points, key_of, write_table
from growth.sweep.page import publish_comparison
from growth.sweep.reading import SweepError, load_sweep
from growth.sweep.runner import run_all
from growth.sweep.tasks import Task, sweep_key, tasks_of
from growth.sweep.worker import ENGINE


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """A checked sweep, ready to run: its file, its points, its report notebook and the reports to be."""

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
    """Check everything that can be checked before a kernel starts. Raises SweepError, or ScenarioError for the base."""
    design = design_of(load_sweep(file))
    check_points(design)
    report = checked_notebook(Path(notebook) if notebook else bundled("report.ipynb"))
    tasks = tasks_of(design, design.chosen(), report, varied=takes_varied(report))
    return Job(Path(file), design, report.resolve(), tasks)


def run(
    job: Job,
    *,
    to: str | Path,
    again: bool = False,
    workers: int | None = None,
    limit: float = 600.0,
    warm_kernels: bool = True,
    scheduler: str | None = None,
    say: Callable[[str], None] = lambda text: None,
    bar: Callable[[int, int], Any] | None = None,
) -> Outcome:
    """Compute, report and compare into `to`, a folder or an address; what is there already is not done again.

    again: run reports that failed the last time too. limit: seconds for one report. say: told what the user should
    know; bar(total, there): makes a progress bar with `update`, `set_postfix_str` and `close`. Raises SweepError where
    another sweep holds the folder or it cannot be written, and OSError where the table of points does not fit into it.
    """
    folder, engine = Folder(to), None
    if warm_kernels:
        engine = None if warm.available() else ENGINE
        if engine is None:
            say(warm.available())
    with folder.locked(say):
        key = _compute(job, folder)
        done, failures = folder.done(), folder.why_failed()
        left = [task for task in job.tasks if task.name not in done]
        waiting = [task for task in left if again or task.name not in failures]
        failed = {task.name: why for task in left if (why := failures.get(task.name)) and not again}
        progress = bar(len(job.tasks), len(job.tasks) - len(waiting)) if bar and waiting else None

        def finished(task: Task, why: str) -> None:
            if why:
                failed[task.name] = why
            elif task.name in failures:
                with suppress(OSError):
                    folder.forget_failure(task)
            if progress is not None:
                progress.set_postfix_str(f"{len(failed)} failed", refresh=False)
                progress.update()

        options = {"folder": folder, "notebook": str(job.notebook), "limit": limit, "finished": finished}
        try:
            if scheduler is None:
                run_all(waiting, workers=workers, warm_kernels=warm_kernels, **options)
            else:
                from growth.sweep.cluster import run_on_cluster

                run_on_cluster(waiting, scheduler=scheduler, warm_kernels=warm_kernels, **options)
            if progress is not None:
                progress.close()
                progress = None
            page, no_page = _compare(job, folder, key, engine)
        finally:
            if progress is not None:
                progress.close()
            warm.close()
    return Outcome(page, no_page, [(task, failed[task.name]) for task in left if task.name in failed], len(waiting))


def _compute(job: Job, folder: Folder) -> str:
    """The table of points, unless the same one is there; returns what it is known by. Raises OSError."""
    key = sweep_key(job.design, job.notebook)
    with suppress(OSError), folder.store.open(POINTS) as there:
        if key_of(there) == key:
            return key
    names = {task.point: f"{task.name}.ipynb" for task in job.tasks}
    made = folder.unfinished / POINTS
    write_table(job.design, made, key=key, reports=names, progress=lambda count: None)
    folder.store.put(made, POINTS)
    return key


def _compare(job: Job, folder: Folder, key: str, engine: str | None) -> tuple[str, str]:
    """The comparison's address and "", or "" and why there is none."""
    try:
        page = publish_comparison(
            sweep_file=job.file,
            folder=folder,
            notebook=bundled("comparison.ipynb"),
            table=key,
            title=job.design.plan.sweep.title,
            engine=engine,
        )
    except (SweepError, OSError) as error:
        return "", str(getattr(error, "strerror", None) or error)
    return page, ""
