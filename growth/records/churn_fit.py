"""Churn curves fitted by maximum likelihood to counts of customers at risk and leaving by age.

For a curve with churn h(a) the log-likelihood is the sum over ages of d(a) ln h(a) + (n(a) - d(a)) ln(1 - h(a)).
Right censoring (customers still on board) and left truncation (observation began late) are in the numbers at risk
n(a). The curves are those of the engine. Source: Cox and Oakes, "Analysis of Survival Data" (1984),
chapter 3; for the shifted-beta-geometric Fader and Hardie (2007), Journal of Interactive Marketing 21(1), appendix.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any, TypeAlias

import numpy as np

from growth.engine.curves import churn_by_age
from growth.records.intervals import Z95, wilson
from growth.records.survival import RiskTable
from growth.scenario.stay import BetaDiscreteWeibull, ConstantChurn, EarlyLateChurn, ShiftedBetaGeometric

FittedCurve: TypeAlias = ConstantChurn | EarlyLateChurn | ShiftedBetaGeometric | BetaDiscreteWeibull
SECTIONS: dict[str, type[FittedCurve]] = {
    "constant": ConstantChurn,
    "early_late": EarlyLateChurn,
    "sbg": ShiftedBetaGeometric,
    "bdw": BetaDiscreteWeibull,
}
FEW_LEAVERS = 10  # with fewer, or
FEW_MONTHS = 100  # fewer customer-months at risk, only constant churn is fitted
BOUNDS = {"alpha": (1e-3, 1e3), "beta": (1e-3, 1e3), "shape": (0.1, 3.0)}
Function = Callable[[np.ndarray], np.ndarray]  # points, shape (points, parameters), to values, shape (points,)
STEP = 3e-4  # of central differences
GRADIENT_STEP = 3e-3  # of those over one and over two steps, in which third derivatives cancel
PLAINER_BY = 2.0  # a curve with more parameters has to beat a plainer one by more than this much AIC


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """One fitted curve.

    curve: its name in a scenario. values: its parameters as in a scenario, early_months included. standard_errors, low,
    high: of the estimated parameters, by name; the 95% interval is symmetric on the scale of the fit. scaled,
    covariance: estimates and their covariance on that scale (ln for alpha, beta, shape; logit for rates), to draw from.
    at_edge: whether an estimate lies on a bound, so that its errors mean little.
    """

    curve: str
    values: dict[str, float]
    standard_errors: dict[str, float]
    low: dict[str, float]
    high: dict[str, float]
    scaled: np.ndarray
    covariance: np.ndarray
    log_likelihood: float
    at_edge: bool = False

    @property
    def parameters(self) -> int:
        """How many were estimated, early_months included."""
        return len(self.values)

    @property
    def aic(self) -> float:
        """Akaike's information criterion, 2 k - 2 ln L (Akaike, 1974, IEEE Trans. Automatic Control 19, 716-723)."""
        return 2 * self.parameters - 2 * self.log_likelihood

    @property
    def section(self) -> FittedCurve:
        """The curve as a section of a scenario."""
        return SECTIONS[self.curve].model_validate({"curve": self.curve, **self.values})

    def churn(self, ages: np.ndarray) -> np.ndarray:
        """Return h(a), the share leaving at each of these ages, shape (ages,)."""
        return churn_by_age(self.section, ages=np.asarray(ages))[:, 0]

    def survival(self, ages: np.ndarray) -> np.ndarray:
        """Return S(a), the share still on board, shape (ages,); ages has to be 1, 2, 3, ..."""
        return np.cumprod(1 - self.churn(ages))


def log_likelihood(churn: np.ndarray, table: RiskTable) -> np.ndarray:
    """Return the sum of d ln h + (n - d) ln(1 - h); minus infinity if the curve rules out what was seen.

    churn: shape (ages,), or (ages, curves) for several curves at once.
    """
    d, stayed = table.left, table.at_risk - table.left
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(d > 0, d * np.log(churn.T), 0.0) + np.where(stayed > 0, stayed * np.log1p(-churn.T), 0.0)
    return terms.sum(axis=-1)


def fit_constant(table: RiskTable) -> Fit:
    """Fit constant churn: leavers / customer-months at risk, with Wilson's interval.

    >>> fit_constant(RiskTable(np.array([60, 40]), np.array([5, 0]))).values
    {'monthly_churn_rate': 0.05}
    """
    return _rates("constant", table, {"monthly_churn_rate": slice(None)})


