"""Reading a sweep file: its text, its base scenario and every field and value in it, checked before anything runs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic_core import PydanticCustomError

from growth.calculator.language import LOCALE, languages, locale_of
from growth.errors import GrowthError, Problem
from growth.scenario import Scenario
from growth.scenario.address import Field, Place, find
from growth.scenario.entry import Assumption
from growth.scenario.file import MOST_BYTES, load_document, scenario_of
from growth.scenario.validation import problems_in
from growth.scenario.yaml_text import Node, read_nodes, read_text
from growth.sweep.sweep_file import Axis, Sweep
from growth.uncertainty.sample import Unknown, ranges_of

RANGES = "ranges"  # in the place of axes: the ranges of the base scenario are the axes
DRAWS = 1024  # of them, where the file says nothing else


class SweepError(GrowthError):
    """A sweep that cannot be run: its file, its folder, or one of its points."""


@dataclass(frozen=True, slots=True, eq=False)
class LoadedSweep:
    """A checked sweep.

    sweep: what the file says; base: its base scenario; fields: address, as written in the file -> the field there.
    unknowns: the title of each axis -> the range that it is drawn from; empty unless the axes are the base's ranges.
    locale: of the base scenario's page, which the comparison follows.
    """

    sweep: Sweep
    base: Scenario
    fields: Mapping[str, Field]
    file: str = ""
    unknowns: Mapping[str, Unknown] = field(default_factory=dict)
    locale: str = LOCALE

    @property
    def over_ranges(self) -> bool:
        """Whether the axes are the ranges of the base scenario."""
        return bool(self.unknowns)

    def entry(self, axis: Axis) -> Assumption | None:
        """The assumption that an axis varies; None for a word, a section, or variants."""
        return self.fields[axis.field].entry if axis.field is not None else None


def load_sweep(path: str | Path) -> LoadedSweep:
    """Read and check a sweep file with its base scenario.

    The path of its scenario is relative to it. Rules between several fields, such as shares that add to one, are
    checked later, for every point. Raises SweepError or ScenarioError with every problem of the one or the other.
    """
    file = str(path)
    root, problems = _read(path)
    if problems:
        raise SweepError(problems, file=file)
    values, lines = root.plain(), dict(root.lines())
    if not isinstance(values, dict) or set(values) != {"sweep"}:
        raise SweepError([Problem("", "the one root key sweep, with the settings below it", line=root.line)], file=file)
    given: Any = values["sweep"]
    unknowns: dict[str, Unknown] = {}
    if isinstance(given, dict) and isinstance(given.get("axes"), str):
        given, unknowns = _over_ranges(given, Path(path), line=lines.get(("sweep", "axes")))
    found = problems_in(Sweep, given, lines=lines, root="sweep")
    if isinstance(found, tuple):
        raise SweepError(found, file=file)
    document = load_document(Path(path).parent / found.scenario)
    base = scenario_of(document)
    fields: dict[str, Field] = {}
    for place, address, values in _uses(found):
        field = fields.get(address) or find(base, address)
        problem = field if isinstance(field, Problem) else _problem(address, field.entry, values)
        if problem:
            line = next((lines[place[:n]] for n in range(len(place), 0, -1) if place[:n] in lines), None)
            problems.append(Problem(problem.field, problem.rule, problem.value, problem.fix, line))
        elif isinstance(field, Field):
            fields[address] = field
    problems += _unknown_axes(found)
    problems += _twice(found)
    if problems:
        raise SweepError(problems, file=file)
    language = document.giveaway.get("language") if isinstance(document.giveaway, dict) else None
    locale = locale_of(language) if isinstance(language, str) and language in languages() else LOCALE
    return LoadedSweep(found, base, fields, file, unknowns, locale)


def is_sweep(path: str | Path) -> bool:
    """Whether a file has the root key of a sweep; False if it cannot be read."""
    try:
        root, _ = _read(path)
    except GrowthError:
        return False
    return isinstance(root.value, dict) and "sweep" in root.value


def _over_ranges(given: dict[str, Any], path: Path, *, line: int | None) -> tuple[dict[str, Any], dict[str, Unknown]]:
    """Replace `axes: ranges` by an axis for each range of the base scenario; also returns the ranges by axis title."""
    wrong, scenario, unknowns = None, given.get("scenario"), {}
    if given["axes"] != RANGES:
        wrong = Problem("axes", f"a list of axes, or {RANGES}", str(given["axes"]), line=line)
    elif isinstance(scenario, str) and not (unknowns := _titled(scenario_of(load_document(path.parent / scenario)))):
        fix = "Write a number there as {low: 0.03, likely: 0.04, high: 0.06}."
        wrong = Problem("axes", f"{scenario} to have ranges; it has none", "", fix, line=line)
    points = given.get("points", {})
    if isinstance(points, dict) and not wrong:
        points = {"method": "sobol", "size": DRAWS, **points}
        if points["method"] not in ("sobol", "latin_hypercube"):
            rule = f"sobol or latin_hypercube where the axes are {RANGES}"
            wrong = Problem("points.method", rule, str(points["method"]))
    if wrong:
        raise SweepError([wrong], file=str(path))
    axes = [
        {"name": title, "field": each.address, "from": each.range.low, "to": each.range.high}
        for title, each in unknowns.items()
    ]
    return {"reports": {"choose": "none"}, **given, "axes": axes, "points": points}, unknowns


def _titled(base: Scenario) -> dict[str, Unknown]:
    """The ranges of a scenario by their labels; by label and item, or by address, where two have the same."""
    unknowns, titles, owned = ranges_of(base), [], []
    for each in unknowns:
        found = find(base, each.address)
        title = found.assumption.label if isinstance(found, Field) else ""
        items = found.items if isinstance(found, Field) else ()
        titles.append(title)
        owned.append(f"{title}, {getattr(items[-1].section, 'name', '')}" if items else title)
    return {
        title if titles.count(title) == 1 else longer if owned.count(longer) == 1 else each.address: each
        for title, longer, each in zip(titles, owned, unknowns, strict=True)
    }


def _read(path: str | Path) -> tuple[Node, list[Problem]]:
    text = read_text(path, most_bytes=8 * MOST_BYTES, fix="Is it a sweep file?")
    return read_nodes(text, file=str(path))


def _problem(address: str, entry: Assumption | None, values: tuple[Any, ...]) -> Problem | None:
    """What is wrong with the first value that the field cannot take."""
    for value in values:
        try:
            if entry is not None and value is not None:
                entry.check(value)
        except PydanticCustomError as error:
            said = error.context or {}
            return Problem(address, said["rule"], said["value"], said["fix"])
    return None


def _uses(sweep: Sweep) -> Iterator[tuple[Place, str, tuple[Any, ...]]]:
    """Every address in the file: its place, the address, and the values that its field is to take."""
    for number, axis in enumerate(sweep.axes):
        place = ("sweep", "axes", number)
        if axis.field is not None:
            yield (*place, "field"), axis.field, axis.values or (axis.lowest, axis.highest)
        for index, variant in enumerate(axis.variants):
            for name, value in variant.set.items():
                yield (*place, "variants", index, "set", name), name, (value,)
    fields = {axis.title: axis.field for axis in sweep.axes if axis.field is not None}
    for number, point in enumerate(sweep.points.listed):
        for name, value in point.items():
            if name in fields:
                yield ("sweep", "points", "listed", number, name), fields[name], (value,)


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
