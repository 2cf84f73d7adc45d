"""The growth ceiling: where customers and MRR settle if what comes in at the end of the forecast goes on for ever."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np

from growth.engine import Forecast
from growth.engine.curves import settled_ages
from growth.engine.draws import Read, at, by_block
from growth.engine.life import ageless, comeback_rates
from growth.engine.long_run import (
    EDGE,
    FINITE,
    FLAT,
    GROWS,
    LOYAL,
    LOYAL_GROWS,
    ONE,
    SLOW,
    STAYS,
    UNSETTLED,
    LifetimeSum,
    leavers,
    lifetime,
    lifetime_sum,
    outlasts,
)
from growth.engine.pay import arrivals_of, joining_shares, new_prices
from growth.engine.run import run
from growth.engine.step import CUSTOMERS, MRR
from growth.measures.measure import Measure
from growth.measures.reason import NO_REASON, Reason, first_reason, why_endless

if TYPE_CHECKING:
    from growth.scenario import Scenario

NOBODY = 1e-9  # customers a month, or money on board, below which there are none: what fading numbers leave
MORE = 1e-3  # a last year that is less of a century's sum than this is no growth that anybody sees
# what `_settle` found for each forecast in use: sentences and pictures ask for the ceiling many times
_SETTLED: WeakKeyDictionary[Forecast, np.ndarray] = WeakKeyDictionary()


def growth_ceiling(forecast: Forecast) -> Measure:
    """The MRR at which MRR settles if what comes in at the end of the forecast goes on for ever.

    New customers of the last month (with a season, at its mean over the year) for ever, at the churn and prices then in
    force: new MRR x the sum over ages of the MRR kept. At constant churn c and growth g of those who stay that is
    new MRR / (1 - (1 - c)(1 + g)). Customers who are there already count where they never leave.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.

    Returns
    -------
    Measure
        Money a month, 0 or more. Undefined where there is no such level or it is not known, with its code, one of
        `growth.measures.reason.Reason`; see model.md.

    Notes
    -----
    Source: Little's law, L = lambda W (Little, 1961, from memory), for customers; the weight by MRR is our own.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", sign_up={"signup_rate": 1}, pay={"conversion_rate": 1,
    ...     "plans": [{"name": "Studio", "monthly_price": 20}]}, arrive={"channels": [{"name": "all",
    ...     "monthly_visitors": 10}]}, stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}})
    >>> round(growth_ceiling(growth.forecast(scenario)).value, 6)
    2000.0
    """
    return _ceiling(forecast, MRR)


def customer_ceiling(forecast: Forecast) -> Measure:
    """The number of customers at which as many leave a month as join; see `growth_ceiling`.

    New customers a month x mean lifetime in months; at constant churn c that is n / c.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.

    Returns
    -------
    Measure
        Customers, 0 or more; undefined as `growth_ceiling` is, but by what customers do, not their MRR.

    Notes
    -----
    Source: Little's law, L = lambda W (Little, 1961, from memory).

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", sign_up={"signup_rate": 1}, pay={"conversion_rate": 1,
    ...     "plans": [{"name": "Studio", "monthly_price": 20}]}, arrive={"channels": [{"name": "all",
    ...     "monthly_visitors": 10}]}, stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}})
    >>> round(customer_ceiling(growth.forecast(scenario)).value, 6)
    100.0
    """
    return _ceiling(forecast, CUSTOMERS)


def _ceiling(forecast: Forecast, kind: int) -> Measure:
    if forecast not in _SETTLED:
        _SETTLED[forecast] = by_block(forecast.scenario, lambda read, draws: _settle(forecast.scenario, read, draws))
    levels, codes = _SETTLED[forecast][:, kind]
    return Measure.by_number(forecast, levels, codes)


@dataclass(frozen=True, slots=True, eq=False)
class _Kept:
    """Customers, or MRR, of a new customer over a lifetime, by plan; shape (plans, 1 or draws).

    sums: the sum over ages. back: how much of it comes back, per newcomer. whole: whether nobody ever leaves. same:
    whether what a newcomer brings never changes. odd: whether those who are older than the ages at which all newcomers
    leave may go on for ever. rise: how many times what they pay now those on board may come to pay, at most, where that
    stops growing; 1 where it does not.
    """

    sums: LifetimeSum
    back: np.ndarray
    whole: np.ndarray
    same: np.ndarray
    odd: np.ndarray
    rise: np.ndarray

    @property
    def kind(self) -> np.ndarray:
        """What those on board do in the end."""
        return self.sums.kind

    @property
    def once(self) -> np.ndarray:
        """The sum with comebacks, where it has a limit."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.sums.known & (self.back < EDGE), self.sums.total / (1 - self.back), 0.0)

    def accumulates(self) -> np.ndarray:
        """Why there is no level where newcomers keep joining: the number of the reason, or NO_REASON."""
        kind = np.where(self.sums.known, FINITE, self.kind)
        return first_reason(
            *why_endless(kind, self.whole),
            ((self.back >= ONE) & (self.sums.ratio <= SLOW), Reason.COMEBACKS_MAKE_UP),
            ((kind == UNSETTLED) | (self.back >= EDGE), Reason.NOT_KNOWN),
        )

    def remains(self, waiting: np.ndarray) -> np.ndarray:
        """Why there is no known level for those on board, where nobody joins them: a number as above."""
        return first_reason(
            ((self.kind == GROWS) & self.whole, Reason.EXPANSION_WITHOUT_CHURN),
            (self.kind == GROWS, Reason.EXPANSION_OUTRUNS_CHURN),
            (self.back > 2 - ONE, Reason.COMEBACKS_MAKE_UP),
            (self.back >= ONE, Reason.ALL_COME_BACK),
            ((self.kind == STAYS) & (~self.same | waiting), Reason.LEVELS_OFF),
            ((self.kind == LOYAL_GROWS) | (self.kind != STAYS) & (self.sums.ratio > SLOW), Reason.NOT_KNOWN),
        )


