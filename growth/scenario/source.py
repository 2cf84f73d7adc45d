"""Where a number of a scenario comes from: a list beside the numbers, so that plain numbers stay plain."""

from __future__ import annotations

from datetime import date
from math import isclose
from typing import TYPE_CHECKING, Annotated, Literal, TypeAlias

from pydantic import AfterValidator, Field, StringConstraints

from growth.errors import Problem
from growth.scenario.section import DAY, FieldAddress, Section, Text, broken

if TYPE_CHECKING:
    from growth.scenario.scenario import Scenario

Kind: TypeAlias = Literal["told", "measured", "rule", "guess"]


def _day(text: str) -> str:
    try:
        date.fromisoformat(text if len(text) > len("2027-01") else f"{text}-01")
    except ValueError:
        raise broken("a month or a day of the calendar, such as 2027-01 or 2027-01-15", text) from None
    return text


Day = Annotated[str, StringConstraints(strict=True, pattern=DAY), AfterValidator(_day)]


class Source(Section):
    """Where one number comes from.

    Attributes
    ----------
    of : its address, such as `stay.churn.monthly_churn_rate`.
    source : `told` by the owner, `measured` from records, a `rule` of thumb, or a `guess`.
    when : the month or day of it, such as 2027-01 or 2027-01-15.
    was : the number as it was then. Where the number has changed since, the source no longer speaks for it.
    note : in a few words, such as "18 months of records" or "about 2 of 63 leave a month".
    """

    of: FieldAddress
    source: Kind
    when: Day | None = None
    was: Annotated[float, Field(allow_inf_nan=False)] | None = None
    note: Annotated[Text, StringConstraints(max_length=300)] = ""


def sources_by_path(scenario: Scenario) -> dict[str, Source]:
    """The sources by the address of their number, with list items by position.

    Left out are unknown addresses, and sources of a number that is no longer what it `was`.

    Examples
    --------
    >>> from growth.scenario import Scenario
    >>> plan = {"name": "Studio", "monthly_price": 29}
    >>> told = {"of": "pay.plans.Studio.monthly_price", "source": "told"}
    >>> list(sources_by_path(Scenario(business="Kiln", pay={"plans": [plan]}, sources=[told])))
    ['pay.plans.0.monthly_price']
    """
    from growth.scenario.address import find

    found = ((find(scenario, one.of), one) for one in scenario.sources)
    return {field.path: one for field, one in found if not isinstance(field, Problem) and _still_so(one, field.value)}


def _still_so(source: Source, value: object) -> bool:
    """Whether the number is what it was when its source was written; of a range, its likely value."""
    now = getattr(value, "likely", value)
    return source.was is None or (isinstance(now, (int, float)) and isclose(now, source.was, rel_tol=1e-9))
