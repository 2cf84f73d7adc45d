"""Build the API pages: every name that a package of growth/ hands out with `__all__`, from its docstring.

    python tests/build_docs.py DIR

A warning of pdoc is an error, so that the pages are whole or not made.
"""

from __future__ import annotations

import pkgutil
import sys
import warnings
from importlib import import_module
from pathlib import Path

import growth

MODULES = ("growth.errors", "growth.table")  # public, and no packages


def documented() -> list[str]:
    """The modules that have a page: `growth` itself, its packages with public names, and a few modules."""
    packages = [f"growth.{found.name}" for found in pkgutil.iter_modules(growth.__path__) if found.ispkg]
    public = [name for name in packages if getattr(import_module(name), "__all__", None)]
    return ["growth", *public, *MODULES]


def build(folder: Path) -> None:
    """Write the pages into `folder`. Raises an error for each warning that pdoc gives."""
    import pdoc

    for name in documented():
        module = import_module(name)
        for public in getattr(module, "__all__", ()):
            setattr(module, public, getattr(module, public))  # names loaded on first use are found in the module alone
    entry = import_module("growth.scenario.entry")  # its annotations name the scenario, which imports it
    vars(entry).setdefault("Scenario", growth.Scenario)
    pdoc.render.configure(docformat="numpy", search=True)
    with warnings.catch_warnings():
        warnings.filterwarnings("error", module="pdoc")
        pdoc.pdoc(*documented(), output_directory=folder)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    build(Path(sys.argv[1]))
    print(f"The pages are in {sys.argv[1]}; open index.html there.")
