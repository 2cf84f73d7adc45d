"""A whole sweep: checked, computed, reported, compared; and finished where an earlier run was cut off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from growth.sweep import warm
from growth.sweep.design import Design, design_of
from growth.sweep.folder import Folder
from growth.sweep.onepass import check_points, key_of, write_table
from growth.sweep.page import publish_comparison
from growth.sweep.reading import load_sweep
from growth.sweep.runner import ENGINE, run_all
from growth.sweep.tasks import Task, bundled, checked_notebook, sweep_key, takes_varied, tasks_of


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """A checked sweep, ready to run: its file, its points, its report notebook and the reports to be."""

    file: Path
    design: Design
    notebook: Path
    tasks: list[Task]


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """page: the comparison; failed: each report that failed, with why; run: how many were run just now."""

    page: Path
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
    """Compute, report and compare into the folder `to`; what is there already is not done again.

    again: run reports that failed the last time too. limit: seconds for one report. say: told what the user should
    know; bar(total, there): makes a progress bar with `update`, `set_postfix_str` and `close`. Raises SweepError where
    another sweep holds the folder or the comparison cannot be made, and OSError where the folder cannot be written.
    """
    folder = Folder(to)
    with folder.locked():
        if warm_kernels and warm.available():
            say(warm.available())
        key = _compute(job, folder)
        failed = {task.name: (task, folder.why_failed(task)) for task in job.tasks if folder.why_failed(task)}
        waiting = [task for task in job.tasks if not folder.done(task) and (again or task.name not in failed)]
        left_alone = {name: one for name, one in failed.items() if one[0] not in waiting and not folder.done(one[0])}
        progress = bar(len(job.tasks), len(job.tasks) - len(waiting)) if bar and waiting else None
        now: dict[str, tuple[Task, str]] = {}

        def finished(task: Task, why: str) -> None:
            if why:
                now[task.name] = (task, why)
            if progress is not None:
                progress.set_postfix_str(f"{len(now)} failed", refresh=False)
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
            page = publish_comparison(
                sweep_file=job.file,
                folder=folder.path,
                notebook=bundled("comparison.ipynb"),
                table=key,
                title=job.design.plan.sweep.title,
                engine=ENGINE if warm_kernels and not warm.available() else None,
            )
        finally:
            if progress is not None:
                progress.close()
            warm.close()
    order = {task.name: number for number, task in enumerate(job.tasks)}
    every = {**left_alone, **now}
    return Outcome(page, sorted(every.values(), key=lambda one: order[one[0].name]), len(waiting))


def _compute(job: Job, folder: Folder) -> str:
    """The table of points, unless the same one is there; returns what it is known by."""
    key = sweep_key(job.design, job.notebook)
    if folder.points.is_file() and key_of(folder.points) == key:
        return key
    names = {task.point: f"{task.name}.ipynb" for task in job.tasks}
    write_table(job.design, folder.points, key=key, reports=names, progress=lambda count: None)
    return key
