"""Where a sweep's results lie: a folder of this machine, or any address that fsspec opens for writing.

papermill itself writes a notebook over the old one after every cell, and knows s3, gs, abs, adl and hdfs addresses
alone. So a report runs into a folder of the machine that runs it, and is put at its address when it is whole. Keys and
endpoints come from where fsspec and the store's driver look for them: environment and configuration files.

One sweep at a time writes there. A folder is held by a lock of the operating system, which goes with its process. A
store has no such lock: one file there, created only where none exists, says who claimed it and when. A claim left
behind by a sweep that was killed stays until somebody says, by an option, that it may be taken over.
"""

from __future__ import annotations

import json
import os
import re
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO, TypeVar
from urllib.parse import urlsplit
from urllib.request import url2pathname
from uuid import uuid4

from babel.dates import format_timedelta

from growth.files import lock, replace_file
from growth.sweep.load_sweep import SweepError

UNFINISHED = ".unfinished"  # ending of a file that is written beside its place
LOCK = ".lock"
TAKEN = "another sweep is writing into this folder; wait for it, or choose another folder"
WHOLE = frozenset("s3 s3a gs gcs abfs az oss oci tos memory".split())  # stores in which a file appears whole or never
INSTEAD = {  # of addresses that papermill or fsspec know, and that cannot hold a sweep
    "abs": "write abfs://CONTAINER/FOLDER",
    "adl": "that store is no longer there; write abfs://CONTAINER/FOLDER",
    "http": "what lies at such an address cannot be listed; take a store or a folder",
    "https": "what lies at such an address cannot be listed; take a store or a folder",
    "memory": "what is in memory is gone when the command ends; take a store or a folder",
}
Result = TypeVar("Result")


class Store:
    """A folder of this machine, or an address of fsspec. Its methods raise OSError where it does not answer.

    A file appears whole or not at all. Object stores (WHOLE) promise that themselves. Elsewhere a file is written
    beside its place and renamed, which folders, sftp, ftp, smb, webdav and hdfs do in one step; a driver that cannot
    rename copies, and a kill in the middle of that can leave half a file.

    folder: the folder; None for an address.
    """

    def __init__(self, fs: Any, root: str, address: str, *, folder: Path | None = None) -> None:
        self.fs, self.root, self.address, self.folder = fs, root.rstrip("/"), address.rstrip("/"), folder
        self._whole = address.partition("://")[0] in WHOLE

    def where(self, name: str = "") -> str:
        """The full address of a file for display, without any password in it."""
        return _shown(f"{self.address}/{name}" if name else self.address)

    @contextmanager
    def held(self, *, take_over: bool = False) -> Iterator[None]:
        """Hold it for one sweep; its folders are made where it has some.

        take_over: replace the claim that a sweep left behind at an address. Raises SweepError where another sweep holds
        it, or left its claim behind.
        """
        for part in () if self._whole else ("",) if self.folder else ("reports", "failed"):
            self._do(partial(self.fs.makedirs, self._at(part), exist_ok=True))
        if self.folder:
            with open(self.folder / LOCK, "a+") as file:
                if not lock(file):
                    raise SweepError(TAKEN, file=self.where())
                yield
            return
        mine = {"claim": uuid4().hex, "host": socket.gethostname(), "process": os.getpid(), "time": time.time()}
        text = json.dumps(mine) + "\n"
        if not self.create(LOCK, text):
            if not take_over or not self._claim():
                raise SweepError(_who(self._claim()), file=self.where(LOCK))
            self.write(LOCK, text)
        try:
            yield
        finally:
            with suppress(OSError):
                if self._claim().get("claim") == mine["claim"]:
                    self.remove(LOCK)

    def names(self, part: str = "") -> set[str]:
        """The names of the files directly in a part."""

        def listed() -> set[str]:
            self.fs.invalidate_cache()  # to see what another process has written
            found = self.fs.ls(self._at(part), detail=True)
            return {one["name"].rstrip("/").rpartition("/")[2] for one in found if one["type"] != "directory"}

        try:
            return self._do(listed)
        except FileNotFoundError:
            return set()

    def read(self, name: str) -> bytes | None:
        """A file's content; None if it is not there."""
        try:
            return self._do(lambda: self.fs.cat_file(self._at(name)))
        except FileNotFoundError:
            return None

    def open(self, name: str) -> BinaryIO:
        """Open a file to read it piece by piece."""
        self.fs.invalidate_cache()
        return self._do(lambda: self.fs.open(self._at(name), "rb"))

    def write(self, name: str, content: str | bytes) -> None:
        """Write a file, whole or not at all (see the class)."""
        content = content.encode("utf-8") if isinstance(content, str) else content
        if self.folder:
            replace_file(self._place(name), content)
        else:
            self._in_place(name, lambda path: self.fs.pipe_file(path, content))

    def create(self, name: str, content: str) -> bool:
        """Write a file only if there is none; in one step on stores that can, such as s3, gs and abfs.

        Returns False if there is one.
        """
        if self.read(name) is not None:  # asked first, for stores that would overwrite it
            return False
        try:
            self._do(lambda: self.fs.pipe_file(self._at(name), content.encode("utf-8"), mode="create"))
        except FileExistsError:
            return False
        return True

    def put(self, made: Path, name: str) -> None:
        """Move a file of this machine, for a folder one of its disc, to its place, whole or not at all."""
        if self.folder:
            with open(made, "rb+") as whole:
                os.fsync(whole.fileno())  # what is in its place is whole, even if the power fails
            os.replace(made, self._place(name))
            return
        self._in_place(name, lambda path: self.fs.put_file(str(made), path))
        made.unlink()

    def remove(self, name: str) -> None:
        """Remove a file, if it is there."""
        with suppress(FileNotFoundError):
            self._do(lambda: self.fs.rm_file(self._at(name)))

    def _claim(self) -> dict[str, Any]:
        """The claim in the store; empty if there is none or the file is something else."""
        try:
            found = json.loads(self.read(LOCK) or b"{}")
        except ValueError:
            return {}
        return found if isinstance(found, dict) and "claim" in found else {}

    def _at(self, name: str) -> str:
        return f"{self.root}/{name}" if name else self.root

    def _place(self, name: str) -> Path:
        """The path of a file in a folder, in a folder that is there."""
        path = Path(self._at(name))
        path.parent.mkdir(exist_ok=True)
        return path

    def _in_place(self, name: str, write: Callable[[str], Any]) -> None:
        """Have a file written at an address: at its place where it appears there whole, else beside it and renamed."""
        place = self._at(name)
        if self._whole:
            self._do(lambda: write(place))
            return
        part, _, last = name.rpartition("/")
        beside = self._at(f"{part}/.{last}{UNFINISHED}".lstrip("/"))
        try:
            self._do(lambda: write(beside))
            try:
                self._do(lambda: self.fs.mv(beside, place))
            except OSError:  # smb and hdfs do not rename over a file
                self._do(lambda: self.fs.rm_file(place))
                self._do(lambda: self.fs.mv(beside, place))
        except OSError:
            with suppress(Exception):
                self.fs.rm_file(beside)
            raise

    def _do(self, work: Callable[[], Result]) -> Result:
        """Do the work; errors of a driver, which have types of their own, become OSErrors."""
        try:
            return work()
        except OSError:
            raise
        except Exception as error:
            raise OSError(f"{type(error).__name__}: {' '.join(str(error).split())[:200]}") from None


