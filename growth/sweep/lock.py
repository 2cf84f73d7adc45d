"""One sweep at a time into a folder or an address.

A folder is held by a lock of the operating system, which goes with the process. A store has none: there a file says who
holds it, and shows by changing every few seconds that its owner lives. One that no longer changes was left behind by a
sweep that was killed, and is taken over.
"""

from __future__ import annotations

import json
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from uuid import uuid4

from growth.sweep.reading import SweepError
from growth.sweep.store import LocalStore, RemoteStore, Store

NAME = ".lock"
BEAT = 4.0  # seconds between two signs of life
SILENCE = 5  # beats without one after which the owner counts as dead
TAKEN = "another sweep is writing into this folder; wait for it, or take another"

Check = Callable[[], None]


@contextmanager
def held(store: Store, say: Callable[[str], None]) -> Iterator[Check]:
    """Hold the store for one sweep. Yields a check that raises SweepError where it is no longer ours.

    say: told when a lock is found of which it is not yet known whether its owner lives. Raises SweepError where another
    sweep holds the store, and OSError where it cannot be written.
    """
    if isinstance(store, LocalStore):
        with open(store.path / NAME, "a+") as file:
            if not _take(file.fileno()):
                raise SweepError(TAKEN, file=store.where())
            yield lambda: None
    else:
        me = uuid4().hex
        _claim(store, me, say)
        lost, done = threading.Event(), threading.Event()

        def check() -> None:
            if lost.is_set():
                raise SweepError("another sweep has taken this address over; this one ends", file=store.where())

        beats = threading.Thread(target=_beat, args=(store.another(), me, lost, done), daemon=True)
        beats.start()
        try:
            yield check
        finally:
            done.set()
            beats.join()
            with suppress(OSError):
                if _owner(store) == me:
                    store.remove(NAME)


def _claim(store: RemoteStore, me: str, say: Callable[[str], None]) -> None:
    """Write the lock file, if need be after watching whether the one that is there still changes."""
    if not store.create(NAME, _sign(me)):
        say(f"{store.where(NAME)} is there; looking for up to {BEAT * SILENCE:g} seconds whether its sweep still runs")
        seen, end = store.read(NAME), time.monotonic() + BEAT * SILENCE
        while time.monotonic() < end:
            time.sleep(BEAT / 2)
            now = store.read(NAME)
            if now is None:  # it has just ended
                break
            if now != seen:
                raise SweepError(TAKEN, file=store.where())
        store.write_over(NAME, _sign(me))
        time.sleep(BEAT / 2)  # for another that found it dead as well: the last to write has it
    if _owner(store) != me:
        raise SweepError(TAKEN, file=store.where())


def _beat(store: RemoteStore, me: str, lost: threading.Event, done: threading.Event) -> None:
    while not done.wait(BEAT):
        with suppress(OSError):  # the store does not answer; the next beat may get through
            if _owner(store) != me:
                lost.set()
                return
            store.write_over(NAME, _sign(me))


def _sign(me: str) -> str:
    return json.dumps({"owner": me, "host": socket.gethostname(), "pid": os.getpid(), "time": time.time()}) + "\n"


def _owner(store: RemoteStore) -> str:
    try:
        return json.loads(store.read(NAME) or b"{}").get("owner", "")
    except (ValueError, AttributeError):
        return ""


def _take(handle: int) -> bool:
    try:
        import fcntl
    except ImportError:  # Windows
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    os.set_inheritable(handle, False)
    return True
