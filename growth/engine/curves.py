"""Churn by age: the share of those who reached age a - 1 that leave at age a, for each curve.

Every function takes ages in months, 1, 2, 3, ..., as a column of shape (ages, 1), and parameters as single numbers or
arrays over draws, shape (draws,). It returns churn, a fraction 0..1 a month, of shape (ages, 1) or (ages, draws). S(a),
survival, is the share still on board at age a, S(0) = 1. Values are not checked here: scenarios are validated.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from growth.engine.draws import Array, Read, Whole

if TYPE_CHECKING:
    from growth.scenario import Number
    from growth.scenario.churn import Churn

_SHIFT = 16  # below this argument log-gamma differences climb by their recurrence before the Stirling series


def constant(*, ages: Whole, monthly_churn_rate: Array) -> Array:
    """h(a) = c: the same share leaves at every age; S(a) = (1 - c)^a. monthly_churn_rate c: fraction, 0..1.

    >>> constant(ages=np.array([[1], [2]]), monthly_churn_rate=0.1).ravel().tolist()
    [0.1, 0.1]
    """
    return np.zeros(ages.shape) + monthly_churn_rate


def early_late(
    *, ages: Whole, early_monthly_churn_rate: Array, late_monthly_churn_rate: Array, early_months: int
) -> Array:
    """h(a) = early for a <= early_months, late after.

    Both rates: fractions, 0..1. early_months: >= 1, the same in every draw.

    >>> early_late(ages=np.array([[1], [2], [3]]), early_monthly_churn_rate=0.2, late_monthly_churn_rate=0.05,
    ...     early_months=2).ravel().tolist()
    [0.2, 0.2, 0.05]
    """
    return np.where(ages <= early_months, early_monthly_churn_rate, late_monthly_churn_rate)


def shifted_beta_geometric(*, ages: Whole, alpha: Array, beta: Array) -> Array:
    """h(a) = alpha / (alpha + beta + a - 1): each customer has a churn of their own, drawn from Beta(alpha, beta).

    Those readier to leave leave first, so that churn falls with age. alpha, beta > 0, without unit.
    Source: Fader, P. S. and Hardie, B. G. S. (2007), "How to Project Customer Retention", Journal of Interactive
    Marketing 21(1), equation 8 of the retention rate r(a) = 1 - h(a).

    >>> shifted_beta_geometric(ages=np.array([[1]]), alpha=0.704, beta=1.182).round(3).item()
    0.373
    """
    return alpha / (alpha + beta + (ages - 1.0))


def beta_discrete_weibull(*, ages: Whole, alpha: Array, beta: Array, shape: Array) -> Array:
    """h(a) = 1 - S(a) / S(a - 1) with S(a) = B(alpha, beta + a^shape) / B(alpha, beta); shape 1 is the sBG.

    alpha, beta, shape > 0, without unit; shape above 1: each customer's own churn rises with age.
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
    """h(a) = 1 - S(a) / S(a - 1) within the measured ages (1 where nobody is left), the tail's after.

    survival: S at ages 1, 2, ..., fractions 0..1 that never rise, each a number or an array over draws.
    tail_monthly_churn_rate: fraction, 0..1.

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
    """Churn at the given ages, by whichever curve a scenario names.

    Parameters
    ----------
    curve : Churn
        A `churn` section of a scenario.
    ages : array of int, shape (n,)
        Months since joining, each >= 1.
    read : Read, optional
        How numbers become arrays over draws; see `growth.engine.draws`.

    Returns
    -------
    array of shape (n, 1) or (n, draws)
        The share of those who reached age a - 1 that leave at age a, 0..1.

    Raises
    ------
    KeyError
        The section's `curve` is not one of ours. A validated section never raises.

    Examples
    --------
    >>> from growth.scenario.churn import ConstantChurn
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
    """ln G(z + d + alpha) - ln G(z + d) - ln G(z + alpha) + ln G(z) for z, d, alpha > 0, to about 1e-13 of itself.

    Small z climb by G(z + 1) = z G(z), each step adding -ln(1 - w) with w = alpha d / ((z + d) (z + alpha)). Then the
    Stirling series, Abramowitz and Stegun (1964) 6.1.41, of all four: its leading terms make
    d ln(1 + alpha / (z + d)) + alpha ln(1 + d / (z + alpha)) + (z - 1/2) ln(1 - w), where no large numbers cancel.
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
    """The Stirling series after its term 1 / (12 x)."""
    y = 1 / (x * x)
    return -y * (1 / 360 - y * (1 / 1260 - y * (1 / 1680 - y / 1188))) / x
