"""The package as a wheel, outside the clone: what it needs comes along."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PARTS = ("README.md", "LICENSE", "pyproject.toml", "growth", "notebooks", "scenarios")


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> Path:
    """A folder with what a wheel installs; the wheel is made from the sdist."""
    pytest.importorskip("setuptools", minversion="77")
    folder = tmp_path_factory.mktemp("built")
    source = folder / "source"
    source.mkdir()
    for name in PARTS:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__", "my-*"))
        else:
            shutil.copy(ROOT / name, source)
    _build("sdist", source, folder)
    shutil.unpack_archive(next(folder.glob("*.tar.gz")), folder / "unpacked")
    _build("wheel", next((folder / "unpacked").iterdir()), folder)
    with zipfile.ZipFile(next(folder.glob("*.whl"))) as wheel:
        wheel.extractall(folder / "site")
    return folder / "site"


def _build(what: str, source: Path, to: Path) -> None:
    code = f"from setuptools.build_meta import build_{what}; build_{what}({str(to)!r})"
    subprocess.run([sys.executable, "-c", code], cwd=source, check=True, capture_output=True, timeout=300)


def run(installed: Path, cwd: Path, *words: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(installed)}
    command = [sys.executable, "-m", "growth", *words]
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, timeout=300)


def test_a_wheel_publishes_outside_the_clone(installed, tmp_path):
    """As `pip install --user` leaves it: nothing in sys.prefix, nothing beside the package."""
    shutil.copy(installed / "growth" / "scenarios" / "fernhollow.yaml", tmp_path)
    done = run(installed, tmp_path, "publish", "fernhollow.yaml", "--to", "out")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out" / "how-big-can-it-get.html").is_file()


def test_a_wheel_holds_what_the_clone_holds(installed):
    for name in ("growth", "notebooks", "scenarios"):
        for path in (ROOT / name).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts and not path.name.startswith(("my-", ".")):
                place = path.relative_to(ROOT)
                assert (installed / (place if name == "growth" else "growth" / place)).is_file(), place
    assert not [path for path in installed.rglob("*") if path.parts[-2:-1] == ("share",)]
