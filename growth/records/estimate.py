"""Measuring: every rate that a scenario needs, with its interval, by kind of plan and for the whole business."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.bridge import Movements, Spells, movements, spells
from growth.records.churn_fit import Fit, fit_all, recommend
from growth.records.intervals import Rate, Resampled, percentile, poisson_growth, poisson_mean, wilson
from growth.records.paid_months import PaidMonths
from growth.records.read.values import NONE
from growth.records.survival import RiskTable, Survival, kaplan_meier, risk_table, spell_risk

RECENT = 12  # months over which levels (new customers, prices, shares of plans) are measured
FOLLOWED = 12  # months for which leavers are followed to see whether they return
TRIAL_MONTHS = 3  # months after its own within which a sign-up has to pay to count as converted


@dataclass(frozen=True, slots=True, eq=False)
class KindMeasures:
    """What was measured of one plan with one way of billing.

    customers, mrr: in the last month. share: of those who joined in the last 12 months. churn: lost / on board, over
    all months. renewal: of customers whose year ended; None for monthly plans. price: mean first MRR of those who
    joined in the last 12 months; None if nobody did. fits, chosen, why: the churn curves, for monthly plans.
    """

    plan: str
    billing: str
    customers: int
    mrr: float
    share: Rate
    churn: Rate
    renewal: Rate | None
    arpa: Rate | None
    price: Rate | None
    expansion: Rate
    contraction: Rate
    table: RiskTable
    survival: Survival
    fits: tuple[Fit, ...]
    chosen: Fit | None
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Everything measured. Rates are fractions a month; money is in major units of the records' currency.

    kinds: by plan and billing. monthly_table, fits, chosen, why: the churn curves of all monthly plans together.
    joins: new customers by month, from the second month on. new_customers: their mean over the last 12 months. growth:
    their monthly growth; None with too few of them. expansion_draws: bootstrap samples of the expansion and the
    contraction rate, shape (2, draws). comeback, comeback_after: the share of leavers who return within 12 months, and
    the median wait in months. conversion, delays: the share of sign-ups (customers whose first row has amount 0) that
    pays, and the shares of those by months from sign-up to payment. unknown_ages: customers on board in month 0 whose
    age is not in the records; they are left out of the curves.
    """

    book: PaidMonths
    runs: Spells
    moves: Movements
    kinds: tuple[KindMeasures, ...]
    monthly_table: RiskTable
    fits: tuple[Fit, ...]
    chosen: Fit
    why: str
    new_customers: Rate
    joins: np.ndarray
    growth: Rate | None
    churn: Rate
    revenue_churn: Rate
    expansion: Rate
    contraction: Rate
    expansion_draws: np.ndarray
    arpa: Rate | None
    comeback: Rate | None
    comeback_after: int
    conversion: Rate | None
    delays: tuple[float, ...]
    unknown_ages: int


def measure(book: PaidMonths, *, seed: int = 0) -> Measured:
    """Measure what a scenario needs.

    Parameters
    ----------
    book : PaidMonths
        From `spread_payments`.
    seed : int
        Of the bootstrap; the same records and seed give the same numbers.

    Returns
    -------
    Measured

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> measured = measure(demo_book(DemoBusiness(months=24), seed=1))
    >>> measured.churn.low < measured.churn.value < measured.churn.high
    True
    """
    monthly = np.array([billing == "monthly" for _, billing in book.kinds])
    drawn = Resampled.of(book.converted != NONE, seed=seed)
    runs = spells(book)
    moves = movements(book, runs)
    table = spell_risk(runs, chosen=monthly[runs.kind])
    draws = _revenue_draws(book, drawn)
    fits = fit_all(table)
    chosen, why = recommend(fits, table)
    pooled = (fits, chosen, why) if monthly.sum() == 1 else None
    joined = (runs.start >= max(1, book.months - RECENT)) & ~runs.returned
    kinds = tuple(
        _kind(number, book, runs, moves, joined, draws[number], drawn, pooled) for number in range(len(book.kinds))
    )
    joins = moves.new.sum(axis=1)[1:]
    lost, on_board = moves.lost[: book.settled].sum(), moves.closing[: book.settled - 1].sum()
    stayed = moves.stayed_mrr.sum()
    up, down = draws[-1]
    return Measured(
        book,
        runs,
        moves,
        kinds,
        table,
        fits,
        chosen,
        why,
        _new_customers(joins),
        joins,
        poisson_growth(joins),
        _share(lost, on_board, f"{lost:,.0f} left in {on_board:,.0f} customer-months"),
        _of_draws(
            moves.churned_mrr[: book.settled].sum(),
            moves.closing_mrr[: book.settled - 1].sum(),
            _churned_draws(book, drawn),
            "churned MRR / MRR of the month before",
        ),
        _of_draws(moves.expansion_mrr.sum(), stayed, up, "MRR gained / MRR of those who stayed"),
        _of_draws(moves.contraction_mrr.sum(), stayed, down, "MRR given up / MRR of those who stayed"),
        draws[-1],
        _arpa(book, None, drawn),
        *_comeback(book, runs),
        *_conversion(book),
        int((runs.entry == NONE).sum()),
    )


