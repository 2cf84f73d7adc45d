"""What a sweep over a scenario's ranges says beside its points: the draws joined with chance, in words and as a fan."""

from __future__ import annotations

from functools import lru_cache
from html import escape

import numpy as np

import growth
from growth.sweep import small_charts
from growth.sweep.comparison_words import words_for
from growth.sweep.design import Design
from growth.sweep.evaluate import scenarios
from growth.uncertainty import Mixture, mixture_of

MOST_DRAWS = 2000  # that chance is worked out for


@lru_cache(maxsize=1)
def joined(design: Design) -> Mixture:
    """MRR over up to two thousand draws, with the chance within each of them; months 1 to T."""
    numbers = small_charts.some(design.count, MOST_DRAWS)
    [(_, scenario)] = scenarios(design, design.rows(numbers))  # ranges are numbers: all draws go into one scenario
    return mixture_of(growth.forecast(scenario))


def answer_over_draws(design: Design) -> str:
    """The sentence on the two amounts between which the forecast ends in nine of ten cases, as HTML."""
    base, drawn, words = design.loaded.base, joined(design), words_for(design)
    low, high = (words.strong_amount(_brief(end[-1])) for end in drawn.band(0.9))
    business, month, count = escape(base.business), str(base.months), words.count(design.count)
    return words.html("answer_draws", business=business, month=month, low=low, high=high, count=count)


def goal_over_draws(design: Design) -> str:
    """In how many of a hundred cases the goal is reached; "" without a goal."""
    base, words = design.loaded.base, words_for(design)
    if base.goal_mrr is None:
        return ""
    share = joined(design).reach(float(base.goal_mrr))[-1]
    many = words.plain("fewer") if share < 0.005 else words.plain("more") if share > 0.995 else words.count(100 * share)
    return " " + words.html("goal_cases", goal=escape(words.amount(float(base.goal_mrr))), cases=escape(many))


def share_of_chance(design: Design) -> float:
    """The share of the spread in MRR at the end that comes from single customers who come and go."""
    return float(joined(design).share_of_chance()[-1])


def edges(design: Design) -> list[np.ndarray]:
    """The values below which 5, 25, 50, 75 and 95% of the cases lie, at the opening and at each month's close."""
    base, drawn = design.loaded.base, joined(design)
    opening = growth.forecast(base).opening_mrr[0]
    return [np.concatenate([[opening], drawn.quantile(share / 100)]) for share in small_charts.FAN]


def _brief(value: float) -> float:
    """To three digits, no more than a band is good for."""
    return float(f"{value:.3g}")
