"""One report run by papermill, and the worker process that runs one after the other until it is told to end."""

from __future__ import annotations

import os
import signal
import socket
import threading
from multiprocessing.connection import Connection, wait
from multiprocessing.process import parent_process
from pathlib import Path
from typing import Any

QUIET = ["--IPKernelApp.log_level=CRITICAL"]


def run_report(
    *, notebook: str, output: str, parameters: dict[str, Any], engine: str | None, cell_limit: float | None = None
) -> str:
    """Run the notebook with these parameters into `output`; returns "" or, in one line, why it failed.

    notebook, output: absolute paths. The notebook runs in the folder of `output`. A failed one is written as far as it
    came.
    """
    import papermill
    from papermill.exceptions import PapermillExecutionError

    if engine:
        from growth.sweep.engine import register

        register()
    try:
        papermill.execute_notebook(
            notebook,
            output,
            parameters=parameters,
            engine_name=engine,
            kernel_name="python3",
            language="python",
            progress_bar=False,
            cwd=str(Path(output).parent),
            execution_timeout=cell_limit,
            extra_arguments=QUIET,
        )
    except PapermillExecutionError as error:
        return _line(f"cell {error.cell_index + 1}: {error.ename}: {error.evalue}")
    except OSError as error:
        return _line(f"it cannot be written: {error.strerror or error}")
    except Exception as error:
        return _line(f"{type(error).__name__}: {error}")
    return ""


def work(tasks: Connection, kernels: socket.socket | None, notebook: str, engine: str | None) -> None:
    """Take (output, parameters) from `tasks`, run the report, answer with why it failed or "", until None comes;
    says "" once before, when it is ready.

    Ends at once when the parent dies, however it dies; its kernels then go with its socket to the fork server.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if kernels is not None:
        from growth.sweep import warm

        warm.use(kernels)
    import papermill.execute  # before a report's time begins  # noqa: F401

    tasks.send("")  # ready
    while True:
        try:
            task = tasks.recv()
            if task is None:
                return
            output, parameters = task
            tasks.send(run_report(notebook=notebook, output=output, parameters=parameters, engine=engine))
        except (EOFError, OSError):
            return


def _end_with_parent() -> None:
    wait([parent_process().sentinel])
    os._exit(1)


def _line(text: str) -> str:
    return " ".join(text.split())[:500]
