"""The slider calculator: one front end, live in JupyterLab and mounted unchanged in the published page."""

from importlib import import_module
from typing import Any

_HOMES = {
    "PAGE_DATA": "data",
    "Calculator": "widget",
    "answer": "words",
    "answer_html": "data",
    "compact": "bundle",
    "how_sure": "certainty",
    "page_data": "data",
    "page_script": "bundle",
    "script": "bundle",
    "style": "bundle",
    "table_html": "data",
    "takes": "what_it_takes",
    "takes_html": "what_it_takes",
    "whole_answer": "certainty",
}

__all__ = sorted(_HOMES)  # loaded when first asked for: the command line reads the words without loading widgets


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'growth.calculator' has no attribute {name!r}")
    return getattr(import_module(f"growth.calculator.{_HOMES[name]}"), name)
