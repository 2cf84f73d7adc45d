"""Reports in parallel: a process for each, with a time limit, started again when it dies, and nothing left running."""

from __future__ import annotations

import os
import signal
import threading
import time
import traceback
from collections import Counter, deque
from collections.abc import Generator, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.context import BaseContext
from multiprocessing.process import parent_process
from typing import Any

from growth.sweep import warm_kernels
from growth.sweep.report_notebook import make_report, one_line, over
from growth.sweep.results import Results, Task

GRACE = 15.0  # seconds after its time limit before a report that has not ended by itself is ended by force
MOST_DEATHS = 2  # of the process of one report, before the report counts as failed
DIED = "the process that ran it died twice, such as for want of memory"


@dataclass(slots=True, eq=False)
class _Running:
    """A running report: its name, its process, and the process id of its kernel, 0 if that is not known."""

    name: str
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
) -> Generator[tuple[Task, str], None, None]:
    """Run every task, put its report in place, and yield the task with why it failed, "" where it did not.

    A report that cannot be written, such as on a full disc, fails with that reason and is run again next time. Closing
    the iterator ends what runs.

    results: held by this process. notebook: absolute path of the report's. workers: reports at the same time; None for
    two a processor, since a report waits for its kernel half of the time. limit: seconds for one report. warm: fork its
    kernel from a process that holds the imports.
    """
    named = {task.name: task for task in tasks}
    how = {"notebook": notebook, "limit": limit, "warm": warm}
    jobs = {
        name: {"output": str(results.made(task)), "parameters": task.parameters, "title": task.title, **how}
        for name, task in named.items()
    }
    for name, why in _run(jobs, workers or 2 * (os.cpu_count() or 1)):
        yield named[name], results.settle(named[name], results.made(named[name]), why)


def run_alone(job: dict[str, Any]) -> str:
    """Run `make_report` in a separate process. Returns why it failed, or ""."""
    [(_, why)] = _run({"": {"limit": None, **job}}, 1)
    return why


def _run(jobs: Mapping[str, dict[str, Any]], workers: int) -> Iterator[tuple[str, str]]:
    """Run `make_report` with the arguments of every job, each in a process; yield its name and why it failed, or ""."""
    waiting, deaths = deque(jobs), Counter[str]()
    context = warm_kernels.forking()
    running: list[_Running] = []

    def start() -> None:
        while waiting and len(running) < workers:
            name = waiting.popleft()
            running.append(_start(name, context, jobs[name]))

    try:
        start()
        while running:
            for one, why in _ended(running):
                running.remove(one)
                one.end()
                deaths[one.name] += why == DIED
                again = why == DIED and deaths[one.name] < MOST_DEATHS
                if again:
                    waiting.appendleft(one.name)
                start()  # the next is made while this one is put in its place
                if not again:
                    yield one.name, why
    finally:
        for one in running:
            one.end()


def _start(name: str, context: BaseContext, job: dict[str, Any]) -> _Running:
    """Start the process of one report; job: the arguments of `make_report`."""
    ours, theirs = context.Pipe(duplex=False)
    process: Any = context.Process(target=_make_one, args=(theirs, job, dict(os.environ)))  # type: ignore[attr-defined]
    process.start()
    theirs.close()
    return _Running(name, process, ours, job["limit"])


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
        if job["warm"]:
            kernel = warm_kernels.prepare_kernel().pid
        threading.Thread(target=_end_with_parent, args=(kernel,), daemon=True).start()
        messages.send(kernel)
        messages.send(_why_it_failed(job))
    except OSError:
        pass  # nobody listens any more
    finally:
        os._exit(0)  # without waiting for the kernel, which goes with this process


def _why_it_failed(job: dict[str, Any]) -> str:
    """Make the report; why it failed, or "". What it does not foresee is told with its place in the code."""
    try:
        return make_report(**job)
    except Exception as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        return one_line(f"{type(error).__name__}: {error} ({os.path.basename(place.filename)}, line {place.lineno})")


def _end_with_parent(kernel: int) -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
    if kernel:
        warm_kernels.signal_group(kernel, signal.SIGKILL)
    os._exit(1)
