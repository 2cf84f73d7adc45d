"""Why a measure has no number: short codes, by which sentences and tables choose their words."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

import numpy as np

from growth.engine.long_run import GROWS, LOYAL, LOYAL_GROWS, STAYS


class Reason(StrEnum):
    """Why MRR settles at no known level, or a lifetime has no value. The order is that in which they are told.

    >>> Reason("nobody_leaves").words
    'nobody leaves'
    """

    EXPANSION_WITHOUT_CHURN = "expansion_without_churn", "nobody leaves, and those who stay pay more and more"
    EXPANSION_OUTRUNS_CHURN = (
        "expansion_outruns_churn",
        "those who stay add at least as much as those who leave take away",
    )
    NOBODY_LEAVES = "nobody_leaves", "nobody leaves"
    SOME_NEVER_LEAVE = "some_never_leave", "some customers never leave"
    LOYAL_STAY = "loyal_stay", "the most loyal customers hardly ever leave"
    COMEBACKS_MAKE_UP = "comebacks_make_up", "those who come back make up for those who leave"
    REFERRALS_MAKE_UP = "referrals_make_up", "customers bring in new ones at least as fast as they leave"
    NOT_KNOWN = "not_known", "no level is known at which it settles"
    REFERRALS_HOLD = "referrals_hold", "customers bring in about as many as leave"
    ALL_COME_BACK = "all_come_back", "nobody joins, and everyone who leaves comes back"
    LEVELS_OFF = "levels_off", "it settles, at a level that these numbers do not give"

    words: str
    """The reason in plain English."""

    def __new__(cls, code: str, words: str = "") -> Reason:
        """A code, with its words beside it."""
        one = str.__new__(cls, code)
        one._value_, one.words = code, words
        return one

    @property
    def number(self) -> int:
        """Its place in the order, from 1; arrays and the workbook know it by this number."""
        return REASONS.index(self) + 1

    @property
    def endless(self) -> bool:
        """Whether MRR grows without end, where it is what keeps MRR from settling."""
        return self.number < Reason.NOT_KNOWN.number


REASONS = tuple(Reason)
NO_REASON = len(REASONS) + 1  # the number of a defined value, so that the first reason told is the least


def first_reason(*cases: tuple[np.ndarray, Any]) -> np.ndarray:
    """The number of the first reason whose condition holds, or NO_REASON, from pairs of condition and reason."""
    numbers = [reason.number if isinstance(reason, Reason) else reason for _, reason in cases]
    return np.select([condition for condition, _ in cases], numbers, NO_REASON)


def why_endless(kind: np.ndarray, whole: np.ndarray) -> list[tuple[np.ndarray, Reason]]:
    """When a sum over ages of this kind (`growth.engine.long_run`) has no limit, and why; whole: nobody ever leaves."""
    return [
        ((kind == GROWS) & whole, Reason.EXPANSION_WITHOUT_CHURN),
        (kind == GROWS, Reason.EXPANSION_OUTRUNS_CHURN),
        ((kind == STAYS) & whole, Reason.NOBODY_LEAVES),
        (kind == STAYS, Reason.SOME_NEVER_LEAVE),
        ((kind == LOYAL) | (kind == LOYAL_GROWS), Reason.LOYAL_STAY),
    ]
