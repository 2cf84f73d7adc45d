"""Every point of a sweep through the engine in one pass, a row of measures each, written as Parquet.

Numbers go in as arrays over draws. Whole numbers, words and variants cannot, so a block is split into groups that share
them.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

import growth
from growth.engine import Forecast
from growth.errors import Problem, ScenarioError
from growth.measures import (
    break_even_month,
    goal_month,
    growth_ceiling,
    left_month,
    lowest_cash,
    lowest_cash_month,
    net_revenue_retention,
)
from growth.scenario import Scenario
from growth.scenario.address import Place, plain_values, put
from growth.scenario.report import validate
from growth.sweep.design import Design, all_numbers, plain_value
from growth.sweep.load_sweep import LoadedSweep, SweepError
from growth.sweep.sweep_file import ALWAYS, Axis

CHUNK = 2048  # points forecast together: their months stay in a processor's cache
TOGETHER = 64  # chunks written as one row group

MEASURES: dict[str, Callable[[Forecast], Any]] = {  # column of the table -> its value; NaN where undefined
    "closing_mrr": lambda forecast: forecast.closing_mrr[..., -1],
    "closing_customers": lambda forecast: forecast.closing_customers[..., -1],
    "cash": lambda forecast: forecast.cash[..., -1],
    "goal_month": lambda forecast: goal_month(forecast).value,
    "left_month": lambda forecast: left_month(forecast).value,
    "growth_ceiling": lambda forecast: growth_ceiling(forecast).value,
    "lowest_cash": lambda forecast: lowest_cash(forecast).value,
    "lowest_cash_month": lambda forecast: lowest_cash_month(forecast).value,
    "break_even_month": lambda forecast: break_even_month(forecast).value,
    "net_revenue_retention": lambda forecast: net_revenue_retention(forecast, over=min(12, forecast.months)).value,
}


def scenarios(design: Design, block: dict[str, np.ndarray]) -> Iterator[tuple[np.ndarray, Scenario]]:
    """The block's points as few scenarios over draws: each with the places, within the block, of its points.

    Raises SweepError where a point is no valid scenario, such as shares that no longer add to one.
    """
    loaded = design.loaded
    axes = {axis.title: axis for axis in loaded.sweep.axes}
    arrays = {title: block[title] for title in axes if _varies(design, title)}
    fixed = {title: column for title, column in block.items() if title not in arrays}
    base = plain_values(loaded.base)
    for places, words in _groups(fixed, len(next(iter(block.values())))):
        values = copy.deepcopy(base)
        sections = sorted(_settings(axes, words, loaded), key=lambda setting: len(setting[0]))
        for place, value in sections:
            put(values, place, value)
        for title, column in arrays.items():
            part = column[places].astype(float)
            place = loaded.fields[str(axes[title].field)].place
            put(values, place, part if len(places) > 1 else float(part[0]))
        yield places, _checked(values, words)


def scenario_at(design: Design, number: int) -> dict[str, Any]:
    """One point as the plain values of a scenario, such as a notebook takes; ranges that no axis sets stay ranges."""
    block = design.block(number, number + 1)
    [(_, scenario)] = scenarios(design, block)
    return scenario.model_dump(mode="json")


def mrr_by_month(design: Design, numbers: np.ndarray) -> np.ndarray:
    """MRR of the points with these numbers, at the opening and at each month's close; shape (points, months + 1).

    Where the points differ in their months, the shorter end in NaN.
    """
    found = []
    for places, scenario in scenarios(design, design.rows(numbers)):
        forecast = growth.forecast(scenario)
        months = np.concatenate([forecast.opening_mrr[..., :1], forecast.closing_mrr], axis=-1)
        found.append((places, np.broadcast_to(months, (len(places), forecast.months + 1))))
    rows = np.full((len(numbers), max(months.shape[1] for _, months in found)), np.nan)
    for places, months in found:
        rows[places, : months.shape[1]] = months
    return rows


def measures_of(design: Design) -> tuple[str, ...]:
    """The measures that the sweep asks for, in the order of MEASURES; `left_month` where there is a goal for it."""
    wanted = {*ALWAYS, *design.loaded.sweep.measures}
    if design.loaded.base.goal_left is None:
        wanted -= {"left_month"}
    return tuple(name for name in MEASURES if name in wanted)


def table(design: Design, *, size: int = CHUNK) -> Iterator[dict[str, np.ndarray]]:
    """The rows of every block: point, the axes, then MEASURES."""
    for start, block in design.blocks(size):
        count = len(next(iter(block.values())))
        rows = {"point": np.arange(start, start + count), **block}
        rows |= {name: np.full(count, np.nan) for name in measures_of(design)}
        for places, scenario in scenarios(design, block):
            forecast = growth.forecast(scenario)
            for name in measures_of(design):
                value = MEASURES[name](forecast)
                rows[name][places] = np.nan if value is None else value
        yield rows


def check_points(design: Design) -> None:
    """Build every point's scenario without forecasting. Raises SweepError for the first that is not valid."""
    for _, block in design.blocks():
        for _ in scenarios(design, block):
            pass


