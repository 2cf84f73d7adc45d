"""Churn curves: h(a), the share of those who reached age a - 1 that leave at age a.

Each curve takes ages in months, 1, 2, 3, ..., as a column of shape (ages, 1), and parameters as single numbers or as
arrays over draws of shape (draws,). It returns a monthly fraction, 0..1, of shape (ages, 1) or (ages, draws). S(a) is
the share of a cohort still subscribed at age a; S(0) = 1. Inputs are not checked: scenarios are validated.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from growth.engine.draws import YEAR, Array, Read, Whole

if TYPE_CHECKING:
    from growth.scenario import Number, Scenario
    from growth.scenario.stay import Churn

LIFETIME = 1200  # ages summed if churn never settles
_SHIFT = 16  # smaller arguments are raised by the recurrence of log-gamma before the Stirling series is used


def constant(*, ages: Whole, monthly_churn_rate: Array) -> Array:
    """Constant churn: h(a) = c and S(a) = (1 - c)^a, with c = monthly_churn_rate, 0..1.

    >>> constant(ages=np.array([[1], [2]]), monthly_churn_rate=0.1).ravel().tolist()
    [0.1, 0.1]
    """
    return np.zeros(ages.shape) + monthly_churn_rate


def early_late(
    *, ages: Whole, early_monthly_churn_rate: Array, late_monthly_churn_rate: Array, early_months: int
) -> Array:
    """Two-stage churn: h(a) = early rate for a <= early_months, late rate after that.

    Both rates are fractions, 0..1; early_months >= 1 is the same in every draw.

    >>> early_late(ages=np.array([[1], [2], [3]]), early_monthly_churn_rate=0.2, late_monthly_churn_rate=0.05,
    ...     early_months=2).ravel().tolist()
    [0.2, 0.2, 0.05]
    """
    return np.where(ages <= early_months, early_monthly_churn_rate, late_monthly_churn_rate)


def shifted_beta_geometric(*, ages: Whole, alpha: Array, beta: Array) -> Array:
    """sBG: h(a) = alpha / (alpha + beta + a - 1); each customer's churn rate is drawn from Beta(alpha, beta).

    Customers with a high churn rate leave first, so churn falls with age. alpha, beta > 0, dimensionless.
    Source: Fader, P. S. and Hardie, B. G. S. (2007), "How to Project Customer Retention", Journal of Interactive
    Marketing 21(1), equation 8 of the retention rate r(a) = 1 - h(a).

    >>> shifted_beta_geometric(ages=np.array([[1]]), alpha=0.704, beta=1.182).round(3).item()
    0.373
    """
    return alpha / (alpha + beta + (ages - 1.0))


def beta_discrete_weibull(*, ages: Whole, alpha: Array, beta: Array, shape: Array) -> Array:
    """BdW: h(a) = 1 - S(a) / S(a - 1) with S(a) = B(alpha, beta + a^shape) / B(alpha, beta); shape 1 is the sBG.

    alpha, beta, shape > 0, dimensionless. Above shape 1 each customer's own churn rises with age.
    With G the gamma function, z = beta + (a-1)^shape and d = a^shape - (a-1)^shape, h(a) = 1 - exp(-D), where
    D = ln G(z + d + alpha) - ln G(z + d) - ln G(z + alpha) + ln G(z).
    Source: Fader, Hardie, Liu, Davin and Steenburgh (2018), "How to Project Customer Retention Revisited", Journal of
    Interactive Marketing 43 (from memory).

    >>> beta_discrete_weibull(ages=np.array([[1]]), alpha=0.704, beta=1.182, shape=1.0).round(3).item()
    0.373
    """
    before = (ages - 1.0) ** shape
    return -np.expm1(-_log_gamma_difference(beta + before, np.asarray(ages, float) ** shape - before, alpha))


def measured(*, ages: Whole, survival: tuple[Array, ...], tail_monthly_churn_rate: Array) -> Array:
    """Churn of a measured survival curve, with constant churn after its last age.

    h(a) = 1 - S(a) / S(a - 1), or 1 once nobody is left. This is the discrete hazard; textbook, no single source.
    survival: S at ages 1, 2, ...; fractions, 0..1, that never rise.

    >>> churn = measured(ages=np.array([[1], [2], [3]]), survival=(0.8, 0.6), tail_monthly_churn_rate=0.05)
    >>> churn.ravel().round(9).tolist()
    [0.2, 0.25, 0.05]
    """
    shape = np.broadcast_shapes((1,), *(np.shape(share) for share in survival))
    alive = np.stack([np.broadcast_to(share, shape) for share in (np.ones(1), *survival)])
    with np.errstate(invalid="ignore", divide="ignore"):
        churn = np.where(alive[:-1] > 0, (alive[:-1] - alive[1:]) / alive[:-1], 1.0)
    inside = churn[np.clip(ages[:, 0] - 1, 0, len(survival) - 1).astype(int)]
    return np.where(ages <= len(survival), inside, tail_monthly_churn_rate)


_CURVES: dict[str, Callable[..., Array]] = {
    "constant": constant,
    "early_late": early_late,
    "sbg": shifted_beta_geometric,
    "bdw": beta_discrete_weibull,
    "measured": measured,
}


def churn_by_age(curve: Churn, *, ages: Whole, read: Read = np.asarray) -> Array:
    """Churn at the given ages, by whichever curve a scenario's `churn` section names: shape (n, 1) or (n, draws), 0..1.

    ages: months since joining, each >= 1, of shape (n,).

    >>> from growth.scenario.stay import ConstantChurn
    >>> churn_by_age(ConstantChurn(curve="constant", monthly_churn_rate=0.1), ages=np.array([1, 2])).ravel().tolist()
    [0.1, 0.1]
    """
    column = np.asarray(ages)[:, None]
    function = _CURVES[curve.curve]
    parameters = {
        name: _read(getattr(curve, name), read) for name in function.__annotations__ if name not in ("ages", "return")
    }
    return function(ages=column, **parameters)


def _read(value: Number | tuple[Number, ...], read: Read) -> Array | tuple[Array, ...] | int:
    """A parameter over draws; whole numbers, such as a count of months, are the same in every draw."""
    if isinstance(value, tuple):
        return tuple(read(part) for part in value)
    return value if isinstance(value, int) else read(value)


def _log_gamma_difference(z: Array, d: Array, alpha: Array) -> Array:
    """ln G(z + d + alpha) - ln G(z + d) - ln G(z + alpha) + ln G(z) for z, d, alpha > 0, to a relative 1e-13.

    Small z are raised by G(z + 1) = z G(z), each step adding -ln(1 - w) with w = alpha d / ((z + d) (z + alpha)). Then
    all four terms use the Stirling series, Abramowitz and Stegun (1964) 6.1.41. Its leading terms combine to
    d ln(1 + alpha / (z + d)) + alpha ln(1 + d / (z + alpha)) + (z - 1/2) ln(1 - w), without cancellation.
    """

    def share(z: Array) -> Array:
        return alpha * d / ((z + d) * (z + alpha))

    climb, small = np.zeros(1), z < _SHIFT
    if small.any():
        for k in range(_SHIFT):
            climb = climb - np.log1p(-share(z + k))
        z, climb = np.where(small, z + _SHIFT, z), np.where(small, climb, 0.0)
    w, top = share(z), z + alpha + d
    main = d * np.log1p(alpha / (z + d)) + alpha * np.log1p(d / (z + alpha)) + (z - 0.5) * np.log1p(-w)
    tail = w * (z + top) / (12 * z * top) + _rest(top) - _rest(z + d) - _rest(z + alpha) + _rest(z)
    return climb + main + tail


def _rest(x: Array) -> Array:
    """The terms of the Stirling series after 1 / (12 x)."""
    y = 1 / (x * x)
    return -y * (1 / 360 - y * (1 / 1260 - y * (1 / 1680 - y / 1188))) / x


def settled_ages(scenario: Scenario) -> int:
    """The number of ages that `lifetime_sum` needs: three years after the last age at which churn or growth changes.

    From then on every year repeats the one before. A constant curve, a geometric series from the start, needs 36 ages.
    Whole years in months, 36..LIFETIME.

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
