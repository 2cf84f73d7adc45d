"""The reports of a sweep as tasks: named by their parameters and by a hash of all that decides what they hold."""

from __future__ import annotations

import hashlib
import json
import re
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from growth import __version__
from growth.sweep.design import Design
from growth.sweep.onepass import scenario_at
from growth.sweep.reading import SweepError


@dataclass(frozen=True, slots=True)
class Task:
    """One report: its point, its file's name without ending, what is varied, and the notebook's parameters."""

    point: int
    name: str
    varied: dict[str, Any]
    parameters: dict[str, Any]


def tasks_of(design: Design, numbers: Iterable[int], notebook: Path, *, varied: bool = True) -> list[Task]:
    """The reports of the points `numbers`, in their order; equal points share one report.

    varied: whether the notebook takes a parameter of that name, beside `scenario`.
    """
    content = hashlib.sha256(notebook.read_bytes()).hexdigest()
    tasks: dict[str, Task] = {}
    for number in map(int, numbers):
        point = design.point(number)
        parameters = {"scenario": scenario_at(design, number)} | ({"varied": point} if varied else {})
        name = f"{_words(point)}--{digest(parameters, content, __version__)}"
        tasks.setdefault(name, Task(number, name, point, parameters))
    return list(tasks.values())


def digest(*parts: Any) -> str:
    """Sixteen hexadecimal digits that stand for the parts, which JSON can hold."""
    text = json.dumps(parts, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def sweep_key(design: Design, notebook: Path) -> str:
    """What a table of points is known again by: its points, base scenario, report notebook and version."""
    plan = design.plan
    content = hashlib.sha256(notebook.read_bytes()).hexdigest()
    return digest(plan.sweep.model_dump(mode="json"), plan.base.model_dump(mode="json"), content, __version__)


def bundled(name: str) -> Path:
    """A notebook of a checkout, or of an installed package. Raises SweepError where it is missing."""
    relative = Path("notebooks") / name
    places = (Path(__file__).parents[2] / relative, Path(sys.prefix) / "share" / "growth-workbook" / relative)
    found = next((place for place in places if place.is_file()), None)
    if found is None:
        raise SweepError(f"{name} did not come along with the installation; name a notebook of your own")
    return found


def checked_notebook(path: Path) -> Path:
    """The notebook, if it is one that can take a report's parameters; raises SweepError otherwise."""
    import ast

    import nbformat

    try:
        notebook = nbformat.read(path, as_version=4)
        nbformat.validate(notebook)
    except FileNotFoundError:
        raise SweepError("there is no such notebook", file=str(path)) from None
    except Exception as error:  # whatever is wrong with it, it is no notebook
        raise SweepError(f"not a notebook: {' '.join(str(error).split())[:120]}", file=str(path)) from None
    cells = [cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", [])]
    if not cells:
        raise SweepError("a cell tagged parameters is needed, with scenario = ... in it", file=str(path))
    try:
        names = {
            target.id
            for node in ast.parse(cells[0].source).body
            if isinstance(node, ast.Assign)
            for target in node.targets
            if isinstance(target, ast.Name)
        }
    except SyntaxError:
        return path  # papermill's run will say so, in the report of each point
    if "scenario" not in names:
        raise SweepError("its parameters cell has to name scenario", file=str(path))
    return path


def takes_varied(path: Path) -> bool:
    """Whether the notebook's parameters cell names `varied`, what the point varies."""
    import nbformat

    cells = [cell for cell in nbformat.read(path, as_version=4).cells if "parameters" in cell.metadata.get("tags", [])]
    return any(re.search(r"^varied\s*=", cell.source, re.M) for cell in cells)


def _words(varied: dict[str, Any]) -> str:
    """What is varied as a part of a file name: letters, digits and a few signs that every file system takes."""
    parts = [f"{title.rpartition('.')[2]}={value}" for title, value in varied.items()]
    return re.sub(r"[^A-Za-z0-9=._+-]+", "-", "__".join(parts)).strip("-.")[:100] or "point"
