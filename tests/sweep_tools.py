"""Small sweeps and small notebooks for the tests of sweeps."""

import json
import os
import random
import signal
import subprocess
import sys
import time
import uuid
from pathlib import Path

import nbformat
import pandas as pd

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
SEVEN = [{"name": "churn", "field": CHURN, "values": [0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.07]}]


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
        return [sys.executable, "-m", "growth.cli", "sweep", str(file), "--to", str(self.path / to), *extra, *options]

    def run(self, file, *options, **more) -> subprocess.CompletedProcess:
        return subprocess.run(
            self.command(file, *options, **more), capture_output=True, text=True, cwd=ROOT, timeout=120
        )

    def reports(self, to="out") -> dict[str, list]:
        """Each report's outputs, cell by cell."""
        return {path.name: outputs(path) for path in sorted((self.path / to / "reports").glob("*.ipynb"))}


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


def kill_and_compare(place, *, kills, seed):
    """Runs a sweep into "calm", and into "killed" with SIGKILL at random moments; compares reports, table and page.

    Returns how many of the kills came while it ran.
    """
    file = place.sweep(axes=SEVEN)
    notebook = place.notebook("import growth", "print(growth.forecast(growth.load_scenario(scenario)).closing_mrr[-1])")
    start = time.monotonic()
    assert place.run(file, notebook=notebook, to="calm").returncode == 0
    whole_time = time.monotonic() - start
    moments, killed = random.Random(seed), 0
    for _ in range(kills):
        mark = f"GROWTH_TEST={uuid.uuid4()}"
        name, value = mark.split("=")
        command = place.command(file, notebook=notebook, to="killed")
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        running = subprocess.Popen(command, cwd=ROOT, env={**os.environ, name: value}, **quiet)
        try:
            running.wait(moments.uniform(0, whole_time))
        except subprocess.TimeoutExpired:
            running.send_signal(signal.SIGKILL)
            running.wait()
            killed += 1
        end = time.monotonic() + 20
        while with_mark(mark) and time.monotonic() < end:
            time.sleep(0.05)
        assert with_mark(mark) == [], "a process outlived the sweep"
        for path in (place.path / "killed" / "reports").glob("*"):
            nbformat.validate(nbformat.read(path, as_version=4))  # none is truncated
    assert place.run(file, notebook=notebook, to="killed").returncode == 0
    calm, resumed = place.path / "calm", place.path / "killed"
    assert place.reports("calm") == place.reports("killed") and len(place.reports("calm")) == 7
    pd.testing.assert_frame_equal(pd.read_parquet(calm / "points.parquet"), pd.read_parquet(resumed / "points.parquet"))
    assert (calm / "comparison.html").read_text() == (resumed / "comparison.html").read_text()
    return killed
