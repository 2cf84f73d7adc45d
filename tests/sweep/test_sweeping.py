"""A whole sweep: failures that do not stop the rest, resuming, one at a time, and nothing left running after a kill."""

import json
import os
import re
import signal
import subprocess
import time
import uuid

import nbformat
import pandas as pd
import pytest
from sweep_tools import ROOT, SEVEN, Workplace, kill_and_compare, with_mark

from growth.errors import GrowthError
from growth.sweep import whole
from growth.sweep.folder import Folder


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """A sweep in which one point's report raises and one never ends; seven points."""
    place = Workplace(tmp_path_factory.mktemp("finished"))
    notebook = place.notebook(
        "import os, signal, time, growth",
        "rate = varied['churn']\n"
        "if rate == 0.02: raise ValueError('no  such\\nluck')\n"
        "if rate == 0.04: time.sleep(300)",
        "print(round(growth.forecast(growth.load_scenario(scenario)).closing_mrr[-1], 6))",
    )
    file = place.sweep(axes=SEVEN)
    return place, file, notebook, place.run(file, "--limit", "8", "--workers", "3", notebook=notebook)


def test_a_failed_report_is_listed_and_the_rest_is_done(finished):
    place, _, _, done = finished
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert "2 of 7 reports failed" in done.stderr
    assert "churn 0.02: cell 3: ValueError: no such luck" in done.stderr
    assert "churn 0.04: the time limit of 8 seconds was over" in done.stderr
    rates = [re.match("churn=([0-9.]+)--", name)[1] for name in place.reports()]
    assert rates == ["0.01", "0.03", "0.05", "0.06", "0.07"]


def test_a_failed_report_keeps_its_notebook_with_the_error(finished):
    place = finished[0]
    [path] = (place.path / "out" / "failed").glob("churn=0.02--*.ipynb")
    errors = [
        o
        for cell in nbformat.read(path, as_version=4).cells
        for o in cell.get("outputs", ())
        if o.output_type == "error"
    ]
    assert errors[0].evalue == "no  such\nluck"


def test_each_report_shows_its_own_point(finished):
    place = finished[0]
    points = pd.read_parquet(place.path / "out" / "points.parquet").set_index("report")
    for name, cells in place.reports().items():
        assert float(cells[-1][0].text) == pytest.approx(points.loc[name, "closing_mrr"], abs=1e-6)


def test_the_page_is_there_and_links_to_the_reports_that_are(finished):
    place = finished[0]
    page = (place.path / "out" / "comparison.html").read_text()
    linked = set(re.findall(r'href="reports/([^"]+)"', page))
    assert linked == {name.replace("=", "%3D") for name in place.reports()}


def test_run_again_only_what_failed_is_run_again_and_only_when_asked(finished):
    place, file, notebook, _ = finished
    times = {path: path.stat().st_mtime_ns for path in (place.path / "out" / "reports").iterdir()}
    job = whole.prepare(file, notebook=notebook)
    outcome = whole.run(job, to=place.path / "out", limit=4, workers=2)
    assert outcome.run == 0 and [task.varied["churn"] for task, _ in outcome.failed] == [0.02, 0.04]
    outcome = whole.run(job, to=place.path / "out", again=True, limit=4, workers=2)
    assert outcome.run == 2 and len(outcome.failed) == 2
    assert {path: path.stat().st_mtime_ns for path in times} == times


def test_a_changed_notebook_makes_new_reports(finished, workplace):
    _, file, notebook, _ = finished
    before = {task.name for task in whole.prepare(file, notebook=notebook).tasks}
    text = json.loads(notebook.read_text())
    text["cells"][1]["source"] = "import growth"
    other = workplace.path / "other.ipynb"
    other.write_text(json.dumps(text))
    assert not before & {task.name for task in whole.prepare(file, notebook=other).tasks}


def test_a_second_sweep_into_the_folder_is_refused(workplace):
    file, notebook = workplace.sweep(), workplace.notebook("1")
    with Folder(workplace.path / "out").locked():
        done = workplace.run(file, notebook=notebook)
    assert done.returncode == 2 and "another sweep is writing into this folder" in done.stderr


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("not JSON", "not a notebook"),
        ('{"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}', "a cell tagged parameters"),
    ],
)
def test_what_is_no_report_notebook_is_refused(workplace, content, message):
    notebook = workplace.path / "n.ipynb"
    notebook.write_text(content)
    with pytest.raises(GrowthError, match=message):
        whole.prepare(workplace.sweep(), notebook=notebook)


def test_a_folder_that_cannot_be_made_is_one_clear_error(workplace):
    (workplace.path / "out").write_text("a file is in the way")
    done = workplace.run(workplace.sweep(), notebook=workplace.notebook("1"))
    assert done.returncode == 2 and "the folder cannot be written" in done.stderr and "Traceback" not in done.stderr


def test_a_report_that_cannot_be_put_in_place_fails_alone_and_is_run_again(workplace, monkeypatch):
    """As on a full disk: here the write of one report raises ENOSPC."""
    job = whole.prepare(workplace.sweep(), notebook=workplace.notebook("1"))
    keep = Folder.keep

    def full(folder, task, made):
        if task.varied["churn"] == 0.04:
            raise OSError(28, os.strerror(28))
        keep(folder, task, made)

    with monkeypatch.context() as patched:
        patched.setattr(Folder, "keep", full)
        outcome = whole.run(job, to=workplace.path / "out", workers=1)
    assert [why for _, why in outcome.failed] == ["it cannot be written: No space left on device"]
    outcome = whole.run(job, to=workplace.path / "out", workers=1)
    assert (outcome.run, outcome.failed, len(workplace.reports())) == (1, [], 3)


def test_killed_at_random_moments_and_resumed_it_equals_an_uninterrupted_one(workplace):
    """One kill here; twenty in tests/benchmarks/sweep.py."""
    kill_and_compare(workplace, kills=1, seed=0)


def test_ctrl_c_leaves_nothing_running_and_says_130(workplace):
    mark = f"GROWTH_TEST={uuid.uuid4()}"
    name, value = mark.split("=")
    command = workplace.command(
        workplace.sweep(), "--workers", "1", notebook=workplace.notebook("import time; time.sleep(300)")
    )
    running = subprocess.Popen(
        command, cwd=ROOT, env={**os.environ, name: value}, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    end = time.monotonic() + 40
    while len(with_mark(mark)) < 5 and time.monotonic() < end:  # itself, tracker, server, worker, kernel
        time.sleep(0.1)
    os.killpg(running.pid, signal.SIGINT)
    assert "Traceback" not in running.communicate(timeout=30)[1]
    assert running.returncode == 130
    time.sleep(1)
    assert with_mark(mark) == []
