"""The command `growth check`: whether files are valid, and what in a valid one deserves a second look."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growth.scenario import Scenario

MOST_UNSOURCED, MATTERS = 6, 0.02  # of the numbers that matter most; a change of the last month's MRR


def add_command(subparsers: Any) -> None:
    """Add the command to the command line."""
    check = subparsers.add_parser("check", help="say whether files are valid, and what is wrong with them")
    check.add_argument("file", nargs="+", metavar="FILE", help="a scenario file or a sweep file (YAML)")
    check.set_defaults(run=_check)


def _check(arguments: argparse.Namespace) -> int:
    from growth.cli import complain
    from growth.errors import GrowthError
    from growth.files import regular_file
    from growth.sweep.load_sweep import is_sweep

    code = 0
    for path in arguments.file:
        try:
            regular_file(path)
            print("\n".join(_sweep_says(path) if is_sweep(path) else _scenario_says(path)))
        except GrowthError as error:
            code = complain(error)
    return code


def _scenario_says(path: str) -> list[str]:
    """What a valid scenario file holds. Raises ScenarioError."""
    from growth.errors import count_of
    from growth.whole_file import check_file

    scenario = check_file(path)
    channels, plans = len(scenario.arrive.channels), len(scenario.pay.plans)
    parts = (count_of(scenario.months, "month"), count_of(channels, "channel"), count_of(plans, "plan"))
    return [
        f"{path}: valid. {scenario.business}: {', '.join(parts)}",
        *_look_says(path, scenario),
        *_said(scenario),
        *_unsourced(scenario),
        *(f"  not in the file, taken as {value}: {label} ({place})" for place, label, value in _left_out(scenario)),
    ]


def _look_says(path: str, scenario: Scenario) -> Iterator[str]:
    """The accent on the dark page, where it is not the one that the file gives."""
    from growth.giveaway.brief import read_giveaway

    look = read_giveaway(path, scenario=scenario).look
    if look.accent and not look.accent_in_dark:
        yield f"  on the dark page the accent {look.accent} becomes {look.dark_accent}, the nearest that can be read"


def _said(scenario: Scenario) -> Iterator[str]:
    """The numbers that were said in another way, with what follows."""
    from growth.calculator.as_said import as_said
    from growth.scenario.address import fields, in_words

    values = scenario.model_dump()
    for field in fields(scenario):
        if told := as_said(field.value, field.assumption.unit, scenario.currency):
            place = in_words(field.place, values)
            yield f"  {field.assumption.label.lower()} ({place}): {told[:1].lower()}{told[1:-1]}"


def _unsourced(scenario: Scenario) -> Iterator[str]:
    """The numbers that move the answer most and of which the file does not say where they come from."""
    from growth.giveaway.sensitivity import sensitivities
    from growth.scenario.about_numbers import sources_by_path
    from growth.scenario.address import fields, in_words

    known, values = sources_by_path(scenario), scenario.model_dump()
    places = {field.path: in_words(field.place, values) for field in fields(scenario)}
    for one in sensitivities(scenario)[:MOST_UNSOURCED]:
        if one.path not in known and one.size >= MATTERS:
            yield (
                f"  matters, and no source is given: {one.label.lower()} ({places[one.path]}); "
                f"a tenth of it moves the last month by {one.size:.0%}"
            )


def _sweep_says(path: str) -> list[str]:
    """What a valid sweep file holds, every point of it checked. Raises SweepError, or ScenarioError for its base."""
    from growth.errors import count_of
    from growth.sweep.design import design_of
    from growth.sweep.evaluate import check_points
    from growth.sweep.load_sweep import load_sweep

    design = design_of(load_sweep(path))
    check_points(design)
    sweep = design.loaded.sweep
    axes = f"{len(sweep.axes)} {'axis' if len(sweep.axes) == 1 else 'axes'}"
    parts = (axes, count_of(design.count, "point"), count_of(len(design.chosen()), "report"))
    return [f"{path}: valid. {sweep.title}: {', '.join(parts)}"]


def _left_out(scenario: Scenario) -> Iterator[tuple[str, str, str]]:
    """The main assumptions that a file leaves to their defaults, and that matter: (place, label, default as text)."""
    from growth.scenario.address import fields, in_words
    from growth.scenario.entry import shown

    values = scenario.model_dump()
    for field in fields(scenario):
        stated = field.name in field.section.model_fields_set or field.value is None
        if field.entry and field.entry.always and not stated and field.matters(scenario):
            yield in_words(field.place, values), field.entry.label.lower(), shown(field.value)