def _settle(scenario: Scenario, read: Read, draws: int) -> np.ndarray:
    """Levels and numbers of reasons, each for customers and MRR, shape (2, 2, 1 or draws); see model.md."""
    people, money = _kept(scenario, read)
    share = joining_shares(scenario, read=read)[:, -1]
    price = new_prices(scenario, read=read)[:, scenario.months - 1]
    used = share > 0
    sold = used & (price > 0)
    new = arrivals_of(scenario, read=read, season_at_mean=True)["new_customers"][-1]
    new = np.where(new > NOBODY, new, 0.0)
    end = scenario.in_force(scenario.months)
    referral = read(end.sign_up.monthly_referral_rate) * read(end.pay.conversion_rate)
    aboard, waiting = _aboard(
        scenario, read, draws, needed=bool((referral > 0).any()) or _any_may_stay(people, money, new)
    )

    endless = _least(people.accumulates(), used)
    per_newcomer = np.where(used, share * people.once, 0.0).sum(axis=0)
    sent = np.where(endless < NO_REASON, 0.0, referral * per_newcomer)
    fed = first_reason(
        (endless < NO_REASON, endless), (sent >= ONE, Reason.REFERRALS_MAKE_UP), (sent >= EDGE, Reason.NOT_KNOWN)
    )  # what referrals come to: why customers have no level where some keep joining
    alone = (new == 0) & (referral > 0) & (aboard[:, CUSTOMERS].sum(axis=0) > NOBODY)
    holds = alone & (endless == NO_REASON) & (sent >= EDGE) & (sent <= 2 - EDGE)
    stayers = (people.kind == STAYS) | (people.back >= ONE)
    source = (referral > 0) & (~used & stayers & (aboard[:, CUSTOMERS] > NOBODY)).any(axis=0)
    joined = (new > 0) | source | holds | (alone & (fed <= Reason.NOT_KNOWN.number))
    everybody = (people.whole | ~(joined & used | (aboard[:, CUSTOMERS] > NOBODY))).all(axis=0)  # stays

    results: list[list[np.ndarray]] = []
    for kept, sells, kind in ((people, used, CUSTOMERS), (money, sold, MRR)):
        reached = joined & sells.any(axis=0)
        through = np.where(referral > 0, fed, endless if kind == CUSTOMERS else NO_REASON)
        reason = np.where(reached, np.minimum(through, _least(kept.accumulates(), sells)), NO_REASON)
        reason = np.where(reached & holds, Reason.REFERRALS_HOLD.number, reason)
        there = aboard[:, kind] > NOBODY
        idle = ~(joined & sells) & there
        reason = np.minimum(reason, _least(kept.remains(waiting[kind]), idle))
        reason = np.minimum(reason, _least(np.full(kept.kind.shape, Reason.NOT_KNOWN.number), kept.odd & there))
        empty = waiting[kind] & ~there.any(axis=0) & ~reached  # all have left, and some come back
        later = _least(kept.remains(waiting[kind]), np.ones_like(idle))  # why those may not settle who come back
        off = Reason.LEVELS_OFF.number
        of_empty = np.where(later >= off, off, Reason.NOT_KNOWN.number)
        reason = np.where((reason == NO_REASON) & empty, of_empty, reason)
        reason = np.where((reason == NO_REASON) & reached & source, off, reason)
        # nobody leaves a plan, but somebody another one: the next reason is the one for a plan of several
        alone_so = (reason == Reason.EXPANSION_WITHOUT_CHURN.number) | (reason == Reason.NOBODY_LEAVES.number)
        reason = np.where(alone_so & ~everybody, reason + 1, reason)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            customers = new * per_newcomer / (1 - sent)
            level = customers
            if kind == MRR:
                paid = np.where(sold, share * price, 0.0)
                level = (paid * money.once).sum(axis=0) * (new + referral * customers)
                sends = referral * np.where(used, share * people.sums.century, 0.0).sum(axis=0)
                joining = np.where(sends < 2, new, np.where(joined, np.inf, 0.0))  # at least: without comebacks
                worth, late = (
                    np.where(paid > 0, paid * part, 0.0).sum(axis=0) for part in (money.sums.century, money.sums.late)
                )
                still = np.where(idle & (money.sums.ratio >= ONE), aboard[:, MRR] * money.sums.left, 0.0)
                century = np.where((joining > 0) & (worth > 0), joining * worth, 0.0) + still.sum(axis=0)
                slow = century <= (aboard[:, MRR] * money.rise).sum(axis=0)  # those on board fade from there
                level_by_then = (late <= MORE * worth) & (still <= MORE * aboard[:, MRR]).all(axis=0) & (sends < 2)
                slow |= level_by_then & (reason < Reason.COMEBACKS_MAKE_UP.number)
                vague = (referral > 0) & (results[0][1] == Reason.NOT_KNOWN.number)  # how many customers send others
                unknown = np.where(reason < Reason.NOT_KNOWN.number, slow, vague)
                reason = np.where(unknown, Reason.NOT_KNOWN.number, reason)
        level = level + np.where(idle & (kept.kind == STAYS), aboard[:, kind], 0.0).sum(axis=0)
        results.append([*np.broadcast_arrays(level, reason.astype(float))])
    return np.stack([np.stack(np.broadcast_arrays(*part)) for part in zip(*results, strict=True)])


