"""From a tuned notebook to one self-contained page: the words, the sections, the exporter, the page."""

from importlib import import_module

_HOMES = {
    "Giveaway": "brief",
    "brief_data": "what_ifs",
    "load_giveaway": "placeholders",
    "publish": "publishing",
    "sections": "",
}

__all__ = sorted(_HOMES)  # loaded when first asked for: the command line looks in without loading notebooks


def __getattr__(name: str):
    if name not in _HOMES:
        raise AttributeError(f"module 'growth.giveaway' has no attribute {name!r}")
    home = import_module(f"growth.giveaway.{_HOMES[name] or name}")
    return getattr(home, name) if _HOMES[name] else home
