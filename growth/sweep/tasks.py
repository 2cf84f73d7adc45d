"""The reports of a sweep as tasks: named by their parameters and by a hash of all that decides what they hold."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Container, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from growth import __version__
from growth.sweep.comparison_words import axis_labels
from growth.sweep.design import Design
from growth.sweep.evaluate import scenario_at
from growth.sweep.influence import axis_texts


@dataclass(frozen=True, slots=True)
class Task:
    """One report: its point, its file's name without ending, what is varied, the same in words, and the parameters."""

    point: int
    name: str
    varied: dict[str, Any]
    parameters: dict[str, Any]
    title: str = ""


def tasks_of(
    design: Design, numbers: Iterable[int], notebook: Path, *, takes: Container[str] = ("varied",)
) -> list[Task]:
    """The reports of the points `numbers`, in their order; equal points share one report.

    takes: the parameters that the notebook names; of these it gets `varied`, axis -> value, `point`, the same in
    words, and `locale`, that of the base scenario's page, beside `scenario`.
    """
    content = hashlib.sha256(notebook.read_bytes()).hexdigest()
    labels, texts, locale = axis_labels(design), axis_texts(design, design.loaded.locale), design.loaded.locale
    tasks: dict[str, Task] = {}
    for number in map(int, numbers):
        point = design.point(number)
        words = ", ".join(f"{labels.get(axis, axis)} {texts[axis]([value])[0]}" for axis, value in point.items())
        offered = {"varied": point, "point": words, "locale": locale}
        parameters = {"scenario": scenario_at(design, number)} | {k: v for k, v in offered.items() if k in takes}
        name = f"{_words(point)}--{digest(parameters, content, __version__)}"
        tasks.setdefault(name, Task(number, name, point, parameters, words))
    return list(tasks.values())


def digest(*parts: Any) -> str:
    """A hash of the parts, which must be JSON values: sixteen hexadecimal digits."""
    text = json.dumps(parts, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def sweep_key(design: Design, notebook: Path) -> str:
    """The key of a table of points: a hash of its points, base scenario, report notebook and our version."""
    loaded = design.loaded
    content = hashlib.sha256(notebook.read_bytes()).hexdigest()
    return digest(loaded.sweep.model_dump(mode="json"), loaded.base.model_dump(mode="json"), content, __version__)


def _words(varied: dict[str, Any]) -> str:
    """What varies, as part of a file name: letters, digits and a few signs that every file system accepts."""
    parts = [f"{title.rpartition('.')[2]}={value}" for title, value in varied.items()]
    return re.sub(r"[^A-Za-z0-9=._+-]+", "-", "__".join(parts)).strip("-.")[:100] or "point"
