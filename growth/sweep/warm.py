"""Warm kernels, seen by those who want them: one fork server for a process and its workers, and kernels as processes.

Forking needs Linux. Elsewhere `available` says why not, and the stock kernel serves.
"""

from __future__ import annotations

import atexit
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from typing import Any

from growth.errors import GrowthError
from growth.sweep.forkserver import MOST


class WarmError(GrowthError):
    """The process that holds the imports could not be started, or has gone."""


def available() -> str:
    """Why there are no warm kernels here; "" where there are."""
    if sys.platform != "linux" or not hasattr(os, "fork"):
        return "warm kernels need Linux; each report starts a stock kernel instead"
    return ""


class Server:
    """The fork server of this process. `client` gives a socket to hand to a worker; closing it kills all kernels."""

    def __init__(self) -> None:
        self._owner, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with theirs:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "growth.sweep.forkserver", str(theirs.fileno())],
                pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(part for part in sys.path if part)},
            )
        try:
            if not self._owner.recv(MOST):
                raise WarmError("warm kernels cannot be started; run without them (--kernels stock)")
        except BaseException:
            self.process.kill()
            self.process.wait()
            raise

    def client(self) -> socket.socket:
        """A new socket whose holder may start kernels; they die when it closes."""
        ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with theirs:
            socket.send_fds(self._owner, [b"client"], [theirs.fileno()])
        if not self._owner.recv(MOST):
            raise WarmError("the process that holds the warm kernels has gone")
        return ours

    def close(self) -> None:
        """Kill every kernel and end the server."""
        self._owner.close()
        try:
            self.process.wait(timeout=2)
        except subprocess.TimeoutExpired:  # its kernels have asked Linux to go with it
            self.process.kill()
            self.process.wait()


class Client:
    """Asks a fork server for kernels; safe to share between threads."""

    def __init__(self, channel: socket.socket) -> None:
        self._channel, self._lock = channel, threading.Lock()

    def ask(self, **request: Any) -> dict[str, Any]:
        """Send a request and return the reply. Raises WarmError where the server has gone."""
        with self._lock:
            try:
                self._channel.send(json.dumps(request).encode())
                reply = self._channel.recv(MOST)
            except OSError:
                reply = b""
        if not reply:
            raise WarmError("the process that holds the warm kernels has gone")
        return json.loads(reply)


_client: Client | None = None
_server: Server | None = None
_starting = threading.Lock()


def use(channel: socket.socket) -> None:
    """Have this process ask an existing server, over `channel`, instead of starting its own."""
    global _client
    _client = Client(channel)


def server() -> Server:
    """The fork server of this process, started when first asked for, and again where it has died."""
    global _client, _server
    with _starting:
        if _server is None or _server.process.poll() is not None:
            _server, _client = Server(), None
            atexit.register(close)
        return _server


def client() -> Client:
    """The client of this process: of the server that it was handed, or else of its own."""
    global _client
    if _client is None or (_server is not None and _server.process.poll() is not None):
        _client = Client(server().client())
    return _client


def close() -> None:
    """End this process's server, if it has one, and with it every kernel."""
    global _client, _server
    if _server is not None:
        _server.close()
        _server = _client = None


class ForkedKernel:
    """A forked kernel with the few methods of subprocess.Popen that jupyter_client's local provisioner uses."""

    stdin = stdout = stderr = None

    def __init__(self, argv: list[str], *, env: dict[str, str], cwd: str | None) -> None:
        self._client = client()
        self.returncode: int | None = None
        self.pid: int = self._client.ask(start=argv, env=env, cwd=str(cwd or os.getcwd()))["pid"]

    def poll(self) -> int | None:
        """The exit code, None while it runs."""
        if self.returncode is None:
            try:
                self.returncode = self._client.ask(poll=self.pid)["code"]
            except WarmError:  # the server takes its kernels with it
                self.returncode = -signal.SIGKILL
        return self.returncode

    def wait(self) -> int:
        """Wait for the end and return the exit code."""
        while self.poll() is None:
            time.sleep(0.01)
        return self.returncode

    def send_signal(self, number: int) -> None:
        """Send a signal to the kernel and what it started."""
        if self.returncode is None:
            try:
                self.returncode = self._client.ask(signal=self.pid, number=int(number))["code"]
            except WarmError:
                self.returncode = -signal.SIGKILL

    def kill(self) -> None:
        """Kill it."""
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)
