"""Reports on a Dask cluster: each is a task of its own that Dask gives to another worker where one is lost.

The workers need this package and nothing of the folder: a report travels back as text and is put in place here, so that
what counts as done, and resuming, are the same as on one machine.
"""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from growth.sweep import warm
from growth.sweep.folder import Folder
from growth.sweep.reading import SweepError
from growth.sweep.tasks import Task

_ONE = threading.Lock()  # papermill changes the folder of the whole process: one report at a time in each
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
    """Run every task on the cluster at `scheduler`; like `runner.run_all`, with the limit for one cell instead of a
    report.

    Raises SweepError where distributed is not installed, or nothing answers at the address.
    """
    try:
        from distributed import Client, as_completed
    except ModuleNotFoundError:
        raise SweepError("a cluster needs distributed; install growth-workbook[cluster]") from None
    try:
        client = Client(scheduler, timeout=5, set_as_default=False)
    except (OSError, ValueError) as error:
        raise SweepError(f"no Dask scheduler answers at {scheduler}: {' '.join(str(error).split())[:120]}") from None
    with client, client.as_current():
        content = Path(notebook).read_text(encoding="utf-8")
        futures = {
            client.submit(
                remote_report,
                content,
                task.parameters,
                limit,
                warm_kernels,
                key=f"report-{task.name}",
                retries=LOST,
                pure=False,
            ): task
            for task in tasks
        }
        for future in as_completed(futures):
            task = futures[future]
            try:
                text, why = future.result()
            except Exception as error:
                text, why = "", f"{type(error).__name__}: {' '.join(str(error).split())[:300]}"
            try:
                if text:
                    (folder.unfinished / f"{task.name}.ipynb").write_text(text, encoding="utf-8")
                if why:
                    folder.keep_failure(task, why)
                else:
                    folder.keep(task)
            except (OSError, ValueError) as error:
                why = why or f"it cannot be written: {getattr(error, 'strerror', None) or error}"
            finished(task, why)
            future.release()


def remote_report(notebook: str, parameters: dict[str, Any], limit: float, warm_kernels: bool) -> tuple[str, str]:
    """Run on a worker of the cluster: the report's text, and why it failed or ""."""
    with _ONE, tempfile.TemporaryDirectory() as folder:
        source, output = Path(folder) / "notebook.ipynb", Path(folder) / "report.ipynb"
        source.write_text(notebook, encoding="utf-8")
        from growth.sweep.engine import PROVISIONER
        from growth.sweep.worker import run_report

        engine = PROVISIONER if warm_kernels and not warm.available() else None
        why = run_report(
            notebook=str(source), output=str(output), parameters=parameters, engine=engine, cell_limit=limit
        )
        return (output.read_text(encoding="utf-8") if output.is_file() else ""), why
