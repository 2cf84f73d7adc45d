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


def wrong_correlations(scenario: Scenario) -> list[tuple[int, Problem]]:
    """What is wrong with the addresses of a scenario's correlations, each with its position in the list.

    Both numbers exist and may be ranges, and no number stands in two pairs.
    """
    from growth.scenario.address import find

    wrong, seen = [], set()
    for position, one in enumerate(scenario.correlations):
        for end, address in enumerate(one.of):
            field, place = find(scenario, address), f"correlations[{position}].of[{end}]"
            if isinstance(field, Problem):
                wrong.append((position, Problem(place, "the address of a number in this file", address, field.fix)))
            elif field.entry is None or field.entry.whole or not field.entry.ranged:
                wrong.append((position, Problem(place, "the address of a number that may be a range", address)))
            elif field.path in seen:
                wrong.append((position, Problem(place, "each number in one pair only", address)))
            else:
                seen.add(field.path)
    return wrong