def _kind(
    number: int,
    book: PaidMonths,
    runs: Spells,
    moves: Movements,
    joined: np.ndarray,
    draws: np.ndarray,
    drawn: Resampled,
    pooled: tuple[tuple[Fit, ...], Fit, str] | None,
) -> KindMeasures:
    """Measure one kind of plan. pooled: the curves of all monthly plans, if this is the only one of them."""
    fits: tuple[Fit, ...] = ()
    chosen: Fit | None = None
    plan, billing = book.kinds[number]
    of_kind = runs.kind == number
    came_lately = np.flatnonzero(joined & of_kind)
    table = spell_risk(runs, chosen=of_kind)
    if billing == "yearly":
        why = "yearly plans are told by their renewals"
    elif pooled:
        fits, chosen, why = pooled
    else:
        fits = fit_all(table)
        chosen, why = recommend(fits, table)
    lost, on_board = moves.lost[: book.settled, number].sum(), moves.closing[: book.settled - 1, number].sum()
    at_renewal = np.arange(12, table.at_risk.size + 1, 12) - 1
    due, ended = table.at_risk[at_renewal].sum(), table.left[at_renewal].sum()
    came, all_came = came_lately.size, int(joined.sum())
    stayed = moves.stayed_mrr[:, number].sum()
    return KindMeasures(
        plan,
        billing,
        int(moves.closing[-1, number]),
        float(moves.closing_mrr[-1, number]),
        _share(came, all_came, f"{came:,} of the {all_came:,} who joined in the last {RECENT} months"),
        _share(lost, on_board, f"{lost:,.0f} left in {on_board:,.0f} customer-months"),
        _share(due - ended, due, f"{due - ended:,} of {due:,} renewals due") if billing == "yearly" and due else None,
        _arpa(book, number, drawn),
        _price(runs.first_mrr[came_lately]),
        _of_draws(moves.expansion_mrr[:, number].sum(), stayed, draws[0], "MRR gained / MRR of those who stayed"),
        _of_draws(moves.contraction_mrr[:, number].sum(), stayed, draws[1], "MRR given up / MRR of those who stayed"),
        table,
        kaplan_meier(table),
        fits,
        chosen,
        why,
    )


def _share(count: float, of: float, source: str) -> Rate:
    low, high = wilson(count, of)
    return Rate(float(count / of) if of else 0.0, float(low), float(high), f"{source}; Wilson")


def _of_draws(above: float, below: float, draws: np.ndarray, source: str) -> Rate:
    value = float(above / below) if below else 0.0
    return Rate(value, *percentile(draws), f"{source}; bootstrap by customer")


def _revenue_draws(book: PaidMonths, drawn: Resampled) -> list[np.ndarray]:
    """Draw the rates of expansion and contraction: one array of shape (2, draws) for each kind and, last, for all."""
    kinds, groups = len(book.kinds), drawn.weights.shape[1]
    cell = drawn.group[book.customer] * np.int32(kinds) + book.kind
    before = np.flatnonzero(book.goes_on)
    base = np.bincount(cell[before], book.mrr[before], minlength=groups * kinds)
    change = book.mrr[before + 1] - book.mrr[before]
    before, change = before[change != 0], change[change != 0]
    up = np.maximum(change, 0)
    sums = [np.bincount(cell[before], part, minlength=groups * kinds) for part in (up, up - change)]
    up, down, base = (part.reshape(groups, kinds) for part in (*sums, base))
    chosen = [*base.T, base.sum(axis=1)]
    tops = [(up[:, number], down[:, number]) for number in range(kinds)] + [(up.sum(axis=1), down.sum(axis=1))]
    return [np.stack([drawn.of_groups(top, below) for top in pair]) for pair, below in zip(tops, chosen, strict=True)]


