"""One report run by papermill, and the worker process that runs one after the other until it is told to end."""

from __future__ import annotations

import logging
import os
import shutil
import signal
import socket
import threading
import time
from multiprocessing.connection import Connection, wait
from multiprocessing.process import parent_process
from pathlib import Path
from typing import Any

from growth.lean import put_off_grammar, without_addresses

ENGINE = "growth-warm"
NO_PLACE = "it cannot be written"
STARTS = 3  # of a kernel; two that start at once may pick the same port, and one of them dies: no cell has run then
NEVER_STARTED = "Kernel died before replying to kernel_info"  # as jupyter_client says it
QUIET = ["--IPKernelApp.log_level=CRITICAL"]


def run_report(
    *, notebook: str, output: str, parameters: dict[str, Any], engine: str | None, limit: float | None = None
) -> str:
    """Run the notebook with these parameters into `output`; returns "" or, in one line, why it failed.

    notebook, output: absolute paths. The notebook runs in the folder of `output`. A failed one is written as far as it
    came. limit: seconds for the whole report, from the start of its kernel; None for none.
    """
    import papermill
    from papermill.exceptions import PapermillExecutionError

    logging.getLogger("papermill").setLevel(logging.CRITICAL)  # what it has to say is in the answer
    if engine:
        from growth.sweep.engine import register

        register()
    end = time.monotonic() + (limit or float("inf"))
    limits = {}
    if limit is not None:  # each cell gets what is left of the report's time
        limits["timeout_func"] = lambda cell: max(end - time.monotonic(), 0.001)
        limits["start_timeout"] = limits["execution_timeout"] = limit
    for starts_left in reversed(range(STARTS)):
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
                extra_arguments=QUIET,
                **limits,
            )
            return ""
        except PapermillExecutionError as error:
            from growth.sweep.notebook import own_number

            return _line(f"cell {own_number(notebook, error.cell_index)}: {error.ename}: {error.evalue}")
        except Exception as error:
            if time.monotonic() >= end:
                return over(limit)
            if starts_left and NEVER_STARTED in str(error):
                continue
            return unwritten(error) if isinstance(error, OSError) else _line(f"{type(error).__name__}: {error}")


def over(limit: float) -> str:
    """Why a report failed that took too long."""
    return f"the time limit of {limit:g} seconds was over"


def unwritten(error: Exception) -> str:
    """Why a report failed for which there was no room, or no leave; `has_no_place` knows it again."""
    return _line(f"{NO_PLACE}: {getattr(error, 'strerror', None) or error}")


def has_no_place(why: str) -> bool:
    """Whether a report failed only because it could not be written."""
    return why.startswith(NO_PLACE)


def work(
    tasks: Connection, kernels: socket.socket | None, *, notebook: str, engine: str | None, limit: float, discard: str
) -> None:
    """Take (output, parameters) from `tasks`, run the report, answer with why it failed or "", until None comes;
    says "" once before, when it is ready.

    Ends at once when the parent dies, however it dies; its kernels then go with its socket to the fork server.
    discard: a folder that nobody will look for then, which is removed; "" for none.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides
    threading.Thread(target=_end_with_parent, args=(discard,), daemon=True).start()
    if kernels is not None:
        from growth.sweep import warm

        warm.use(kernels)
    put_off_grammar()
    without_addresses()
    import papermill.execute  # before a report's time begins  # noqa: F401

    tasks.send("")  # ready
    while True:
        try:
            task = tasks.recv()
            if task is None:
                return
            output, parameters = task
            tasks.send(run_report(notebook=notebook, output=output, parameters=parameters, engine=engine, limit=limit))
        except (EOFError, OSError):
            return


def _end_with_parent(discard: str) -> None:
    wait([parent_process().sentinel])
    if discard:
        shutil.rmtree(discard, ignore_errors=True)
    os._exit(1)


def _line(text: str) -> str:
    return " ".join(text.split())[:500]
