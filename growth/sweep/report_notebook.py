"""The notebook that a report is made with: found, and checked before any kernel starts."""

from __future__ import annotations

import ast
import warnings
from pathlib import Path
from typing import Any

from growth.errors import Problem
from growth.sweep.load_sweep import SweepError

PARAMETERS = "parameters"  # the tag of the cell after which papermill puts a report's own


def parameters_of(path: Path) -> set[str]:
    """The names in a notebook's parameters cell.

    Raises SweepError where the notebook cannot take a report's parameters, or not every cell parses as Python: with
    every cell that has a syntax error, counted from 1 as they stand in the notebook.
    """
    import nbformat

    try:
        notebook = nbformat.read(path, as_version=4)
        nbformat.validate(notebook)
    except FileNotFoundError:
        raise SweepError("there is no such notebook", file=str(path)) from None
    except Exception as error:  # whatever is wrong with it, it is no notebook
        raise SweepError(f"not a notebook: {' '.join(str(error).split())[:120]}", file=str(path)) from None
    language = _language(notebook)
    if language != "python":
        raise SweepError(f"a report's notebook is in Python (found {language})", file=str(path))
    problems = [
        Problem(f"cell {number}", f"{wrong.msg} in line {wrong.lineno}", (wrong.text or "").strip()[:80])
        for number, cell in enumerate(notebook.cells, 1)
        if cell.cell_type == "code" and (wrong := _syntax_error(cell))
    ]
    if problems:
        raise SweepError(problems, file=str(path))
    place = parameters_cell(notebook)
    if place is None:
        raise SweepError("a cell tagged parameters is needed, with scenario = ... in it", file=str(path))
    names = _names(notebook.cells[place])
    if "scenario" not in names:
        raise SweepError("its parameters cell has to name scenario", file=str(path))
    return names


def parameters_cell(notebook: Any, tag: str = PARAMETERS) -> int | None:
    """The index of the first cell with the tag; None if there is none."""
    return next((n for n, cell in enumerate(notebook.cells) if tag in cell.metadata.get("tags", [])), None)


def own_number(path: str, place: int) -> int:
    """Map the index of a report's cell to the number, from 1, of the cell in the notebook it was made from.

    papermill puts a cell after the one tagged parameters, unless it did so before.
    """
    import nbformat

    notebook = nbformat.read(path, as_version=4)
    first = parameters_cell(notebook)
    added = parameters_cell(notebook, "injected-parameters") is None
    return place if added and first is not None and place > first else place + 1


def _language(notebook: Any) -> str:
    """The notebook's language; Python if it does not say."""
    spec, info = notebook.metadata.get("kernelspec", {}), notebook.metadata.get("language_info", {})
    return str(spec.get("language") or info.get("name") or "python").lower()


def _names(cell: Any) -> set[str]:
    """The names that a cell assigns."""
    return {
        target.id
        for node in ast.parse(_plain(cell.source)).body
        if isinstance(node, ast.Assign | ast.AnnAssign)
        for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
        if isinstance(target, ast.Name)
    }


def _syntax_error(cell: Any) -> SyntaxError | None:
    """The cell's syntax error, or None. Magics and top-level await are allowed."""
    if "raises-exception" in cell.metadata.get("tags", []):
        return None
    try:
        with warnings.catch_warnings(action="ignore"):
            compile(_plain(cell.source), "cell", "exec", ast.PyCF_ALLOW_TOP_LEVEL_AWAIT, dont_inherit=True)
    except SyntaxError as error:
        return error
    except ValueError as error:  # such as a null byte
        return SyntaxError(str(error), ("cell", 1, 0, ""))
    return None


def _plain(source: str) -> str:
    """The source as plain Python, with IPython's magics and shell lines replaced by calls."""
    try:
        ast.parse(source)
    except (SyntaxError, ValueError):
        from IPython.core.inputtransformer2 import TransformerManager

        return TransformerManager().transform_cell(source)
    return source
