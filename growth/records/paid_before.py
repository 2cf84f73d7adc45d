"""Customers who had paid for a year before the records begin, and turn up in them at their renewal."""

from __future__ import annotations

import numpy as np

from growth.records.lapses import BEFORE, Entries
from growth.records.read.values import NONE

YEAR = 12
MIDWAY = 3.0  # times the usual month's newcomers that pay in month 0 of a business that was there before
FOLLOWED = 6  # months in which those newcomers are counted
SURE = 1.645  # standard errors by which first yearly payments have to be more in the first year, one-sided 5%


def fill_before(
    entries: Entries, months: int, *, yearly: np.ndarray, joined: np.ndarray | None, signed_up: np.ndarray
) -> tuple[Entries, int]:
    """Take customers of yearly plans whose first payment is in months 1 to 11 as on board from month 0 on.

    Nobody knows whether such a payment is a first one or a renewal, unless the records say when the customer joined or
    signed up. So it is done only where the records plainly begin in the middle of a business: several times as many pay
    by the month in month 0 as join in a month after it, or clearly more first yearly payments are made in the first
    year than after it. Their months before count as paid before the records. Returns how many customers these are.

    yearly: by kind of plan, shape (kinds,). joined, signed_up: by customer, NONE where not known.
    """
    customer, month = entries.customer, entries.month
    if not customer.size or not yearly.any():
        return entries, 0
    first = np.flatnonzero(np.append(True, customer[1:] != customer[:-1]))
    start, by_year = month[first], yearly[entries.kind[first]]
    told = signed_up[customer[first]] != NONE
    if joined is not None:
        told |= joined[customer[first]] != NONE
    unsure = by_year & (start > 0) & (start < YEAR) & ~told
    if not unsure.any() or not _midway(start, by_year, unsure, months):
        return entries, 0
    at, times = first[unsure], start[unsure]
    here = np.repeat(at, times)
    nth = np.arange(here.size) - np.repeat(np.cumsum(times) - times, times)
    filled = Entries(
        np.insert(customer, here, customer[here]),
        np.insert(month, here, nth.astype(np.int32)),
        np.insert(entries.mrr, here, entries.mrr[here]),
        np.insert(entries.kind, here, entries.kind[here]),
        np.insert(entries.state, here, np.full(here.size, BEFORE, np.int8)),
    )
    return filled, int(at.size)


def _midway(start: np.ndarray, by_year: np.ndarray, unsure: np.ndarray, months: int) -> bool:
    """Return whether the records begin in the middle of a business."""
    monthly = start[~by_year]
    there, came = (monthly == 0).sum(), ((monthly > 0) & (monthly <= FOLLOWED)).sum()
    if there > MIDWAY * max(came / FOLLOWED, 1):
        return True
    later = months - YEAR
    if later < FOLLOWED:
        return False
    rate = (by_year & (start >= YEAR)).sum() / later
    expected = (YEAR - 1) * rate
    error = np.sqrt(expected + (YEAR - 1) ** 2 * rate / later)
    return bool(unsure.sum() - expected > SURE * max(error, 1.0))
