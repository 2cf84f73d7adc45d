"""Chance: how far single customers, who come and go one by one, carry a business from its expected path.

Sign-ups arrive as a Poisson process with the month's expected number; each customer then leaves by a coin of their own,
with the churn of their age; prices and growth are taken as their means (common practice, no source). Two textbook facts
give the variances in closed form, month by month, with no simulation:

- A Poisson process of which each arrival meets a fate of its own, independently, stays Poisson in each fate: the
  variance of a count of later joiners is its mean. (Kingman, "Poisson Processes", 1993, the colouring theorem; from
  memory.)
- Of n opening customers, each on board with probability S, the count is binomial: n S (1 - S), the mean n S less n S^2.

So beside the customers N and the MRR R of the forecast, a cohort needs the sum of squares Q of what its customers pay
(n p^2 when they join), and an opening cohort what its fixed number takes off: D of customers, of MRR, and of the two
together. With s the share that stays and g the growth of what they pay, a month is

    Q <- Q s g^2        D_N <- D_N s^2        D_NR <- D_NR s^2 g        D_R <- D_R s^2 g^2

    Var N = sum N - sum D_N        Cov(N, R) = sum R - sum D_NR        Var R = sum Q - sum D_R

Referrals make it a branching process: see `_referred`. Exact for scenarios without feedback, and for newcomers
who leave and come back, and for opening customers of one age who do. Approximate where those are of several ages, and
with referrals.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from growth.engine.draws import Array, Read, at, blocks, by_month, read_only, reader, single
from growth.engine.life import Life, ageless, comeback_rates, life_of
from growth.engine.step import CUSTOMERS, MRR, advance, block_size, growing, join, leaving, on_board, opening_state

if TYPE_CHECKING:
    from growth.engine.result import Forecast
    from growth.scenario import Scenario


@dataclass(frozen=True, slots=True, eq=False)
class Chance:
    """Variances of a forecast's series that come from chance alone; made by `Forecast.chance`.

    Each of shape (months,) or (draws, months), month 1 first, >= 0, read-only; customers squared, or money squared.
    """

    new_customers: Array
    lost_customers: Array
    closing_customers: Array
    new_mrr: Array
    churned_mrr: Array
    closing_mrr: Array


def chance_of(forecast: Forecast) -> Chance:
    """The variances of a forecast's series from chance alone, draw by draw where the scenario holds draws.

    It steps through the months once more, at about the cost of the forecast itself. `Forecast.chance` calls it.

    >>> from growth.engine import forecast
    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=2, opening={"customers": 10, "mrr": 200},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.25}})
    >>> chance_of(forecast(small)).closing_mrr.tolist()  # 400 x 10 x S (1 - S), S = 0.75 and 0.5625
    [750.0, 984.375]
    """
    scenario, draws = forecast.scenario, forecast.scenario.draws
    pooled = ageless(scenario)
    if draws is None:
        found = variances(scenario, _by_time(forecast, slice(None)), read=single, draws=1, pooled=pooled)
        return Chance(**{name: read_only(values[:, 0]) for name, values in found.items()})
    whole = {name: np.empty((draws, forecast.months)) for name in Chance.__dataclass_fields__}
    for block in blocks(draws, size=block_size(scenario, pooled=pooled)):
        series, width = _by_time(forecast, block), block.stop - block.start
        for name, values in variances(scenario, series, read=reader(block), draws=width, pooled=pooled).items():
            whole[name][block] = values.T
    return Chance(**{name: read_only(values) for name, values in whole.items()})


def _by_time(forecast: Forecast, block: slice) -> dict[str, Array]:
    """The series that `variances` reads, time first; customers and MRR with month 0 in front."""
    moves = ("new_customers", "lost_customers", "new_mrr", "reactivation_mrr", "churned_mrr")
    levels = ("opening_customers", "closing_customers", "opening_mrr", "closing_mrr")
    series = {name: np.atleast_2d(getattr(forecast, name))[block].T for name in moves + levels}
    for kind in ("customers", "mrr"):
        series[kind] = np.concatenate([series[f"opening_{kind}"][:1], series[f"closing_{kind}"]])
    return series


def variances(
    scenario: Scenario, series: dict[str, Array], *, read: Read, draws: int, pooled: bool
) -> dict[str, Array]:
    """The variances of one block of draws, by the names of `Chance`: shape (T, draws).

    series: what `growth.engine.run.run` gave for this block, time first; the rest as for `run`.

    Ten customers, a quarter leave each month: binomial, 10 x 0.75 x 0.25 after a month.

    >>> from growth.engine.run import run
    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=1, opening={"customers": 10, "mrr": 200},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.25}})
    >>> ask = {"read": np.atleast_1d, "draws": 1, "pooled": True}
    >>> variances(small, run(small, **ask), **ask)["closing_customers"].item()
    1.875
    """
    life = life_of(scenario, read=read, pooled=pooled)
    months = life.months
    opening = opening_state(scenario, life=life, read=read, draws=draws)
    fixed = _fixed(opening, life)
    squares = np.zeros((len(opening), 1, *opening.shape[2:]))
    squares[:, 0] = _squares(opening[:, CUSTOMERS], opening[:, MRR])
    arriving = np.broadcast_to(series["new_customers"], (months, draws))
    comeback = scenario.stay.comeback
    rates = comeback_rates(scenario, read=read)
    back = _Returning(opening, life, rates, comeback.after_months) if comeback else None
    share, kept = _split(life)

    own = np.empty((3, months, draws))  # Var N, Cov(N, R), Var R
    gone = np.empty((2, months, draws))  # of customers lost, of MRR churned
    new_mrr = np.empty((months, draws))
    lost_squares = []
    for month in range(1, months + 1):
        t = month - 1
        churn, keep, price_rate = leaving(life, month)
        growth = growing(life, month, price_rate)
        cells = on_board(squares, life=life, month=month)[:, 0]
        lost_squares.append(np.einsum("pcd,pcd->pd", cells, np.broadcast_to(churn, cells.shape)))
        cells *= keep * growth**2

        since_opening = slice(None) if pooled else slice(month - 1, None)
        leave, stay = churn[:, since_opening], keep[:, since_opening]
        grown = growth if growth.shape[1] == 1 else growth[:, since_opening]
        gone[0, t] = series["lost_customers"][t] - (fixed[0] * leave**2).sum(axis=(0, 1))
        gone[1, t] = lost_squares[t].sum(axis=0) - (fixed[2] * leave**2).sum(axis=(0, 1))
        fixed *= stay**2
        fixed[1] *= grown
        fixed[2] *= grown**2

        newcomers = arriving[t] * share[:, min(t, share.shape[1] - 1)] * life.price[:, t] ** 2
        new_mrr[t] = newcomers.sum(axis=0)
        if back is not None:
            if month > back.after:
                newcomers = newcomers + at(back.rates, month) * lost_squares[t - back.after]
            gone[:, t] -= back.advance(leave, month)
        squares[:, 0, 0 if pooled else months - month] += newcomers
        total = on_board(squares, life=life, month=month + 1).sum(axis=(0, 1, 2))
        own[:, t] = np.stack([series["customers"][month], series["mrr"][month], total]) - fixed.sum(axis=(1, 2))
        if back is not None:
            own[:, t] -= back.takes_off()
    referral = by_month(scenario, lambda now: now.sign_up.monthly_referral_rate, read=read)
    sent = referral * by_month(scenario, lambda now: now.pay.conversion_rate, read=read) * kept
    new_customers = arriving.copy()
    if np.any(sent):
        extra, spread = _referred(series, own, sent, (share * life.price).sum(axis=0))
        own += extra
        for moves, part in zip((new_customers, new_mrr, *gone), spread, strict=True):
            moves += part
    found = {
        "new_customers": new_customers,
        "lost_customers": gone[0],
        "closing_customers": own[0],
        "new_mrr": new_mrr,
        "churned_mrr": gone[1],
        "closing_mrr": own[2],
    }
    return {name: np.maximum(values, 0) for name, values in found.items()}  # rounding leaves some at -1e-16


class _Returning:
    """The opening customers of each plan as they leave and come back, all ages of a plan taken as one.

    A fixed count that comes back takes more off the variance than `fixed` holds: with n of a plan at the opening, N on
    board of whom N' never left, (N^2 - N'^2) / n; likewise for MRR and for those who leave. Exact for one opening age.
    """

    def __init__(self, opening: Array, life: Life, rates: Array, after: int):
        self.rates, self.after, self.life = rates, after, life
        self.state = opening.copy()
        self.first = opening[:, CUSTOMERS].sum(axis=1)  # plans, draws
        self.stayed = opening[:, :, 0 if life.pooled else life.months :].copy()  # those who never left
        self.lost: list[Array] = []

    def advance(self, leave: Array, month: int) -> Array:
        """Take the state through `month`; return what comebacks take off the variances of what is lost, (2, draws)."""
        never = np.einsum("pkcd,pcd->kpd", self.stayed, np.broadcast_to(leave, self.stayed[:, 0].shape))
        *_, price_rate = leaving(self.life, month)
        left = advance(self.state, life=self.life, month=month)[0]
        self.lost.append(left)
        back = at(self.rates, month) * self.lost[month - 1 - self.after] if month > self.after else np.zeros_like(left)
        join(self.state, back, life=self.life, month=month)
        self.stayed *= (1 - leave)[:, None]
        growth = growing(self.life, month, price_rate)
        self.stayed[:, MRR] *= growth if growth.shape[1] == 1 else growth[:, month - 1 :]
        return self._off(np.moveaxis(left, 1, 0) ** 2 - never**2)

    def takes_off(self) -> Array:
        """What comebacks take off Var N, Cov(N, R) and Var R, shape (3, draws)."""
        n, r = np.moveaxis(self.state.sum(axis=2), 1, 0)
        n0, r0 = np.moveaxis(self.stayed.sum(axis=2), 1, 0)
        return self._off(np.stack([n * n - n0 * n0, n * r - n0 * r0, r * r - r0 * r0]))

    def _off(self, squares: Array) -> Array:
        off: Array = _over(squares, self.first).sum(axis=1)
        return off


def _squares(customers: Array, mrr: Array) -> Array:
    """The sum of squares of what the customers of a cohort pay, all alike: n (R / n)^2."""
    return _over(mrr**2, customers)


def _over(part: Array, whole: Array) -> Array:
    """part / whole, 0 where whole is 0."""
    shape = np.broadcast_shapes(part.shape, whole.shape)
    quotient: Array = np.divide(part, whole, out=np.zeros(shape), where=np.broadcast_to(whole > 0, shape))
    return quotient


def _fixed(opening: Array, life: Life) -> Array:
    """What a fixed opening count takes off the three (co)variances, by plan and age: shape (3, plans, ages, draws)."""
    there = opening if life.pooled else opening[:, :, life.months :]
    customers, mrr = there[:, CUSTOMERS], there[:, MRR]
    return np.stack([customers, mrr, _squares(customers, mrr)])


def _split(life: Life) -> tuple[Array, Array]:
    """Which plans those who join choose, (plans, T or 1, draws); and the share of those who would join that does,
    (T or 1, draws): less than 1 where price changes lose some."""
    if life.share.shape[1] == 1 < life.months:
        return life.share, np.ones((1, 1))
    kept = life.share.sum(axis=0)
    return _over(life.share, np.broadcast_to(kept, life.share.shape)), kept


def _referred(series: dict[str, Array], own: Array, sent: Array, price: Array) -> tuple[Array, Array]:
    """What referrals add: to Var N, Cov(N, R), Var R, shape (3, T, draws); and to the variances of new customers, new
    MRR, lost customers and churned MRR, shape (4, T, draws). price: the mean one of new customers by month.

    Each customer on board brings r = `sent` new ones a month. With Z = diag(s', k') the month's mean shares of
    customers and MRR that stay, p' the mean price and I the independent (co)variances, A = [[s' + r, 0], [r p', k']]:

        W <- A (W + I) A^T - Z I Z^T

    Our own approximation: one keep rate for all ages, and referred sign-ups that pay at once.
    """
    extra, spread = np.zeros_like(own), np.zeros((4, *own.shape[1:]))
    stay = np.where(series["customers"][:-1] > 0, 1 - _over(series["lost_customers"], series["customers"][:-1]), 0.0)
    churned = _over(series["churned_mrr"], series["mrr"][:-1])
    came = series["new_mrr"] + series["reactivation_mrr"]
    keep = _over(series["mrr"][1:] - came, series["mrr"][:-1])
    for t in range(1, len(price)):
        independent, before = own[:, t - 1], extra[:, t - 1]
        n, nr, r = independent + before
        brought = at(sent, t + 1)
        a, b, k = stay[t] + brought, brought * price[t], keep[t]
        extra[0, t] = a**2 * n - stay[t] ** 2 * independent[0]
        extra[1, t] = a * (b * n + k * nr) - stay[t] * k * independent[1]
        extra[2, t] = b**2 * n + 2 * b * k * nr + k**2 * r - k**2 * independent[2]
        spread[:, t] = brought**2 * n, b**2 * n, (1 - stay[t]) ** 2 * before[0], churned[t] ** 2 * before[2]
    return extra, spread
