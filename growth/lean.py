"""Faster start-up: papermill loads in a fifth of the time without what running a notebook never uses."""

from __future__ import annotations

import sys
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any

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
