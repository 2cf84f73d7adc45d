"""Measuring: every rate that a scenario needs, with its interval, by kind of plan and for the whole business."""

from __future__ import annotations

import numpy as np

from growth.errors import count_of
from growth.records.bridge import Movements, Spells, movements, spells
from growth.records.churn_change import ChurnHistory, DetectedChurnChange, churn_history, churn_now, find_change
from growth.records.churn_fit import Fit, fit_all, log_likelihood, recommend
from growth.records.intervals import Rate, Resampled, percentile, wilson
from growth.records.joining import RECENT, Joining, measure_joining
from growth.records.lapses import BEFORE
from growth.records.measured import KindMeasures, Measured
from growth.records.paid_months import PaidMonths
from growth.records.read.values import NONE
from growth.records.revenue_change import RevenueChange, revenue_change
from growth.records.survival import RiskTable, kaplan_meier, risk_table, spell_risk

FOLLOWED = 12  # months for which leavers are followed to see whether they return
OLDEST = 60  # months, of customers whose age is not known, when the records begin
FEWEST = 5  # leavers for an interval that knows of changes
TRIAL_MONTHS = 3  # months after its own within which a sign-up has to pay to count as converted


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
    changes = revenue_change(book, runs)
    history = churn_history(book, runs, monthly=monthly)
    change = find_change(history, seed=seed)
    since = change.since if change else 1
    table = spell_risk(runs, chosen=monthly[runs.kind])
    age = likeliest_age(runs, monthly[runs.kind], since=since)
    fitted = spell_risk(runs, chosen=monthly[runs.kind], unknown_age=age, since=since)
    fits = fit_all(fitted)
    chosen, why = recommend(fits, fitted)
    why = f"since {book.calendar_month(since)} {why}" if change else why
    pooled = (fitted, fits, chosen, why) if monthly.sum() == 1 else None
    kinds = tuple(
        _kind(number, book, runs, moves, changes, drawn, pooled, since, age) for number in range(len(book.kinds))
    )
    (expansion, ups), (contraction, downs) = changes.rate("up"), changes.rate("down")
    return Measured(
        book,
        runs,
        moves,
        kinds,
        table,
        fitted,
        fits,
        chosen,
        why,
        history,
        change,
        _joining(book, moves),
        changes,
        _churn(book, runs, moves, history, change, seed),
        _of_draws(
            moves.churned_mrr[since : book.settled].sum(),
            moves.closing_mrr[since - 1 : book.settled - 1].sum(),
            _churned_draws(book, drawn, since),
            "churned MRR / MRR of the month before",
        ),
        expansion,
        contraction,
        ups,
        downs,
        _arpa(book, None, drawn),
        *_comeback(book, runs),
        *_conversion(book),
        int((runs.entry == NONE).sum()),
        age,
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


def _joining(book: PaidMonths, moves: Movements) -> Joining:
    """Measure how customers join. In a first year of uncertain yearly customers the others tell.

    Who had not paid in month 0, and was on board, looks new afterwards: months within the grace of the beginning do not
    count.
    """
    joins = moves.new.sum(axis=1)[1:]
    if (book.state == BEFORE).any() and book.months > 12:
        yearly = np.array([billing == "yearly" for _, billing in book.kinds])
        others = moves.new[1:, ~yearly].sum(axis=1)
        share = others[11:].sum() / max(joins[11:].sum(), 1)
        joins = np.where(np.arange(joins.size) < 11, others / share, joins) if share > 0.2 else joins[11:]
    joins = joins[max(joins.size - max(book.months - 1 - book.grace.months, 0), 0) :]
    return measure_joining(joins, first_month=book.calendar_month(book.months - joins.size))


def _churn(
    book: PaidMonths,
    runs: Spells,
    moves: Movements,
    history: ChurnHistory,
    change: DetectedChurnChange | None,
    seed: int,
) -> Rate:
    """Measure churn now: since it last changed, else over the whole history.

    Customers who pay by the year leave as often as the years that ended say, since nobody can leave within one.
    """
    since = change.since if change else 1
    yearly = np.array([billing == "yearly" for _, billing in book.kinds])
    due, ended = _years(runs, yearly[runs.kind])
    paid = np.flatnonzero(yearly[book.kind] & (book.state != BEFORE) & (book.month < book.settled - 1)).size
    left = ended * paid / (12 * due) if due else 0.0
    lost = moves.lost[1 : book.settled, ~yearly].sum(axis=1)
    on_board = moves.closing[: book.settled - 1, ~yearly].sum(axis=1)
    count, of = lost[since - 1 :].sum() + left, on_board[since - 1 :].sum() + (paid if due else 0)
    seen = moves.lost[since : book.settled].sum()
    source = f"{seen:,.0f} left in {of:,.0f} customer-months"
    source += f" since {book.calendar_month(since)}" if change else ""
    source += ", yearly ones by their renewals" if due else ""
    if lost.sum() < FEWEST:
        return _share(count, of, source)
    all_lost, all_months = lost.sum() + left, on_board.sum() + (paid if due else 0)
    low, high = churn_now(history, lost=all_lost, on_board=all_months, changed=change is not None, seed=seed)
    return Rate(float(count / of), low, high, f"{source}; Poisson, whether or not churn changed lately")


def _years(runs: Spells, chosen: np.ndarray) -> tuple[int, int]:
    """Count the years that ended of customers who pay by the year, and those of them that were not renewed."""
    these = np.flatnonzero(chosen & (runs.watched > 0))
    gone, paid = runs.gone[these], (runs.start + runs.watched - runs.billed)[these]
    return int(((paid - ~gone) // 12).sum()), int((gone & (paid >= 12) & (paid % 12 == 0)).sum())


def _renewal(runs: Spells, of_kind: np.ndarray) -> tuple[Rate | None, int]:
    """Count, of the years that ended, those that were renewed."""
    due, ended = _years(runs, of_kind)
    return (_share(due - ended, due, f"{due - ended:,} of {due:,} renewals due"), due) if due else (None, 0)


def _kind(
    number: int,
    book: PaidMonths,
    runs: Spells,
    moves: Movements,
    changes: RevenueChange,
    drawn: Resampled,
    pooled: tuple[RiskTable, tuple[Fit, ...], Fit, str] | None,
    since: int,
    age: int,
) -> KindMeasures:
    """Measure one kind of plan. pooled: the curves of all monthly plans, if this is the only one of them."""
    fits: tuple[Fit, ...] = ()
    chosen: Fit | None = None
    plan, billing = book.kinds[number]
    of_kind = runs.kind == number
    joined = (runs.start >= max(1, book.months - RECENT)) & ~runs.returned
    came_lately = np.flatnonzero(joined & of_kind)
    table = fitted = spell_risk(runs, chosen=of_kind)
    renewal, due = (None, 0)
    if billing == "yearly":
        why = "yearly plans are told by their renewals"
        renewal, due = _renewal(runs, of_kind)
    elif pooled:
        fitted, fits, chosen, why = pooled
    else:
        fitted = spell_risk(runs, chosen=of_kind, unknown_age=age, since=since)
        fits = fit_all(fitted)
        chosen, why = recommend(fits, fitted)
    window = slice(since, book.settled) if billing == "monthly" else slice(1, book.settled)
    lost = moves.lost[window, number].sum()
    on_board = moves.closing[window.start - 1 : book.settled - 1, number].sum()
    came, all_came = came_lately.size, int(joined.sum())
    first_price = changes.price_now(number, runs.start[came_lately], runs.first_mrr[came_lately])
    return KindMeasures(
        plan,
        billing,
        int(moves.closing[-1, number]),
        float(moves.closing_mrr[-1, number]),
        _share(came, all_came, f"{came:,} of the {all_came:,} who joined in the last {RECENT} months"),
        _share(lost, on_board, f"{lost:,.0f} left in {on_board:,.0f} customer-months"),
        renewal,
        due,
        _arpa(book, number, drawn),
        _price(first_price),
        changes.rate("up", number)[0],
        changes.rate("down", number)[0],
        table,
        kaplan_meier(table),
        fitted,
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


def _churned_draws(book: PaidMonths, drawn: Resampled, since: int) -> np.ndarray:
    """Draw churned MRR over the MRR that could churn since a month, shape (draws,)."""
    could = np.flatnonzero((book.month >= since - 1) & (book.month < book.settled - 1))
    churned = np.where(book.goes_on[could], 0.0, book.mrr[could])
    return drawn.ratio(book.customer[could], churned, book.mrr[could])


def _arpa(book: PaidMonths, kind: int | None, drawn: Resampled) -> Rate | None:
    now = np.flatnonzero((book.month == book.months - 1) & (True if kind is None else book.kind == kind))
    mrr = book.mrr[now]
    if not mrr.size:
        return None
    draws = drawn.ratio(book.customer[now], mrr, np.ones(mrr.size))
    return _of_draws(mrr.sum(), mrr.size, draws, f"{count_of(mrr.size, 'customer')} in the last month")


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
    source = f"{paid.sum():,} of {count_of(signed_up.size, 'sign-up')} paid within {TRIAL_MONTHS} months"
    rate = _share(int(paid.sum()), signed_up.size, source)
    delays = np.bincount((converted - signed_up)[np.flatnonzero(paid)], minlength=1).astype(float)
    return rate, tuple((delays / delays.sum()).round(4).tolist()) if paid.any() else (1.0,)
