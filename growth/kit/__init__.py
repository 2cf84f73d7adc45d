"""The publishing kit: a giveaway's page with the picture, e-mail, embed, workbook and handout that go out with it."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growth.kit.kit_files import Kit, KitFile, make_kit
    from growth.kit.web_site import PublishedSite, publish_site

_HOMES = {
    "Kit": "growth.kit.kit_files",
    "KitFile": "growth.kit.kit_files",
    "PublishedSite": "growth.kit.web_site",
    "make_kit": "growth.kit.kit_files",
    "publish_site": "growth.kit.web_site",
}
__all__ = [
    "Kit",
    "KitFile",
    "PublishedSite",
    "make_kit",
    "publish_site",
]  # loaded on first use, so that the command line starts without notebooks


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'growth.kit' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
