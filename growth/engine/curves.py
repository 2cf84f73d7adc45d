"""Churn by age: the share of those who reached age a - 1 that leave at age a, for each curve.

Every function takes ages as a column, shape (ages, 1), and parameters as single numbers or arrays over draws, shape (draws,), and
returns churn of shape (ages, 1) or (ages, draws). Ages are 1, 2, 3, ... months; churn is a fraction.
"""

from __future__ import annotations

from typing import Any

import numpy as np

_SHIFT = 16  # below this argument the log-gamma difference climbs by its recurrence before the Stirling series


def constant(*, ages: np.ndarray, monthly_churn_rate: np.ndarray) -> np.ndarray:
    """h(a) = c.

    >>> constant(ages=np.array([[1], [2]]), monthly_churn_rate=0.1).ravel().tolist()
    [0.1, 0.1]
    """
    return np.zeros(ages.shape) + monthly_churn_rate


def early_late(
    *, ages: np.ndarray, early_monthly_churn_rate: np.ndarray, late_monthly_churn_rate: np.ndarray, early_months: int
) -> np.ndarray:
    """h(a) = early for a <= early_months, late after."""
    return np.where(ages <= early_months, early_monthly_churn_rate, late_monthly_churn_rate)


def shifted_beta_geometric(*, ages: np.ndarray, alpha: np.ndarray, beta: np.ndarray) -> np.ndarray:
    """h(a) = alpha / (alpha + beta + a - 1).

    Source: Fader, P. S. and Hardie, B. G. S. (2007), "How to Project Customer Retention", Journal of Interactive
    Marketing 21(1), equation 8 of the retention rate r(a) = 1 - h(a).

    >>> shifted_beta_geometric(ages=np.array([[1]]), alpha=0.704, beta=1.182).round(3).item()
    0.373
    """
    return alpha / (alpha + beta + (ages - 1.0))


def beta_discrete_weibull(*, ages: np.ndarray, alpha: np.ndarray, beta: np.ndarray, shape: np.ndarray) -> np.ndarray:
    """h(a) = 1 - S(a) / S(a - 1) with S(a) = B(alpha, beta + a^shape) / B(alpha, beta); shape 1 is the sBG.

    With f(x) = ln G(alpha + x) - ln G(x), G the gamma function, ln S(a) = f(beta) - f(beta + a^shape), so that
    h(a) = 1 - exp(f(beta + (a-1)^shape) - f(beta + a^shape)), where no large numbers cancel.

    Source: Fader, Hardie, Liu, Davin and Steenburgh (2018), "How to Project Customer Retention Revisited", Journal of
    Interactive Marketing 43.

    >>> beta_discrete_weibull(ages=np.array([[1]]), alpha=0.704, beta=1.182, shape=1.0).round(3).item()
    0.373
    """
    before, after = beta + (ages - 1.0) ** shape, beta + np.asarray(ages, float) ** shape
    return -np.expm1(_log_gamma_step(alpha, before) - _log_gamma_step(alpha, after))


def measured(*, ages: np.ndarray, survival: tuple, tail_monthly_churn_rate: np.ndarray) -> np.ndarray:
    """h(a) = 1 - survival(a) / survival(a - 1) within the measured ages (1 where nobody is left), the tail's after."""
    shape = np.broadcast_shapes((1,), *(np.shape(share) for share in survival))
    alive = np.stack([np.broadcast_to(share, shape) for share in (1.0, *survival)])
    with np.errstate(invalid="ignore", divide="ignore"):
        churn = np.where(alive[:-1] > 0, (alive[:-1] - alive[1:]) / alive[:-1], 1.0)
    inside = churn[np.clip(ages[:, 0] - 1, 0, len(survival) - 1).astype(int)]
    return np.where(ages <= len(survival), inside, tail_monthly_churn_rate)


_CURVES = {
    "constant": constant,
    "early_late": early_late,
    "sbg": shifted_beta_geometric,
    "bdw": beta_discrete_weibull,
    "measured": measured,
}


def churn_by_age(curve: Any, *, ages: np.ndarray, read: Any = np.asarray) -> np.ndarray:
    """Churn of any curve of a scenario (an object with a `curve` name and the curve's parameters as attributes).

    ages: shape (n,), ages >= 1. read: how a number of the scenario becomes an array over draws (all, or a block of them).
    Returns shape (n, 1) or (n, draws).
    """
    column = np.asarray(ages)[:, None]
    function = _CURVES[curve.curve]
    names = function.__kwdefaults__ or {}
    parameters = {
        name: _read(getattr(curve, name), read)
        for name in function.__annotations__
        if name not in ("ages", "return", *names)
    }
    return function(ages=column, **parameters)


def _read(value: Any, read: Any) -> Any:
    if isinstance(value, tuple):
        return tuple(read(part) for part in value)
    return value if isinstance(value, int) else read(value)


def _log_gamma_step(alpha: np.ndarray, x: np.ndarray) -> np.ndarray:
    """ln G(alpha + x) - ln G(x) for alpha, x > 0, to about 1e-14 even where both are large.

    Small x climb by G(z + 1) = z G(z); then the Stirling series, Abramowitz and Stegun (1964) 6.1.41, of both
    arguments, with the difference of their leading terms taken as (x - 1/2) ln(1 + alpha/x) + alpha ln(x + alpha) - alpha.
    """
    climb = np.zeros(np.broadcast_shapes(np.shape(alpha), np.shape(x)))
    for k in range(_SHIFT):
        climb += np.where(x < _SHIFT, np.log1p(alpha / (x + k)), 0.0)
    x = np.where(x < _SHIFT, x + _SHIFT, x)
    lead = (x - 0.5) * np.log1p(alpha / x) + alpha * np.log(x + alpha) - alpha
    return lead + _stirling_tail(x + alpha) - _stirling_tail(x) - climb


def _stirling_tail(x: np.ndarray) -> np.ndarray:
    y = 1 / (x * x)
    return (1 / 12 - y * (1 / 360 - y * (1 / 1260 - y * (1 / 1680 - y / 1188)))) / x
