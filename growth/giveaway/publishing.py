"""Publishing: the giveaway notebook run with papermill, and exported to one page."""

from __future__ import annotations

import logging
import re
import resource
from collections.abc import Callable
from pathlib import Path
from typing import Any

from growth.errors import Problem, PublishError
from growth.files import regular_file, scratch, shipped
from growth.giveaway.brief import Giveaway
from growth.giveaway.placeholders import load_giveaway
from growth.lazy import papermill_path, put_off_grammar
from growth.output import check_folder, check_output, write_outputs
from growth.scenario import Scenario
from growth.scenario.file import load_scenario

MOST_BYTES = 150 * 1024  # what a page weighs at most, apart from pictures that its notebook adds
MOST_NOTEBOOK_BYTES = 64 * 2**20
OPEN_FILES, MEMORY = 256, 1024 * 2**20  # what a run needs at least, with its kernel; about twice what was seen


def publish(
    source: str | Path,
    *,
    to: str | Path,
    notebook: str | Path | None = None,
    replace: bool = False,
    progress: Callable[..., None] | None = None,
) -> Path:
    """Make the page of a scenario file in a folder.

    Parameters
    ----------
    source : the scenario file; its `giveaway` part holds the words of the page.
    to : the folder, made if it is not there. The page is called after the giveaway: `NAME.html`.
    notebook : a giveaway notebook of your own; None takes the one that comes along.
    replace : overwrite a file of the page's name that this package did not write, or that was changed since.
    progress : called as progress(done=, of=, what=) after the check, after each cell, and after writing.

    Returns
    -------
    Path
        The page. An existing page is replaced by a whole new one or not at all.

    Raises
    ------
    ScenarioError
        The file is not valid.
    PublishError
        The notebook fails, or the page is too heavy or cannot be written.
    FileError
        A file of that name is there, and is not ours to replace.

    Examples
    --------
    >>> publish("forecast.yaml", to="pages")  # there is no such file
    Traceback (most recent call last):
    ...
    growth.errors.ScenarioError: forecast.yaml: there is no such file. Check the name and the folder.
    """
    tell = progress or (lambda **_: None)
    tell(done=0, of=1, what="checking the scenario")
    scenario = load_scenario(source)
    giveaway = load_giveaway(source, scenario=scenario)
    folder, name = check_folder(to), f"{giveaway.name}.html"
    if folder.is_dir():
        check_output(folder / name, inputs=[source, notebook], replace=replace)
    page, steps = made_page(scenario, giveaway, notebook=notebook, tell=tell)
    tell(done=steps - 1, of=steps, what="writing the page")
    try:
        (path,) = write_outputs(folder, {name: page}, inputs=[source, notebook], replace=replace)
    except OSError as error:
        raise PublishError(
            f"the page cannot be written: {error.strerror or error}. Nothing was changed.", file=str(folder)
        ) from None
    tell(done=steps, of=steps, what="done")
    return path


def made_page(
    scenario: Scenario,
    giveaway: Giveaway,
    *,
    notebook: str | Path | None = None,
    tell: Callable[..., None] = lambda **_: None,
) -> tuple[str, int]:
    """The page of a scenario and its words as HTML, and how many steps the work has; see `publish`."""
    notebook = regular_file(notebook or giveaway_notebook(), most_bytes=MOST_NOTEBOOK_BYTES, error=PublishError)
    parameters = {"scenario": scenario.model_dump(mode="json"), "giveaway": giveaway.model_dump(mode="json")}

    def ran(done: int, of: int) -> None:
        tell(done=1 + done, of=of + 2, what=f"running {notebook.name}: {done} of {of} cells")

    put_off_grammar()
    from growth.giveaway.exporter import page_html

    run = executed(notebook, parameters, ran=ran)
    page, steps = page_html(run), len(run.cells) + 2
    weight = len(re.sub(r'"data:image/[^"]*"', "", page).encode("utf-8"))
    if weight > MOST_BYTES:
        rule = f"at most {MOST_BYTES // 1024} KB, apart from pictures"
        fix = "Shorten the texts or the tables of the notebook, or show a picture in place of a long table."
        raise PublishError([Problem("the page", rule, f"{weight / 1024:,.0f} KB", fix)])
    return page, steps


