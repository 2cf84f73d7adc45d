"""Which numbers of a scenario are levers, their words, and the scenario with some of them changed."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from growth.scenario import Scenario
from growth.scenario.address import Field, fields, put

NOT_LEVERS = ("months", "goal_mrr", "goal_left")


def lever_fields(scenario: Scenario, *, kind: str = "mrr") -> list[Field]:
    """The numbers that a business can work on and that move this kind of goal, in the order of the file.

    Not among them: where the business stands today, shares that have to add up to one, whole numbers of months, and
    costs where the goal is not of money left.
    """
    apart = {"opening", *([] if kind in ("cash", "profit") else ["bill"])}
    return [
        one
        for one in fields(scenario)
        if one.entry is not None
        and one.entry.slider
        and one.entry.ranged
        and not one.entry.whole
        and isinstance(one.value, (int, float))
        and not isinstance(one.place[-1], int)
        and one.place[0] not in apart
        and one.name not in (*NOT_LEVERS, "monthly_discount_rate")
        and (kind in ("cash", "profit") or one.name != "monthly_cost")
        and one.matters(scenario)
        and (one.entry.always or one.value != one.default)
    ]


def with_values(scenario: Scenario, values: Mapping[str, float | np.ndarray]) -> Scenario | None:
    """The scenario with other values at these addresses, ranges moved along; None where they leave no valid scenario.

    Parameters
    ----------
    scenario : Scenario
    values : mapping of str to float or numpy.ndarray
        By address, with list items by position; an array of shape (draws,) makes draws of the number.

    Examples
    --------
    >>> kiln = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> with_values(kiln, {"pay.plans.0.monthly_price": 31}).pay.plans[0].price
    31.0
    >>> with_values(kiln, {"pay.plans.0.monthly_price": -1}) is None
    True
    """
    plain, there = scenario.model_dump(mode="json"), {field.path: field for field in fields(scenario)}
    for path, value in values.items():
        if not isinstance(value, np.ndarray):
            value = there[path].assumption.moved(there[path].value, value)
        put(plain, path, value)
    try:
        return Scenario(**plain)
    except ValueError:
        return None


def label_of(field: Field) -> str:
    """The number's words, with its channel or plan where there are several."""
    whose = next((item.section for item in reversed(field.items) if item.count > 1), None)
    name = getattr(whose, "name", "")
    return f"{field.assumption.label} ({name})" if name else field.assumption.label
