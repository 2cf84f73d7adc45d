"""Whether a fitted churn curve agrees with what was observed; and the observed churn as a curve of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.errors import Problem
from growth.records.churn_fit import Fit
from growth.records.read.unreadable import RecordsError
from growth.records.survival import RiskTable

LEAST = 5  # leavers, and stayers, expected in each group of ages: common practice, no source
TAIL = 12  # the last ages observed, whose churn is continued beyond them
NO_FIT = 0.001  # with a smaller p-value a curve is called unfit


@dataclass(frozen=True, slots=True)
class Misfit:
    """How far a curve is from what was observed.

    p: the probability of a distance at least as large if the curve were true. worst: first and last age, in months, of
    the group of ages that is farthest off. seen, said: the share leaving a month there, observed and by the curve.
    """

    p: float
    worst: tuple[int, int]
    seen: float
    said: float


def misfit(fit: Fit, table: RiskTable) -> Misfit | None:
    """Test a curve by Pearson's chi-squared of leavers by age.

    The statistic is the sum of (d - sum n h)^2 / sum n h (1 - h) over groups of neighbouring ages, joined until at
    least 5 leavers and 5 stayers are expected in each. Given the numbers at risk, deviations at different ages are
    uncorrelated. Source: Hjort (1990), Annals of Statistics 18, 1221-1258, from memory.

    Parameters
    ----------
    fit : Fit
        The curve.
    table : RiskTable
        What it was fitted to.

    Returns
    -------
    Misfit or None
        None if no degrees of freedom (groups less fitted parameters) are left.

    Examples
    --------
    >>> from growth.records.churn_fit import fit_constant
    >>> table = RiskTable(np.array([1000, 800, 780, 760]), np.array([200, 20, 20, 20]))
    >>> off = misfit(fit_constant(table), table)
    >>> off.p < 1e-6, off.worst, off.seen
    (True, (1, 1), 0.2)
    """
    from scipy.special import chdtrc

    expected = table.at_risk * fit.churn(table.ages)
    spread = expected * (1 - fit.churn(table.ages))
    starts: list[int] = []
    begun = np.zeros(2)
    for age, (leave, stay) in enumerate(zip(expected, table.at_risk - expected, strict=True)):
        if not starts or begun.min() >= LEAST:
            starts, begun = [*starts, age], np.zeros(2)
        begun = begun + np.array([leave, stay])
    if len(starts) > 1 and begun.min() < LEAST:
        starts.pop()  # too few at the end: they join the group before
    if len(starts) <= fit.parameters:
        return None
    d, e, v, n = (np.add.reduceat(part, starts) for part in (table.left, expected, spread, table.at_risk))
    apart = np.divide((d - e) ** 2, v, out=np.where(d == e, 0.0, np.inf), where=v > 0)
    worst = int(apart.argmax())
    ends = (*starts[1:], table.at_risk.size)
    return Misfit(
        float(chdtrc(len(starts) - fit.parameters, apart.sum())),
        (starts[worst] + 1, ends[worst]),
        float(d[worst] / n[worst]),
        float(e[worst] / n[worst]),
    )


def seen_curve(table: RiskTable, *, draws: int = 0, random: np.random.Generator | None = None) -> dict[str, Any]:
    """Return observed churn as a section `curve: measured`: survival by age, then the churn of the last ages.

    With `draws` and a generator `random`, its values are arrays of shape (draws,), the leavers of each age drawn anew
    from a binomial distribution. Raises RecordsError if nobody was observed from the first month on.

    >>> seen_curve(RiskTable(np.array([100, 80]), np.array([20, 8])))
    {'curve': 'measured', 'survival': [0.8, 0.72], 'tail_monthly_churn_rate': 0.15555555555555556}
    """
    known = int((np.cumprod(table.at_risk > 0)).sum())
    if not known:
        rule = "somebody whose first month is in the records, for churn as it was seen"
        raise RecordsError([Problem("", rule, "nobody", "Take the recommended curve.")])
    n, d = table.at_risk[:known], table.left[:known].astype(float)
    if random is not None and draws:
        d = random.binomial(n, d / n, size=(draws, known)).astype(float)
    survival = np.cumprod(1 - d / n, axis=-1)
    tail = d[..., -TAIL:].sum(axis=-1) / n[-TAIL:].sum()
    return {
        "curve": "measured",
        "survival": [share if draws else round(float(share), 12) for share in np.moveaxis(survival, -1, 0)],
        "tail_monthly_churn_rate": tail if draws else float(tail),
    }
