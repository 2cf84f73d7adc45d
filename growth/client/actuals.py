"""What happened beside what was forecast: a CSV file with a row a month, typed or measured.

month,customers,mrr
2027-02,65,1885
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import numpy as np

from growth.errors import Problem, ScenarioError
from growth.files import not_a_table, read_input, replace_file
from growth.scenario import Scenario
from growth.scenario.section import MONTH
from growth.uncertainty import spread_of

COLUMNS = ("month", "customers", "mrr")
MOST_BYTES = 256 * 1024
Actuals = dict[str, tuple[float, float]]  # month -> customers, MRR


@dataclass(frozen=True, slots=True, eq=False)
class ComparedMonth:
    """A month's MRR as forecast and as it came.

    Attributes
    ----------
    month
        Such as 2027-02.
    forecast, low, high
        MRR at the close of the month: the likely value, and between which values it lay in nine of ten cases.
    actual
        As it came.
    """

    month: str
    forecast: float
    low: float
    high: float
    actual: float

    @property
    def error(self) -> float:
        """How far the forecast was off, as a share of what came; positive if too high. NaN where nothing came."""
        return self.forecast / self.actual - 1 if self.actual else float("nan")

    @property
    def inside(self) -> bool:
        """Whether what came lies within the band."""
        return self.low <= self.actual <= self.high


def read_actuals(path: str | Path) -> Actuals:
    """Read the months that have passed.

    Parameters
    ----------
    path : str or Path
        A CSV file with the columns month, customers and mrr, at most 256 KB.

    Returns
    -------
    dict
        Month, such as "2027-02", to customers and MRR, in the order of the months.

    Raises
    ------
    ScenarioError
        A column is missing, or a value is none; each with its line.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "actuals.csv"
    ...     _ = note_month(file, "2027-02", 65, 1885)
    ...     read_actuals(file)
    {'2027-02': (65.0, 1885.0)}
    """
    content = read_input(path, most_bytes=MOST_BYTES, error=ScenarioError)
    if other := not_a_table(content):
        raise ScenarioError([other], file=str(path))
    rows = csv.DictReader(StringIO(content.decode("utf-8-sig", errors="replace")))
    try:
        return _actuals_in(rows, path)
    except csv.Error as error:
        problem = Problem("", "rows of a CSV file", str(error), line=rows.line_num + 1)
        raise ScenarioError([problem], file=str(path)) from None


def note_month(path: str | Path, month: str, customers: float, mrr: float) -> Actuals:
    """Write a month's row into the file of months that have passed, in order; a row of that month is replaced.

    Parameters
    ----------
    path
        The CSV file; made if it is not there.
    month
        Such as 2027-02.
    customers, mrr
        At the close of the month.

    Returns
    -------
    Actuals
        All months of the file.

    Raises
    ------
    ScenarioError
        The file cannot be read, has columns of its own, or a value is not one.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = note_month(Path(folder) / "actuals.csv", "2027-02", 67, 1943)
    ...     note_month(Path(folder) / "actuals.csv", "2027-01", 65, 1885)
    {'2027-01': (65.0, 1885.0), '2027-02': (67.0, 1943.0)}
    """
    head = ",".join(COLUMNS)
    there = Path(path).is_file()
    found = read_actuals(path) if there else {}
    if there and Path(path).read_text("utf-8-sig").splitlines()[0].strip() != head:
        rule = "the columns month, customers and mrr alone, in this order, for a row to be written into it"
        raise ScenarioError([Problem("", rule, fix="Type the row into the file.", line=1)], file=str(path))
    rows = {one: values for one, values in found.items() if one != month} | {month: (customers, mrr)}
    lines = [head, *(f"{one},{rows[one][0]:.12g},{rows[one][1]:.12g}" for one in sorted(rows))]
    text = "\n".join(lines) + "\n"
    known = _actuals_in(csv.DictReader(StringIO(text)), path)  # what cannot be is said before anything is written
    replace_file(path, text)
    return known


def _actuals_in(rows: csv.DictReader[str], path: str | Path) -> Actuals:
    missing = [name for name in COLUMNS if name not in (rows.fieldnames or ())]
    if missing:
        rule = f"the columns {', '.join(COLUMNS)} in the first line"
        raise ScenarioError([Problem("", rule, f"no {', '.join(missing)}", line=1)], file=str(path))
    found: Actuals = {}
    wrong = []
    for row in rows:
        month = (row["month"] or "").strip()
        if not re.fullmatch(MONTH, month) or month in found:
            wrong.append(Problem("month", "each month once, such as 2027-02", month, line=rows.line_num))
            continue
        values = []
        for name in COLUMNS[1:]:
            try:
                value = float((row[name] or "").strip())
            except ValueError:
                value = -1.0
            if not 0 <= value < 1e12:
                wrong.append(
                    Problem(
                        name, "a number from 0 up, with a point before decimals", row[name] or "", line=rows.line_num
                    )
                )
            values.append(value)
        found[month] = (values[0], values[1])
    if wrong:
        raise ScenarioError(wrong, file=str(path))
    return found


def compare_with_actuals(scenario: Scenario, actuals: Actuals) -> list[ComparedMonth]:
    """Each month that was forecast and has passed.

    Parameters
    ----------
    scenario
        As it was said then.
    actuals
        From `read_actuals`. Months that the scenario does not reach are left out.

    Returns
    -------
    list of ComparedMonth
        By month. The band holds the scenario's ranges and chance.

    Examples
    --------
    >>> plan = {"name": "One", "monthly_price": 29}
    >>> kiln = Scenario(business="Kiln", opening={"customers": 40}, pay={"plans": [plan]})
    >>> [(one.month, one.inside) for one in compare_with_actuals(kiln, {"2027-01": (39, 1131), "2099-01": (1, 1)})]
    [('2027-01', True)]
    """
    spread = spread_of(scenario)
    low, high = spread.quantile(0.05), spread.quantile(0.95)
    compared = []
    for at in range(scenario.months):
        month = scenario.calendar(at + 1)
        if month in actuals:
            likely, least, most = (float(part[at]) for part in (spread.likely, low, high))
            compared.append(ComparedMonth(month, likely, least, most, actuals[month][1]))
    return compared


def mean_error(compared: list[ComparedMonth]) -> float:
    """How far the forecast was off on average, as a share of what came, whatever the direction; NaN for no month."""
    errors = [abs(one.error) for one in compared if not np.isnan(one.error)]
    return float(np.mean(errors)) if errors else float("nan")


def comparison_lines(compared: list[ComparedMonth]) -> list[str]:
    """The comparison as lines of text, with a sentence on how good the forecast was."""
    if not compared:
        return ["No month that was forecast has passed yet."]
    lines = [f"{'month':<8}{'forecast':>10}{'9 in 10 between':>20}{'came':>10}{'off by':>9}"]
    for one in compared:
        band = f"{one.low:,.0f} and {one.high:,.0f}"
        off = "" if np.isnan(one.error) else f"{one.error:+.0%}"
        note = "" if one.inside else "  outside"
        lines.append(f"{one.month:<8}{one.forecast:>10,.0f}{band:>20}{one.actual:>10,.0f}{off:>9}{note}")
    inside = sum(one.inside for one in compared)
    error = mean_error(compared)
    mean = "" if np.isnan(error) else f"The forecast was off by {error:.0%} on average; "
    lines.append(f"{mean}{inside} of {len(compared)} months came within the band that holds nine of ten.")
    return lines
