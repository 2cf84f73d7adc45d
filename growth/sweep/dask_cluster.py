"""Reports on a Dask cluster: each is a task of its own that Dask gives to another worker where one is lost.

The workers need this package. Into a store they put their reports themselves, with their own keys and driver; into a
folder, which they may not see, a report travels back as text and is put in place here. What counts as done, the time
limit and resuming are the same as on one machine. A report that a worker still puts into a store after its sweep was
killed is whole, and the one that the next run would put there.
"""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Generator, Iterable
from pathlib import Path

from growth.files import scratch
from growth.sweep.load_sweep import SweepError
from growth.sweep.report_notebook import make_report, one_line, unwritten
from growth.sweep.results import Results, Task

_ONE = threading.Lock()  # papermill changes the folder of the whole process: one report at a time in each
PATIENCE = 5.0  # seconds for the scheduler to answer
LOST = 5  # times a report may lose its worker
ENDINGS = (".ipynb", ".html")


def run_on_cluster(
    tasks: Iterable[Task],
    *,
    scheduler: str,
    results: Results,
    notebook: str,
    limit: float = 600.0,
    warm: bool = True,
) -> Generator[tuple[Task, str], None, None]:
    """Run every task on the cluster at `scheduler`; otherwise like `run_in_parallel`.

    Raises SweepError where distributed is not installed, or nothing answers at the address.
    """
    try:
        from distributed import Client, as_completed
    except ModuleNotFoundError:
        raise SweepError("a cluster needs distributed; install growth-workbook[cluster]") from None
    try:
        client = Client(scheduler, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError) as error:
        raise SweepError(f"no Dask scheduler answers at {scheduler}: {' '.join(str(error).split())[:120]}") from None
    with client, client.as_current():
        content = Path(notebook).read_text(encoding="utf-8")
        address = None if results.store.folder else results.store.address
        futures = {}
        for task in tasks:
            arguments = (content, task, limit, warm, address)
            future = client.submit(remote_report, *arguments, key=f"report-{task.name}", retries=LOST, pure=False)
            futures[future] = task
        for future in as_completed(futures):
            task = futures[future]
            try:
                texts, why = future.result()
            except Exception as error:
                texts, why = {}, one_line(f"{type(error).__name__}: {error}")
            if texts is not None:  # None: the worker has put it in its place
                why = _settle(results, task, texts, why)
            yield task, why
            future.release()


def remote_report(
    notebook: str, task: Task, limit: float, warm: bool, address: str | None
) -> tuple[dict[str, str] | None, str]:
    """On a worker of the cluster: make one report.

    Returns its texts by ending, None where it is put at `address`; and why it failed, or "".
    """
    multiprocessing.current_process().daemon = False  # as Dask starts it, it could have no fork server
    with _ONE, scratch() as place:
        source, made = place / "notebook.ipynb", place / f"{task.name}.ipynb"
        source.write_text(notebook, encoding="utf-8")
        why = make_report(
            notebook=str(source),
            output=str(made),
            parameters=task.parameters,
            title=task.title,
            warm=warm,
            limit=limit,
        )
        if address is not None:
            return None, Results(address).settle(task, made, why)
        files = {ending: made.with_suffix(ending) for ending in ENDINGS}
        return {ending: file.read_text(encoding="utf-8") for ending, file in files.items() if file.is_file()}, why


def _settle(results: Results, task: Task, texts: dict[str, str], why: str) -> str:
    """Store a report that came back as text. Returns why it failed, or ""."""
    made = results.made(task)
    try:
        for ending, text in texts.items():
            made.with_suffix(ending).write_text(text, encoding="utf-8")
    except OSError as error:
        why = why or unwritten(error)
    return results.settle(task, made, why)
