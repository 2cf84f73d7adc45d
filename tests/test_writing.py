"""The user's files stay as they are, whatever a command is told to write: for every option that writes, found from the
parser."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import pytest
from command_lines import EXAMPLES, commands, words_of

from growth.cli import build_parser, main
from growth.giveaway import chromium
from growth.output import Writes, is_sealed, sealed, write_output

SCENARIOS = Path(__file__).parents[1] / "scenarios"

NO_SEAL = {"earned export", "new"}  # of files without room for one: replacing them always takes --replace


def writing(*, folder: bool) -> list[Any]:
    """(command, option, action) of every option that names a file, or a folder, to write."""
    return [
        pytest.param(name, action, id=f"{name} {action.option_strings[0]}")
        for name, parser in commands(build_parser())
        for action in parser._actions
        if isinstance(action, Writes) and action.folder == folder
    ]


def state(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def line(name: str, action: Writes, inputs: Path, to: object) -> list[str]:
    return words_of(EXAMPLES[name, action.option_strings[0]], inputs, to)


def test_every_option_that_writes_is_declared_as_one_and_has_an_example():
    found, plain = set(), set()
    for name, parser in commands(build_parser()):
        for action in parser._actions:
            if isinstance(action, Writes):
                found.add((name, action.option_strings[0]))
            elif {"--to", "--csv", "--out", "--output"} & {*action.option_strings}:
                plain.add(name)
    assert found == set(EXAMPLES)
    assert plain <= {"sweep"}  # has a list of its own of what it wrote


@pytest.mark.parametrize(("name", "action"), writing(folder=False))
def test_a_file_of_the_users_is_untouched(name, action, inputs, tmp_path, capsys):
    for suffix in action.suffixes:
        mine = tmp_path / f"mine{suffix}"
        mine.write_text("scenario: my own work", "utf-8")
        link = tmp_path / f"link{suffix}"
        link.symlink_to(mine)
        for to in (mine, link):
            before = state(tmp_path)
            assert main(line(name, action, inputs, to)) == 2
            assert state(tmp_path) == before
            assert "--replace" in capsys.readouterr().err
        assert main([*line(name, action, inputs, mine), "--replace"]) == 0
        assert mine.read_bytes() != b"scenario: my own work"


@pytest.mark.parametrize(("name", "action"), writing(folder=False))
def test_an_input_is_never_an_output(name, action, inputs, tmp_path, capsys):
    here = tmp_path / "in"
    shutil.copytree(inputs, here)
    read = [word for word in line(name, action, here, "TO") if word.startswith(f"{here}/")]
    for number, one in enumerate(read):
        alias = tmp_path / f"alias{number}{action.suffixes[0]}"  # with the suffix that passes
        os.link(one, alias)
        for to in (one, alias):
            before = state(tmp_path)
            assert main([*line(name, action, here, to), "--replace"]) == 2
            assert state(tmp_path) == before
            assert len(capsys.readouterr().err.splitlines()) == 1


@pytest.mark.parametrize(("name", "action"), writing(folder=False))
def test_a_file_is_written_only_where_and_as_it_can_be(name, action, inputs, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    suffix = action.suffixes[0]
    os.mkfifo(f"pipe{suffix}")
    Path(f"folder{suffix}").mkdir()
    wrong = ["x.txt", "x", f"s3://bucket/x{suffix}", f"file:///x{suffix}", f"pipe{suffix}", f"folder{suffix}"]
    wrong += [f"nowhere/x{suffix}", "", f"a\0b{suffix}"]
    before = sorted(os.listdir())
    for to in wrong:
        assert main([*line(name, action, inputs, to), "--replace"]) == 2, to
        err = capsys.readouterr().err
        assert len(err.splitlines()) == 1 and err.startswith("growth: "), err
    assert sorted(os.listdir()) == before and not os.listdir(f"folder{suffix}")


@pytest.mark.usefixtures("without_kernel")
@pytest.mark.parametrize(("name", "action"), writing(folder=True))
def test_files_of_the_users_in_a_folder_are_untouched(name, action, inputs, tmp_path, capsys, monkeypatch):
    """What a command made is made anew; what the user changed since, or had there before, stays. A kit is made here
    without Chromium, which takes most of its time; the seals of its pictures are looked at in kit/test_kit.py."""
    monkeypatch.setattr(chromium, "browser", lambda: None)
    folder = tmp_path / "out"
    command = line(name, action, inputs, folder)
    assert main(command) == 0
    made = state(folder)
    assert made
    (folder / "mine.txt").write_text("mine", "utf-8")
    if name not in NO_SEAL:
        assert main(command) == 0
    assert state(folder).keys() == {*made, "mine.txt"}
    for changed in made:
        assert is_sealed(folder / changed) == (name not in NO_SEAL)
    for changed in {min(made), max(made)} if name != "kit" else {max(made)}:  # a kit takes long to make
        (folder / changed).write_bytes(made[changed] + b" ")
        before = state(folder)
        capsys.readouterr()
        assert main(command) == 2
        assert state(folder) == before
        err = capsys.readouterr().err
        assert (changed in err or name in NO_SEAL) and "--replace" in err
        (folder / changed).write_bytes(made[changed])
    assert main([*command, "--replace"]) == 0
    assert (folder / "mine.txt").read_text("utf-8") == "mine"


@pytest.mark.parametrize(("name", "action"), writing(folder=True))
def test_a_folder_is_one_of_this_machine(name, action, inputs, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("mine").write_text("mine", "utf-8")
    before = sorted(os.listdir())
    for to in ("s3://bucket/folder", "https://example.org/x", "mine", "mine/below", "", "a\0b"):
        assert main([*line(name, action, inputs, to), "--replace"]) == 2, to
        assert len(capsys.readouterr().err.splitlines()) == 1
    assert sorted(os.listdir()) == before and Path("mine").read_text("utf-8") == "mine"


@pytest.mark.parametrize("suffix", [".html", ".svg", ".pdf", ".png", ".txt"])
def test_a_sealed_file_is_replaced_until_somebody_changes_it(tmp_path, suffix):
    path = tmp_path / f"x{suffix}"
    seal = "growth-workbook:" + "0" * 32
    text = f"one {seal}" if suffix == ".txt" else "one"
    write_output(path, text)
    write_output(path, text.replace("one", "two"))
    assert is_sealed(path)
    path.write_bytes(path.read_bytes().replace(b"two", b"six"))
    assert not is_sealed(path)
    with pytest.raises(Exception, match="--replace"):
        write_output(path, text)
    assert b"six" in path.read_bytes()


def test_a_seal_within_a_seal_is_that_of_the_last():
    inner = sealed("<p>one</p>", ".html")
    assert sealed(inner, ".html").startswith(inner)
