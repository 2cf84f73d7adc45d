"""What is imported on first use, so that the command line starts fast: public names of packages, and one library.

The public names of a package stand in a stub, `__init__.pyi`, beside its `__init__.py`, where type checkers and editors
read them too. This is the layout of SPEC 1 of the Scientific Python project.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import Any


def public_names(package: str) -> tuple[list[str], Callable[[str], Any], Callable[[], list[str]]]:
    """Return `__all__`, `__getattr__` and `__dir__` for a package, from the imports in its stub.

    >>> names, load, _ = public_names("growth")
    >>> "load_scenario" in names, load("load_scenario").__module__
    (True, 'growth.scenario.file')
    """
    module = sys.modules[package]
    stub = ast.parse(Path(str(module.__file__)).with_suffix(".pyi").read_text("utf-8"))
    imports = [node for node in stub.body if isinstance(node, ast.ImportFrom)]
    homes = {alias.name: str(node.module) for node in imports for alias in node.names}

    def load(name: str) -> Any:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        if homes[name] == package:  # a module of the package
            return import_module(f"{package}.{name}")
        return getattr(import_module(homes[name]), name)

    return sorted(homes), load, lambda: sorted({*vars(module), *homes})


GRAMMAR = "rfc3987_syntax"


def put_off_grammar() -> None:
    """Build jsonschema's URL grammar on first use instead of on import. Call it before importing a notebook library.

    Everything that reads notebooks imports jsonschema, which spends a second building that grammar for a check that no
    notebook needs. A stand-in module in `sys.modules` imports the real one when something is asked of it, then
    forwards to it. Does nothing where the grammar is already loaded or not installed.
    """
    if GRAMMAR in sys.modules or not find_spec(GRAMMAR):
        return
    later = ModuleType(GRAMMAR)

    def fetch(name: str) -> Any:
        if name.startswith("__"):  # asked for by the import machinery
            raise AttributeError(name)
        if sys.modules.get(GRAMMAR) is later:
            del sys.modules[GRAMMAR]
        return getattr(import_module(GRAMMAR), name)

    later.__dict__.update(
        __getattr__=fetch, is_valid_syntax=lambda *given, **named: fetch("is_valid_syntax")(*given, **named)
    )
    sys.modules[GRAMMAR] = later
