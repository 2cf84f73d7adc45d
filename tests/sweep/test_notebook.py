"""A notebook that no report can be made with is refused by the command before a kernel starts."""

import json

import nbformat
import pytest

from growth import cli

new = nbformat.v4.new_code_cell
PARAMETERS = new("scenario = None", metadata={"tags": ["parameters"]})


def notebook(*cells, **metadata) -> str:
    return nbformat.writes(nbformat.v4.new_notebook(cells=list(cells), metadata=metadata))


@pytest.mark.parametrize(
    ("content", "messages"),
    [
        ("not JSON", ["not a notebook: "]),
        (json.dumps({"cells": "none"}), ["not a notebook: "]),
        (notebook(new("scenario = None")), ["a cell tagged parameters is needed, with scenario = ... in it"]),
        (
            notebook(new("scenary = None", metadata={"tags": ["parameters"]})),
            ["its parameters cell has to name scenario"],
        ),
        (
            notebook(new("scenario = (", metadata={"tags": ["parameters"]})),
            ["cell 1: '(' was never closed in line 1 (found scenario = ()"],
        ),
        (
            notebook(PARAMETERS, nbformat.v4.new_markdown_cell("if"), new("x = 1\ny = = 2"), new("a b")),
            ["cell 3: invalid syntax in line 2 (found y = = 2)", "cell 4: invalid syntax in line 1 (found a b)"],
        ),
        (
            notebook(PARAMETERS, kernelspec={"name": "ir", "display_name": "R", "language": "R"}),
            ["a report's notebook is in Python (found r)"],
        ),
    ],
    ids=["text", "no cells", "untagged", "misnamed", "open", "two errors", "R"],  # the contents hold random ids
)
def test_what_is_no_report_notebook_is_refused(workplace, capsys, content, messages):
    file = workplace.path / "n.ipynb"
    file.write_text(content)
    to = workplace.path / "out"
    assert cli.main(["sweep", str(workplace.sweep()), "--to", str(to), "--notebook", str(file)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == len(messages)
    for line, message in zip(lines, messages, strict=True):
        assert line.startswith(f"growth: {file}: {message}")
    assert not to.exists()


def test_what_jupyter_takes_for_python_is_taken(workplace):
    """Magics, lines for the shell, await outside of a function, and a cell that is meant to fail."""
    meant = new("1 +", metadata={"tags": ["raises-exception"]})
    file = workplace.path / "n.ipynb"
    file.write_text(notebook(PARAMETERS, new("%matplotlib inline\nfiles = !ls"), new("await later()"), meant))
    command = ["sweep", str(workplace.sweep()), "--to", str(workplace.path / "out"), "--notebook", str(file)]
    assert cli.main([*command, "--check"]) == 0
