"""Reports on a Dask cluster of worker processes: a killed worker, a report that takes too long, a store, no cluster."""

import uuid

import pytest
from how_many import MANY

from growth.errors import GrowthError
from growth.sweep import dask_cluster as cluster_module
from growth.sweep import run_sweep
from growth.sweep.influence import read_points

distributed = pytest.importorskip("distributed")
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(scope="module")
def cluster(s3):
    options = {"n_workers": 1, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
    with distributed.LocalCluster(host="127.0.0.1", silence_logs=50, **options) as running:
        yield running


@pytest.mark.skipif(not MANY, reason="takes half a minute: in the long run alone")
def test_a_killed_worker_costs_no_report_and_a_slow_report_ends_at_its_limit(workplace, cluster):
    """The first report of a worker kills the worker, once: the marker says that it has been done.

    The slow report sleeps twice, each time less than the limit for a report, together more.
    """
    marker = workplace.path / "killed"
    notebook = workplace.notebook(
        "import os, signal, time, growth, psutil, pathlib",
        f"marker = pathlib.Path({str(marker)!r})\n"
        "if varied['churn'] == 0.04 and not marker.exists():\n"
        "    marker.touch()\n"
        "    for parent in psutil.Process().parents():\n"
        "        if 'forkserver' not in ' '.join(parent.cmdline()):\n"
        "            parent.kill()\n"
        "            break",
        "if varied['churn'] == 0.06: time.sleep(7)",
        "if varied['churn'] == 0.06: time.sleep(7)",
        "print(growth.forecast(growth.load_scenario(scenario)).closing_mrr[-1])",
    )
    job = run_sweep.prepare(workplace.sweep(), notebook=notebook)
    outcome = run_sweep.run_sweep(job, to=workplace.path / "out", limit=10, scheduler=cluster.scheduler_address)
    assert [(task.varied["churn"], why) for task, why in outcome.failed] == [
        (0.06, "the time limit of 10 seconds was over")
    ]
    assert marker.exists() and len(workplace.reports()) == 2
    again = run_sweep.run_sweep(job, to=workplace.path / "out", scheduler=cluster.scheduler_address)
    assert again.run == 0 and len(again.failed) == 1


def test_workers_put_their_reports_into_a_store_themselves(workplace, plain_comparison, cluster, s3):
    address = f"{s3}/{uuid.uuid4()}"
    notebook = workplace.notebook("if varied['churn'] == 0.04: raise ValueError('no luck')")
    job = run_sweep.prepare(workplace.sweep(), notebook=notebook)
    outcome = run_sweep.run_sweep(job, to=address, scheduler=cluster.scheduler_address)
    assert [(task.varied["churn"], why) for task, why in outcome.failed] == [(0.04, "cell 2: ValueError: no luck")]
    assert (read_points(address)["report"] != "").tolist() == [True, False, True]
    assert outcome.page == f"{address}/comparison.html"


def test_nobody_at_the_address_is_one_clear_error(workplace, monkeypatch):
    monkeypatch.setattr(cluster_module, "PATIENCE", 0.5)
    job = run_sweep.prepare(workplace.sweep(), notebook=workplace.notebook("1"))
    with pytest.raises(GrowthError, match="no Dask scheduler answers at tcp://127.0.0.1:9"):
        run_sweep.run_sweep(job, to=workplace.path / "out", scheduler="tcp://127.0.0.1:9")
