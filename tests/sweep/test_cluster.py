"""Reports on a Dask cluster of worker processes: all are done, also when a worker is killed while it runs one."""

import pytest

from growth.errors import GrowthError
from growth.sweep import whole

distributed = pytest.importorskip("distributed")
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(scope="module")
def cluster():
    options = {"n_workers": 2, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
    with distributed.LocalCluster(host="127.0.0.1", silence_logs=50, **options) as running:
        yield running


def test_a_killed_worker_costs_no_report(workplace, cluster):
    """The first report of a worker kills the worker, once: the marker says that it has been done."""
    marker = workplace.path / "killed"
    notebook = workplace.notebook(
        "import os, signal, growth, psutil, pathlib",
        f"marker = pathlib.Path({str(marker)!r})\n"
        "if varied['churn'] == 0.04 and not marker.exists():\n"
        "    marker.touch()\n"
        "    for parent in psutil.Process().parents():\n"
        "        if 'forkserver' not in ' '.join(parent.cmdline()):\n"
        "            parent.kill()\n"
        "            break",
        "print(growth.forecast(growth.load_scenario(scenario)).closing_mrr[-1])",
    )
    job = whole.prepare(workplace.sweep(), notebook=notebook)
    outcome = whole.run(job, to=workplace.path / "out", scheduler=cluster.scheduler_address)
    assert outcome.failed == []
    assert marker.exists() and len(workplace.reports()) == 3
    again = whole.run(job, to=workplace.path / "out", scheduler=cluster.scheduler_address)
    assert again.run == 0


def test_nobody_at_the_address_is_one_clear_error(workplace):
    job = whole.prepare(workplace.sweep(), notebook=workplace.notebook("1"))
    with pytest.raises(GrowthError, match="no Dask scheduler answers at tcp://127.0.0.1:9"):
        whole.run(job, to=workplace.path / "out", scheduler="tcp://127.0.0.1:9")
