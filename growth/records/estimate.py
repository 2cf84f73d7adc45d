"""Measuring: every rate that a scenario needs, with its interval, by kind of plan and for the whole business."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.errors import count_of
from growth.records.bridge import Movements, Spells, movements, spells
from growth.records.churn_change import ChurnHistory, DetectedChurnChange, churn_history, churn_now, find_change
from growth.records.churn_fit import Fit, fit_all, log_likelihood, recommend
from growth.records.intervals import Rate, Resampled
from growth.records.joining import RECENT, Joining, joins_of, measure_joining
from growth.records.paid_months import PaidMonths
from growth.records.read.values import NONE
from growth.records.revenue_change import RevenueChange, revenue_change
from growth.records.survival import RiskTable, Survival, kaplan_meier, measure_comeback, risk_table, spell_risk
from growth.records.unpaid_months import BEFORE

OLDEST = 60  # months, of customers whose age is not known, when the records begin
FEWEST = 5  # leavers for an interval that knows of changes
TRIAL_MONTHS = 3  # months after its own within which a sign-up has to pay to count as converted


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FittedChurn:
    """Churn curves of some customers.

    fitted: what they were fitted to, leaving by age since churn last changed, with customers of unknown age. fits:
    plainest first; none for yearly plans, which are told by their renewals. chosen, why: the one to take.
    """

    fitted: RiskTable
    fits: tuple[Fit, ...]
    chosen: Fit | None
    why: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class KindMeasures(FittedChurn):
    """What was measured of one plan with one way of billing, and its churn curves if it is a monthly one.

    customers, mrr: in the last month. share: of those who joined in the last 12 months. churn: lost / on board, since
    churn last changed. renewal: of customers whose year ended; None for monthly plans; due: how many these are. price:
    mean first MRR of those who joined in the last 12 months, at today's prices; None if nobody did. table, survival:
    leaving by age.
    """

    plan: str
    billing: str
    customers: int
    mrr: float
    share: Rate
    churn: Rate
    renewal: Rate | None
    due: int
    arpa: Rate | None
    price: Rate | None
    expansion: Rate
    contraction: Rate
    table: RiskTable
    survival: Survival


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Measured(FittedChurn):
    """Everything measured. Rates are fractions a month; money is in major units of the records' currency.

    The churn curves are those of all monthly plans together. kinds: by plan and billing. monthly_table: leaving by age,
    of all monthly plans together. history, churn_change: leaving by calendar month, and its last change. churn: now.
    joining: how customers join. changes: what customers who stay pay more or less. comeback, comeback_after: the share
    of leavers who return within 12 months, and the median wait in months. conversion, delays: the share of sign-ups
    (customers whose first row has amount 0) that pays, and the shares of those by months from sign-up to payment.
    unknown_ages: customers on board in month 0 whose age is not in the records; unknown_age: what age, in months, their
    churn since then makes likeliest.
    """

    book: PaidMonths
    runs: Spells
    moves: Movements
    kinds: tuple[KindMeasures, ...]
    monthly_table: RiskTable
    chosen: Fit
    history: ChurnHistory
    churn_change: DetectedChurnChange | None
    joining: Joining
    changes: RevenueChange
    churn: Rate
    revenue_churn: Rate
    expansion: Rate
    contraction: Rate
    arpa: Rate | None
    comeback: Rate | None
    comeback_after: int
    conversion: Rate | None
    delays: tuple[float, ...]
    unknown_ages: int
    unknown_age: int


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
    drawn = Resampled.of(book.converted != NONE, seed=seed)
    runs = spells(book)
    moves = movements(book, runs)
    changes = revenue_change(book, runs)
    history = churn_history(book, runs, monthly=~book.yearly)
    change = find_change(history, seed=seed)
    since = change.since if change else 1
    monthly = ~book.yearly[runs.kind]
    age = likeliest_age(runs, monthly, since=since)
    fitted = spell_risk(runs, chosen=monthly, unknown_age=age, since=since)
    fits = fit_all(fitted)
    chosen, why = recommend(fits, fitted)
    kinds = []
    for number in range(len(book.kinds)):
        only = fits if (~book.yearly).sum() == 1 else None
        kinds.append(_kind(number, book, runs, moves, changes, drawn, since, age, only))
    comeback, comeback_after = measure_comeback(runs, book.months)
    conversion, delays = _conversion(book)
    could = np.flatnonzero((book.month >= since - 1) & (book.month < book.settled - 1))
    churned = np.where(book.goes_on[could], 0.0, book.mrr[could])
    told = "churned MRR / MRR of the month before"
    return Measured(
        book=book,
        runs=runs,
        moves=moves,
        kinds=tuple(kinds),
        monthly_table=spell_risk(runs, chosen=monthly),
        fitted=fitted,
        fits=fits,
        chosen=chosen,
        why=f"since {book.calendar_month(since)} {why}" if change else why,
        history=history,
        churn_change=change,
        joining=measure_joining(*joins_of(book, moves)),
        changes=changes,
        churn=_churn(book, runs, moves, history, since, seed),
        revenue_churn=drawn.rate(book.customer[could], churned, book.mrr[could], told),
        expansion=changes.rate("up")[0],
        contraction=changes.rate("down")[0],
        arpa=_arpa(book, book.month == book.months - 1, drawn),
        comeback=comeback,
        comeback_after=comeback_after,
        conversion=conversion,
        delays=delays,
        unknown_ages=int((runs.entry == NONE).sum()),
        unknown_age=age,
    )


def likeliest_age(runs: Spells, chosen: np.ndarray, *, since: int) -> int:
    """Return the age, 0 to 60 months in month 0, that makes the churn of customers of unknown age likeliest.

    By the shifted-beta-geometric curve of the others; 0 where there are too few to fit it, or nobody's age is unknown.
    """
    unknown = np.flatnonzero(chosen & (runs.entry == NONE) & (runs.watched > since - 1))
    curves = [fit for fit in fit_all(spell_risk(runs, chosen=chosen, since=since)) if fit.curve == "sbg"]
    if not unknown.size or not curves:
        return 0
    gone, months = runs.gone[unknown], runs.watched[unknown] - 1 + runs.gone[unknown]
    seen = risk_table(entry=np.full(unknown.size, since - 1), duration=months, left=gone)
    churn = curves[0].churn(np.arange(1, seen.at_risk.size + OLDEST + 1))
    ages = np.lib.stride_tricks.sliding_window_view(churn, seen.at_risk.size)
    return int(log_likelihood(ages.T, seen).argmax())


def _churn(book: PaidMonths, runs: Spells, moves: Movements, history: ChurnHistory, since: int, seed: int) -> Rate:
    """Measure churn now: since the month in which it last changed, 1 if it never did.

    Customers who pay by the year leave as often as the years that ended say, since nobody can leave within one.
    """
    due, ended = _years(runs, book.yearly[runs.kind])
    yearly = book.yearly[book.kind] & (book.state != BEFORE) & (book.month < book.settled - 1)
    paid = int(yearly.sum()) if due else 0
    left = ended * paid / (12 * due) if due else 0.0
    lost = moves.lost[1 : book.settled, ~book.yearly].sum(axis=1)
    on_board = moves.closing[: book.settled - 1, ~book.yearly].sum(axis=1)
    count, of = lost[since - 1 :].sum() + left, on_board[since - 1 :].sum() + paid
    source = f"{moves.lost[since : book.settled].sum():,.0f} left in {of:,.0f} customer-months"
    source += f" since {book.calendar_month(since)}" if since > 1 else ""
    source += ", yearly ones by their renewals" if due else ""
    if lost.sum() < FEWEST:
        return Rate.share(count, of, source)
    low, high = churn_now(history, lost=lost.sum() + left, on_board=on_board.sum() + paid, changed=since > 1, seed=seed)
    return Rate(float(count / of), low, high, f"{source}; Poisson, whether or not churn changed lately")


def _years(runs: Spells, chosen: np.ndarray) -> tuple[int, int]:
    """Count the years that ended of customers who pay by the year, and those of them that were not renewed."""
    these = np.flatnonzero(chosen & (runs.watched > 0))
    gone, paid = runs.gone[these], (runs.start + runs.watched - runs.billed)[these]
    return int(((paid - ~gone) // 12).sum()), int((gone & (paid >= 12) & (paid % 12 == 0)).sum())


def _kind(
    number: int,
    book: PaidMonths,
    runs: Spells,
    moves: Movements,
    changes: RevenueChange,
    drawn: Resampled,
    since: int,
    age: int,
    fits: tuple[Fit, ...] | None,
) -> KindMeasures:
    """Measure one kind of plan. fits: the curves of all monthly plans, if this is the only one of them."""
    plan, billing = book.kinds[number]
    of_kind = runs.kind == number
    table = fitted = spell_risk(runs, chosen=of_kind)
    chosen, why, renewal, due = None, "yearly plans are told by their renewals", None, 0
    if billing == "yearly":
        since, fits = 1, ()
        due, ended = _years(runs, of_kind)
        renewal = Rate.share(due - ended, due, f"{due - ended:,} of {due:,} renewals due") if due else None
    else:
        fitted = spell_risk(runs, chosen=of_kind, unknown_age=age, since=since)
        fits = fits or fit_all(fitted)
        chosen, why = recommend(fits, fitted)
    joined = (runs.start >= max(1, book.months - RECENT)) & ~runs.returned
    came = np.flatnonzero(joined & of_kind)
    lost = moves.lost[since : book.settled, number].sum()
    on_board = moves.closing[since - 1 : book.settled - 1, number].sum()
    newcomers = f"{came.size:,} of the {joined.sum():,} who joined in the last {RECENT} months"
    return KindMeasures(
        plan=plan,
        billing=billing,
        customers=int(moves.closing[-1, number]),
        mrr=float(moves.closing_mrr[-1, number]),
        share=Rate.share(came.size, int(joined.sum()), newcomers),
        churn=Rate.share(lost, on_board, f"{lost:,.0f} left in {on_board:,.0f} customer-months"),
        renewal=renewal,
        due=due,
        arpa=_arpa(book, (book.month == book.months - 1) & (book.kind == number), drawn),
        price=_price(changes.price_now(number, runs.start[came], runs.first_mrr[came])),
        expansion=changes.rate("up", number)[0],
        contraction=changes.rate("down", number)[0],
        table=table,
        survival=kaplan_meier(table),
        fitted=fitted,
        fits=fits,
        chosen=chosen,
        why=why,
    )


def _arpa(book: PaidMonths, of: np.ndarray, drawn: Resampled) -> Rate | None:
    """Measure MRR per customer over these entries of the last month; None where there are none."""
    now = np.flatnonzero(of)
    source = f"{count_of(now.size, 'customer')} in the last month"
    return drawn.rate(book.customer[now], book.mrr[now], np.ones(now.size), source) if now.size else None


def _price(first: np.ndarray) -> Rate | None:
    if not first.size:
        return None
    half = float(1.96 * first.std(ddof=1) / np.sqrt(first.size)) if first.size > 1 else 0.0
    mean = float(first.mean())
    source = f"mean first MRR of {first.size:,} who joined in the last {RECENT} months; normal"
    return Rate(mean, mean - half, mean + half, source)


def _conversion(book: PaidMonths) -> tuple[Rate | None, tuple[float, ...]]:
    """Count, of sign-ups at least TRIAL_MONTHS before the last month, those who paid in time, and their delays."""
    follow = np.flatnonzero((book.signed_up != NONE) & (book.signed_up <= book.months - 1 - TRIAL_MONTHS))
    signed_up, converted = book.signed_up[follow], book.converted[follow]
    paid = (converted != NONE) & (converted - signed_up <= TRIAL_MONTHS)
    if not signed_up.size:
        return None, (1.0,)
    source = f"{paid.sum():,} of {count_of(signed_up.size, 'sign-up')} paid within {TRIAL_MONTHS} months"
    rate = Rate.share(int(paid.sum()), signed_up.size, source)
    delays = np.bincount((converted - signed_up)[np.flatnonzero(paid)], minlength=1).astype(float)
    return rate, tuple((delays / delays.sum()).round(4).tolist()) if paid.any() else (1.0,)
