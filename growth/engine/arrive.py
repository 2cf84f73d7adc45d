"""What each channel brings and costs, month by month.

Arrays have shape (months, 1) or (months, draws), with time first so that each month is a contiguous row. For `read` see
`growth.engine.draws`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
import numpy.typing as npt

from growth.engine.draws import Array, Read, stack

if TYPE_CHECKING:
    from growth.scenario import Scenario
    from growth.scenario.arrive import (
        AnyChannel,
        ContentChannel,
        CustomerChannel,
        Launch,
        PaidChannel,
        SignUpChannel,
        SteadyChannel,
    )
    from growth.scenario.dated_change import DatedChange

    LevelChannel: TypeAlias = SteadyChannel | SignUpChannel | CustomerChannel


@dataclass(frozen=True, slots=True)
class Later:
    """How a channel changes over time.

    channels: the months from which it is another one, in order, each with what it is from then on. levels: the changes
    of its level or budget, by month; they act on what has been reached by then.
    """

    channels: tuple[tuple[int, Any], ...] = ()
    levels: Mapping[int, DatedChange] = field(default_factory=dict)

    @classmethod
    def of(cls, scenario: Scenario, number: int) -> Later:
        """The changes of the channel at position `number`, from 0."""
        channels, last = [], scenario.arrive.channels[number]
        for start, now in scenario.later:
            if now.arrive.channels[number] is not last:
                last = now.arrive.channels[number]
                channels.append((start, last))
        return cls(tuple(channels), scenario.level_changes(number)) if channels else NEVER

    def channel(self, channel: Any, month: int) -> Any:
        """The channel as it is in a month."""
        return next((now for start, now in reversed(self.channels) if start <= month), channel)


NEVER = Later()


def brought(
    channel: AnyChannel,
    *,
    months: int,
    calendar_month: int,
    read: Read,
    season_at_mean: bool = False,
    later: Later = NEVER,
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

    calendar_month: that of month 1, 1..12; it selects the factor in `season`. season_at_mean: the mean of the twelve
    factors in every month. Both results are >= 0, of shape (months, 1 or draws); the second (1, 1) without launches.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, arrive={
    ...     "channels": [{"name": "search", "monthly_visitors": 100, "monthly_growth_rate": 0.5,
    ...     "launches": [{"month": 2, "visitors": 80}]}]})
    >>> steady, launched = brought(small.arrive.channels[0], months=3, calendar_month=1, read=np.atleast_1d)
    >>> steady.ravel().tolist(), launched.ravel().tolist()
    ([100.0, 150.0, 225.0], [0.0, 80.0, 40.0])
    """
    month = np.arange(1.0, months + 1)[:, None]
    steady = _STEADY[channel.kind](channel, month, read, later)
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


def acquisition_spend(channel: AnyChannel, *, months: int, read: Read, later: Later = NEVER) -> Array:
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
    cost = _by_month(channel, "monthly_cost", months, read, later)
    spend: Array = np.where(_active(channel, month), cost, 0.0)
    return spend + _budget(channel, month, read, later) if channel.kind == "paid" else spend


def _active(channel: AnyChannel, month: Array) -> npt.NDArray[np.bool_]:
    return (month >= channel.first_month) & (month <= (channel.last_month or np.inf))


def _compound(channel: LevelChannel | PaidChannel, month: Array, read: Read) -> Array:
    return (1 + read(channel.monthly_growth_rate)) ** (month - channel.first_month)


def _steady(channel: LevelChannel, month: Array, read: Read, later: Later) -> Array:
    of, most = _LEVEL[channel.kind]
    if later.channels:
        return _step_by_step(channel, of, most, month, read, later)
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


