"""Warm kernels: fresh for every report, outputs equal to the stock engine's, gone with whoever asked for them."""

import os
import signal
import subprocess
import sys
import time
import uuid
from importlib.metadata import entry_points

import nbformat
import papermill
import pytest
from sweep_tools import outputs, with_mark

from growth.sweep import papermill_engine, warm_kernels
from growth.sweep.papermill_engine import WarmEngine, WarmProvisioner
from growth.sweep.parallel_reports import run_alone
from growth.sweep.report_notebook import run_report

pytestmark = pytest.mark.skipif(bool(warm_kernels.unavailable()), reason=warm_kernels.unavailable())


WARM = "growth-warm"


def run(notebook, engine_name, to="run.ipynb"):
    output = notebook.parent / to
    papermill.execute_notebook(
        str(notebook), str(output), engine_name=engine_name, progress_bar=False, cwd=str(notebook.parent)
    )
    return nbformat.read(output, as_version=4)


def test_nothing_of_one_report_is_seen_by_the_next(workplace):
    notebook = workplace.notebook(
        "import os, random, numpy as np, growth\n"
        "print(getattr(growth, 'left', None), os.environ.get('LEFT'), 'x' in globals())",
        "growth.left = os.environ['LEFT'] = x = 'behind'",
        "print(random.random(), np.random.random(), os.getpid())",
    )
    one, two = (run(notebook, WARM) for _ in range(2))
    for done in (one, two):
        assert done.cells[1].outputs[0].text == "None None False\n"
    first, second = (done.cells[3].outputs[0].text.split() for done in (one, two))
    assert all(a != b for a, b in zip(first, second, strict=True)), "random numbers and processes differ"


def test_outputs_equal_the_stock_engines_cell_by_cell(workplace):
    notebook = workplace.notebook(
        "import growth, pandas as pd\nfrom growth import charts\ncharts.use_in_notebooks()",
        "import os, sys\nprint(os.getcwd(), sys.argv[0].endswith('ipynb'), __name__)",
        "pd.DataFrame({f'a long name {n}': [1.5, 2] for n in range(9)})",
        "print('heard', file=sys.stderr)",
        "plans = [{'name': 'one', 'monthly_price': 9}]\n"
        "scenario = growth.load_scenario({'business': 'Kiln', 'pay': {'plans': plans}})\n"
        "charts.mrr_chart(growth.forecast(scenario))",
    )
    stock, forked = run(notebook, None, "stock.ipynb"), run(notebook, WARM, "warm.ipynb")
    assert outputs(workplace.path / "stock.ipynb") == outputs(workplace.path / "warm.ipynb")
    assert [c.execution_count for c in stock.cells] == [c.execution_count for c in forked.cells]


def test_engine_and_provisioner_are_found_by_name():
    """By papermill's `--engine`, and by the `kernel_provisioner` of a kernel's specification."""
    assert entry_points(group="papermill.engine")[WARM].load() is WarmEngine
    assert entry_points(group="jupyter_client.kernel_provisioners")[WARM].load() is WarmProvisioner


def test_a_cell_can_be_interrupted_and_what_it_started_ends(workplace):
    mark = f"GROWTH_TEST={uuid.uuid4()}"
    notebook = workplace.notebook(
        f"import os, subprocess\nos.environ.update([{mark.split('=')!r}])\nchild = subprocess.Popen(['sleep', '300'])",
        "while True: pass",
    )
    with pytest.raises(Exception, match="timeout|timed out|Timeout"):
        papermill.execute_notebook(
            str(notebook),
            str(workplace.path / "o.ipynb"),
            engine_name=WARM,
            progress_bar=False,
            execution_timeout=1,
        )
    assert gone(mark)


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGINT], ids=["kill -9", "Ctrl-C"])
def test_no_process_outlives_the_one_that_runs_the_notebook(workplace, number):
    mark = f"GROWTH_TEST={uuid.uuid4()}"
    notebook = workplace.notebook("import time; time.sleep(300)")
    code = (
        "import papermill\n"
        f"papermill.execute_notebook({str(notebook)!r}, {str(workplace.path / 'o.ipynb')!r}, engine_name='growth-warm')"
    )
    name, value = mark.split("=")
    running = subprocess.Popen([sys.executable, "-c", code], env={**os.environ, name: value}, stderr=subprocess.DEVNULL)
    wait_for(lambda: len(with_mark(mark)) >= 3)  # itself, the server, the kernel
    time.sleep(0.3)
    running.send_signal(number)
    running.wait(30)
    assert gone(mark)


