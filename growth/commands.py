"""The commands around one scenario file: forecast, publish, schema, assumptions."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from growth.output import add_file_output, add_folder_output

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
CAUTION = "Expected values under the assumptions of the file: neither advice nor a promise."


def add_command(subparsers: Any) -> None:
    """Add the commands to the command line."""
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
