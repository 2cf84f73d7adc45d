"""What an error says: plain words, no words of a parser, no pattern, nothing that a terminal would obey."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import growth
from growth.cli import main
from growth.errors import MOST_PROBLEMS, PublishError
from growth.scenario.file import parse
from growth.scenario.section import PATTERNS
from growth.whole_file import json_schema

DEMO = (Path(__file__).parents[2] / "scenarios" / "fernhollow.yaml").read_text("utf-8")
FORM = "form_address: https://lists.example.org/subscribe"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("scenario:\n  a: 1\n b: 2\n", "line 3: not valid YAML: a line that is indented otherwise"),
        ("scenario: [1,2\nx: 1", "a bracket or brace that is not closed"),
        ('scenario: "abc', "a quote or a bracket that is not closed"),
        ("scenario:\n\ta: 1", "line 2: not valid YAML: a tab"),
        ("a: b: c", "a colon where none may stand"),
        ("scenario: @x", "a character that begins no value"),
        ("'a' 'b'", "text behind the end"),
        ("foo: 1\nbar\n", "a key without a colon"),
        ('scenario: "\\q"', "a backslash in double quotes"),
        ("a: \x07", "a character that no text file may hold"),
    ],
)
def test_broken_yaml_is_told_in_plain_words(text, said):
    with pytest.raises(growth.ScenarioError, match=re.escape(said)) as caught:
        parse(text, file="shop.yaml")
    for word in ("expected '", "<", "but found", "token", "scalar", "mapping"):
        assert word not in str(caught.value)


def patterns(schema: object) -> set[str]:
    """Every pattern that a text of the schema has to match."""
    if isinstance(schema, dict):
        return (
            {str(schema["pattern"])}
            if "pattern" in schema and isinstance(schema["pattern"], str)
            else set().union(*map(patterns, schema.values()))
        )
    return set().union(*map(patterns, schema)) if isinstance(schema, list) else set()


def test_every_pattern_has_words():
    found = patterns(json.loads(json.dumps(json_schema())))
    assert found and found <= PATTERNS.keys()


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("https://a:99999/", "whose port"),
        ("https://a:0/", "whose port"),
        ("https://a:x/", "whose port"),
        ("https://[::1", "the name of a host"),
        ("http://example.org/", "begins with https://"),
        ('"\\e[31m"', "\\x1b[31m"),
        ('"https://a\\ud800/"', "whole characters"),
    ],
)
def test_an_address_that_is_wrong(address, said, tmp_path, capsys):
    path = tmp_path / "shop.yaml"
    path.write_text(DEMO.replace(FORM, f"form_address: {address}"), "utf-8")
    assert main(["check", str(path)]) == 2
    err = capsys.readouterr().err
    assert said in err and len(err.splitlines()) == 1 and err.strip().isprintable()


@pytest.mark.parametrize("field", ["business", "currency", "question", "name", "button", "byline", "language"])
def test_half_a_character_is_refused_in_every_text(field, tmp_path, capsys):
    path = tmp_path / "shop.yaml"
    text = re.sub(rf"(?m)^( *){field}: .*$", rf'\1{field}: "\\ud800"', DEMO)
    if field == "language":
        text = DEMO.replace("giveaway:\n", 'giveaway:\n  language: "\\ud800"\n')
    assert text != DEMO
    path.write_text(text, "utf-8")
    assert main(["check", str(path)]) == 2
    err = capsys.readouterr().err
    assert "whole characters (found \\ud800)" in err and len(err.splitlines()) == 1


def test_half_a_character_in_a_mapping_is_refused_too():
    with pytest.raises(growth.ScenarioError):
        growth.load_scenario({"business": "\ud800", "pay": {"plans": [{"name": "one", "monthly_price": 9}]}})
    from growth.giveaway.placeholders import load_giveaway

    scenario = growth.load_scenario({"business": "one", "pay": {"plans": [{"name": "one", "monthly_price": 9}]}})
    with pytest.raises(growth.ScenarioError):
        load_giveaway({"name": "one", "question": "How big can this get?", "language": "\ud800"}, scenario=scenario)


def test_very_many_problems_are_counted(tmp_path, capsys):
    path = tmp_path / "shop.yaml"
    path.write_text(
        DEMO.replace("scenario:\n", "scenario:\n" + "".join(f"  x{n}: 1\n" for n in range(5000)), 1), "utf-8"
    )
    assert main(["check", str(path)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == MOST_PROBLEMS + 1 and lines[-1].endswith(f"and {5000 - MOST_PROBLEMS:,} more like these")


def test_a_notebook_shows_an_error_of_the_input_as_one_line():
    """IPython asks an exception for _render_traceback_ before it makes one of its own."""
    with pytest.raises(growth.ScenarioError) as caught:
        growth.load_scenario("../scenarios/fernholow.yaml")
    assert caught.value._render_traceback_() == [
        "ScenarioError: ../scenarios/fernholow.yaml: there is no such file. Check the name and the folder."
    ]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"PK\x03\x04rest", "a spreadsheet"),
        (b"\xd0\xcf\x11\xe0rest", "an old spreadsheet"),
        (b"\x1f\x8brest", "a compressed file"),
        (b"PAR1rest", ".parquet"),
        (b"SQLite format 3\0", "a database"),
    ],
)
def test_records_of_another_kind_are_named(content, said, tmp_path, capsys):
    path = tmp_path / "rows.csv"
    path.write_bytes(content)
    assert main(["measure", str(path), "--to", str(tmp_path / "x.yaml")]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--to=--", "--notebook=--"])
def test_two_dashes_are_no_name(option, capsys):
    """argparse makes an empty list of them, or, from Python 3.13 on, the two dashes."""
    assert main(["publish", "nowhere.yaml", "--to", "out", option]) == 2
    assert capsys.readouterr().err == "growth: -- is no name; write ./-- for a file that is called so\n"


def test_what_a_what_if_would_break_ends_in_one_full_stop(tmp_path, capsys):
    """The reason comes with a full stop of its own or without one."""
    path = tmp_path / "shop.yaml"
    for becomes, reason in ((".inf", "It must be finite."), ("6.7", "(found 6.7).")):
        what_if = f"  what_ifs:\n    - {{name: a, label: A, changes: [{{field: months, becomes: {becomes}}}]}}\n"
        path.write_text(DEMO.replace("giveaway:\n", what_if + "giveaway:\n"), "utf-8")
        assert main(["check", str(path)]) == 2
        err = capsys.readouterr().err
        assert reason in err and ".." not in err.replace(str(path), "")


def test_a_text_that_is_too_long_is_called_a_text(tmp_path, capsys):
    path = tmp_path / "shop.yaml"
    label = f"  what_ifs:\n    - {{name: a, label: '{'x' * 40}', changes: [{{field: months, becomes: 9}}]}}\n"
    path.write_text(DEMO.replace("giveaway:\n", label + "giveaway:\n"), "utf-8")
    assert main(["check", str(path)]) == 2
    assert "text of at most 30 characters (found 40)" in capsys.readouterr().err


def test_braces_in_the_name_of_a_notebook_are_only_a_name(tmp_path):
    """papermill puts parameters into braces of a path."""
    from growth.giveaway.publishing import executed

    notebook = tmp_path / "{x}.ipynb"
    notebook.write_text('{"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}', "utf-8")
    with pytest.raises(PublishError, match="no cell has the tag"):
        executed(notebook, {})
    notebook.write_text(
        json.dumps(
            {
                "cells": [
                    {
                        "cell_type": "code",
                        "id": "a",
                        "source": "x = 1",
                        "metadata": {"tags": ["parameters"]},
                        "outputs": [],
                        "execution_count": None,
                    }
                ],
                "metadata": {"kernelspec": {"name": "python3", "display_name": "Python 3"}},
                "nbformat": 4,
                "nbformat_minor": 5,
            }
        ),
        "utf-8",
    )
    assert executed(notebook, {"x": 2}).cells


def test_the_browser_for_pictures_has_no_network(capsys):
    import subprocess

    from growth.giveaway.chromium import without_network

    if not (alone := without_network()):
        pytest.skip("this system gives a command no network of its own")
    seen = subprocess.run([*alone, "cat", "/proc/net/dev"], capture_output=True, text=True, check=True).stdout
    assert [line.split(":")[0].strip() for line in seen.splitlines()[2:]] == ["lo"]


@pytest.mark.parametrize("refusal", ["cannot start", "hangs", "not permitted"])
def test_where_no_network_cannot_be_had_pictures_are_made_as_they_are(refusal, monkeypatch):
    import subprocess

    from growth.giveaway import chromium

    def run(command, **_):
        if refusal == "not permitted":
            raise subprocess.CalledProcessError(1, command)
        raise OSError("no such program") if refusal == "cannot start" else subprocess.TimeoutExpired(command, 1)

    monkeypatch.setattr(chromium.shutil, "which", lambda name: name)
    monkeypatch.setattr(chromium.subprocess, "run", run)
    assert chromium.without_network.__wrapped__() == ()
