"""Churn by age as formulas: the share of those who reached age a - 1 that leave at age a."""

from __future__ import annotations

import numpy as np

from growth.scenario.stay import Churn, MeasuredChurn
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, absolute, as_formula, choose, dot, exponential, logarithm, near_one_log
from growth.spreadsheet.worksheet import FormulaColumn, FormulaTable

_SHIFT = 16  # below this argument the difference of log-gammas climbs before the Stirling series
_CLIMB = Formula("{0,1,2,3,4,5,6,7,8,9,10,11,12,13,14,15}", np.arange(float(_SHIFT)))


def churn_column(
    book: WorkbookContext, table: FormulaTable, age: FormulaColumn, *, curve: Churn, place: str, last: int, group: str
) -> FormulaColumn:
    """Write the columns of a curve for ages 1..last and return that of churn. place: its section in the scenario."""
    columns = _Bdw(book, table, group) if curve.curve == "bdw" else None
    column = table.column(book.words["stay"]["leave"], "churn", group=group)
    for a in range(1, last + 1):
        leaving = columns.churn(age, a, place) if columns else _CHURN[curve.curve](book, age, a, place, curve)
        column.put(a, leaving)
    return column


def _constant(book: WorkbookContext, age: FormulaColumn, a: int, place: str, curve: Churn) -> Formula:
    return book.given(f"{place}.monthly_churn_rate")


def _early_late(book: WorkbookContext, age: FormulaColumn, a: int, place: str, curve: Churn) -> Formula:
    early, late = (book.given(f"{place}.{name}_monthly_churn_rate") for name in ("early", "late"))
    return choose(age.same_row(a) <= book.given(f"{place}.early_months"), early, late)


def _sbg(book: WorkbookContext, age: FormulaColumn, a: int, place: str, curve: Churn) -> Formula:
    alpha, beta = book.given(f"{place}.alpha"), book.given(f"{place}.beta")
    return alpha / (alpha + beta + (age.same_row(a) - 1))


def _measured(book: WorkbookContext, age: FormulaColumn, a: int, place: str, curve: Churn) -> Formula:
    known = len(curve.survival) if isinstance(curve, MeasuredChurn) else 0
    if a > known:
        return book.given(f"{place}.tail_monthly_churn_rate")
    alive = book.given(f"{place}.survival.{a - 1}")
    if a == 1:
        return 1 - alive
    before = book.given(f"{place}.survival.{a - 2}")
    return choose(before > 0, (before - alive) / before, 1)


_CHURN = {"constant": _constant, "early_late": _early_late, "sbg": _sbg, "measured": _measured}


class _Bdw:
    """The beta-discrete-Weibull: 1 - exp(-D), D the second difference of the log-gamma function.

    With z = beta + (a - 1)^c, d = a^c - (a - 1)^c and G the gamma function,
    D = ln G(z + d + alpha) - ln G(z + d) - ln G(z + alpha) + ln G(z). For z of 16 or more the Stirling series
    (Abramowitz and Stegun 1964, 6.1.41) of the four makes, with w = alpha d / ((z + d) (z + alpha)),

    D = d ln(1 + alpha / (z + d)) + alpha ln(1 + d / (z + alpha)) + (z - 1/2) ln(1 - w) + second difference of
    1/(12 z) - 1/(360 z^3) + ...

    where no large numbers are left to cancel; a smaller z climbs by 16 steps of G(z + 1) = z G(z) first.
    """

    def __init__(self, book: WorkbookContext, table: FormulaTable, group: str):
        self._book, words = book, book.words["bdw"]
        names = ("z", "d", "climb", "w", "main", "tail", "hazard")
        self._columns = {name: table.column(words[name], "0.0000E+00", group=group) for name in names}

    def churn(self, age: FormulaColumn, a: int, place: str) -> Formula:
        """Write the steps of one age into their columns. Returns churn at that age."""
        alpha, beta, shape = (self._book.given(f"{place}.{name}") for name in ("alpha", "beta", "shape"))
        at, put = age.same_row(a), lambda name, formula: self._columns[name].put(a, formula)
        low = (at - 1) ** shape if a > 1 else as_formula(0)
        start = beta + low if a > 1 else beta
        d = put("d", at**shape - low if a > 1 else at**shape)
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
