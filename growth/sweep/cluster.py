"""Reports on a Dask cluster: each is a task of its own that Dask gives to another worker where one is lost.

The workers need this package. Into a store they put their reports themselves, with their own keys and driver; into a
folder, which they may not see, a report travels back as text and is put in place here. What counts as done, the time
limit and resuming are the same as on one machine. A report that a worker still puts into a store after its sweep was
killed is whole, and the one that the next run would put there.
"""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable, Iterable
from pathlib import Path

from growth.lean import put_off_grammar
from growth.sweep import warm
from growth.sweep.folder import Folder
from growth.sweep.reading import SweepError
from growth.sweep.store import RemoteStore
from growth.sweep.tasks import Task
from growth.sweep.worker import ENGINE, run_report, unwritten

_ONE = threading.Lock()  # papermill changes the folder of the whole process: one report at a time in each
PATIENCE = 5.0  # seconds for the scheduler to answer
LOST = 5  # times a report may lose its worker


def run_on_cluster(
    tasks: Iterable[Task],
    *,
    scheduler: str,
    folder: Folder,
    notebook: str,
    limit: float = 600.0,
    warm_kernels: bool = True,
    finished: Callable[[Task, str], None],
) -> None:
    """Run every task on the cluster at `scheduler`; otherwise like `runner.run_all`.

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
        address = folder.store.address if isinstance(folder.store, RemoteStore) else None
        futures = {
            client.submit(
                remote_report,
                content,
                task,
                limit,
                warm_kernels,
                address,
                key=f"report-{task.name}",
                retries=LOST,
                pure=False,
            ): task
            for task in tasks
        }
        for future in as_completed(futures):
            folder.check()
            task = futures[future]
            try:
                text, why = future.result()
            except Exception as error:
                text, why = None, _line(error)
            if address is None or text is None:
                why = _settle(folder, task, text or "", why)
            finished(task, why)
            future.release()


def remote_report(notebook: str, task: Task, limit: float, warm_kernels: bool, address: str | None) -> tuple[str, str]:
    """Run on a worker of the cluster: the report's text, or "" where it is put at `address`; why it failed or ""."""
    with _ONE, tempfile.TemporaryDirectory() as place:
        source, made = Path(place) / "notebook.ipynb", Path(place) / "report.ipynb"
        source.write_text(notebook, encoding="utf-8")
        put_off_grammar()
        engine = ENGINE if warm_kernels and not warm.available() else None
        if engine:
            warm.client()  # what holds the imports starts once in each process, before a report's time begins
        why = run_report(notebook=str(source), output=str(made), parameters=task.parameters, engine=engine, limit=limit)
        if address is not None:
            return "", Folder(address).settle(task, made, why)
        return (made.read_text(encoding="utf-8") if made.is_file() else ""), why


def _settle(folder: Folder, task: Task, text: str, why: str) -> str:
    """Put a report that came back as text in its place; returns why it failed, or ""."""
    try:
        if text:
            folder.made(task).write_text(text, encoding="utf-8")
    except OSError as error:
        why = why or unwritten(error)
    return folder.settle(task, folder.made(task), why)


def _line(error: Exception) -> str:
    return f"{type(error).__name__}: {' '.join(str(error).split())[:300]}"
