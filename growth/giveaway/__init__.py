"""From a tuned notebook to one self-contained page: the words, the sections, the exporter, the page."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # what `__getattr__` gives, for editors and type checkers
    from growth.giveaway import sections
    from growth.giveaway.brief import Giveaway
    from growth.giveaway.page_brief import brief_data
    from growth.giveaway.placeholders import load_giveaway
    from growth.giveaway.publishing import publish

_HOMES = {
    "Giveaway": "brief",
    "brief_data": "page_brief",
    "load_giveaway": "placeholders",
    "publish": "publishing",
    "sections": "",
}

# loaded on first use, so that the command line starts without notebooks
__all__ = ["Giveaway", "brief_data", "load_giveaway", "publish", "sections"]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'growth.giveaway' has no attribute {name!r}")
    home = import_module(f"growth.giveaway.{_HOMES[name] or name}")
    return getattr(home, name) if _HOMES[name] else home