def executed(
    notebook: Path, parameters: dict[str, Any], *, ran: Callable[[int, int], None] = lambda done, of: None
) -> Any:
    """The notebook run by papermill with these parameters, as a node. Raises PublishError that names a failed cell.

    ran(done, of) is called at the start and after each cell.
    """
    import nbformat
    import papermill
    from jupyter_client.kernelspec import NoSuchKernel
    from papermill.exceptions import PapermillException, PapermillExecutionError
    from traitlets.config import Config

    notebook = notebook.resolve()
    make_room()
    kernels: list[Any] = []
    logging.getLogger("papermill").setLevel(logging.CRITICAL)  # what it has to say is in the error
    with scratch() as folder:
        try:
            cells = nbformat.read(notebook, as_version=4).cells
            if not any("parameters" in cell.metadata.get("tags", ()) for cell in cells):
                raise ValueError('no cell has the tag "parameters", so it would not hear of the scenario')
            return papermill.execute_notebook(
                papermill_path(notebook),
                papermill_path(folder / notebook.name),
                parameters=parameters,
                cwd=str(notebook.parent),
                progress_bar=False,
                engine_name=_engine(ran),
                kernel_name="python3",
                language="python",
                extra_arguments=["--IPKernelApp.log_level=CRITICAL"],
                config=Config({"KernelManager": {"connection_file": str(folder / "kernel.json")}}),
                kernel_manager_class=_listed_in(kernels),
            )
        except PapermillExecutionError as error:
            # counted from 0, but with papermill's own cell in front of it: its place in the notebook as it was
            said = f"{error.ename}: {' '.join(str(error.evalue).split())}"
            raise PublishError(f"cell {error.cell_index} failed: {said}", file=str(notebook)) from None
        except (
            PapermillException,
            NoSuchKernel,
            RuntimeError,
            ValueError,
            OSError,
        ) as error:  # a dead kernel is one too
            said = " ".join(str(error).split())[:300]
            raise PublishError(f"it cannot be run: {said}", file=str(notebook)) from None
        except KeyboardInterrupt:  # a kernel that is still starting is not ended by papermill
            for one in kernels:
                if process := getattr(one.provisioner, "process", None):
                    process.kill()
                    process.wait()
            raise


def _listed_in(managers: list[Any]) -> type:
    """The stock kernel manager, each of which is put on the list."""
    from jupyter_client.manager import AsyncKernelManager

    class Listed(AsyncKernelManager):
        def __init__(self, *given: Any, **named: Any) -> None:
            super().__init__(*given, **named)
            managers.append(self)

    return Listed


def make_room() -> None:
    """Raise the limit on open files as far as this process may, and check that a kernel can start at all.

    Below these limits the libraries that talk to kernels abort the whole process, without an error to catch. Raises
    PublishError.
    """
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    most = OPEN_FILES if hard == resource.RLIM_INFINITY else min(hard, OPEN_FILES)
    if soft != resource.RLIM_INFINITY and soft < most:
        resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))
        soft = most
    if soft != resource.RLIM_INFINITY and soft < OPEN_FILES:
        fix = "Raise the limit with ulimit -n."
        raise PublishError([Problem("", f"a limit of at least {OPEN_FILES} open files", f"{soft}", fix)])
    memory, _ = resource.getrlimit(resource.RLIMIT_AS)
    if memory != resource.RLIM_INFINITY and memory < MEMORY:
        fix = "Raise the limit with ulimit -v."
        found = f"{memory // 2**20:,} MB"
        raise PublishError([Problem("", f"a limit of at least {MEMORY // 2**20:,} MB of memory", found, fix)])


def _engine(ran: Callable[[int, int], None]) -> str:
    """The name of a papermill engine, its usual one but that it tells after each cell."""
    from papermill.engines import NBClientEngine, papermill_engines

    class Telling(NBClientEngine):
        @classmethod
        def execute_managed_notebook(cls, nb_man: Any, kernel_name: str, **settings: Any) -> Any:
            of, complete = len(nb_man.nb.cells), nb_man.cell_complete

            def told(cell: Any, cell_index: int, **more: Any) -> None:
                complete(cell, cell_index, **more)
                ran(cell_index + 1, of)

            nb_man.cell_complete = told
            ran(0, of)
            return super().execute_managed_notebook(nb_man, kernel_name, **settings)

    papermill_engines.register("growth-telling", Telling)
    return "growth-telling"


def giveaway_notebook() -> Path:
    """The giveaway notebook that comes with the package."""
    return shipped("notebooks/giveaway.ipynb")
