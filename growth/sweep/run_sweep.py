"""A whole sweep: checked, computed, reported, compared; and finished where an earlier run was cut off."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tqdm import tqdm

from growth.errors import GrowthError
from growth.files import shipped
from growth.giveaway.brief import read_giveaway
from growth.output import sealed
from growth.sweep import warm_kernels
from growth.sweep.dask_cluster import run_on_cluster
from growth.sweep.design import Design, design_of
from growth.sweep.evaluate import check_points, key_of, write_table
from growth.sweep.load_sweep import load_sweep
from growth.sweep.notebook_page import style
from growth.sweep.parallel_reports import run_alone, run_in_parallel
from growth.sweep.report_notebook import parameters_of
from growth.sweep.results import PAGE, POINTS, Results, Task, digest, sweep_key, tasks_of

BAR: dict[str, Any] = {
    "bar_format": "{l_bar}{bar:20}| {n_fmt} of {total_fmt} reports{postfix}, {remaining} to go",
    "mininterval": 0.5,
    "postfix": "0 failed",
}


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

    notebook: a report notebook of the user's own; None for the one that comes along. Raises SweepError with every
    problem of the sweep file or the notebook, or ScenarioError with those of the base scenario.
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
    progress: bool = False,
) -> Outcome:
    """Compute, report and compare into `to`; finished parts are kept.

    to: a folder, or an address that fsspec opens. again: run reports that failed the last time too. take_over: replace
    the claim that a killed sweep left at an address. workers: reports at the same time; None for two a processor.
    limit: seconds for one report. warm: fork kernels from a process that holds the imports, where the system allows it.
    scheduler: address of a Dask cluster to run the reports on. say: told what the user should know. progress: show a
    bar on standard error with the number of reports done and failed, and the time left.

    Raises SweepError where another sweep holds the folder, it cannot be written, or a file of the user's is in the way;
    OSError where the table of points does not fit.
    """
    if warm and (reason := warm_kernels.unavailable()):
        say(reason)
        warm = False
    results = Results(to)
    with results.held(take_over=take_over):
        results.claim_names([POINTS, *results.report_names(job.tasks)])
        key = _compute(job, results)
        done, before = results.done(), results.why_failed()
        left = [task for task in job.tasks if task.name not in done]
        failed = {task.name: before[task.name] for task in left if task.name in before and not again}
        waiting = [task for task in left if task.name not in failed]
        how: dict[str, Any] = {"results": results, "notebook": str(job.notebook), "limit": limit, "warm": warm}
        if scheduler is None:
            made = run_in_parallel(waiting, workers=workers, **how)
        else:
            made = run_on_cluster(waiting, scheduler=scheduler, **how)
        there, shown = len(job.tasks) - len(waiting), progress and bool(waiting)
        with closing(made), tqdm(total=len(job.tasks), initial=there, disable=not shown, **BAR) as bar:
            for task, why in made:
                if why:
                    failed[task.name] = why
                elif task.name in before:
                    with suppress(OSError):
                        results.forget_failure(task)
                bar.set_postfix_str(f"{len(failed)} failed", refresh=False)
                bar.update()
        page, no_page = _compare(job, results, key, warm=warm)
    return Outcome(page, no_page, [(task, failed[task.name]) for task in left if task.name in failed], len(waiting))


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


def _compare(job: Job, results: Results, table: str, *, warm: bool) -> tuple[str, str]:
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
            run = {"notebook": str(notebook.resolve()), "output": str(made), "parameters": parameters, "warm": warm}
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
