"""One sweep at a time into a folder or a store.

A folder is held by a lock of the operating system, which goes with its process. A store has no such lock: one file
there, created only where none exists, says who claimed it and when. A claim left behind by a sweep that was killed
stays until somebody says, by an option, that it may be taken over.
"""

from __future__ import annotations

import json
import os
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta
from typing import Any
from uuid import uuid4

from babel.dates import format_timedelta

from growth.scratch import lock
from growth.sweep.load_sweep import SweepError
from growth.sweep.store import Store

NAME = ".lock"
TAKEN = "another sweep is writing into this folder; wait for it, or choose another folder"


@contextmanager
def claimed(store: Store, *, take_over: bool = False) -> Iterator[None]:
    """Hold the store for one sweep.

    Parameters
    ----------
    store : where the results go.
    take_over : replace the claim that a sweep left behind at an address. A folder needs no such option.

    Raises
    ------
    SweepError
        Where another sweep holds the store, or left its claim behind.
    OSError
        Where the store cannot be written.
    """
    if store.folder:
        with open(store.folder / NAME, "a+") as file:
            if not lock(file):
                raise SweepError(TAKEN, file=store.where())
            yield
        return
    mine = {"claim": uuid4().hex, "host": socket.gethostname(), "process": os.getpid(), "time": time.time()}
    text = json.dumps(mine) + "\n"
    if not store.create(NAME, text):
        if not take_over or not _claim_in(store):
            raise SweepError(_who(store), file=store.where(NAME))
        store.write(NAME, text)
    try:
        yield
    finally:
        with suppress(OSError):
            if _claim_in(store).get("claim") == mine["claim"]:
                store.remove(NAME)


def _who(store: Store) -> str:
    claim = _claim_in(store)
    if not claim:
        return "this file is in the way and is not a sweep's; choose another address"
    seconds = max(time.time() - float(claim.get("time", 0)), 0.0)
    age = format_timedelta(timedelta(seconds=seconds), granularity="second", threshold=2, locale="en")
    return (
        f"claimed {age} ago by process {claim.get('process', '?')} on {claim.get('host', '?')}; "
        "wait for that sweep, or add --take-over if it no longer runs"
    )


def _claim_in(store: Store) -> dict[str, Any]:
    """The claim in the store; empty if there is none or the file is something else."""
    try:
        found = json.loads(store.read(NAME) or b"{}")
    except ValueError:
        return {}
    return found if isinstance(found, dict) and "claim" in found else {}
