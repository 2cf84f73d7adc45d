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
from growth.sweep.store import RemoteStore
from growth.sweep.tasks import Task
from growth.sweep.worker import ENGINE, over, work

GRACE = 15.0  # seconds after its time limit before a report that has not ended by itself is ended by force
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
    elsewhere = isinstance(folder.store, RemoteStore)
    options = {"notebook": notebook, "engine": ENGINE if server else None, "limit": limit}
    options["discard"] = str(folder.unfinished) if elsewhere else ""  # a folder's own is found again by the next sweep
    deaths: dict[str, int] = {}
    crew: list[_Worker] = []

    def hire() -> _Worker:
        ours, theirs = context.Pipe()
        kernels = server.client() if server else None
        process = context.Process(target=work, args=(theirs, kernels), kwargs=options, daemon=True)
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

    def give(worker: _Worker) -> None:
        if worker.ready and worker.task is None and waiting:
            worker.task = waiting.popleft()
            worker.deadline = time.monotonic() + limit + GRACE
            with suppress(OSError):  # it has died; seen below
                worker.tasks.send((str(folder.made(worker.task)), worker.task.parameters))

    def settle(task: Task, why: str) -> None:
        finished(task, folder.settle(task, folder.made(task), why))

    try:
        while waiting or any(worker.task for worker in crew):
            folder.check()
            while len(crew) < count and len(crew) < len(waiting) + sum(bool(worker.task) for worker in crew):
                crew.append(hire())
            for worker in crew:
                give(worker)
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
                        settle(task, "the process that ran it died twice, such as for want of memory")
                    elif deaths[name] > MOST_DEATHS:
                        raise SweepError("the processes that run the reports cannot be started") from None
                    dismiss(worker)
                    continue
                if answered and task:
                    worker.task, worker.deadline = None, float("inf")
                    give(worker)  # it makes the next one while this one is put in its place
                    settle(task, why)
                elif answered:
                    worker.ready = True
                elif time.monotonic() >= worker.deadline:
                    worker.process.kill()  # its kernel goes with it
                    worker.process.join()
                    settle(task, over(limit))
                    dismiss(worker)
    finally:
        for worker in list(crew):
            dismiss(worker)
