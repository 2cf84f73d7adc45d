"""Start-up without what running notebooks never use: four fifths of the time that papermill takes to load."""

from __future__ import annotations

import sys
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any

GRAMMAR = "rfc3987_syntax"


def put_off_grammar() -> None:
    """Have jsonschema's grammar of web addresses built when it is asked for, instead of when jsonschema is loaded.

    Every reader of notebooks loads jsonschema; building that grammar takes it a second, for a check that no notebook
    asks for. In the grammar's place stands a module that fetches it at the first use, and then is it in all but name.
    """
    if GRAMMAR in sys.modules or not find_spec(GRAMMAR):
        return
    later = ModuleType(GRAMMAR)

    def fetch(name: str) -> Any:
        if name.startswith("__"):  # asked for by the import itself
            raise AttributeError(name)
        if sys.modules.get(GRAMMAR) is later:
            del sys.modules[GRAMMAR]
        return getattr(import_module(GRAMMAR), name)

    later.__dict__.update(
        __getattr__=fetch, is_valid_syntax=lambda *given, **named: fetch("is_valid_syntax")(*given, **named)
    )
    sys.modules[GRAMMAR] = later
