"""What a command reads is a regular file of a size it can be: for every command of the parser, and each file that it is
told to read."""

from __future__ import annotations

import os
import shutil
import signal
from pathlib import Path

import pytest
from command_lines import EXAMPLES, READING, SUFFIXES, commands, words_of

from growth.cli import build_parser, main

READ_NOTHING = {"schema", "assumptions", "records-demo", "new"}
LINES = EXAMPLES | {(name, "--to"): line for name, line in READING.items()}


def places() -> list[object]:
    """(command line, number of the word that is read) for each file that a command reads."""
    return [
        pytest.param(name, number, id=f"{' '.join(name)} {word}")
        for name, line in LINES.items()
        for number, word in enumerate(line.split())
        if word.startswith("IN/")
    ]


def test_every_command_has_a_line_here():
    parser = build_parser()
    groups = {name.rpartition(" ")[0] for name, _ in commands(parser)}
    assert {name for name, _ in commands(parser)} - groups == {name for name, _ in LINES}
    assert {name for (name, _), line in LINES.items() if "IN/" not in line} == READ_NOTHING


@pytest.mark.parametrize(("name", "number"), places())
def test_a_pipe_a_device_a_folder_and_a_heap_are_refused_at_once(name, number, inputs, tmp_path, capsys, monkeypatch):
    here = shutil.copytree(inputs, tmp_path / "in")
    monkeypatch.chdir(tmp_path)
    words = words_of(LINES[name], here, tmp_path / f"out{SUFFIXES.get(name, '')}")
    ledger = words[number].endswith("ledger")
    os.mkfifo("pipe")
    Path("folder").mkdir()
    Path("nul").write_bytes(b"\0" * 3_000_000)
    signal.signal(signal.SIGALRM, signal.default_int_handler)  # a hang would be an interruption
    for odd in ("pipe", "/dev/zero", "folder", "nowhere", "nul", "folder/x", "x" * 300, "a\nb"):
        if ledger and not os.path.exists(odd):
            continue  # an import would make a ledger of that name
        before = sorted(tmp_path.rglob("*"))
        signal.alarm(60)
        try:
            code = main([odd if at == number else word for at, word in enumerate(words)])
        finally:
            signal.alarm(0)
        said = [one for one in capsys.readouterr().err.splitlines() if one.startswith("growth:")]
        assert code == 2 and len(said) == 1, (odd, said)
        assert odd.replace("\n", "\\n") in said[0] or ledger, (odd, said)
        assert sorted(tmp_path.rglob("*")) == before
