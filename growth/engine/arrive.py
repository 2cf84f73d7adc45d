"""What each channel brings and costs, month by month.

Arrays have shape (months, 1) or (months, draws), with time first so that each month is a contiguous row. For `read` see
`growth.engine.draws`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt

from growth.engine.draws import Array, Read, stack

if TYPE_CHECKING:
    from growth.scenario.arrive import (
        AnyChannel,
        ContentChannel,
        CustomerChannel,
        Launch,
        PaidChannel,
        SignUpChannel,
        SteadyChannel,
    )

    LevelChannel: TypeAlias = SteadyChannel | SignUpChannel | CustomerChannel


def brought(
    channel: AnyChannel, *, months: int, calendar_month: int, read: Read, season_at_mean: bool = False
) -> tuple[Array, Array]:
    """A channel's regular flow and the visitors of its launches, in months 1..months.

    The flow counts visitors a month, or sign-ups or customers for a channel of that kind. With n months since the first
    month, level V, growth g, ceiling K and budget b:

    steady   V (1 + g)^n, or the logistic K / (1 + (K/V - 1) (1 + g)^-n) if it grows towards a ceiling; likewise for
             sign_ups and customers
    content  pieces a month x the sum over ages k of the visits to a piece, tail + (peak - tail) (1 - fade)^k
    paid     b / (cost_per_visit x (1 + b / budget_that_doubles_cost)), b = monthly_budget (1 + g)^n
    launch   visitors x (1 - fade)^(months since)

    Launches are not seasonal. The logistic is Verhulst's (1838, from memory); the rest is our own, see model.md.

    Parameters
    ----------
    channel : AnyChannel
        A validated channel.
    months : int
        T, >= 1.
    calendar_month : int
        That of month 1, from 1 for January to 12; it selects the factor in `season`.
    read : Read
    season_at_mean : bool
        Use the mean of the twelve seasonal factors in every month.

    Returns
    -------
    flow, launched : array of shape (months, 1 or draws)
        Both >= 0. Without launches, `launched` has shape (1, 1).

    Examples
    --------
    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, arrive={
    ...     "channels": [{"name": "search", "monthly_visitors": 100, "monthly_growth_rate": 0.5,
    ...     "launches": [{"month": 2, "visitors": 80}]}]})
    >>> steady, launched = brought(small.arrive.channels[0], months=3, calendar_month=1, read=np.atleast_1d)
    >>> steady.ravel().tolist(), launched.ravel().tolist()
    ([100.0, 150.0, 225.0], [0.0, 80.0, 40.0])
    """
    month = np.arange(1.0, months + 1)[:, None]
    steady = _STEADY[channel.kind](channel, month, read)
    if channel.season is not None:
        factors = stack([read(factor) for factor in channel.season])
        if season_at_mean:
            steady = steady * factors.mean(axis=0)
        else:
            steady = steady * factors[(calendar_month - 1 + np.arange(months)) % 12]
    launched = np.zeros((1, 1))
    for launch in getattr(channel, "launches", ()):
        since = month - launch.month
        launched = launched + np.where(
            since >= 0, read(launch.visitors) * _keeps(launch, read) ** np.maximum(since, 0), 0.0
        )
    return steady, launched


def acquisition_spend(channel: AnyChannel, *, months: int, read: Read) -> Array:
    """A channel's cost in months 1..months: its monthly cost while active, plus the budget of a paid channel.

    Money a month, >= 0, of shape (months, 1 or draws). Launches are free.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, arrive={
    ...     "channels": [{"name": "paid", "kind": "paid", "monthly_budget": 100, "monthly_growth_rate": 0.5,
    ...     "cost_per_visit": 1, "monthly_cost": 10, "last_month": 2}]})
    >>> acquisition_spend(small.arrive.channels[0], months=3, read=np.atleast_1d).ravel().tolist()
    [110.0, 160.0, 0.0]
    """
    month = np.arange(1.0, months + 1)[:, None]
    spend: Array = np.where(_active(channel, month), read(channel.monthly_cost), 0.0)
    return spend + _budget(channel, month, read) if channel.kind == "paid" else spend


def _active(channel: AnyChannel, month: Array) -> npt.NDArray[np.bool_]:
    return (month >= channel.first_month) & (month <= (channel.last_month or np.inf))


def _compound(channel: LevelChannel | PaidChannel, month: Array, read: Read) -> Array:
    return (1 + read(channel.monthly_growth_rate)) ** (month - channel.first_month)


def _steady(channel: LevelChannel, month: Array, read: Read) -> Array:
    of, most = _LEVEL[channel.kind]
    level, growth = read(getattr(channel, of)), _compound(channel, month, read)
    if getattr(channel, most) is None:
        return np.where(_active(channel, month), level * growth, 0.0)
    ceiling = read(
        getattr(channel, most)
    )  # a logistic through `level` in the first month; it limits growth but not decline
    with np.errstate(divide="ignore", invalid="ignore"):
        bent = ceiling / (1 + (ceiling / level - 1) / growth)
    bends = (level > 0) & (read(channel.monthly_growth_rate) > 0)
    return np.where(_active(channel, month), np.where(bends, bent, level * growth), 0.0)


def _content(channel: ContentChannel, month: Array, read: Read) -> Array:
    since = month - channel.first_month
    tail, peak = read(channel.tail_monthly_visits), read(channel.peak_monthly_visits)
    by_age = tail + (peak - tail) * _keeps(channel, read) ** np.maximum(
        since, 0
    )  # since: a piece's age, once it is out
    drawn: Array = np.cumsum(np.where(since >= 0, by_age, 0.0), axis=0)  # summed over pieces of every age
    if channel.last_month is not None and channel.last_month < len(month):
        fresh = drawn[channel.first_month - 1 : channel.first_month - 1 + len(month) - channel.last_month]
        drawn = drawn.copy()
        drawn[channel.last_month :] -= fresh  # no pieces are published after the last month
    return read(channel.monthly_pieces) * drawn + np.where(since >= 0, read(channel.earlier_pieces) * tail, 0.0)


def _paid(channel: PaidChannel, month: Array, read: Read) -> Array:
    budget = _budget(channel, month, read)
    dearer = 1.0 if channel.budget_that_doubles_cost is None else 1 + budget / read(channel.budget_that_doubles_cost)
    return budget / (read(channel.cost_per_visit) * dearer)


def _budget(channel: PaidChannel, month: Array, read: Read) -> Array:
    return np.where(_active(channel, month), read(channel.monthly_budget) * _compound(channel, month, read), 0.0)


def _keeps(fading: ContentChannel | Launch, read: Read) -> Array:
    return 1 - read(fading.monthly_fade_rate)


_LEVEL = {
    "steady": ("monthly_visitors", "visitor_ceiling"),
    "sign_ups": ("monthly_sign_ups", "sign_up_ceiling"),
    "customers": ("monthly_customers", "customer_ceiling"),
}
_STEADY: dict[str, Callable[..., Array]] = {**dict.fromkeys(_LEVEL, _steady), "content": _content, "paid": _paid}
