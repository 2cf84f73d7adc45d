"""What was said at each meeting: dated copies of the client's file, how good each was, and a start from today."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from growth.client.actuals import Actuals, ComparedMonth, compare_with_actuals, mean_error
from growth.errors import GrowthError
from growth.files import replace_file
from growth.scenario import Scenario
from growth.scenario.about_numbers import with_sources, with_values
from growth.scenario.dated_change import LEVELS
from growth.scenario.file import load_scenario
from growth.scenario.range import likely_values

FOLDER = "meetings"  # beside the client's file
_DATED = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True, slots=True, eq=False)
class PastMeeting:
    """What a client's file said at the end of a meeting, beside what has happened since.

    Attributes
    ----------
    day
        Of the meeting.
    scenario
        As it was kept then.
    months
        Those that were forecast and have passed.
    """

    day: date
    scenario: Scenario
    months: list[ComparedMonth]

    @property
    def mean_error(self) -> float:
        """How far its forecast was off on average, as a share of what came, whatever the direction; NaN for none."""
        return mean_error(self.months)


def keep_copy(scenario: str | Path, *, today: date) -> Path:
    """Copy the client's file, as it is, to `meetings/` beside it under today's date.

    A later copy of the same day replaces the earlier one. Raises OSError.
    """
    folder = Path(scenario).parent / FOLDER
    folder.mkdir(exist_ok=True)
    return replace_file(folder / f"{today.isoformat()}.yaml", Path(scenario).read_bytes())


def past_meetings(scenario: str | Path, actuals: Actuals, *, before: date) -> list[PastMeeting]:
    """The meetings before a day, the latest last, each with the months that have passed since.

    Parameters
    ----------
    scenario
        The client's file. The copies lie in `meetings/` beside it; files there that no date names are passed over.
    actuals
        From `read_actuals`.
    before
        Usually today: what is said today is no forecast of the past.

    Returns
    -------
    list of PastMeeting

    Raises
    ------
    ScenarioError
        A copy is no valid scenario file.

    Examples
    --------
    >>> past_meetings("nowhere/kiln.yaml", {}, before=date(2027, 2, 1))
    []
    """
    found = []
    for path in sorted((Path(scenario).parent / FOLDER).glob("*.yaml")):
        if _DATED.fullmatch(path.stem) and path.stem < before.isoformat():
            said = load_scenario(path)
            found.append(PastMeeting(date.fromisoformat(path.stem), said, compare_with_actuals(said, actuals)))
    return found


def starting_after(scenario: Scenario, month: str, customers: float, mrr: float, *, today: date) -> Scenario:
    """The scenario with its start moved to the month after the last known one, and what was known as its opening.

    Parameters
    ----------
    scenario
        Without draws.
    month
        The last month of which customers and MRR are known, such as 2027-02.
    customers, mrr
        At the close of that month.
    today
        When they were told.

    Returns
    -------
    Scenario
        A level that grows each month has grown as it would have. Everything else stays.

    Raises
    ------
    GrowthError
        The scenario starts later already, or holds numbers of months that are counted from its start.

    Examples
    --------
    >>> base = Scenario(business="Kiln", first_month="2027-01", opening={"customers": 63},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> moved = starting_after(base, "2027-02", 70, 2030, today=date(2027, 3, 1))
    >>> moved.first_month, moved.opening.customers, moved.opening.mrr
    ('2027-03', 70.0, 2030.0)
    """
    first = month_after(month)
    passed = _count(first) - _count(scenario.first_month)
    if passed <= 0:
        raise GrowthError(f"the forecast starts in {scenario.first_month} already, after {month}")
    if tied := _by_month(scenario):
        what = ", ".join(tied)
        raise GrowthError(f"{what}: counted in months from the start, so move first_month and these by hand")
    values = scenario.model_dump(mode="json")
    values["first_month"] = first
    values["opening"] |= {"customers": customers, "mrr": mrr}
    for channel in values["arrive"]["channels"]:
        level = next((name for name in LEVELS if name in channel), None)
        if level and (rate := channel.get("monthly_growth_rate")):
            now, growth = likely_values([channel[level], rate])
            channel[level] = round(now * (1 + growth) ** passed, 6)
    moved = with_values(scenario, values)
    told = {"source": "told", "note": f"at the end of {month}"}
    return with_sources(moved, {"opening.customers": told, "opening.mrr": told}, today=today)


def month_after(month: str) -> str:
    """The month after one such as 2027-12.

    >>> month_after("2027-12")
    '2028-01'
    """
    year, number = divmod(_count(month) + 1, 12)
    return f"{year}-{number + 1:02d}"


def _count(month: str) -> int:
    """A month as the number of months from year 0 on."""
    return int(month[:4]) * 12 + int(month[5:]) - 1


def _by_month(scenario: Scenario) -> list[str]:
    """The parts of a scenario that go by the number of a month, or that this cannot move on."""
    parts = {
        "changes": bool(scenario.changes),
        "stay.churn_changes": bool(scenario.stay.churn_changes),
        "grow.price_changes": bool(scenario.grow.price_changes),
        "opening.ages": scenario.opening.ages is not None,
    }
    for channel in scenario.arrive.channels:
        grows = bool(getattr(channel, "monthly_growth_rate", 0))
        bounded = any(getattr(channel, name) is not None for name in type(channel).model_fields if "ceiling" in name)
        spans = channel.first_month > 1 or channel.last_month is not None or bool(getattr(channel, "launches", ()))
        parts[f"arrive.channels.{channel.name}"] = spans or channel.kind == "content" or (grows and bounded)
    return [name for name, there in parts.items() if there]