def _churned_draws(book: PaidMonths, drawn: Resampled) -> np.ndarray:
    """Draw churned MRR over the MRR that could churn, shape (draws,)."""
    could = np.flatnonzero(book.month < book.settled - 1)
    churned = np.where(book.goes_on[could], 0.0, book.mrr[could])
    return drawn.ratio(book.customer[could], churned, book.mrr[could])


def _new_customers(joins: np.ndarray) -> Rate:
    lately = joins[-RECENT:]
    if not lately.size:
        return Rate(0.0, 0.0, 0.0, "records of one month")
    low, high = poisson_mean(lately)
    source = f"{lately.sum():,.0f} joined in the last {lately.size} months; Poisson"
    return Rate(float(lately.mean()), low, high, source)


def _arpa(book: PaidMonths, kind: int | None, drawn: Resampled) -> Rate | None:
    now = np.flatnonzero((book.month == book.months - 1) & (True if kind is None else book.kind == kind))
    mrr = book.mrr[now]
    if not mrr.size:
        return None
    draws = drawn.ratio(book.customer[now], mrr, np.ones(mrr.size))
    return _of_draws(mrr.sum(), mrr.size, draws, f"{mrr.size:,} customers in the last month")


def _price(first: np.ndarray) -> Rate | None:
    if not first.size:
        return None
    half = float(1.96 * first.std(ddof=1) / np.sqrt(first.size)) if first.size > 1 else 0.0
    mean = float(first.mean())
    source = f"mean first MRR of {first.size:,} who joined in the last {RECENT} months; normal"
    return Rate(mean, mean - half, mean + half, source)


def _comeback(book: PaidMonths, runs: Spells) -> tuple[Rate | None, int]:
    """Estimate the share of leavers who return within 12 months (1 - Kaplan-Meier), and their median wait."""
    gone = np.flatnonzero(runs.left)
    if not gone.size:
        return None, 1
    after = runs.start[gone] + runs.length[gone]  # the month in which it is missing
    following = np.minimum(gone + 1, runs.customer.size - 1)
    back = (runs.customer[following] == runs.customer[gone]) & (following > gone)
    wait = np.where(back, runs.start[following] - after, book.months - 1 - after)
    within = np.minimum(wait, FOLLOWED)
    counted = back & (wait <= FOLLOWED)
    if not counted.any():
        return None, 1
    curve = kaplan_meier(risk_table(entry=np.zeros(gone.size, int), duration=within, left=counted))
    source = f"{counted.sum():,} of {gone.size:,} who left came back within {FOLLOWED} months; Kaplan-Meier"
    known = np.flatnonzero(np.isfinite(curve.survival))[-1]
    low, high = 1 - curve.high[known], 1 - curve.low[known]
    return Rate(float(1 - curve.survival[known]), float(low), float(high), source), int(np.median(wait[counted]))


def _conversion(book: PaidMonths) -> tuple[Rate | None, tuple[float, ...]]:
    """Count, of sign-ups at least TRIAL_MONTHS before the last month, those who paid in time, and their delays."""
    follow = np.flatnonzero((book.signed_up != NONE) & (book.signed_up <= book.months - 1 - TRIAL_MONTHS))
    signed_up, converted = book.signed_up[follow], book.converted[follow]
    paid = (converted != NONE) & (converted - signed_up <= TRIAL_MONTHS)
    if not signed_up.size:
        return None, (1.0,)
    source = f"{paid.sum():,} of {signed_up.size:,} sign-ups paid within {TRIAL_MONTHS} months"
    rate = _share(int(paid.sum()), signed_up.size, source)
    delays = np.bincount((converted - signed_up)[np.flatnonzero(paid)], minlength=1).astype(float)
    return rate, tuple((delays / delays.sum()).round(4).tolist()) if paid.any() else (1.0,)
