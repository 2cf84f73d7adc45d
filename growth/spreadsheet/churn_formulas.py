"""Churn by age as formulas: the share of those who reached age a - 1 that leave at age a."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from growth.scenario.stay import Churn, MeasuredChurn
from growth.spreadsheet.formula import Formula, absolute, as_formula, choose, dot, exponential, logarithm, near_one_log
from growth.spreadsheet.worksheet import FormulaColumn

BDW_COLUMNS = dict.fromkeys(("z", "d", "climb", "w", "main", "tail", "hazard"), "0.0000E+00")
Given = Callable[[str], Formula]  # a number of the curve's section, by its name
_SHIFT = 16  # below this argument the difference of log-gammas climbs before the Stirling series
_CLIMB = Formula("{0,1,2,3,4,5,6,7,8,9,10,11,12,13,14,15}", np.arange(float(_SHIFT)))


def churn_at(curve: Churn, given: Given, age: Formula, a: int) -> Formula:
    """Churn of a curve other than `beta_discrete_weibull`; age: the cell that holds the age a."""
    if curve.curve == "early_late":
        early, late = (given(f"{name}_monthly_churn_rate") for name in ("early", "late"))
        return choose(age <= given("early_months"), early, late)
    if curve.curve == "sbg":
        alpha, beta = given("alpha"), given("beta")
        return alpha / (alpha + beta + (age - 1))
    if isinstance(curve, MeasuredChurn):
        if a > len(curve.survival):
            return given("tail_monthly_churn_rate")
        alive = given(f"survival.{a - 1}")
        if a == 1:
            return 1 - alive
        before = given(f"survival.{a - 2}")
        return choose(before > 0, (before - alive) / before, 1)
    return given("monthly_churn_rate")


def beta_discrete_weibull(columns: dict[str, FormulaColumn], given: Given, age: Formula, a: int) -> Formula:
    """The beta-discrete-Weibull: 1 - exp(-D), D the second difference of the log-gamma function.

    With z = beta + (a - 1)^c, d = a^c - (a - 1)^c and G the gamma function,
    D = ln G(z + d + alpha) - ln G(z + d) - ln G(z + alpha) + ln G(z). For z of 16 or more the Stirling series
    (Abramowitz and Stegun 1964, 6.1.41) of the four makes, with w = alpha d / ((z + d) (z + alpha)),

    D = d ln(1 + alpha / (z + d)) + alpha ln(1 + d / (z + alpha)) + (z - 1/2) ln(1 - w) + second difference of
    1/(12 z) - 1/(360 z^3) + ...

    where no large numbers are left to cancel; a smaller z climbs by 16 steps of G(z + 1) = z G(z) first.

    Writes the steps of the age into the columns of `BDW_COLUMNS` and returns churn at that age.
    """
    alpha, beta, shape = (given(name) for name in ("alpha", "beta", "shape"))

    def put(name: str, formula: Formula) -> Formula:
        return columns[name].put(a, formula)

    low = (age - 1) ** shape if a > 1 else as_formula(0)
    start = beta + low if a > 1 else beta
    d = put("d", age**shape - low if a > 1 else age**shape)
    small = start < _SHIFT
    parts = _CLIMB + start
    share = alpha * d / ((parts + d) * (parts + alpha))
    climb = put("climb", choose(small, dot((0 - logarithm(1 - share)) * share / (1 - (1 - share))), 0))
    z = put("z", choose(small, start + _SHIFT, start))
    w = put("w", alpha * d / ((z + d) * (z + alpha)))
    main = put(
        "main",
        d * near_one_log(alpha / (z + d)) + alpha * near_one_log(d / (z + alpha)) + (z - 0.5) * near_one_log(0 - w),
    )
    first = w * (2 * z + alpha + d) / (12 * z * (z + alpha + d))
    rest = _rest(z + alpha + d) - _rest(z + d) - _rest(z + alpha) + _rest(z)
    tail = put("tail", first + rest)
    hazard = put("hazard", main + tail + climb)
    return _one_minus_exp(hazard)


def _rest(z: Formula) -> Formula:
    """The Stirling series after its term 1/(12 z)."""
    return (1 / (z * z) * (as_formula(1) / 1260 - as_formula(1) / 1680 / (z * z)) - as_formula(1) / 360) / (z * z * z)


def _one_minus_exp(hazard: Formula) -> Formula:
    """1 - exp(-D), near 0 too: (1 - u) D / -ln u with u = exp(-D) as rounded: Kahan's way (from memory)."""
    kept = exponential(0 - hazard)
    near = hazard * (1 - kept) / (0 - logarithm(kept))
    return choose(absolute(hazard) < 1e-9, hazard * (1 - hazard / 2), choose(hazard < 0.1, near, 1 - kept))