def store_of(address: str | Path) -> Store:
    """The store at an address: a path, file://..., or one of fsspec such as s3://bucket/folder.

    Raises SweepError, naming the address, where it cannot be opened: an unknown scheme, or a driver that is not
    installed. Whether it can be written to is seen by the first that is written.

    >>> store_of("file:///results/may").where("points.parquet")
    '/results/may/points.parquet'
    >>> store_of("abs://account/container")
    Traceback (most recent call last):
        ...
    growth.sweep.load_sweep.SweepError: abs://account/container: write abfs://CONTAINER/FOLDER
    """
    address = str(address)
    shown = _shown(address)
    scheme, found, _ = address.partition("://")
    if scheme in INSTEAD and found:
        raise SweepError(INSTEAD[scheme], file=shown)
    from fsspec.core import url_to_fs

    if not found or scheme in ("file", "local"):
        parts = urlsplit(address)
        if found and parts.netloc not in ("", "localhost"):
            raise SweepError("write a path without file://, or the whole path after file://", file=shown)
        folder = Path(url2pathname(parts.path) if found else address).resolve()
        return Store(url_to_fs(str(folder))[0], str(folder), str(folder), folder=folder)
    try:
        fs, root = url_to_fs(address)
    except ImportError as missing:
        raise SweepError(_driver(scheme, missing), file=shown) from None
    except Exception as error:
        reason = str(getattr(error, "strerror", None) or error)  # a system's error without its number
        raise SweepError(f"it cannot be opened: {' '.join(reason.split())[:200]}", file=shown) from None
    return Store(fs, root, address)


def _who(claim: dict[str, Any]) -> str:
    """Who holds a store, by the claim that lies there."""
    if not claim:
        return "this file is in the way and is not a sweep's; choose another address"
    seconds = max(time.time() - float(claim.get("time", 0)), 0.0)
    age = format_timedelta(timedelta(seconds=seconds), granularity="second", threshold=2, locale="en")
    return (
        f"claimed {age} ago by process {claim.get('process', '?')} on {claim.get('host', '?')}; "
        "wait for that sweep, or add --take-over if it no longer runs"
    )


def _shown(address: str) -> str:
    return re.sub(r"(://[^/@:]*):[^/@]*@", r"\1:***@", address)


def _driver(scheme: str, missing: ImportError) -> str:
    """Name the package that an address needs and that is not installed."""
    from fsspec.registry import known_implementations

    package = known_implementations.get(scheme, {}).get("class", "fsspec").partition(".")[0]
    if package == "fsspec":  # a driver of fsspec's own, over another package
        package = getattr(missing.__cause__, "name", None) or missing.name or str(missing)
    return f"addresses of {scheme}:// need a driver that is not installed: pip install {package}"
