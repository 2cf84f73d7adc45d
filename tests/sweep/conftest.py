"""The workplace in which the tests of sweeps write their files, and a store that they may write to."""

import errno
import logging
import os
import resource
import shutil
import subprocess
from pathlib import Path

import pytest
from sweep_tools import ROOT, Workplace


@pytest.fixture
def workplace(tmp_path):
    return Workplace(tmp_path)


@pytest.fixture
def plain_comparison(monkeypatch):
    """A sweep's comparison is a page of one line, without the seconds that its notebook takes."""

    def page(task):
        Path(task["output"]).with_suffix(".html").write_text(f'<meta content="{task["key"]}"><body>')
        return ""

    monkeypatch.setattr("growth.sweep.run_sweep.run_alone", page)


class SmallDisc:
    """A folder that holds two megabytes: a disc of its own where this user may mount one, else a limit to each file."""

    def __init__(self, path):
        self.path, self.limit = path, None
        path.mkdir()
        options = ["-t", "tmpfs", "-o", "size=2m", "tmpfs", str(path)]
        self.mounted = bool(shutil.which("mount")) and subprocess.run(["mount", *options], stderr=-3).returncode == 0
        self.says = os.strerror(errno.ENOSPC if self.mounted else errno.EFBIG)
        if not self.mounted:
            self.limit = 1_000_000

    def run(self, place, *given, **named):
        """Run a sweep into the folder: within this process, or in one of its own, whose files are limited."""
        if self.mounted:
            return place.run(*given, to=str(self.path), **named)
        limit = None if self.limit is None else self._limit_files
        command = place.command(*given, to=str(self.path), **named)
        return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120, preexec_fn=limit)

    def enlarge(self):
        """Make room."""
        self.limit = None
        if self.mounted:
            subprocess.run(["mount", "-o", "remount,size=20m", str(self.path)], check=True)

    def close(self):
        if self.mounted:
            subprocess.run(["umount", str(self.path)], check=True)

    def _limit_files(self):
        resource.setrlimit(resource.RLIMIT_FSIZE, (self.limit, self.limit))


@pytest.fixture
def small_disc(tmp_path):
    disc = SmallDisc(tmp_path / "disc")
    yield disc
    disc.close()


@pytest.fixture(scope="session")
def s3():
    """The address of an empty bucket on a server of this machine that speaks S3."""
    server = pytest.importorskip("moto.server").ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    s3fs = pytest.importorskip("s3fs")
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    server.start()
    host, port = server.get_host_and_port()
    keys = {"AWS_ACCESS_KEY_ID": "none", "AWS_SECRET_ACCESS_KEY": "none", "AWS_DEFAULT_REGION": "us-east-1"}
    with pytest.MonkeyPatch.context() as patched:
        for name in [name for name in os.environ if name.startswith("AWS_")]:
            patched.delenv(name)
        for name, value in {**keys, "AWS_ENDPOINT_URL": f"http://{host}:{port}"}.items():
            patched.setenv(name, value)
        s3fs.S3FileSystem().mkdir("bucket")
        yield "s3://bucket"
    server.stop()
