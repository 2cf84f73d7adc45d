"""A sweep that is killed or interrupted: nothing is left running, and run again it holds what it would have held."""

import os
import re
import shlex
import signal
import subprocess
import time
import uuid

import pytest
from sweep_tools import ROOT, Workplace, calm_sweep, compare_with_calm, killed, with_mark

from growth import cli
from growth.sweep.results import LIST
from growth.sweep.store import LOCK, store_of


@pytest.fixture(scope="module")
def calm(tmp_path_factory):
    place = Workplace(tmp_path_factory.mktemp("calm"))
    return place, calm_sweep(place)


def test_killed_and_resumed_it_equals_an_uninterrupted_one_and_nothing_of_it_is_left(calm):
    """Killed while a kernel runs, whose connection file then lies in the folder of unfinished reports. Twenty kills at
    random moments: tests/benchmarks/sweep.py."""
    place, (file, notebook, _) = calm

    def connections():
        return list((place.path / "killed").glob(".growth-run-*/*.kernel.json"))

    def a_kernel_runs(running):
        while running.poll() is None and not connections():
            time.sleep(0.02)

    assert killed(place.command(file, notebook=notebook, to="killed"), a_kernel_runs)
    assert connections()
    assert place.run(file, notebook=notebook, to="killed").returncode == 0
    names = {path.name for path in (place.path / "killed").iterdir()}
    assert names == {".lock", LIST, "points.parquet", "comparison.html", "reports"}
    compare_with_calm(place, "killed")


def test_killed_and_resumed_a_store_holds_the_same_as_a_folder(calm, s3, capsys):
    """Killed once one of the three reports is there; its claim is told with its age, and taken over when asked."""
    place, (file, notebook, _) = calm
    address = f"{s3}/killed"
    command = place.command(file, "--workers", "2", notebook=notebook, to=address)
    store = store_of(address)

    def a_page_is_there(running):
        while running.poll() is None and not store.names("reports"):
            time.sleep(0.05)

    assert killed(command, a_page_is_there) and 1 <= len(store.names("reports")) < 6
    assert store.names() == {LOCK, LIST, "points.parquet"}
    assert cli.main(command[3:]) == 2
    said = capsys.readouterr().err
    assert f"{address}/.lock: claimed " in said and re.search(r" seconds? ago by process ", said)
    assert "--take-over" in said
    assert cli.main([*command[3:], "--take-over"]) == 0
    assert store.names() == {LIST, "points.parquet", "comparison.html"} and store.names("failed") == set()
    compare_with_calm(place, address)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=lambda number: number.name)
def test_an_interrupted_sweep_leaves_nothing_behind_and_says_how_to_resume(workplace, plain_comparison, number):
    """The command that it says is then run once, in the words in which it is said."""
    mark = f"GROWTH_TEST={uuid.uuid4()}"
    name, value = mark.split("=")
    slow = workplace.notebook(
        "import os, time",
        f"if not os.path.exists({str(workplace.path / 'go')!r}): time.sleep(300)",
    )
    command = workplace.command(
        workplace.sweep("a sweep.yaml"), "--workers", "1", "--limit", "70", notebook=slow, to="the results"
    )
    temporary = workplace.path / "t"
    temporary.mkdir()
    environment = {**os.environ, name: value, "TMPDIR": str(temporary)}
    running = subprocess.Popen(
        command, cwd=ROOT, env=environment, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    end = time.monotonic() + 60
    while len(with_mark(mark)) < 5 and time.monotonic() < end:  # itself, tracker, server, report, kernel
        time.sleep(0.1)
    time.sleep(1)
    if number == signal.SIGINT:  # as a terminal does
        os.killpg(running.pid, number)
    else:
        running.send_signal(number)
    said = running.communicate(timeout=30)[1]
    assert "Traceback" not in said and running.returncode == 130
    end = time.monotonic() + 20
    while with_mark(mark) and time.monotonic() < end:
        time.sleep(0.1)
    assert with_mark(mark) == []
    results = workplace.path / "the results"
    assert {path.name for path in results.iterdir()} == {".lock", LIST, "points.parquet"}
    assert not list(temporary.iterdir()), "connection files of kernels, sockets of the fork server"
    resume = shlex.split(said.partition("interrupted; run again to resume: ")[2])
    assert resume[:2] == ["growth", "sweep"]
    if number == signal.SIGTERM:
        return
    (workplace.path / "go").touch()
    assert cli.main(resume[1:]) == 0
    assert len(workplace.reports("the results")) == 3
