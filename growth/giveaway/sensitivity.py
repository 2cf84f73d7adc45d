"""One-at-a-time sensitivity: how far the last month's MRR moves when one assumption is a tenth lower or higher."""

from __future__ import annotations

from dataclasses import dataclass

from growth.calculator.controls import controls
from growth.calculator.language import LOCALE
from growth.engine import forecast
from growth.goals.lever_fields import with_values
from growth.scenario import Scenario
from growth.scenario.address import fields

STEP = 0.1


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """path: the assumption's address. label: the control's words. lower, higher: relative change of the last month's
    MRR with the assumption a tenth lower and a tenth higher, as fractions; None where that value is not valid."""

    path: str
    label: str
    lower: float | None
    higher: float | None

    @property
    def size(self) -> float:
        """The larger of the two changes, without its sign."""
        return max(abs(change) for change in (self.lower, self.higher, 0.0) if change is not None)


def sensitivities(scenario: Scenario, locale: str = LOCALE) -> list[Sensitivity]:
    """Every assumption with a control, but for the months ahead and the goal; what moves the answer most comes first.

    >>> business = {"business": "Fernhollow", "opening": {"customers": 40, "mrr": 1160},
    ...     "pay": {"plans": [{"name": "Studio", "monthly_price": 29}]}}
    >>> [(one.label, round(one.lower, 3)) for one in sensitivities(Scenario(**business))][:2]
    [('Customers leaving each month', 0.161), ('What they pay in all', -0.1)]
    """
    base = forecast(scenario).closing_mrr[-1]
    if base == 0:
        return []
    numbers = {field.path: field.value for field in fields(scenario)}
    found = []
    for control in controls(scenario, locale):
        path = control["path"]
        if path in ("months", "goal_mrr") or control["whole"] or path.endswith(".share"):
            continue
        changes: list[float | None] = []
        for factor in (1 - STEP, 1 + STEP):
            moved = with_values(scenario, {path: float(numbers[path]) * factor})
            # None where a tenth more would leave the valid range
            changes.append(None if moved is None else float(forecast(moved).closing_mrr[-1] / base - 1))
        found.append(Sensitivity(path, control["label"], *changes))
    return sorted(
        (one for one in found if one.size > 1e-6), key=lambda one: -round(one.size, 6)
    )  # equal ones in the order of the form