def _kept(scenario: Scenario, read: Read) -> tuple[_Kept, _Kept]:
    """Customers and MRR of a new customer over a lifetime, by plan."""
    life = lifetime(scenario, month=scenario.months, read=read, ages=settled_ages(scenario))
    comeback = at(comeback_rates(scenario, read=read), scenario.months)
    whole = life.alive[:, -1] == 1
    kept = []
    for terms, growth in ((life.alive, np.zeros_like(life.growth)), (life.worth, life.growth)):
        lasting = lifetime_sum(terms, life, growth=growth)
        gone = leavers(terms, life, lasting, growth=growth)
        back = np.where(comeback > 0, np.maximum(comeback, 1e-300) * gone, 0.0)
        odd = outlasts(terms, life, growth=growth, faded=lasting.faded)
        paid = terms[:, -1] / np.where(life.alive[:, -1] > 0, life.alive[:, -1], 1.0)  # by one who is still there
        rise = np.where(growth > FLAT, 1.0, np.maximum(paid, 1.0))
        kept.append(_Kept(lasting, back, whole, terms[:, -1] == 1, odd, rise))
    return kept[0], kept[1]


def _any_may_stay(people: _Kept, money: _Kept, new: np.ndarray) -> bool:
    """Whether those on board have to be looked at: where nobody joins, or some plan keeps what it has."""
    lasting = [
        np.isin(kept.kind, (GROWS, LOYAL, LOYAL_GROWS, STAYS)).any() or (kept.back >= ONE).any()
        for kept in (people, money)
    ]
    return bool((new == 0).any() or any(lasting) or money.odd.any() or people.odd.any())


def _aboard(scenario: Scenario, read: Read, draws: int, *, needed: bool) -> tuple[np.ndarray, np.ndarray]:
    """Customers and MRR by plan at the end, shape (plans, 2, draws), and whether some may come back, (2, draws)."""
    plans, back = len(scenario.pay.plans), scenario.stay.comeback
    if not needed:
        return np.zeros((plans, 2, 1)), np.zeros((2, 1), bool)
    states: dict[int, Any] = {scenario.months: None}
    series = run(scenario, read=read, draws=draws, pooled=ageless(scenario), keep=states)
    rate = at(comeback_rates(scenario, read=read), scenario.months)
    aboard = states[scenario.months].sum(axis=2)
    if back is None:
        return aboard, np.zeros((2, 1), bool)
    lost = np.stack([series[name][-back.after_months :].sum(axis=0) for name in ("lost_customers", "churned_mrr")])
    return aboard, (lost > NOBODY) & (rate > 0)


def _least(reasons: np.ndarray, plans: np.ndarray) -> np.ndarray:
    """The first reason told of the plans that count."""
    least: np.ndarray = np.where(plans, reasons, NO_REASON).min(axis=0)
    return least
