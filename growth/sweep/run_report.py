"""One report: its notebook run by papermill and made into a page to read."""

from __future__ import annotations

import logging
import time
from pathlib import Path
from typing import Any

from growth.calculator.language import LOCALE
from growth.lazy import papermill_path

ENGINE = "growth-warm"
NO_PLACE = "it cannot be written"
STARTS = 3  # of a kernel; two that start at once may pick the same port, and one of them dies: no cell has run then
NEVER_STARTED = "Kernel died before replying to kernel_info"  # as jupyter_client says it
QUIET = ["--IPKernelApp.log_level=CRITICAL"]


def run_report(
    *, notebook: str, output: str, parameters: dict[str, Any], engine: str | None, limit: float | None = None
) -> str:
    """Run the notebook with these parameters into `output`.

    Parameters
    ----------
    notebook, output : absolute paths. The notebook runs in the folder of `output`, and one that fails is written as far
        as it came.
    parameters : what papermill puts after the cell tagged `parameters`.
    engine : a papermill engine by name; None for the stock one.
    limit : seconds for the whole report, from the start of its kernel; None for no limit.

    Returns
    -------
    str
        Why it failed, in one line; "" where it did not.
    """
    import papermill
    from papermill.exceptions import PapermillExecutionError
    from traitlets.config import Config

    logging.getLogger("papermill").setLevel(logging.CRITICAL)  # what it has to say is in the answer
    if engine:
        from growth.sweep.engine import register

        register()
    end = time.monotonic() + (limit or float("inf"))
    limits: dict[str, Any] = {}
    if limit is not None:  # each cell gets what is left of the report's time
        limits["timeout_func"] = lambda cell: max(end - time.monotonic(), 0.001)
        limits["start_timeout"] = limits["execution_timeout"] = limit
    starts = 0
    while True:
        starts += 1
        try:
            papermill.execute_notebook(
                papermill_path(notebook),
                papermill_path(output),
                parameters=parameters,
                engine_name=engine,
                kernel_name="python3",
                language="python",
                progress_bar=False,
                cwd=str(Path(output).parent),
                extra_arguments=QUIET,
                config=Config({"KernelManager": {"connection_file": str(Path(output).with_suffix(".kernel.json"))}}),
                **limits,
            )
            return ""
        except PapermillExecutionError as error:
            from growth.sweep.report_notebook import own_number

            return one_line(f"cell {own_number(notebook, error.cell_index)}: {error.ename}: {error.evalue}")
        except Exception as error:
            if limit is not None and time.monotonic() >= end:
                return over(limit)
            if starts < STARTS and NEVER_STARTED in str(error):
                continue
            return unwritten(error) if isinstance(error, OSError) else one_line(f"{type(error).__name__}: {error}")


def make_report(
    *,
    notebook: str,
    output: str,
    parameters: dict[str, Any],
    engine: str | None,
    limit: float | None = None,
    title: str,
    key: str = "",
    look: dict[str, Any] | None = None,
    locale: str | None = None,
) -> str:
    """Run the notebook like `run_report`, and write the page of what it shows beside `output`, with the ending .html.

    title, key, look, locale: as `notebook_page` takes them; without a locale that among the parameters, if any. Returns
    why it failed, or "".
    """
    why = run_report(notebook=notebook, output=output, parameters=parameters, engine=engine, limit=limit)
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