def _step_by_step(
    channel: LevelChannel | PaidChannel, of: str, most: str, month: Array, read: Read, later: Later
) -> Array:
    """A level that compounds from month to month at the rate then in force, and to which its changes are made.

    Towards a ceiling K a month's step of the logistic is K / (1 + (K/L - 1) / (1 + g)), L the level before.
    """
    level, rows = np.zeros(1), []
    for t in range(1, len(month) + 1):
        now = later.channel(channel, t)
        if t == channel.first_month:
            level = read(getattr(now, of))
        elif t > channel.first_month:
            rate, ceiling = read(now.monthly_growth_rate), getattr(now, most, None)
            grown = level * (1 + rate)
            if ceiling is not None:
                with np.errstate(divide="ignore", invalid="ignore"):
                    bent = read(ceiling) / (1 + (read(ceiling) / level - 1) / (1 + rate))
                grown = np.where((level > 0) & (rate > 0), bent, grown)
            change = later.levels.get(t)
            if change and change.times is not None:
                grown = grown * read(change.times)
            if change and change.becomes is not None:
                grown = read(change.becomes)
            level = grown
        rows.append(level)
    return np.where(_active(channel, month), stack(rows), 0.0)


def _content(channel: ContentChannel, month: Array, read: Read, later: Later) -> Array:
    months, first = len(month), channel.first_month
    since = month - first
    starts = [start for start, _ in later.channels if start > first]
    ends = [*starts, channel.last_month + 1 if channel.last_month else months + 1]
    total: Array = np.zeros((1, 1))
    for start, end in zip([first, *starts], ends, strict=True):
        end = min(end, ends[-1])  # nothing is published after the last month
        if start > months or start >= end:
            continue
        now = later.channel(channel, start)  # a piece keeps the numbers of the month in which it came out
        tail, peak = read(now.tail_monthly_visits), read(now.peak_monthly_visits)
        by_age = tail + (peak - tail) * _keeps(now, read) ** np.maximum(since, 0)  # since: a piece's age
        drawn: Array = np.cumsum(np.where(since >= 0, by_age, 0.0), axis=0)  # summed over pieces of every age
        if start > first:
            drawn = np.concatenate([np.zeros((start - first, drawn.shape[1])), drawn[: months - start + first]])
        if end <= months:
            fresh = drawn[start - 1 : start - 1 + months - end + 1]
            drawn = drawn.copy()
            drawn[end - 1 :] -= fresh
        total = total + read(now.monthly_pieces) * drawn
    earlier = read(channel.earlier_pieces) * read(later.channel(channel, first).tail_monthly_visits)
    return total + np.where(since >= 0, earlier, 0.0)


def _paid(channel: PaidChannel, month: Array, read: Read, later: Later) -> Array:
    budget = _budget(channel, month, read, later)
    cost, dearer = _by_month(channel, "cost_per_visit", len(month), read, later), np.ones((1, 1))
    if channel.budget_that_doubles_cost is not None:
        dearer = 1 + budget / _by_month(channel, "budget_that_doubles_cost", len(month), read, later)
    return budget / (cost * dearer)


def _budget(channel: PaidChannel, month: Array, read: Read, later: Later) -> Array:
    if later.channels:
        return _step_by_step(channel, "monthly_budget", "", month, read, later)
    return np.where(_active(channel, month), read(channel.monthly_budget) * _compound(channel, month, read), 0.0)


def _by_month(channel: AnyChannel, name: str, months: int, read: Read, later: Later) -> Array:
    """A number of the channel by month, shape (months or 1, 1 or draws)."""
    if not later.channels:
        return read(getattr(channel, name))[None]
    return stack([read(getattr(later.channel(channel, month), name)) for month in range(1, months + 1)])


def _keeps(fading: ContentChannel | Launch, read: Read) -> Array:
    return 1 - read(fading.monthly_fade_rate)


_LEVEL = {
    "steady": ("monthly_visitors", "visitor_ceiling"),
    "sign_ups": ("monthly_sign_ups", "sign_up_ceiling"),
    "customers": ("monthly_customers", "customer_ceiling"),
}
_STEADY: dict[str, Callable[..., Array]] = {**dict.fromkeys(_LEVEL, _steady), "content": _content, "paid": _paid}
