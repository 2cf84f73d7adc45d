"""Commands that write, ended by a signal at the worst moment: the file beside its place is written and not yet renamed.

What was there stays as it was, and nothing is left behind: at once where the command can still clear up (SIGTERM,
SIGINT), after the next run where it cannot (SIGKILL).
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

import nbformat
import pytest
from command_lines import EXAMPLES, SCENARIOS, SUFFIXES, words_of
from how_many import few_or_many
from test_writing import state

from growth.files import held_file, replace_file, scratch
from growth.giveaway.publishing import giveaway_notebook

ROOT = Path(__file__).parents[2]
SIGNALS = [signal.SIGTERM, signal.SIGINT, signal.SIGKILL]

# Imports once, then runs each line it is told in a child, with what it says in a file. The child ends itself by the
# signal as it syncs its first file; 0 is no signal. Answers the exit code, of a child that was killed below 0.
RUNNER = """
import json, os, sys
from growth import cli
from growth.giveaway import exporter
from growth.lazy import put_off_grammar
put_off_grammar()
import nbclient, papermill, growth.earned.earnings, growth.kit.kit_files, growth.records.to_scenario, growth.whole_file
from growth.giveaway import chromium, publishing
from growth.kit import kit_files, web_site
sys.path.append("tests")
from made_page import without_kernel
with_kernel = publishing.made_page
kit_files.made_page = web_site.made_page = without_kernel
chromium.browser = lambda: None
for line in sys.stdin:
    words, number, folder = json.loads(line)
    publishing.made_page = with_kernel if "--notebook" in words else without_kernel
    child = os.fork()
    if not child:
        os.environ["TMPDIR"] = folder
        said = os.open(folder + "/../said", os.O_CREAT | os.O_TRUNC | os.O_WRONLY)
        os.dup2(said, 1), os.dup2(said, 2)
        sync = os.fsync
        def ended(handle):
            os.fsync = sync
            sync(handle)
            os.kill(os.getpid(), number)
        if number:
            os.fsync = ended
        code = cli.main(words)
        sys.stdout.flush(), sys.stderr.flush()
        os._exit(code)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


@pytest.fixture(scope="module")
def runner():
    """Runs a command line with a signal and a folder for temporary files; gives the exit code and what it said."""
    command = [sys.executable, "-c", RUNNER]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True, cwd=ROOT) as running:

        def run(words: list[str], number: int, folder: Path) -> tuple[int, str]:
            print(json.dumps([words, number, str(folder)]), file=running.stdin, flush=True)
            return int(running.stdout.readline()), (folder.parent / "said").read_text("utf-8")

        yield run
        running.stdin.close()


@pytest.mark.parametrize(("turn", "command", "option"), [(turn, *example) for turn, example in enumerate(EXAMPLES)])
def test_a_command_that_is_ended_leaves_all_as_it_was(turn, command, option, inputs, tmp_path, runner):
    line, suffix = EXAMPLES[command, option], SUFFIXES.get((command, option), "")
    temporary, out = tmp_path / "t", tmp_path / "out"
    temporary.mkdir()
    out.mkdir()
    here = shutil.copytree(inputs, tmp_path / "in")
    place = out / f"mine{suffix}"
    if suffix:
        place.write_text("mine", "utf-8")
    words = [*words_of(line, here, place), "--replace"]
    before = state(out), state(here)
    for number in few_or_many(SIGNALS[turn % 2 : turn % 2 + 1], SIGNALS[:2]):
        code, said = runner(words, number, temporary)
        assert code == 130 and said.splitlines()[-1] == "growth: interrupted" and "Traceback" not in said
        assert (state(out), state(here)) == before and not list(temporary.iterdir())
    code, _ = runner(words, signal.SIGKILL, temporary)
    assert code == -signal.SIGKILL
    after = state(out)
    assert {name: after.pop(name) for name in before[0]} == before[0]
    assert all(".growth-" in name for name in after), after
    code, _ = runner(words, 0, temporary)
    assert code == 0 and not list(temporary.iterdir())
    assert not [name for name in state(out) if "growth-" in name] and state(here) == before[1]


@pytest.mark.parametrize("number", SIGNALS, ids=lambda number: number.name)
def test_publishing_that_is_ended_while_a_cell_runs_leaves_no_kernel_and_no_folder(number, tmp_path, runner):
    """A cell of the notebook ends the command that runs it. Its kernel and connection file go too."""
    notebook = nbformat.read(giveaway_notebook(), as_version=4)
    lines = [
        "import os, time",
        f"open({str(tmp_path / 'kernel')!r}, 'w').write(str(os.getpid()))",
        f"os.kill(os.getppid(), {int(number)})",
        "time.sleep(60)",
    ]
    notebook.cells.insert(2, nbformat.v4.new_code_cell("\n".join(lines)))
    nbformat.write(notebook, tmp_path / "mine.ipynb")
    temporary, out = tmp_path / "t", tmp_path / "out"
    temporary.mkdir()
    words = [
        "publish",
        str(SCENARIOS / "fernhollow.yaml"),
        "--to",
        str(out),
        "--notebook",
        str(tmp_path / "mine.ipynb"),
    ]
    code, said = runner(words, 0, temporary)
    kernel = int((tmp_path / "kernel").read_text())
    end = time.monotonic() + 30
    while (running := is_running(kernel)) and time.monotonic() < end:
        time.sleep(0.05)
    assert not running and not out.exists() and "Traceback" not in said
    if number == signal.SIGKILL:
        assert code == -signal.SIGKILL and list(temporary.iterdir())
        with_temporary_folder(temporary)
    else:
        assert code == 130 and said.splitlines()[-1] == "growth: interrupted"
    assert not list(temporary.iterdir())


def is_running(process: int) -> bool:
    with suppress(OSError):
        return " Z " not in Path(f"/proc/{process}/stat").read_text()
    return False


def with_temporary_folder(place: Path) -> None:
    """What any next run that needs a temporary folder does first."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tempfile, "tempdir", str(place))
        with scratch():
            pass


def test_a_folder_that_a_run_still_holds_stays(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with scratch() as one:
        (one / "mine").write_text("mine")
        with scratch() as other:
            assert one != other and (one / "mine").read_text() == "mine"
    mine = tmp_path / ".growth-run-notes"
    mine.mkdir()
    (mine / "thesis.md").write_text("mine")
    with scratch():
        assert (mine / "thesis.md").read_text() == "mine"  # not one of ours
    assert os.listdir(tmp_path) == [".growth-run-notes"]


def test_a_second_writer_of_the_same_file_does_not_take_the_first_ones(tmp_path):
    path, stream = held_file(tmp_path, ".x.csv.growth-")
    with stream:
        replace_file(tmp_path / "x.csv", "second")
        assert os.path.exists(path)
    replace_file(tmp_path / "x.csv", "third")
    assert os.listdir(tmp_path) == ["x.csv"]
