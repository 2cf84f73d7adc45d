"""How unsure the measured numbers of a scenario are: ranges, which two of them go together, and draws of churn.

A range holds what is not known of a number: how few were counted, whether and since when churn is another, and for
joining how much its months vary beyond chance. What single customers do by chance is no part of it: a forecast adds
that itself.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from pydantic import ValidationError

from growth.engine.curves import churn_by_age
from growth.errors import Problem
from growth.records.churn_fit import BOUNDS, SECTIONS, Fit
from growth.records.estimate import FittedChurn, Measured
from growth.records.intervals import Z95, Rate
from growth.records.joining import RECENT, Joining
from growth.records.to_scenario import FEW_PLANS, MOST_PLANS, leaves, no_interval, plain_values
from growth.scenario import Scenario
from growth.scenario.address import find
from growth.scenario.range import NEAREST, Range, Scale
from growth.scenario.section import LONGEST

Z90 = 1.6448536269514722  # 95% point of the normal distribution: a range's ends
DRAWS = 4_096  # of joining, and of the change of churn
FURTHER_PLANS = tuple(f"pay.plans.{place}." for place in range(FEW_PLANS, MOST_PLANS))
SLIGHT = 0.05  # a correlation nearer to 0 than this is not written


class Width(NamedTuple):
    """How far the 5% and 95% points of a number lie from its likely value, on the scale of its field; >= 0."""

    down: float
    up: float

    def and_also(self, other: Width) -> Width:
        """The width where another, independent cause is added."""
        return Width(float(np.hypot(self.down, other.down)), float(np.hypot(self.up, other.up)))

    @property
    def spread(self) -> float:
        """The standard deviation, of both sides together."""
        return float(np.sqrt((self.down**2 + self.up**2) / 2)) / Z90


NONE_KNOWN = Width(0.0, 0.0)
Widths = dict[str, Width]
Pairs = list[tuple[str, str, float]]


def with_ranges(values: dict[str, Any], measured: Measured) -> list[dict[str, Any]]:
    """Put a range in the place of each measured number whose interval can be told; the rest stay plain numbers.

    values: from `assumptions`, made from what was measured; its `Value` leaves are changed. Returns `correlations` of
    the scenario: the level of joining with its growth, and the two numbers of a churn curve. Plans beyond the third
    keep plain numbers.
    """
    try:
        scenario = Scenario(**plain_values(values))
    except ValidationError:  # whoever reads the file is told what is wrong with it, and where
        return []
    near = [(address, leaf) for address, leaf in leaves(values) if not address.startswith(FURTHER_PLANS)]
    widths, pairs = _joining(measured.joining, float(values["arrive"]["channels"][0]["monthly_growth_rate"].value))
    ratio = _of_draws(np.log(churn_ratio(measured, np.random.default_rng(0), DRAWS)))
    for address, leaf in near:
        if isinstance(leaf.measured, Fit):
            place = address.removesuffix("curve")
            of_curve, together = _curve(leaf.measured, ratio)
            widths |= {place + name: width for name, width in of_curve.items()}
            pairs += [(place + one, place + other, r) for one, other, r in together]
    done = set()
    for address, leaf in near:
        field, rate = find(scenario, address), leaf.measured
        if isinstance(field, Problem) or field.entry is None:
            continue
        width = widths.get(address, NONE_KNOWN)
        if isinstance(rate, Rate) and not no_interval(rate):
            width = _of_rate(rate, field.entry.scale)
        if found := ranged(float(leaf.value), width, field.entry.scale):
            leaf.value = found
            done.add(address)
    return [
        {"of": [one, other], "correlation": round(float(np.clip(r, -0.99, 0.99)), 2)}
        for one, other, r in pairs
        if {one, other} <= done and abs(r) >= SLIGHT
    ]


def ranged(likely: float, width: Width, scale: Scale) -> Range | None:
    """The range of this width around a number; None where there is none, as at an end of the scale.

    An end too near for a distribution of one bend is moved outwards.

    >>> ranged(0.04, Width(0.3, 0.3), Scale(0, 1))
    Range(0.0299, 0.04, 0.0532)
    """
    if not scale.low < likely < scale.high or not np.isfinite(width).all() or not max(width) > 0:
        return None
    least = 1.03 * NEAREST / (1 - NEAREST) * max(width)
    steps = (-max(width.down, least), max(width.up, least))
    ends = [float(scale.back(np.array(scale.to(likely) + step))) for step in steps]
    for digits in (3, 6, 9):  # more only where a narrow range, or one near the bounds of its field, needs them
        low, high = (float(f"{end:.{digits}g}") for end in ends)
        if scale.low < low < likely < high < scale.high:
            found = Range(low, likely, high)
            if found.nearest_likely(scale) == likely:
                return found
    return None


def churn_ratio(measured: Measured, random: np.random.Generator, draws: int) -> np.ndarray:
    """Draw churn now over that of the chosen curve, shape (draws,): whether and since when it changed is unsure."""
    weight, ratio = measured.history.weights()
    if measured.churn_change is None or weight.size == 1:
        return measured.history.draw(random, draws)
    window = len(measured.history.at_risk) - (measured.churn_change.since - 1)
    taken = ratio[1:][measured.history.windows == window]
    return random.choice(ratio[1:] / taken, draws, p=weight[1:] / weight[1:].sum())


def mixed_curve(fitted: FittedChurn, ratio: np.ndarray, random: np.random.Generator) -> dict[str, Any]:
    """Draw churn curves from all that were fitted, by their AIC weights; return them as a section of survival by age.

    What the records say about ages beyond them depends on the curve, so a band around one curve alone is too narrow
    there. Source: Burnham and Anderson, "Model Selection and Multimodel Inference" (2nd ed. 2002), section 2.9.
    """
    usable = [fit for fit in fitted.fits if not fit.at_edge and np.isfinite(fit.covariance).all()]
    usable = usable if len(fitted.fits) > 1 and usable else [fitted.chosen or fitted.fits[0]]
    aic = np.array([fit.aic for fit in usable])
    weight = np.exp((aic.min() - aic) / 2)
    which = random.choice(len(usable), ratio.size, p=weight / weight.sum())
    ages = np.arange(1, LONGEST + 1)
    churn = np.empty((LONGEST, ratio.size))
    for number in np.unique(which).tolist():
        these = which == number
        section = SECTIONS[usable[number].curve].model_construct(**_drawn_curve(usable[number], random, ratio.size))
        churn[:, these] = np.broadcast_to(churn_by_age(section, ages=ages), churn.shape)[:, these]
    churn = np.clip(churn * ratio, 0, 1)
    alive = np.cumprod(1 - churn, axis=0)
    return {"curve": "measured", "survival": list(alive), "tail_monthly_churn_rate": churn[-1]}


def _drawn_curve(fit: Fit, random: np.random.Generator, draws: int) -> dict[str, Any]:
    """Draw the parameters of a curve, as a section; those that were estimated alone vary."""
    from scipy.special import expit

    section: dict[str, Any] = {"curve": fit.curve, **fit.values}
    if np.isfinite(fit.covariance).all():
        for name, one in zip(fit.low, _normal(fit.scaled, fit.covariance, random, draws), strict=True):
            section[name] = np.clip(np.exp(one), *BOUNDS[name]) if name in BOUNDS else expit(one)
    return section


def _normal(mean: np.ndarray, covariance: np.ndarray, random: np.random.Generator, draws: int) -> np.ndarray:
    """Draw from a normal distribution, shape (parameters, draws). A Cholesky factor is the same on every machine."""
    try:
        root = np.linalg.cholesky(covariance)
    except np.linalg.LinAlgError:  # not positive definite: along one direction the data say next to nothing
        return random.multivariate_normal(mean, covariance, draws).T
    return mean[:, None] + root @ random.standard_normal((mean.size, draws))


def _joining(joining: Joining, usual: float) -> tuple[Widths, Pairs]:
    """The level that the forecast starts from, and its growth; the more growth, the higher the level today.

    Months that vary by more than chance will go on doing so: the level takes in what that does to a year.
    """
    if not joining.joins.sum():
        return {}, []
    random = np.random.default_rng(0)
    first, growth = joining.draw(random, DRAWS)
    if joining.dispersion > 1:
        bursts = first * RECENT / (joining.dispersion - 1)  # as many as a year brings, in the size in which they come
        first = first * random.gamma(bursts) / bursts
    level = np.log(first / float(joining.first(usual)))
    ends = np.quantile(growth, [0.05, 0.95])
    scale = Scale(-0.9, 1.0)
    place = "arrive.channels.0."
    widths = {f"{place}monthly_visitors": _of_draws(level)}
    if not ends[0] < ends[1]:
        return widths, []
    down, up = (
        abs(scale.to(float(end)) - scale.to(usual)) * (way * (end - usual) > 0)
        for way, end in zip((-1, 1), ends, strict=True)
    )
    widths[f"{place}monthly_growth_rate"] = Width(down, up)
    return widths, [
        (f"{place}monthly_visitors", f"{place}monthly_growth_rate", float(np.corrcoef(level, growth)[0, 1]))
    ]


def _curve(fit: Fit, ratio: Width) -> tuple[Widths, Pairs]:
    """The parameters of a curve and how two of them go together; of three, two of them given the third.

    ratio: of churn now to that of the curve. For the beta families it is taken by alpha, to which churn is nearly in
    proportion.
    """
    names = [name for name in fit.values if name in fit.low and (fit.low[name], fit.high[name]) != (0, 1)]
    covariance = fit.covariance
    if not names or not np.isfinite(covariance).all():
        return {}, []
    if len(names) == 3:
        covariance = covariance[:2, :2] - np.outer(covariance[:2, 2], covariance[2, :2]) / covariance[2, 2]
    errors = np.sqrt(np.diag(covariance))
    rates = fit.curve in ("constant", "early_late")
    widths = {name: Width(Z90 * error, Z90 * error) for name, error in zip(names, errors, strict=False)}
    shared = covariance[0, 1] if len(errors) > 1 else 0.0
    for name in names[: None if rates else 1]:
        widths[name] = widths[name].and_also(ratio)
    if len(widths) < 2:
        return widths, []
    one, other = list(widths)
    shared += ratio.spread**2 if rates else 0.0
    return widths, [(one, other, shared / (widths[one].spread * widths[other].spread))]


def _of_rate(rate: Rate, scale: Scale) -> Width:
    """Nine tenths of the cases, from an interval that holds 95%, taken as normal on the scale of the field."""
    if not scale.low < rate.value < scale.high:
        return NONE_KNOWN
    ends = [scale.to(end) if scale.low < end < scale.high else np.nan for end in (rate.low, rate.high)]
    down, up = (abs(end - scale.to(rate.value)) * Z90 / Z95 for end in ends)
    down, up = (up if np.isnan(down) else down), (down if np.isnan(up) else up)
    return NONE_KNOWN if np.isnan(down) else Width(down, up)


def _of_draws(logs: np.ndarray) -> Width:
    """The 5% and 95% points of draws around 0, or those of normal ones of the same mean square on each side.

    The latter where draws lie in two heaps, as where churn perhaps changed: a range has one heap, and would draw too
    few of the other one.
    """
    low, high = np.quantile(logs, [0.05, 0.95])
    down, up = (Z90 * float(np.sqrt(2 * np.mean(np.maximum(way * logs, 0) ** 2))) for way in (-1, 1))
    return Width(max(-float(low), down), max(float(high), up))
