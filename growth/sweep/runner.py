"""Reports in parallel processes: a time limit for each, a worker replaced when it dies, and nothing left running."""

from __future__ import annotations

import multiprocessing
import os
import time
from collections import deque
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from typing import Any

from growth.sweep import warm
from growth.sweep.folder import Folder
from growth.sweep.reading import SweepError
from growth.sweep.tasks import Task
from growth.sweep.worker import work

ENGINE = "growth-warm"
MOST_DEATHS = 2  # of a worker, over one report, before the report counts as failed


@dataclass(slots=True, eq=False)
class _Worker:
    process: Any
    tasks: Connection
    ready: bool = False
    task: Task | None = None
    deadline: float = float("inf")


def run_all(
    tasks: Iterable[Task],
    *,
    folder: Folder,
    notebook: str,
    workers: int | None = None,
    limit: float = 600.0,
    warm_kernels: bool = True,
    finished: Callable[[Task, str], None],
) -> None:
    """Run every task; `finished(task, why)` is called after each, why being "" where it is done.

    workers: processes; None takes two a processor, since a report waits for its kernel half of the time. limit: seconds
    for one report. A report that cannot be written, such as on a full disk, fails with that reason and is run again
    next time.
    """
    waiting = deque(tasks)
    count = min(workers or 2 * (os.cpu_count() or 1), len(waiting))
    server = warm.server() if warm_kernels and count and not warm.available() else None
    context = multiprocessing.get_context("spawn")
    deaths: dict[str, int] = {}
    crew: list[_Worker] = []

    def hire() -> _Worker:
        ours, theirs = context.Pipe()
        kernels = server.client() if server else None
        process = context.Process(
            target=work, args=(theirs, kernels, notebook, ENGINE if server else None), daemon=True
        )
        process.start()
        theirs.close()
        if kernels is not None:
            kernels.close()
        return _Worker(process, ours)

    def dismiss(worker: _Worker) -> None:
        worker.process.kill()
        worker.process.join()
        worker.tasks.close()
        crew.remove(worker)

    def settle(worker: _Worker, why: str) -> None:
        task, worker.task, worker.deadline = worker.task, None, float("inf")
        try:
            if why:
                folder.keep_failure(task, why)
            else:
                folder.keep(task)
        except (OSError, ValueError) as error:  # a full disk: not recorded as failed, so that it is run again
            why = why or f"it cannot be written: {getattr(error, 'strerror', None) or error}"
        finished(task, why)

    try:
        while waiting or any(worker.task for worker in crew):
            while len(crew) < count and len(crew) < len(waiting) + sum(bool(worker.task) for worker in crew):
                crew.append(hire())
            for worker in crew:
                if worker.ready and worker.task is None and waiting:
                    worker.task = waiting.popleft()
                    worker.deadline = time.monotonic() + limit
                    output = str(folder.unfinished / f"{worker.task.name}.ipynb")
                    with suppress(OSError):  # it has died; seen below
                        worker.tasks.send((output, worker.task.parameters))
            soonest = min(worker.deadline for worker in crew)
            wait([worker.tasks for worker in crew], timeout=max(0.0, min(soonest - time.monotonic(), 60.0)))
            for worker in list(crew):
                task = worker.task
                try:
                    answered = worker.tasks.poll()
                    why = worker.tasks.recv() if answered else ""
                except (EOFError, OSError):
                    name = task.name if task else ""  # "": it died before it was ready
                    deaths[name] = deaths.get(name, 0) + 1
                    if task and deaths[name] < MOST_DEATHS:
                        waiting.appendleft(task)
                    elif task:
                        settle(worker, "the process that ran it died twice, such as for want of memory")
                    elif deaths[name] > MOST_DEATHS:
                        raise SweepError("the processes that run the reports cannot be started") from None
                    dismiss(worker)
                    continue
                if answered and task:
                    settle(worker, why)
                elif answered:
                    worker.ready = True
                elif time.monotonic() >= worker.deadline:
                    worker.process.kill()  # its kernel goes with it
                    worker.process.join()
                    settle(worker, f"the time limit of {limit:g} seconds was over")
                    dismiss(worker)
    finally:
        for worker in list(crew):
            dismiss(worker)
