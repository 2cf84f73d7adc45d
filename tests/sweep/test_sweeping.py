"""A whole sweep: failures that do not stop the rest, resuming, one at a time, a disc that fills up."""

import json
import re

import nbformat
import pandas as pd
import pytest
from sweep_tools import FIVE, Workplace

from growth.sweep import run_sweep
from growth.sweep.results import Results


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """A sweep in which one point's report raises and one never ends; five points. The notebook names no kernel."""
    place = Workplace(tmp_path_factory.mktemp("finished"))
    notebook = place.notebook(
        "import os, signal, time, growth",
        "rate = varied['churn']\n"
        "if rate == 0.02: raise ValueError('no  such\\nluck')\n"
        "if rate == 0.04: time.sleep(300)",
        "print(round(growth.forecast(growth.load_scenario(scenario)).closing_mrr[-1], 6))",
    )
    without_kernel = json.loads(notebook.read_text())
    del without_kernel["metadata"]["kernelspec"]
    notebook.write_text(json.dumps(without_kernel))
    file = place.sweep(axes=FIVE)
    return place, file, notebook, place.run(file, "--limit", "6", "--workers", "3", notebook=notebook)


def test_a_failed_report_is_listed_and_the_rest_is_done(finished):
    place, _, _, done = finished
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert "2 of 5 reports failed" in done.stderr
    assert "churn 2%: cell 3: ValueError: no such luck" in done.stderr
    assert "churn 4%: the time limit of 6 seconds was over" in done.stderr
    rates = [re.match("churn=([0-9.]+)--", name)[1] for name in place.reports()]
    assert rates == ["0.01", "0.03", "0.05"]


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
    there = {path.name for path in (place.path / "out" / "reports").iterdir()}
    assert linked == {name.replace("=", "%3D") for name in there} and len(there) == 2 * len(place.reports())


def test_run_again_only_what_failed_is_run_again_and_only_when_asked(finished):
    place, file, notebook, _ = finished
    times = {path: path.stat().st_mtime_ns for path in (place.path / "out" / "reports").iterdir()}
    job = run_sweep.prepare(file, notebook=notebook)
    outcome = run_sweep.run_sweep(job, to=place.path / "out", limit=2, workers=2)
    assert outcome.run == 0 and [task.varied["churn"] for task, _ in outcome.failed] == [0.02, 0.04]
    outcome = run_sweep.run_sweep(job, to=place.path / "out", again=True, limit=2, workers=2)
    assert outcome.run == 2 and len(outcome.failed) == 2
    assert {path: path.stat().st_mtime_ns for path in times} == times


def test_a_changed_notebook_makes_new_reports(finished, workplace):
    _, file, notebook, _ = finished
    before = {task.name for task in run_sweep.prepare(file, notebook=notebook).tasks}
    text = json.loads(notebook.read_text())
    text["cells"][1]["source"] = "import growth"
    other = workplace.path / "other.ipynb"
    other.write_text(json.dumps(text))
    assert not before & {task.name for task in run_sweep.prepare(file, notebook=other).tasks}


def test_a_second_sweep_into_the_folder_is_refused(workplace):
    file, notebook = workplace.sweep(), workplace.notebook("1")
    with Results(workplace.path / "out").held():
        done = workplace.run(file, notebook=notebook)
    assert done.returncode == 2 and "another sweep is writing into this folder" in done.stderr


def test_a_folder_that_cannot_be_made_is_one_clear_error(workplace):
    (workplace.path / "out").write_text("a file is in the way")
    done = workplace.run(workplace.sweep(), notebook=workplace.notebook("1"))
    assert done.returncode == 2 and "it cannot be written" in done.stderr and "Traceback" not in done.stderr


def test_on_a_disc_that_fills_up_what_fits_is_done_and_the_rest_when_there_is_room(workplace, small_disc):
    """Three points, of which the report of the second does not fit."""
    notebook = workplace.notebook("if varied['churn'] == 0.04: print('x' * 2_000_000)")
    file = workplace.sweep()
    done = small_disc.run(workplace, file, "--workers", "1", notebook=notebook)
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert "failed/" not in done.stderr, "nothing lies there"
    assert f"run again to resume: growth sweep {workplace.path / 'sweep.yaml'} --to {small_disc.path}" in done.stderr
    assert f"churn 4%: it cannot be written: {small_disc.says}" in done.stderr
    rates = lambda: [name.partition("--")[0] for name in workplace.reports(str(small_disc.path))]  # noqa: E731
    assert rates() == ["churn=0.02", "churn=0.06"]
    assert not (small_disc.path / "failed").exists(), "it is no fault of the report"
    small_disc.enlarge()
    assert small_disc.run(workplace, file, "--workers", "1", notebook=notebook).returncode == 0
    assert rates() == ["churn=0.02", "churn=0.04", "churn=0.06"]