def test_a_kernel_that_dies_before_it_answers_is_started_again(workplace, monkeypatch):
    """As one does whose port another has taken in the meantime."""
    launch, started = WarmProvisioner.launch_kernel, []

    async def dies_once(self, cmd, **options):
        connection = await launch(self, cmd, **options)
        started.append(self.process.pid)
        if len(started) == 1:
            self.process.send_signal(signal.SIGKILL)
        return connection

    monkeypatch.setattr(WarmProvisioner, "launch_kernel", dies_once)
    output = workplace.path / "run.ipynb"
    options = {"parameters": {"scenario": "none"}, "warm": True}
    assert run_report(notebook=str(workplace.notebook("print(scenario)")), output=str(output), **options) == ""
    assert len(started) == 2 and outputs(output)[-1][0].text == "none\n"


def test_what_a_report_does_not_foresee_is_told_with_its_place(workplace):
    job = {
        "notebook": str(workplace.notebook("1 + 1")),
        "output": str(workplace.path / "run.ipynb"),
        "parameters": {"scenario": "none"},
        "title": None,  # no title is a fault of whoever calls
        "warm": True,
    }
    why = run_alone(job)
    assert "Error: " in why and ".py, line " in why
    assert "died" not in why


def test_elsewhere_the_stock_kernel_serves_and_it_is_said(workplace, monkeypatch, caplog):
    monkeypatch.setattr(sys, "platform", "darwin")
    assert "need Linux" in warm_kernels.unavailable()
    monkeypatch.setattr(papermill_engine, "_said", set())
    done = run(workplace.notebook("import os; print(os.getppid())"), WARM)
    assert done.cells[1].outputs[0].text == f"{os.getpid()}\n", "started by this process, not forked by the server"
    assert "need Linux" in caplog.text


def test_a_grammar_that_is_put_off_is_the_same_when_it_is_asked_for():
    pytest.importorskip("rfc3987_syntax")
    code = (
        "import sys\n"
        "from growth.lazy import put_off_grammar\n"
        "put_off_grammar()\n"
        "import jsonschema\n"
        "assert 'rfc3987_syntax.syntax_helpers' not in sys.modules\n"
        "check = lambda text: jsonschema.FormatChecker(['iri']).conforms(text, 'iri')\n"
        "print(check('https://example.org/ä'), check('no address'))\n"
        "from rfc3987_syntax import syntax_helpers, parse\n"
        "print(parse is syntax_helpers.parse)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout == "True False\nTrue\n", done.stderr


def gone(mark: str) -> bool:
    return wait_for(lambda: not with_mark(mark))


def wait_for(true, seconds: float = 20) -> bool:
    end = time.monotonic() + seconds
    while not true():
        if time.monotonic() > end:
            return False
        time.sleep(0.05)
    return True


def test_a_report_has_the_environment_of_now_not_that_of_the_first_report(workplace, monkeypatch):
    """Keys of a store that are set after the fork server has started: it keeps the environment of its own start."""
    notebook = workplace.notebook("import os\nprint(os.environ.get('A_KEY'))")
    shown = []
    for key in ("first", "second"):
        monkeypatch.setenv("A_KEY", key)
        output = workplace.path / f"{key}.ipynb"
        job = {"notebook": str(notebook), "output": str(output), "parameters": {}, "warm": True, "title": "key"}
        assert run_alone(job) == ""
        shown.append(str(nbformat.read(output, as_version=4).cells[-1].outputs))
    assert "first" in shown[0] and "second" in shown[1]
