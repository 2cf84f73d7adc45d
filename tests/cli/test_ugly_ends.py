"""Commands that are interrupted, cut off from their output or short of resources: one line, no traceback, no hang."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from pydantic_core import SchemaError

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "scenarios" / "fernhollow.yaml"
GROWTH = [sys.executable, "-m", "growth"]


def shell(script: str, *words: object) -> subprocess.CompletedProcess[str]:
    """A command line run by a shell, where "$@" stands for `growth` and the words."""
    command = ["sh", "-c", script, "sh", *GROWTH, *map(str, words)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120)


@pytest.mark.parametrize("words", [["forecast", DEMO], ["schema"]])
@pytest.mark.parametrize(
    ("how", "said"),
    [('"$@" >&-', "standard output is closed"), ('"$@" >/dev/full', "No space left on device")],
    ids=["closed", "full"],
)
def test_an_output_that_takes_nothing_is_one_line(words, how, said):
    done = shell(how, *words)
    assert done.returncode == 2 and len(done.stderr.splitlines()) == 1 and said in done.stderr


def test_closed_input_and_closed_errors_are_no_reason_to_fail():
    assert shell('"$@" <&-', "check", DEMO).returncode == 0
    done = shell('"$@" 2>&-', "check", "nowhere.yaml")
    assert done.returncode == 2 and done.stdout == ""


def test_a_closed_output_gives_its_number_to_no_file(tmp_path):
    """File 1 must not be the page that is being written, or what is said would land in it."""
    done = shell('"$@" >&-', "schema", "--to", tmp_path / "schema.json")
    assert done.returncode == 2 and not list(tmp_path.iterdir())


def test_ctrl_c_while_the_command_loads_is_one_line():
    """Interrupted at the first import after the entry; a handler at start-up would miss it otherwise."""
    code = (
        "import sys, builtins\n"
        "from growth.__main__ import main\n"
        "whole = builtins.__import__\n"
        "def interrupted(name, *given, **named):\n"
        "    if name.startswith('argparse'): raise KeyboardInterrupt\n"
        "    return whole(name, *given, **named)\n"
        "sys.modules.pop('argparse', None)\n"
        "builtins.__import__ = interrupted\n"
        "sys.exit(main())\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "growth: interrupted\n")


def test_ctrl_c_that_pydantic_reports_as_an_error_of_a_model_is_one_line(monkeypatch, capsys):
    """It builds its models as they are imported, and wraps whatever interrupts it."""
    import growth.__main__
    import growth.cli

    def interrupted():
        raise SchemaError('Field "kind":\n  SchemaError: Error building "literal" validator:\n  KeyboardInterrupt: ')

    monkeypatch.setattr(growth.cli, "main", interrupted)
    assert growth.__main__.main() == 130
    assert capsys.readouterr().err == "growth: interrupted\n"


@pytest.mark.parametrize("command", ["check", "spreadsheet"])
def test_ctrl_c_at_any_moment_leaves_one_line_and_no_file(command, tmp_path):
    to = ["--to", str(tmp_path / "x.xlsx")] if command == "spreadsheet" else []
    for wait in (0.15, 0.4):
        process = subprocess.Popen(
            [*GROWTH, command, str(DEMO), *to], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        time.sleep(wait)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=60)
        if process.returncode == 130:
            assert err == "growth: interrupted\n"
        elif "Traceback" in err:  # while Python was still importing the package, before the entry was called
            assert not re.search(r'__main__\.py", line \d+, in main', err), err
        else:
            assert process.returncode in (0, -signal.SIGINT)  # done, or Python itself had not yet begun
    assert not [name for name in os.listdir(tmp_path) if name.startswith(".")]


@pytest.mark.parametrize(
    ("limit", "words", "said"),
    [
        ("ulimit -n 16", ["publish", DEMO, "--to", "TMP"], "at least 256 open files (found 16)"),
        ("ulimit -v 500000", ["publish", DEMO, "--to", "TMP"], "at least 1,024 MB of memory (found 488 MB)"),
    ],
)
def test_limits_that_are_too_low_are_one_line(limit, words, said, tmp_path):
    if sys.platform != "linux":
        pytest.skip("limits of the address space are those of Linux")
    done = shell(
        f'ulimit -Hn unlimited 2>/dev/null; {limit}; "$@"', *(str(word).replace("TMP", str(tmp_path)) for word in words)
    )
    lines = [line for line in done.stderr.splitlines() if line.startswith("growth:")]
    assert done.returncode == 2 and len(lines) == 1 and said in lines[0] and "Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())