def fit_early_late(table: RiskTable, *, longest: int = 12) -> Fit | None:
    """Fit one rate for ages 1 to m and another after; m, up to `longest`, is chosen by likelihood and counts as a
    parameter. Returns None if no m leaves somebody at risk on both sides.
    """
    fits = []
    for months in range(1, min(longest, table.at_risk.size - 1) + 1):
        if table.at_risk[:months].any() and table.at_risk[months:].any():
            ages = {"early_monthly_churn_rate": slice(months), "late_monthly_churn_rate": slice(months, None)}
            fits.append(_rates("early_late", table, ages, early_months=months))
    return max(fits, key=lambda fit: fit.log_likelihood, default=None)


def fit_sbg(table: RiskTable) -> Fit:
    """Fit alpha and beta of the shifted-beta-geometric (sBG)."""
    return _by_search("sbg", table, ("alpha", "beta"), [(1.0, 10.0), (0.7, 1.5), (5.0, 100.0)])


def fit_bdw(table: RiskTable, *, sbg: Fit | None = None) -> Fit:
    """Fit alpha, beta and shape of the beta-discrete-Weibull (BdW), starting from the sBG, which is its case of
    shape 1; the sBG is fitted here if not given.
    """
    plain = (sbg or fit_sbg(table)).values
    starts = [(plain["alpha"], plain["beta"], shape) for shape in (1.0, 1.4)]
    return _by_search("bdw", table, ("alpha", "beta", "shape"), starts)


def fit_all(table: RiskTable) -> tuple[Fit, ...]:
    """Fit every curve that there are enough data for.

    Parameters
    ----------
    table : RiskTable
        Customers at risk and leaving, by age.

    Returns
    -------
    tuple of Fit
        Plainest first; constant churn alone below 10 leavers or 100 customer-months.

    Examples
    --------
    >>> [fit.curve for fit in fit_all(RiskTable(np.array([500, 400, 350]), np.array([100, 50, 30])))]
    ['constant', 'early_late', 'sbg', 'bdw']
    """
    if not enough(table):
        return (fit_constant(table),)
    sbg = fit_sbg(table)
    return tuple(fit for fit in (fit_constant(table), fit_early_late(table), sbg, fit_bdw(table, sbg=sbg)) if fit)


def enough(table: RiskTable) -> bool:
    """Return whether there are enough data to tell one curve from another."""
    return table.left.sum() >= FEW_LEAVERS and table.at_risk.sum() >= FEW_MONTHS and table.at_risk.size > 2


def recommend(fits: tuple[Fit, ...], table: RiskTable) -> tuple[Fit, str]:
    """Choose a curve.

    The one with the lowest AIC, or a plainer one within 2 of it, for those have about equal support (Burnham and
    Anderson, "Model Selection and Multimodel Inference", 2nd ed. 2002, section 2.6). Curves with an estimate on a bound
    are passed over.

    Parameters
    ----------
    fits : tuple of Fit
        From `fit_all`, plainest first.
    table : RiskTable

    Returns
    -------
    fit : Fit
    why : str
        As part of a sentence.

    Examples
    --------
    >>> table = RiskTable(np.array([100, 90, 81]), np.array([10, 9, 8]))  # a tenth each month
    >>> recommend(fit_all(table), table)[0].curve
    'constant'
    """
    leavers, months = int(table.left.sum()), int(table.at_risk.sum())
    seen = f"{leavers:,} left in {months:,} customer-months"
    if len(fits) == 1:
        fit = fits[0]
        if leavers < 5:
            fit = _cautious(table)
            return fit, f"{seen}: too few to fit a curve; constant churn at the middle of its Wilson interval"
        return fit, f"{seen}: too few to tell one curve from another; constant churn"
    usable = [fit for fit in fits if not fit.at_edge]
    lowest = min(fit.aic for fit in usable)
    chosen = next(
        fit for fit in sorted(usable, key=lambda fit: (fit.parameters, fit.aic)) if fit.aic <= lowest + PLAINER_BY
    )
    gain = fits[0].aic - chosen.aic
    if chosen.curve == "constant":
        return chosen, f"{seen}; no curve is better than constant churn by more than {PLAINER_BY:.0f} in AIC"
    ages = np.array([1, min(12, table.at_risk.size)])
    first, later = chosen.churn(ages)
    return chosen, (
        f"{seen}; AIC {chosen.aic:,.1f}, {gain:,.1f} below constant churn; churn goes from {first:.1%} at 1 month to "
        f"{later:.1%} at {ages[1]} months"
    )


