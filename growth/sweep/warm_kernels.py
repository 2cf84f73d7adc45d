"""Warm kernels: IPython kernels forked from a process that has already imported what a report needs.

The process is the standard library's fork server (`multiprocessing`, start method "forkserver"), told what to import
by `set_forkserver_preload`. It ends with the process that started it. A kernel asks Linux to be killed when its parent
dies. Elsewhere than on Linux `unavailable` says why not, and stock kernels serve.
"""

from __future__ import annotations

import asyncio
import atexit
import ctypes
import errno
import multiprocessing
import os
import signal
import sys
import traceback
from contextlib import ExitStack, suppress
from functools import cache
from importlib import import_module
from multiprocessing.connection import Connection
from multiprocessing.context import BaseContext
from typing import Any

from growth.files import scratch

PARENT_DEATH_SIGNAL = 1  # PR_SET_PDEATHSIG
_prepared: list[ForkedKernel] = []


def unavailable() -> str:
    """Why there are no warm kernels on this system; "" if there are."""
    if sys.platform != "linux" or not hasattr(os, "fork"):
        return "warm kernels need Linux; each report starts a stock kernel instead"
    return ""


def forking() -> BaseContext:
    """The `multiprocessing` context whose processes hold the imports; "spawn" if processes cannot be forked."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    _have_sockets_cleared()
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["growth.sweep.preload"])
    return context


LONGEST = 80  # characters of a folder in which sockets can be made: their whole paths may have 104 to 108


@cache
def _have_sockets_cleared() -> None:
    """Have `multiprocessing` make its sockets in a folder that the next run removes if this one is killed."""
    stack = ExitStack()
    atexit.register(stack.close)
    with suppress(AttributeError):  # there is no public name for it
        config: dict[str, Any] = multiprocessing.current_process()._config  # type: ignore[attr-defined]
        folder = str(stack.enter_context(scratch()))
        if len(folder) <= LONGEST:
            config.setdefault("tempdir", folder)


def prepare_kernel() -> ForkedKernel:
    """Fork the kernel that this process will need, before it has threads; `kernel` hands it out.

    For processes that the fork server started: they hold the imports themselves.
    """
    _prepared.append(ForkedKernel(multiprocessing.get_context("fork")))
    return _prepared[-1]


def kernel() -> ForkedKernel:
    """A kernel that waits for its command: the prepared one, or a new one from the fork server."""
    return _prepared.pop() if _prepared else ForkedKernel(forking())


class ForkedKernel:
    """A forked kernel with the few methods of subprocess.Popen that jupyter_client's local provisioner uses."""

    stdin = stdout = stderr = None

    def __init__(self, context: BaseContext) -> None:
        receiver, self._sender = multiprocessing.Pipe(duplex=False)
        process: Any = context.Process(  # type: ignore[attr-defined]
            target=_run_kernel, args=(receiver, self._sender if context.get_start_method() == "fork" else None)
        )
        process.start()
        receiver.close()
        self._process = process
        self.pid: int = process.pid

    def launch(self, argv: list[str], *, env: dict[str, str], cwd: str) -> None:
        """Turn it into the kernel of this command line."""
        self._sender.send((argv, env, cwd))

    def poll(self) -> int | None:
        """The exit code, None while it runs."""
        return self._process.exitcode

    def wait(self) -> int | None:
        """Wait for the end and return the exit code."""
        self._process.join()
        return self.poll()

    def send_signal(self, number: int) -> None:
        """Send a signal to the kernel and what it started."""
        if self.poll() is None:
            signal_group(self.pid, number)


def signal_group(pid: int, number: int) -> None:
    """Signal a kernel and what it started; only the kernel if it has no session of its own yet."""
    try:
        os.killpg(pid, number)
    except OSError:
        with suppress(OSError):
            os.kill(pid, number)


def _run_kernel(receiver: Connection, sender: Connection | None) -> None:
    """In the forked process: set up its own session, random state, environment and folder. Never returns."""
    code = 1
    try:
        parent = os.getppid()
        os.setsid()
        _die_with(parent)
        if sender is not None:  # a copy of the parent's end, which would keep the pipe open
            sender.close()
        signal.signal(signal.SIGINT, signal.default_int_handler)
        argv, env, cwd = receiver.recv()
        os.environ.clear()
        os.environ.update(env)
        os.environ.pop("JPY_PARENT_PID", None)
        os.chdir(cwd)
        sys.argv = argv
        from ipykernel.kernelapp import IPKernelApp

        import_module("numpy").random.seed()  # else every kernel would draw the same numbers
        asyncio.set_event_loop(asyncio.new_event_loop())
        IPKernelApp.launch_instance(argv=[*argv[1:], f"--IPKernelApp.parent_handle={parent}"])
        code = 0
    except SystemExit as leaving:
        code = leaving.code if isinstance(leaving.code, int) else 0 if leaving.code is None else 1
    except EOFError:  # the parent has gone, or needs no kernel
        code = 0
    except BaseException as error:
        if getattr(error, "errno", None) != errno.EADDRINUSE:  # another took the port: the kernel is asked for again
            traceback.print_exc()
    finally:
        with suppress(Exception):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)


def _die_with(parent: int) -> None:
    """Have Linux kill this process when its parent dies."""
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(PARENT_DEATH_SIGNAL, signal.SIGKILL)
    if os.getppid() != parent:  # it died before it was asked for
        os._exit(1)
