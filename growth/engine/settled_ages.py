"""How many ages have to be looked at before every later year repeats the one before."""

from __future__ import annotations

from typing import TYPE_CHECKING

from growth.engine.draws import YEAR

if TYPE_CHECKING:
    from growth.scenario import Scenario
    from growth.scenario.churn import Churn

LIFETIME = 1200  # ages summed if churn never settles


def settled_ages(scenario: Scenario) -> int:
    """The number of ages that `lifetime_sum` needs: three years after the last age at which churn or growth changes.

    From then on every year repeats the one before. A constant curve, a geometric series from the start, needs 36 ages.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    int
        Whole years in months, 36..LIFETIME.

    Examples
    --------
    >>> from growth.scenario import Scenario
    >>> plans = [{"name": "Studio", "monthly_price": 20}]
    >>> settled_ages(Scenario(business="Fernhollow", pay={"plans": plans}, grow={"monthly_expansion_rate": 0.01,
    ...     "last_age_months": 30}))
    72
    """
    changes = [_last_change(plan.churn or scenario.stay.churn) for plan in scenario.pay.plans]
    years = -(-max(scenario.grow.last_age_months or 0, *changes) // YEAR)
    return min((years + 3) * YEAR, LIFETIME)


def _last_change(curve: Churn) -> int:
    """The last age at which churn may differ from that of the next age; LIFETIME if it never settles."""
    if curve.curve == "early_late":
        return curve.early_months
    if curve.curve == "measured":
        return len(curve.survival)
    return 0 if curve.curve == "constant" else LIFETIME
