"""The beta-discrete-Weibull at the ends of its ranges, where differences of log-gammas lose most of their digits."""

from __future__ import annotations

from pathlib import Path

import mpmath
import numpy as np
import pytest
from office import HEAD_ROW, WORDS, sheet_values
from plain import business

import growth
from growth.engine.curves import beta_discrete_weibull
from growth.spreadsheet import spreadsheet

FIRST_AGE = HEAD_ROW + 2  # the row of age 1


@pytest.mark.parametrize("alpha, beta, shape", [(1e3, 1e3, 0.1), (1e-3, 1e3, 0.1), (1e-3, 1e-3, 3.0)])
def test_churn_has_twelve_digits(tmp_path: Path, alpha: float, beta: float, shape: float):
    """1 - S(a) / S(a - 1), S(a) = B(alpha, beta + a^shape) / B(alpha, beta), against mpmath in 60 digits."""
    churn = {"curve": "bdw", "alpha": alpha, "beta": beta, "shape": shape}
    (tmp_path / "curve.xlsx").write_bytes(spreadsheet(growth.forecast(business(months=1, churn=churn))))
    rows = sheet_values(tmp_path / "curve.xlsx", "Stay")["Stay"]
    column = rows[HEAD_ROW].index(WORDS["stay"]["leave"])
    with mpmath.workdps(60):
        a, b, c = map(mpmath.mpf, (alpha, beta, shape))

        def kept(age: int) -> mpmath.mpf:
            return mpmath.loggamma(b + mpmath.mpf(age) ** c) - mpmath.loggamma(a + b + mpmath.mpf(age) ** c)

        for age in (1, 2, 3, 12, 100, 240, 1199):
            exact = -mpmath.expm1(kept(age) - kept(age - 1))
            assert rows[FIRST_AGE + age - 1][column] == pytest.approx(float(exact), rel=1e-12), age
            engine = beta_discrete_weibull(ages=np.array([[age]]), alpha=alpha, beta=beta, shape=shape).item()
            assert engine == pytest.approx(float(exact), rel=1e-12), age
