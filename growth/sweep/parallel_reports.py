"""Reports in parallel: a process for each, with a time limit, started again when it dies, and nothing left running."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.context import BaseContext
from multiprocessing.process import parent_process
from typing import Any

from growth.sweep import warm_kernels
from growth.sweep.results import Results
from growth.sweep.run_report import ENGINE, make_report, over
from growth.sweep.tasks import Task

GRACE = 15.0  # seconds after its time limit before a report that has not ended by itself is ended by force
MOST_DEATHS = 2  # of the process of one report, before the report counts as failed
DIED = "the process that ran it died twice, such as for want of memory"

Finished = Callable[[Task, str], None]


@dataclass(slots=True, eq=False)
class _Running:
    """A running report: its task, its process, and the process id of its kernel, 0 if that is not known."""

    task: Any
    process: Any
    messages: Connection
    limit: float | None
    kernel: int = 0
    deadline: float = float("inf")

    def __post_init__(self) -> None:
        if self.limit is not None:
            self.deadline = time.monotonic() + self.limit + GRACE

    def answer(self) -> str | None:
        """Why it failed, or "" if it did not; None while it runs. Raises EOFError if its process has died."""
        while self.messages.poll():
            message = self.messages.recv()
            if isinstance(message, str):
                return message
            self.kernel = message
        return None

    def end(self) -> None:
        """End the process, its kernel, and what the kernel started."""
        with suppress(EOFError, OSError):
            self.answer()
        self.process.kill()
        self.process.join()
        if self.kernel:
            warm_kernels.signal_group(self.kernel, signal.SIGKILL)
        self.messages.close()


def run_in_parallel(
    tasks: Iterable[Task],
    *,
    results: Results,
    notebook: str,
    workers: int | None = None,
    limit: float = 600.0,
    warm: bool = True,
    finished: Finished,
) -> None:
    """Run every task and put its report in place.

    Parameters
    ----------
    tasks : what is to be run.
    results : where the reports go; held by this process.
    notebook : absolute path of the report's notebook.
    workers : reports at the same time; None for two a processor, since a report waits for its kernel half of the time.
    limit : seconds for one report.
    warm : fork its kernel from a process that holds the imports.
    finished : called with a task and why it failed, "" where it did not. A report that cannot be written, such as on a
        full disc, fails with that reason and is run again next time.
    """
    waiting, deaths = deque(tasks), Counter[str]()
    count = workers or 2 * (os.cpu_count() or 1)
    engine = ENGINE if warm else None
    context = warm_kernels.forking()
    running: list[_Running] = []

    def start() -> None:
        while waiting and len(running) < count:
            task = waiting.popleft()
            job = {"notebook": notebook, "output": str(results.made(task)), "parameters": task.parameters}
            running.append(_start(task, context, {**job, "title": task.title, "limit": limit, "engine": engine}))

    try:
        start()
        while running:
            for one, why in _ended(running):
                running.remove(one)
                one.end()
                if why == DIED:
                    deaths[one.task.name] += 1
                    if deaths[one.task.name] < MOST_DEATHS:
                        waiting.appendleft(one.task)
                        start()
                        continue
                start()  # it is made while this one is put in its place
                finished(one.task, results.settle(one.task, results.made(one.task), why))
    finally:
        for one in running:
            one.end()


def run_alone(job: dict[str, Any]) -> str:
    """Run `make_report` in a separate process. Returns why it failed, or ""."""
    one = _start(None, warm_kernels.forking(), {"limit": None, **job})
    try:
        while not (found := _ended([one])):
            continue
        return found[0][1]
    finally:
        one.end()


def _start(task: Any, context: BaseContext, job: dict[str, Any]) -> _Running:
    """Start the process of one report; job: the arguments of `make_report`."""
    ours, theirs = context.Pipe(duplex=False)
    process: Any = context.Process(target=_make_one, args=(theirs, job, dict(os.environ)))  # type: ignore[attr-defined]
    process.start()
    theirs.close()
    return _Running(task, process, ours, job["limit"])


def _ended(running: list[_Running]) -> list[tuple[_Running, str]]:
    """Wait until a report ends or exceeds its time. Returns those that have, each with why it failed, or ""."""
    soonest = min(one.deadline for one in running)
    wait([one.messages for one in running], timeout=max(0.0, min(soonest - time.monotonic(), 60.0)))
    found = []
    for one in running:
        try:
            why = one.answer()
        except (EOFError, OSError):
            why = DIED
        if why is None and time.monotonic() >= one.deadline:
            why = over(one.limit or 0.0)
        if why is not None:
            found.append((one, why))
    return found


def _make_one(messages: Connection, job: dict[str, Any], environment: dict[str, str]) -> None:
    """In a separate process: make one report, send why it failed, or "", and exit. It exits when its parent does.

    environment: the parent's; the fork server has that of its own start, in which a store's keys may be missing.
    """
    os.environ.clear()
    os.environ.update(environment)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides
    kernel = 0
    try:
        if job["engine"]:
            kernel = warm_kernels.prepare_kernel().pid
        threading.Thread(target=_end_with_parent, args=(kernel,), daemon=True).start()
        messages.send(kernel)
        messages.send(make_report(**job))
    except OSError:
        pass  # nobody listens any more
    finally:
        os._exit(0)  # without waiting for the kernel, which goes with this process


def _end_with_parent(kernel: int) -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
    if kernel:
        warm_kernels.signal_group(kernel, signal.SIGKILL)
    os._exit(1)
