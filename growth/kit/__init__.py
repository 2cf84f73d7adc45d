"""The publishing kit: a giveaway's page with the picture, e-mail, embed, workbook and handout that go out with it."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growth.kit.make_kit import Kit, KitFile, make_kit

__all__ = ["Kit", "KitFile", "make_kit"]  # loaded on first use, so that the command line starts without notebooks


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'growth.kit' has no attribute {name!r}")
    return getattr(import_module("growth.kit.make_kit"), name)
