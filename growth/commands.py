"""The commands around one scenario file: check, forecast, compare, publish, schema, assumptions."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from growth.output import add_file_output, add_folder_output

if TYPE_CHECKING:
    from growth.scenario import Scenario

COLUMNS = (  # series, heading, decimals
    ("opening_customers", "customers", 1),
    ("new_customers", "join", 1),
    ("lost_customers", "leave", 1),
    ("opening_mrr", "MRR before", None),
    ("new_mrr", "new", None),
    ("reactivation_mrr", "back", None),
    ("expansion_mrr", "more", None),
    ("contraction_mrr", "less", None),
    ("churned_mrr", "lost", None),
    ("closing_mrr", "MRR after", None),
)
MOST_UNSOURCED, MATTERS = 6, 0.02  # of the numbers that matter most; a change of the last month's MRR
CAUTION = "Expected values under the assumptions of the file: neither advice nor a promise."


def add_command(subparsers: Any) -> None:
    """Add the commands to the command line."""
    check = subparsers.add_parser("check", help="say whether files are valid, and what is wrong with them")
    check.add_argument("file", nargs="+", metavar="FILE", help="a scenario file or a sweep file (YAML)")
    check.set_defaults(run=_check)

    forecast = subparsers.add_parser("forecast", help="print the answer and the months of a scenario")
    forecast.add_argument("scenario", metavar="SCENARIO", help="a scenario file (YAML)")
    add_file_output(forecast, "--csv", suffixes=[".csv"], help="write every series of every month to this file")
    forecast.set_defaults(run=_forecast)

    compare = subparsers.add_parser("compare", help="set a scenario beside its what-ifs, or several files side by side")
    compare.add_argument("scenario", nargs="+", metavar="SCENARIO", help="scenario files (YAML); the first is the base")
    compare.set_defaults(run=_compare)

    publish = subparsers.add_parser("publish", help="make the self-contained page of a scenario")
    publish.add_argument("scenario", metavar="SCENARIO", help="a scenario file (YAML)")
    add_folder_output(publish, "--to", required=True, help="the directory the page is written to")
    publish.add_argument(
        "--notebook", metavar="FILE", help="a notebook of your own in the place of the one that comes along"
    )
    publish.set_defaults(run=_publish, extra="notebooks")

    schema = subparsers.add_parser("schema", help="write the JSON Schema of scenario files, for editors")
    add_file_output(schema, "--to", suffixes=[".json"], help="the file to write; without it the schema is printed")
    schema.set_defaults(run=_schema)

    assumptions = subparsers.add_parser("assumptions", help="list every assumption with its unit, range and default")
    assumptions.add_argument("--markdown", action="store_true", help="as a Markdown table")
    assumptions.set_defaults(run=_assumptions)


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
    parts = (
        count_of(len(sweep.axes), "axis", "axes"),
        count_of(design.count, "point"),
        count_of(len(design.chosen()), "report"),
    )
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


def _forecast(arguments: argparse.Namespace) -> None:
    import growth
    from growth.calculator.certainty import rests_on, whole_answer

    scenario = growth.load_scenario(arguments.scenario)
    forecast = growth.forecast(scenario)
    if arguments.csv:
        from growth.output import write_output

        text = growth.to_frame(forecast).to_csv(lineterminator="\n")
        write_output(arguments.csv, text, inputs=[arguments.scenario], replace=arguments.replace)
    invented = " (an invented business)" if scenario.invented else ""
    told = f"{whole_answer(forecast)} {rests_on(forecast)}"
    if scenario.what_ifs:
        told += f"\nBeside its what-ifs: growth compare {arguments.scenario}"
    print("\n".join([f"{scenario.business}{invented}", told, "", *month_table(forecast), "", CAUTION]))


def _compare(arguments: argparse.Namespace) -> None:
    import growth

    stems = [Path(path).stem for path in arguments.scenario]
    names = stems if len(set(stems)) == len(stems) else arguments.scenario
    scenarios = {name: growth.load_scenario(path) for name, path in zip(names, arguments.scenario, strict=True)}
    one, *more = scenarios.values()
    print("\n".join([growth.compare(scenarios if more else one).text(), "", CAUTION]))


def month_table(forecast: Any) -> list[str]:
    """The bridge month by month, as aligned lines; a column that is 0 throughout is left out."""
    import numpy as np

    scenario = forecast.scenario
    money = 0 if np.max(forecast.closing_mrr) >= 1000 else 2
    columns = [["month", *(scenario.calendar(month) for month in range(1, forecast.months + 1))]]
    for series, heading, decimals in COLUMNS:
        values = getattr(forecast, series)
        if np.any(values != 0) or series == "closing_mrr":
            columns.append([heading, *(f"{value:,.{money if decimals is None else decimals}f}" for value in values)])
    return _aligned(columns, right=True)


def _publish(arguments: argparse.Namespace) -> None:
    from growth.giveaway import publish

    page = publish(
        arguments.scenario,
        to=arguments.to,
        notebook=arguments.notebook,
        replace=arguments.replace,
        progress=progress_bar(),
    )
    print(f"The page is at {page}")


def progress_bar() -> Callable[..., None]:
    """Says on the error stream how far long work is: one line redrawn on a terminal, else a line a stage.

    What it gives is called with done=, of= and what=; a stage is what stands before the colon in `what`.
    """
    said = ""

    def step(*, done: int, of: int, what: str) -> None:
        nonlocal said
        stage = what.partition(":")[0]
        if sys.stderr.isatty():
            bar = f"[{'#' * round(20 * done / max(of, 1)):<20}] {what}"
            print(f"\r{bar:<78}", end="\n" if done >= of else "", file=sys.stderr, flush=True)
        elif stage != said:
            print(stage, file=sys.stderr, flush=True)
        said = stage

    return step


def _schema(arguments: argparse.Namespace) -> None:
    from growth.whole_file import json_schema

    schema = json_schema()
    if arguments.to is None:
        print(json.dumps(schema, indent=2, ensure_ascii=False))
        return
    from growth.output import SEAL, write_output

    text = json.dumps({"$comment": f"Written by growth schema. {SEAL}", **schema}, indent=2, ensure_ascii=False) + "\n"
    print(f"The schema is at {write_output(arguments.to, text, replace=arguments.replace)}")


def _assumptions(arguments: argparse.Namespace) -> None:
    from growth.scenario import Scenario
    from growth.scenario.entries import entries
    from growth.scenario.entry import shown

    rows = [("field", "what it is", "unit", "range", "default")]
    for entry in entries(Scenario):
        low, high = shown(entry.assumption.low), shown(entry.assumption.high)
        default = "needed" if entry.needed else "none" if entry.default is None else _default(entry.default)
        rows.append((entry.place, entry.assumption.label, entry.assumption.unit, f"{low} to {high}", default))
    if arguments.markdown:
        rows.insert(1, ("---",) * 5)
        print("\n".join(f"| {' | '.join(row)} |" for row in rows))
    else:
        print("\n".join(_aligned([list(column) for column in zip(*rows, strict=True)])))


def _default(value: Any) -> str:
    from growth.scenario.entry import shown

    return ", ".join(map(shown, value)) if isinstance(value, tuple) else shown(value)


def _aligned(columns: list[list[str]], *, right: bool = False) -> list[str]:
    widths = [max(map(len, column)) for column in columns]
    rows = zip(*columns, strict=True)
    pad = str.rjust if right else str.ljust
    return ["  ".join(pad(cell, width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
