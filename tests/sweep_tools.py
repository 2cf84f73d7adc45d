"""Small sweeps and small notebooks for the tests of sweeps."""

import io
import json
import os
import random
import shutil
import subprocess
import sys
import time
import uuid
from contextlib import chdir, redirect_stderr, redirect_stdout, suppress
from pathlib import Path

import nbformat
import pandas as pd

from growth import cli
from growth.sweep.influence import read_points
from growth.sweep.store import store_of

ROOT = Path(__file__).resolve().parents[1]

BASE = """\
scenario:
  business: Fernhollow
  invented: true
  months: 12
  goal_mrr: 400
  arrive:
    channels:
      - name: search
        monthly_visitors: 100
  sign_up:
    signup_rate: 0.1
  pay:
    plans:
      - name: Studio
        monthly_price: 20
        share: 0.7
      - name: Kiln v1.2
        monthly_price: 40
        share: 0.3
"""
CHURN = "stay.churn.monthly_churn_rate"
PRICE = "pay.plans.Studio.monthly_price"
FIVE = [{"name": "churn", "field": CHURN, "values": [0.01, 0.02, 0.03, 0.04, 0.05]}]


class Workplace:
    """A folder with a base scenario, in which sweep files and notebooks are written and sweeps run."""

    def __init__(self, path: Path):
        self.path = path
        (path / "base.yaml").write_text(BASE)

    def sweep(self, name="sweep.yaml", **parts) -> Path:
        """A sweep file: JSON is YAML."""
        whole = {"title": "A test", "scenario": "base.yaml", **parts}
        whole.setdefault("axes", [{"name": "churn", "field": CHURN, "values": [0.02, 0.04, 0.06]}])
        file = self.path / name
        file.write_text(json.dumps({"sweep": whole}, indent=1))
        return file

    def notebook(self, *cells, name="tiny.ipynb") -> Path:
        """A notebook with a parameters cell and these code cells."""
        new = nbformat.v4.new_code_cell
        first = new("scenario = None\nvaried = {}", metadata={"tags": ["parameters"]})
        spec = {"name": "python3", "display_name": "Python 3", "language": "python"}
        notebook = nbformat.v4.new_notebook(cells=[first, *map(new, cells)], metadata={"kernelspec": spec})
        file = self.path / name
        nbformat.write(notebook, file)
        return file

    def command(self, file, *options, to="out", notebook=None) -> list[str]:
        extra = ["--notebook", str(notebook)] if notebook else []
        to = to if "://" in to else str(self.path / to)
        return [sys.executable, "-m", "growth.cli", "sweep", str(file), "--to", to, *extra, *options]

    def run(self, file, *options, **more) -> subprocess.CompletedProcess:
        """The sweep, run within this process, whose fork server holds the imports already."""
        command = self.command(file, *options, **more)
        out, err = io.StringIO(), io.StringIO()
        with chdir(ROOT), redirect_stdout(out), redirect_stderr(err):
            code = cli.main(command[3:])
        return subprocess.CompletedProcess(command, code, out.getvalue(), err.getvalue())

    def reports(self, to="out") -> dict[str, list]:
        """Each report's outputs, cell by cell; `to` is a folder here, or an address."""
        store = store_of(to if "://" in to else self.path / to)
        names = sorted(name for name in store.names("reports") if name.endswith(".ipynb"))
        return {name: outputs(store.open(f"reports/{name}")) for name in names}


def outputs(path) -> list:
    """The outputs of a notebook's code cells."""
    return [cell.outputs for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code"]


def with_mark(mark: str) -> list[int]:
    """The processes whose environment holds the mark and that run still: a sweep, its workers, its kernels."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                running = " Z " not in (entry / "stat").read_text()
                if running and mark.encode() in (entry / "environ").read_bytes():
                    found.append(int(entry.name))
            except OSError:
                continue
    return [pid for pid in found if pid != os.getpid()]


def calm_sweep(place) -> tuple[Path, Path, float]:
    """A sweep of three reports into "calm", uninterrupted: its file, its notebook, and the seconds that it took."""
    file = place.sweep()
    notebook = place.notebook(
        "import growth, time; time.sleep(0.2)", "print(growth.forecast(growth.load_scenario(scenario)).closing_mrr[-1])"
    )
    start = time.monotonic()
    done = place.run(file, notebook=notebook, to="calm")
    assert done.returncode == 0, done.stderr
    return file, notebook, time.monotonic() - start


def killed(command, when) -> bool:
    """Starts a sweep and kills it (-9) when `when(process)` returns; whether it still ran. Nothing may outlive it."""
    mark = uuid.uuid4().hex
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    running = subprocess.Popen(command, cwd=ROOT, env={**os.environ, "GROWTH_TEST": mark}, **quiet)
    when(running)
    hit = running.poll() is None
    running.kill()
    running.wait()
    end = time.monotonic() + 20
    while with_mark(mark) and time.monotonic() < end:
        time.sleep(0.05)
    assert with_mark(mark) == [], "a process outlived the sweep"
    return hit


def compare_with_calm(place, to):
    """Reports, table and page at `to` are equal to those of the uninterrupted sweep."""
    address = to if "://" in to else place.path / to
    assert place.reports("calm") == place.reports(to) and len(place.reports("calm")) == 3
    for name in place.reports(to):
        page = f"reports/{name.removesuffix('.ipynb')}.html"
        assert store_of(place.path / "calm").read(page) == store_of(address).read(page) is not None
    pd.testing.assert_frame_equal(read_points(place.path / "calm"), read_points(address))
    assert store_of(place.path / "calm").read("comparison.html") == store_of(address).read("comparison.html")


def kill_and_compare(place, *, kills, seed, calm=None) -> int:
    """Kills a sweep `kills` times (-9) at random moments while it runs, and compares what it leaves in the end.

    Where it ended before it was to be killed, it is compared with an uninterrupted one and begun anew. Returns how
    many sweeps there were.
    """
    file, notebook, whole_time = calm or calm_sweep(place)
    moments, left, ended = random.Random(seed), kills, 0

    def wait(running):
        with suppress(subprocess.TimeoutExpired):
            running.wait(moments.uniform(0, whole_time))

    while left:
        if killed(place.command(file, notebook=notebook, to="killed"), wait):
            left -= 1
            for path in (place.path / "killed" / "reports").glob("*.ipynb"):
                nbformat.validate(nbformat.read(path, as_version=4))  # none is truncated
        else:
            compare_with_calm(place, "killed")
            shutil.rmtree(place.path / "killed")
            ended += 1
    assert place.run(file, notebook=notebook, to="killed").returncode == 0
    compare_with_calm(place, "killed")
    return ended + 1
