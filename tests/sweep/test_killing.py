"""A sweep that is killed or interrupted: nothing is left running, and run again it holds what it would have held."""

import os
import signal
import subprocess
import time
import uuid

import pytest
from sweep_tools import ROOT, Workplace, calm_sweep, compare_with_calm, kill_and_compare, killed, with_mark

from growth import cli
from growth.sweep import lock
from growth.sweep.store import store_of


@pytest.fixture(scope="module")
def calm(tmp_path_factory):
    place = Workplace(tmp_path_factory.mktemp("calm"))
    return place, calm_sweep(place)


def test_killed_at_random_moments_and_resumed_it_equals_an_uninterrupted_one(calm):
    """One kill here; twenty in tests/benchmarks/sweep.py."""
    kill_and_compare(calm[0], kills=1, seed=5, calm=calm[1])


def test_killed_and_resumed_a_store_holds_the_same_as_a_folder(calm, s3, monkeypatch):
    """Killed once two of the seven reports are there; its lock is then found, watched and taken over."""
    place, (file, notebook, _) = calm
    address = f"{s3}/killed"
    command = place.command(file, "--workers", "2", notebook=notebook, to=address)
    store = store_of(address)

    def two_are_there(running):
        while running.poll() is None and len(store.names("reports")) < 2:
            time.sleep(0.05)

    assert killed(command, two_are_there) and 2 <= len(store.names("reports")) < 7
    assert store.names() == {lock.NAME, "points.parquet"}
    monkeypatch.setattr(lock, "BEAT", 0.2)
    assert cli.main(command[3:]) == 0
    assert store.names() == {"points.parquet", "comparison.html"} and store.names("failed") == set()
    compare_with_calm(place, address)


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
