"""Every point of a sweep through the engine in one pass, a row of measures each, written as Parquet.

Numbers go in as arrays over draws. Whole numbers, words and variants cannot, so a block is split into groups that share
them.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from contextlib import ExitStack
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

import growth
from growth import measures
from growth.engine import Forecast
from growth.errors import Problem, ScenarioError
from growth.scenario import Scenario
from growth.scenario.address import Place, put
from growth.scenario.validation import validate
from growth.sweep.design import Design, all_numbers
from growth.sweep.load_sweep import LoadedSweep, SweepError
from growth.sweep.sweep_file import ALWAYS, Axis

CHUNK = 2048  # points forecast together: their months stay in a processor's cache
TOGETHER = 64  # chunks written as one row group

AT_THE_END = ("closing_mrr", "closing_customers", "cash")  # series of which the last month is a column
MEASURES = (  # the columns of the table, beside the point and the axes
    *AT_THE_END,
    *"goal_month left_month growth_ceiling lowest_cash lowest_cash_month".split(),
    *"break_even_month net_revenue_retention".split(),
)


def value_of(measure: str, forecast: Forecast) -> Any:
    """A measure of a forecast, for each draw if it has draws; NaN or None where it is undefined."""
    if measure in AT_THE_END:
        return getattr(forecast, measure)[..., -1]
    options = {"over": min(12, forecast.months)} if measure == "net_revenue_retention" else {}
    return getattr(measures, measure)(forecast, **options).value


def scenarios(design: Design, block: dict[str, np.ndarray]) -> Iterator[tuple[np.ndarray, Scenario]]:
    """Pack the block's points into few scenarios over draws, each with the indices of its points in the block.

    Raises SweepError where a point is no valid scenario, such as shares that no longer add to one.
    """
    loaded = design.loaded
    arrays = {axis.title: loaded.fields[str(axis.field)].place for axis in loaded.sweep.axes if _varies(design, axis)}
    fixed = {title: column for title, column in block.items() if title not in arrays}
    base = loaded.base.model_dump(mode="json")
    for places, words in _groups(fixed, len(next(iter(block.values())))):
        values = copy.deepcopy(base)
        for place, value in sorted(_settings(loaded, words), key=lambda setting: len(setting[0])):
            put(values, place, value)
        for title, place in arrays.items():
            part = block[title][places].astype(float)
            put(values, place, part if len(places) > 1 else float(part[0]))
        yield places, _checked(values, words)


def scenario_at(design: Design, number: int) -> dict[str, Any]:
    """One point as the plain values of a scenario, such as a notebook takes; ranges that no axis sets stay ranges."""
    [(_, scenario)] = scenarios(design, design.rows(np.array([number])))
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
    """The measures that the sweep asks for, in the order of MEASURES; `left_month` only if it has a goal."""
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
                value = value_of(name, forecast)
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
    """The key that `write_table` stored in a table; "" if there is none."""
    import pyarrow.parquet as pq

    try:
        return (pq.read_schema(table).metadata or {}).get(b"sweep", b"").decode()
    except (OSError, ValueError):
        return ""


def _varies(design: Design, axis: Axis) -> bool:
    """Whether values of the axis can be passed as an array over draws in one scenario."""
    entry, level = design.loaded.entry(axis), design.levels[axis.title]
    if entry is None or entry.whole or "delay_shares" in design.loaded.fields[str(axis.field)].place:
        return False
    return level is None or all_numbers(level)


def _groups(fixed: dict[str, np.ndarray], count: int) -> Iterator[tuple[np.ndarray, dict[str, Any]]]:
    """Indices of points that share the values of `fixed`, with those values."""
    groups: dict[Any, list[int]] = {}
    columns = [column.tolist() for column in fixed.values()]
    for place in range(count):  # by type too: True and 1 are equal
        key = tuple((type(column[place]), column[place]) for column in columns)
        groups.setdefault(key, []).append(place)
    for key, places in groups.items():
        yield np.array(places), {title: value for title, (_, value) in zip(fixed, key, strict=True)}


def _settings(loaded: LoadedSweep, words: dict[str, Any]) -> Iterator[tuple[Place, Any]]:
    """What the fixed values of a group set: place and value."""
    for axis in loaded.sweep.axes:
        if axis.title in words:
            word = words[axis.title]
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
    """Words as strings, so that a column has one type."""
    if column.dtype.kind != "O":
        return column
    return [value if isinstance(value, str) else "none" if value is None else str(value).lower() for value in column]
