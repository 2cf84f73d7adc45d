"""Why a measure has no number: short codes, by which sentences and tables choose their words."""

from __future__ import annotations

from enum import StrEnum


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
