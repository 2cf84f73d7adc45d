"""Public names of a package, imported on first use, so that the command line loads only what a command needs.

The names stand in a stub, `__init__.pyi`, beside the package's `__init__.py`, where type checkers and editors read them
too. This is the layout of SPEC 1 of the Scientific Python project.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
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