def _rates(curve: str, table: RiskTable, ages: dict[str, slice], **others: int) -> Fit:
    """Fit rates. ages: by the name of a rate, those at which it holds; others: further parameters."""
    counts, sizes = (
        np.array([part[one].sum() for one in ages.values()], float) for part in (table.left, table.at_risk)
    )
    rates = np.divide(counts, sizes, out=np.zeros(counts.size), where=sizes > 0)
    low, high = wilson(counts, sizes)
    shares = (counts + 0.5) / (sizes + 1)  # keeps the logit finite at 0 and 1
    return Fit(
        curve,
        _named(ages, rates) | others,
        _named(ages, np.sqrt(rates * (1 - rates) / np.maximum(sizes, 1))),
        _named(ages, low),
        _named(ages, high),
        np.log(shares / (1 - shares)),
        np.diag(1 / ((sizes + 1) * shares * (1 - shares))),
        float(log_likelihood(rates, RiskTable(sizes, counts))),
    )


def _cautious(table: RiskTable) -> Fit:
    months = float(table.at_risk.sum())
    leavers = (float(table.left.sum()) + Z95**2 / 2) * months / (months + Z95**2)
    return replace(fit_constant(table), values={"monthly_churn_rate": leavers / months if months else 0.04})


def _by_search(curve: str, table: RiskTable, names: tuple[str, ...], starts: Sequence[Sequence[float]]) -> Fit:
    """Maximise the likelihood over the logarithms of the parameters."""
    ages, section = table.ages, SECTIONS[curve]
    low, high = np.log([BOUNDS[name] for name in names]).T

    def loss(points: np.ndarray) -> np.ndarray:
        values = dict(zip(names, np.exp(points).T, strict=True))
        churn = churn_by_age(section.model_construct(curve=curve, **values), ages=ages)
        return -log_likelihood(np.clip(churn, 1e-300, 1 - 1e-15), table)

    found = minimise(loss, np.log(starts), low=low, high=high)
    value, _, curvature = slopes(loss, found)
    covariance = _inverse(curvature)
    error = np.sqrt(np.diag(covariance))
    values = np.clip(np.exp(found), *np.transpose([BOUNDS[name] for name in names]))  # exp(ln 3) is above 3
    edge = bool((np.minimum(found - low, high - found) < 1e-3).any())
    return Fit(
        curve,
        _named(names, values),
        _named(names, values * error),
        _named(names, np.exp(found - Z95 * error)),
        _named(names, np.exp(np.minimum(found + Z95 * error, 50))),
        found,
        covariance,
        -value,
        edge or not np.isfinite(error).all() or bool((error > 5).any()),
    )


def minimise(function: Function, starts: np.ndarray, *, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Minimise a smooth function between bounds by SciPy's SLSQP from each start; return the best minimiser found."""
    from scipy.optimize import Bounds, minimize

    def value_and_gradient(at: np.ndarray) -> tuple[float, np.ndarray]:
        moves = GRADIENT_STEP * np.eye(at.size)
        values = function(at + np.vstack([np.zeros(at.size), moves, -moves, 2 * moves, -2 * moves]))
        one, back, two, back_two = values[1:].reshape(4, -1)
        return float(values[0]), (8 * (one - back) - (two - back_two)) / (12 * GRADIENT_STEP)

    # SLSQP: Kraft (1994), ACM Transactions on Mathematical Software 20, 262-281
    options: dict[str, Any] = {"jac": True, "bounds": Bounds(low, high), "options": {"ftol": 1e-15, "maxiter": 500}}
    results = [minimize(value_and_gradient, np.clip(start, low, high), method="SLSQP", **options) for start in starts]
    return min(results, key=lambda result: result.fun).x


def slopes(function: Function, at: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """Return the value, the gradient and the Hessian at a point, by central differences."""
    size, moves = at.size, STEP * np.eye(at.size)
    pairs = list(combinations(range(size), 2))
    corners = [a * moves[i] + b * moves[j] for i, j in pairs for a, b in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
    values = function(at + np.vstack([np.zeros(size), moves, -moves, *corners]))
    value, ahead, behind = values[0], values[1 : size + 1], values[size + 1 : 2 * size + 1]
    matrix = np.diag((ahead - 2 * value + behind) / STEP**2)
    for (i, j), of_corners in zip(pairs, values[2 * size + 1 :].reshape(-1, 4), strict=True):
        matrix[i, j] = matrix[j, i] = of_corners @ (1, -1, -1, 1) / (4 * STEP**2)
    return float(value), (ahead - behind) / (2 * STEP), matrix


def _named(names: Iterable[str], values: np.ndarray) -> dict[str, float]:
    return dict(zip(names, values.tolist(), strict=True))


def _inverse(matrix: np.ndarray) -> np.ndarray:
    try:
        inverse = np.linalg.inv(matrix)
    except np.linalg.LinAlgError:
        inverse = np.full(matrix.shape, np.inf)
    return inverse if (np.diag(inverse) > 0).all() else np.full(matrix.shape, np.inf)