def write_table(design: Design, path: Path, *, key: str, reports: dict[int, str]) -> None:
    """Write the table to `path`, a block at a time. A file that an error cuts short is left for the caller to discard.

    key: kept in the file, to know it again; reports: point -> file.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    chunks = table(design)
    with ExitStack() as stack:
        writer = None
        while several := list(islice(chunks, TOGETHER)):
            rows = {name: np.concatenate([chunk[name] for chunk in several]) for name in several[0]}
            columns = {name: pa.array(_texts(column)) for name, column in rows.items()}
            columns["report"] = pa.array([reports.get(number, "") for number in rows["point"].tolist()])
            part = pa.table(columns).replace_schema_metadata({"sweep": key})
            if writer is None:
                writer = stack.enter_context(pq.ParquetWriter(path, part.schema, compression="zstd"))
            writer.write_table(part)


def key_of(table: BinaryIO) -> str:
    """The key that `write_table` kept in a table; "" where there is none."""
    import pyarrow.parquet as pq

    try:
        return (pq.read_schema(table).metadata or {}).get(b"sweep", b"").decode()
    except (OSError, ValueError):
        return ""


def _varies(design: Design, title: str) -> bool:
    """Whether many values of the axis fit into one scenario, as an array over draws."""
    [axis] = (axis for axis in design.loaded.sweep.axes if axis.title == title)
    entry, level = design.loaded.entry(axis), design.levels[title]
    if entry is None or entry.whole or "delay_shares" in design.loaded.fields[str(axis.field)].place:
        return False
    return level is None or all_numbers(level)


def _groups(fixed: dict[str, np.ndarray], count: int) -> Iterator[tuple[np.ndarray, dict[str, Any]]]:
    """Places that share the values of `fixed`, and those values."""
    if not fixed:
        yield np.arange(count), {}
        return
    combined, firsts = np.zeros(count, np.int64), {}
    for column in fixed.values():
        seen: dict[Any, int] = {}
        codes = np.array([seen.setdefault((type(value), value), len(seen)) for value in column.tolist()])
        combined = combined * len(seen) + codes
    for code in np.unique(combined):
        places = np.flatnonzero(combined == code)
        firsts = {title: plain_value(column[places[0]]) for title, column in fixed.items()}
        yield places, firsts


def _settings(axes: dict[str, Axis], words: dict[str, Any], loaded: LoadedSweep) -> Iterator[tuple[Place, Any]]:
    """What the words of a group set: place and value."""
    for title, word in words.items():
        axis = axes[title]
        sets = {axis.field: word} if axis.field else next(one.set for one in axis.variants if one.name == word)
        yield from ((loaded.fields[address].place, value) for address, value in sets.items())


def _checked(values: dict[str, Any], words: dict[str, Any]) -> Scenario:
    try:
        return validate(Scenario, values, root="scenario")
    except ScenarioError as error:
        where = ", ".join(f"{title} {word}" for title, word in words.items())
        said = "no point may break a rule of the scenario" + (f" ({where})" if where else "")
        raise SweepError([Problem("points", said), *error.problems]) from None


def _texts(column: np.ndarray) -> Any:
    """Words as text, so that a column has one type."""
    if column.dtype.kind != "O":
        return column
    return [value if isinstance(value, str) else "none" if value is None else str(value).lower() for value in column]
