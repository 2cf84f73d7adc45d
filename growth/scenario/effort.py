"""How much better the same effort makes each number, where the author knows: which lever to pull first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from pydantic import Field, StringConstraints

from growth.errors import Problem
from growth.scenario.section import FieldAddress, Section, Text

if TYPE_CHECKING:
    from growth.scenario.scenario import Scenario


class Effort(Section):
    """How much better one number gets for the effort by which the levers are compared; without it, a tenth.

    Attributes
    ----------
    of
        Its address, such as `stay.churn.monthly_churn_rate`.
    better_by
        A share above 0, up to 1: 0.05 is a twentieth fewer leaving, or a twentieth more visitors.
    note
        Why, in a few words, such as "two weeks on the first e-mails".
    """

    of: FieldAddress
    better_by: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)]
    note: Annotated[Text, StringConstraints(max_length=300)] = ""


def efforts_by_path(scenario: Scenario) -> dict[str, float]:
    """The share by which each number gets better, by address with list items by position; unknown ones are left out.

    Examples
    --------
    >>> from growth.scenario import Scenario
    >>> plans = [{"name": "Studio", "monthly_price": 29}]
    >>> harder = {"of": "pay.plans.Studio.monthly_price", "better_by": 0.05}
    >>> efforts_by_path(Scenario(business="Kiln", pay={"plans": plans}, efforts=[harder]))
    {'pay.plans.0.monthly_price': 0.05}
    """
    from growth.scenario.address import find

    found = ((find(scenario, one.of), one.better_by) for one in scenario.efforts)
    return {field.path: share for field, share in found if not isinstance(field, Problem)}
