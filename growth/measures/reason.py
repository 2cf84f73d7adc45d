"""Why a measure has no number: short codes, by which sentences and tables choose their words."""

from __future__ import annotations

from enum import StrEnum


class Reason(StrEnum):
    """Why MRR settles at no known level, or a lifetime has no value. The order is that in which they are told.

    >>> Reason("nobody_leaves").words
    'nobody leaves'
    """

    EXPANSION_WITHOUT_CHURN = "expansion_without_churn"
    EXPANSION_OUTRUNS_CHURN = "expansion_outruns_churn"
    NOBODY_LEAVES = "nobody_leaves"
    SOME_NEVER_LEAVE = "some_never_leave"
    LOYAL_STAY = "loyal_stay"
    COMEBACKS_MAKE_UP = "comebacks_make_up"
    REFERRALS_MAKE_UP = "referrals_make_up"
    NOT_KNOWN = "not_known"
    REFERRALS_HOLD = "referrals_hold"
    ALL_COME_BACK = "all_come_back"
    LEVELS_OFF = "levels_off"

    @property
    def words(self) -> str:
        """The reason in plain English."""
        return _WORDS[self]

    @property
    def number(self) -> int:
        """Its place in the order, from 1; arrays and the workbook know it by this number."""
        return REASONS.index(self) + 1

    @property
    def endless(self) -> bool:
        """Whether MRR grows without end, where it is what keeps MRR from settling."""
        return self.number < Reason.NOT_KNOWN.number


REASONS = tuple(Reason)
_WORDS = {
    Reason.EXPANSION_WITHOUT_CHURN: "nobody leaves, and those who stay pay more and more",
    Reason.EXPANSION_OUTRUNS_CHURN: "those who stay add at least as much as those who leave take away",
    Reason.NOBODY_LEAVES: "nobody leaves",
    Reason.SOME_NEVER_LEAVE: "some customers never leave",
    Reason.LOYAL_STAY: "the most loyal customers hardly ever leave",
    Reason.COMEBACKS_MAKE_UP: "those who come back make up for those who leave",
    Reason.REFERRALS_MAKE_UP: "customers bring in new ones at least as fast as they leave",
    Reason.NOT_KNOWN: "no level is known at which it settles",
    Reason.REFERRALS_HOLD: "customers bring in about as many as leave",
    Reason.ALL_COME_BACK: "nobody joins, and everyone who leaves comes back",
    Reason.LEVELS_OFF: "it settles, at a level that these numbers do not give",
}
