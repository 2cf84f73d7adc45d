"""Two ranges of a scenario that go together: a high value of one with a high, or a low, value of the other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from growth.errors import Problem
from growth.scenario.section import FieldAddress, Section

if TYPE_CHECKING:
    from growth.scenario.scenario import Scenario


class Correlation(Section):
    """How two ranges go together. It counts where both numbers are ranges, and is silent elsewhere.

    Attributes
    ----------
    of : the addresses of the two numbers, such as `arrive.channels.0.monthly_growth_rate`.
    correlation : between -1 and 1, of the two on the normal scale (the correlation of a Gaussian copula): above 0 a
        high value of one goes with a high value of the other.
    """

    of: tuple[FieldAddress, FieldAddress]
    correlation: Annotated[float, Field(gt=-1, lt=1, allow_inf_nan=False)]


def pairs_by_path(scenario: Scenario) -> list[tuple[str, str, float]]:
    """The correlations as (address, address, correlation), with list items by position; unknown addresses are left out.

    Examples
    --------
    >>> from growth.scenario import Scenario
    >>> plans = [{"name": "Studio", "monthly_price": 29}]
    >>> both = {"of": ["pay.plans.Studio.monthly_price", "pay.conversion_rate"], "correlation": -0.4}
    >>> pairs_by_path(Scenario(business="Kiln", pay={"plans": plans}, correlations=[both]))
    [('pay.plans.0.monthly_price', 'pay.conversion_rate', -0.4)]
    """
    from growth.scenario.address import find

    found: list[tuple[str, str, float]] = []
    for one in scenario.correlations:
        first, second = (find(scenario, address) for address in one.of)
        if not isinstance(first, Problem) and not isinstance(second, Problem):
            found.append((first.path, second.path, one.correlation))
    return found
