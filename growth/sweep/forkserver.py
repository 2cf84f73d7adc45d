"""The process that holds the imports: `python -m growth.sweep.forkserver FD` forks a kernel whenever it is asked.

It talks over Unix sockets that keep message boundaries. The owner's socket (FD) hands in one more socket for each
process that wants kernels; a client's messages are JSON: {"start": argv, "env": ..., "cwd": ...}, {"poll": pid},
{"signal": pid, "number": n}. Nothing outlives its reason: when a client's socket closes its kernels are killed; when
the owner's closes, all are, and the server ends. A kernel asks Linux to be killed when the server dies, and watches for
it itself.
"""

from __future__ import annotations

import builtins
import ctypes
import errno
import gc
import json
import os
import selectors
import signal
import socket
import sys
from contextlib import suppress
from importlib import import_module
from types import SimpleNamespace

from growth.lean import put_off_grammar

MOST = 1 << 20  # bytes of a message
PRELOAD = (
    *("numpy", "pandas", "pydantic", "ruamel.yaml", "plotly.graph_objects", "plotly.io"),
    *("growth.engine", "growth.measures", "growth.table", "growth.charts", "growth.scenario.file"),
    *(
        "ipykernel.kernelapp",
        "ipykernel.ipkernel",
        "ipykernel.zmqshell",
        "IPython.core.completer",
        "IPython.core.magics",
    ),
)
PARENT_DEATH_SIGNAL = 1  # PR_SET_PDEATHSIG


def serve(owner: socket.socket) -> None:
    """Answer until the owner's socket closes; then kill every kernel and return."""
    selector = selectors.DefaultSelector()
    selector.register(owner, selectors.EVENT_READ)
    kernels: dict[socket.socket, dict[int, int | None]] = {}  # client -> pid -> exit code, None while it runs
    try:
        while True:
            for key, _ in selector.select():
                if key.fileobj is owner:
                    message, handles, _, _ = socket.recv_fds(owner, MOST, 1)
                    if not message:
                        return
                    client = socket.socket(fileno=handles[0])
                    kernels[client] = {}
                    selector.register(client, selectors.EVENT_READ)
                    owner.send(b"{}")
                    continue
                client = key.fileobj
                if not _answer(client, kernels, owner):
                    selector.unregister(client)
                    _kill(kernels.pop(client))
                    client.close()
    finally:
        for pids in kernels.values():
            _kill(pids)


def _answer(client: socket.socket, kernels: dict, owner: socket.socket) -> bool:
    """Answer one message; False when the client is gone."""
    try:
        message = client.recv(MOST)
        if not message:
            return False
        request = json.loads(message)
        pids = kernels[client]
        if "start" in request:
            others = [owner, *kernels]
            pid = os.fork()
            if pid == 0:
                _become_kernel(request, others)
            pids[pid] = None
            reply = {"pid": pid}
        else:
            pid = request.get("poll", request.get("signal"))
            code = _reap(pids, pid)
            if "signal" in request and code is None and pid in pids:
                _send(pid, request["number"])
            reply = {"code": code}
        client.send(json.dumps(reply).encode())
    except OSError:
        return False
    return True


def _reap(pids: dict[int, int | None], pid: int) -> int | None:
    """The exit code of a kernel as subprocess gives it, None while it runs."""
    if pids.get(pid, 0) is None:
        with suppress(ChildProcessError):
            done, status = os.waitpid(pid, os.WNOHANG)
            if done:
                pids[pid] = os.waitstatus_to_exitcode(status)
    return pids.get(pid, 0)


def _kill(pids: dict[int, int | None]) -> None:
    for pid in pids:
        if _reap(pids, pid) is None:
            _send(pid, signal.SIGKILL)
            with suppress(OSError):
                os.waitpid(pid, 0)


def _send(pid: int, number: int) -> None:
    """Signal a kernel and what it started; the kernel alone where it has not yet a session of its own."""
    try:
        os.killpg(pid, number)
    except OSError:
        with suppress(OSError):
            os.kill(pid, number)


def _become_kernel(request: dict, sockets: list[socket.socket]) -> None:
    """In the forked process: a session, randomness, environment and folder of its own; never returns."""
    code = 1
    try:
        server = os.getppid()
        os.setsid()
        _die_with_parent(server)
        for one in sockets:
            one.close()
        signal.signal(signal.SIGINT, signal.default_int_handler)
        os.environ.clear()
        os.environ.update(request["env"])
        os.environ.pop("JPY_PARENT_PID", None)
        os.chdir(request["cwd"])
        sys.argv = request["start"]
        import_module("numpy").random.seed()  # not the same numbers in every kernel
        from ipykernel.kernelapp import IPKernelApp

        IPKernelApp.launch_instance(argv=[*request["start"][1:], f"--IPKernelApp.parent_handle={server}"])
        code = 0
    except SystemExit as leaving:
        code = leaving.code if isinstance(leaving.code, int) else 0 if leaving.code is None else 1
    except BaseException as error:
        if getattr(error, "errno", None) != errno.EADDRINUSE:  # another took the port: the kernel is asked for again
            import traceback

            traceback.print_exc()
    finally:
        with suppress(Exception):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)


def _die_with_parent(parent: int) -> None:
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(PARENT_DEATH_SIGNAL, signal.SIGKILL)
    if os.getppid() != parent:  # it died before it was asked for
        os._exit(1)


def _rehearse() -> None:
    """Do once what every report does, so that what is imported or built on first use is there already."""
    import growth
    from growth import charts

    scenario = growth.load_scenario(
        {
            "business": "rehearsal",
            "months": 12,
            "opening": {"customers": 1, "mrr": 1},
            "pay": {"plans": [{"name": "one", "monthly_price": 1}]},
        }
    )
    forecast = growth.forecast(scenario)
    growth.to_frame(forecast).to_html()
    growth.table_of_measures(forecast).to_html()
    charts.use_in_notebooks()
    for chart in (charts.mrr_chart, charts.bridge_chart, charts.cohort_chart, charts.cash_chart):
        chart(forecast).to_json()


def main() -> None:
    """Import everything, then serve."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the owner's; it closes the socket
    owner = socket.socket(fileno=int(sys.argv[1]))
    put_off_grammar()
    builtins.get_ipython = lambda: SimpleNamespace(kernel=True)  # pandas asks as it is imported, and shows tables by it
    for name in PRELOAD:
        with suppress(ImportError):
            import_module(name)
    del builtins.get_ipython
    with suppress(Exception):  # a report will say what is wrong; the server serves
        _rehearse()
    gc.collect()
    gc.freeze()  # the kernels share these pages instead of copying them
    with suppress(BrokenPipeError):  # the owner did not wait
        owner.send(b'{"ready": true}')
        serve(owner)


if __name__ == "__main__":
    main()
