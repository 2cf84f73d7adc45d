"""What is imported on first use, so that the command line starts fast: public names of packages, and one library.

The public names of a package stand in a stub, `__init__.pyi`, beside its `__init__.py`, where type checkers and editors
read them too. This is the layout of SPEC 1 of the Scientific Python project.
"""

from __future__ import annotations

import sys  # nothing more at the top: Ctrl-C while `growth` itself is imported would be a traceback

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

GRAMMAR = "rfc3987_syntax"


def public_names(package: str) -> tuple[Callable[[str], Any], Callable[[], list[str]]]:
    """Return `__getattr__` and `__dir__` for a package, from the imports in its stub; `__all__` is an attribute too.

    >>> load, _ = public_names("growth")
    >>> "load_scenario" in load("__all__"), load("load_scenario").__module__
    (True, 'growth.scenario.file')
    """
    module = sys.modules[package]
    homes: dict[str, str] = {}

    def read() -> dict[str, str]:
        """The names in the stub, and the module of each."""
        if not homes:
            import ast
            from pathlib import Path

            stub = ast.parse(Path(str(module.__file__)).with_suffix(".pyi").read_text("utf-8"))
            for node in stub.body:
                if isinstance(node, ast.ImportFrom):
                    homes.update({alias.name: str(node.module) for alias in node.names})
        return homes

    def load(name: str) -> Any:
        from importlib import import_module

        if name == "__all__":
            return sorted(read())
        if name.startswith("__") or name not in read():
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        if homes[name] == package:  # a module of the package
            return import_module(f"{package}.{name}")
        return getattr(import_module(homes[name]), name)

    return load, lambda: sorted({*vars(module), *read()})


def put_off_grammar() -> None:
    """Build jsonschema's URL grammar on first use instead of on import. Call it before importing a notebook library.

    Everything that reads notebooks imports jsonschema, which spends a second building that grammar for a check that no
    notebook needs. A stand-in module in `sys.modules` imports the real one when something is asked of it, then
    forwards to it. Does nothing where the grammar is already loaded or not installed.
    """
    from importlib import import_module
    from importlib.util import find_spec
    from types import ModuleType

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


def papermill_path(path: object) -> str:
    """A path for papermill, which would put parameters into its braces.

    >>> papermill_path("{x}.ipynb")
    '{{x}}.ipynb'
    """
    return str(path).replace("{", "{{").replace("}", "}}")
