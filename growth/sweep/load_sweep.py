"""Reading a sweep file: its text, its base scenario and every field and value in it, checked before anything runs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from ruamel.yaml.error import YAMLError

from growth.errors import GrowthError, Problem, ScenarioError
from growth.scenario import Scenario
from growth.scenario.document import MOST_BYTES
from growth.scenario.file import load_scenario
from growth.scenario.report import problems_in
from growth.scenario.yaml_text import Node, Refused, read_nodes
from growth.sweep.fields import Field, find
from growth.sweep.sweep_file import Axis, Sweep


class SweepError(GrowthError):
    """A sweep that cannot be run: its file, its folder, or one of its points."""


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """A checked sweep: the file's words, the base scenario, and the field of every path in it."""

    sweep: Sweep
    base: Scenario
    fields: Mapping[str, Field]
    file: str = ""


def load_sweep(path: str | Path) -> Plan:
    """Read and check a sweep file with its base scenario. Raises SweepError or ScenarioError with every problem found.

    The scenario's path is relative to the sweep file. Rules between several fields, such as shares that add to one, are
    checked by `design_of` for every point.
    """
    file = str(path)
    root = _root(Path(path), file)
    values, lines = root.plain(), dict(_lines(root, ()))
    if not isinstance(values, dict) or set(values) != {"sweep"}:
        raise SweepError([Problem("", "the one root key sweep, with the settings below it", line=root.line)], file=file)
    found = problems_in(Sweep, values["sweep"], lines=lines, root="sweep")
    if isinstance(found, tuple):
        raise SweepError(found, file=file)
    base = load_scenario(Path(path).parent / found.scenario)
    fields, problems = {}, []
    for place, name, given in _uses(found):
        field = fields.get(name) or find(base, name)
        problem = field if isinstance(field, Problem) else next(filter(None, map(field.problem, given)), None)
        if problem:
            line = next((lines[place[:n]] for n in range(len(place), 0, -1) if place[:n] in lines), None)
            problems.append(Problem(problem.field, problem.rule, problem.value, problem.fix, line))
        else:
            fields[name] = field
    problems += _unknown_axes(found)
    problems += _twice(found)
    if problems:
        raise SweepError(problems, file=file)
    return Plan(found, base, fields, file)


def is_sweep(path: str | Path) -> bool:
    """Whether a file has the root key of a sweep; False where it cannot be read."""
    try:
        root = _root(Path(path), str(path))
    except SweepError:
        return False
    return isinstance(root.value, dict) and "sweep" in root.value


def _root(path: Path, file: str) -> Node:
    try:
        if path.exists() and not path.is_file():
            kind = "a directory" if path.is_dir() else "a device or pipe"
            raise SweepError([Problem("", "a sweep file is needed", kind)], file=file)
        content = path.read_bytes()
        if len(content) > 8 * MOST_BYTES:
            raise SweepError([Problem("", f"at most {8 * MOST_BYTES // 1024} KB")], file=file)
        root, problems = read_nodes(content.decode("utf-8-sig"))
    except FileNotFoundError:
        raise SweepError(
            [Problem("", "there is no such file", fix="Check the name and the folder.")], file=file
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise SweepError(
            [Problem("", "it cannot be read", getattr(error, "strerror", "") or "not UTF-8")], file=file
        ) from None
    except Refused as refused:
        raise SweepError([refused.problem], file=file) from None
    except (YAMLError, ValueError, RecursionError) as error:
        mark = getattr(error, "problem_mark", None)
        said = str(getattr(error, "problem", None) or "it cannot be read")
        raise SweepError(
            [Problem("", f"not valid YAML: {said}", line=mark.line + 1 if mark else None)], file=file
        ) from None
    if problems:
        raise SweepError(problems, file=file)
    return root


def _lines(node: Node, place: tuple) -> Iterator[tuple[tuple, int]]:
    yield place, node.line
    inner = (
        node.value.items()
        if isinstance(node.value, dict)
        else enumerate(node.value)
        if isinstance(node.value, list)
        else ()
    )
    for key, child in inner:
        yield from _lines(child, (*place, key))


def _uses(sweep: Sweep) -> Iterator[tuple[tuple, str, tuple]]:
    """Every path in the file: where it stands, the path, and the values it is to take."""
    for number, axis in enumerate(sweep.axes):
        place = ("sweep", "axes", number)
        if axis.field is not None:
            yield (*place, "field"), axis.field, given(axis)
        for index, variant in enumerate(axis.variants):
            for name, value in variant.set.items():
                yield (*place, "variants", index, "set", name), name, (value,)
    fields = {axis.title: axis.field for axis in sweep.axes if axis.field is not None}
    for number, point in enumerate(sweep.points.listed):
        for name, value in point.items():
            if name in fields:
                yield ("sweep", "points", "listed", number, name), fields[name], (value,)


def given(axis: Axis) -> tuple:
    """The values that the file names for an axis: all of its list, or the two ends of its range."""
    return axis.values if axis.values is not None else (axis.lowest, axis.highest)


def _unknown_axes(sweep: Sweep) -> list[Problem]:
    titles = [axis.title for axis in sweep.axes]
    problems = []
    for part, points in (("points.listed", sweep.points.listed), ("reports.matching", sweep.reports.matching)):
        for number, point in enumerate(points):
            for name in point:
                if name not in titles:
                    problems.append(
                        Problem(f"{part}[{number}].{name}", "the name of an axis", fix=f"Known: {', '.join(titles)}.")
                    )
            missing = [title for title in titles if title not in point] if part == "points.listed" else []
            if missing:
                problems.append(Problem(f"{part}[{number}]", f"a value for every axis; {missing[0]} has none"))
    return problems


def _twice(sweep: Sweep) -> list[Problem]:
    """Fields that two axes would set."""
    seen: dict[str, str] = {}
    problems = []
    for axis in sweep.axes:
        own = {axis.field} if axis.field else {name for variant in axis.variants for name in variant.set}
        for name in sorted(own):
            if name in seen:
                problems.append(Problem(name, f"set by one axis alone; {seen[name]} and {axis.title} both set it"))
            seen[name] = axis.title
    return problems


__all__ = ["Plan", "ScenarioError", "SweepError", "given", "is_sweep", "load_sweep"]
