"""A report's notebook: checked before any kernel starts, run by papermill, and made into a page to read."""

from __future__ import annotations

import ast
import logging
import time
import warnings
from pathlib import Path
from typing import Any

from growth.calculator.language import LOCALE
from growth.errors import Problem
from growth.lazy import papermill_path
from growth.sweep.load_sweep import SweepError

PARAMETERS = "parameters"  # the tag of the cell after which papermill puts a report's own
NO_PLACE = "it cannot be written"
STARTS = 3  # of a kernel; two that start at once may pick the same port, and one of them dies: no cell has run then
NEVER_STARTED = "Kernel died before replying to kernel_info"  # as jupyter_client says it
QUIET = ["--IPKernelApp.log_level=CRITICAL"]


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
    place = _parameters_cell(notebook)
    if place is None:
        raise SweepError("a cell tagged parameters is needed, with scenario = ... in it", file=str(path))
    names = _names(notebook.cells[place])
    if "scenario" not in names:
        raise SweepError("its parameters cell has to name scenario", file=str(path))
    return names


def _parameters_cell(notebook: Any, tag: str = PARAMETERS) -> int | None:
    """The index of the first cell with the tag; None if there is none."""
    return next((n for n, cell in enumerate(notebook.cells) if tag in cell.metadata.get("tags", [])), None)


def run_report(
    *, notebook: str, output: str, parameters: dict[str, Any], warm: bool, limit: float | None = None
) -> str:
    """Run the notebook with these parameters into `output`. Returns why it failed, in one line, or "".

    notebook, output: absolute paths. The notebook runs in the folder of `output`, and one that fails is written as far
    as it came. warm: in a forked kernel. limit: seconds for the whole report, from the start of its kernel; None for no
    limit.
    """
    import papermill
    from papermill.exceptions import PapermillExecutionError
    from traitlets.config import Config

    logging.getLogger("papermill").setLevel(logging.CRITICAL)  # what it has to say is in the answer
    options: dict[str, Any] = {}
    if warm:
        from growth.sweep.papermill_engine import WarmKernelManager

        options["kernel_manager_class"] = WarmKernelManager
    end = time.monotonic() + (limit or float("inf"))
    if limit is not None:  # each cell gets what is left of the report's time
        options["timeout_func"] = lambda cell: max(end - time.monotonic(), 0.001)
        options["start_timeout"] = options["execution_timeout"] = limit
    starts = 0
    while True:
        starts += 1
        try:
            papermill.execute_notebook(
                papermill_path(notebook),
                papermill_path(output),
                parameters=parameters,
                kernel_name="python3",
                language="python",
                progress_bar=False,
                cwd=str(Path(output).parent),
                extra_arguments=QUIET,
                config=Config({"KernelManager": {"connection_file": str(Path(output).with_suffix(".kernel.json"))}}),
                **options,
            )
            return ""
        except PapermillExecutionError as error:
            return one_line(f"cell {_own_number(notebook, error.cell_index)}: {error.ename}: {error.evalue}")
        except Exception as error:
            if limit is not None and time.monotonic() >= end:
                return over(limit)
            if starts < STARTS and NEVER_STARTED in str(error):
                continue
            return unwritten(error) if isinstance(error, OSError) else one_line(f"{type(error).__name__}: {error}")


def make_report(
    *,
    output: str,
    parameters: dict[str, Any],
    title: str,
    key: str = "",
    look: dict[str, Any] | None = None,
    locale: str | None = None,
    **run: Any,
) -> str:
    """Run the notebook by `run_report`, and write the page of what it shows beside `output`, with the ending .html.

    title, key, look, locale: as `notebook_page` takes them; without a locale that among the parameters, if any. run:
    the other arguments of `run_report`. Returns why it failed, or "".
    """
    why = run_report(output=output, parameters=parameters, **run)
    if not why:
        import nbformat

        from growth.sweep.notebook_page import notebook_page

        locale = locale or parameters.get("locale") or LOCALE
        try:
            page = notebook_page(nbformat.read(output, as_version=4), title=title, key=key, look=look, locale=locale)
            Path(output).with_suffix(".html").write_text(page, encoding="utf-8")
        except OSError as error:
            return unwritten(error)
    return why


def over(limit: float) -> str:
    """The reason given for a report that took too long."""
    return f"the time limit of {limit:g} seconds was over"


def unwritten(error: Exception) -> str:
    """The reason given for a report that could not be written; `has_no_place` recognises it."""
    return one_line(f"{NO_PLACE}: {getattr(error, 'strerror', None) or error}")


def has_no_place(why: str) -> bool:
    """Whether a report failed only because it could not be written."""
    return why.startswith(NO_PLACE)


def one_line(text: str) -> str:
    """The text of an error as one line of at most 500 characters.

    >>> one_line("no  such\\nluck")
    'no such luck'
    """
    return " ".join(text.split())[:500]


def _own_number(path: str, place: int) -> int:
    """Map the index of a report's cell to the number, from 1, of the cell in the notebook it was made from.

    papermill puts a cell after the one tagged parameters, unless it did so before.
    """
    import nbformat

    notebook = nbformat.read(path, as_version=4)
    first = _parameters_cell(notebook)
    added = _parameters_cell(notebook, "injected-parameters") is None
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
