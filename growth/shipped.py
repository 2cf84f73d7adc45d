"""The notebooks and scenarios that come with the package."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from growth.errors import FileError

__all__ = ["shipped"]


def shipped(name: str) -> Path:
    """The path of a file in notebooks/ or scenarios/, such as "notebooks/giveaway.ipynb".

    An installation holds these folders within the package; a clone holds them beside it. Raises FileError where the
    file is in neither.

    >>> shipped("scenarios/fernhollow.yaml").name
    'fernhollow.yaml'
    """
    package = Path(str(files("growth")))
    found = next((place / name for place in (package, package.parent) if (place / name).is_file()), None)
    if found is None:
        raise FileError("it did not come along with this installation; install growth-workbook anew", file=name)
    return found
