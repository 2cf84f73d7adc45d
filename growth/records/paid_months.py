"""From rows to who paid how much in which month: charges spread over the months they pay for, refunds set against them.

No money is lost on the way: the MRR of all months, less what of it was not paid in them, + what is paid ahead or set
apart + refunds that match no charge = the sum of the rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.errors import Problem, count_of
from growth.records.read.rows import RecordsError, Rows
from growth.records.read.values import NONE
from growth.records.unpaid_months import BEFORE, LATE, PAID, UNPAID, Entries, Grace, fill, fill_before, positions

MOST_MONTHS = 600  # that records may span
ROUNDING = 1e-9  # share of what was added up; a sum that is less is 0


@dataclass(frozen=True, slots=True, eq=False)
class PaidMonths:
    """Who is on board in which month, at what MRR: one entry a customer and month. Month 0 is `first_month`.

    customer, month: int32, sorted by customer and then month. mrr: float64, above 0, major units of the records'
    currency. kind: int32, indices into `kinds`, each (plan, "monthly" or "yearly"). state: int8, from `unpaid_months`:
    paid as due, late, never, not known yet, or before the records. goes_on: whether the customer is on board in the
    month after as well, which then is the next entry. All of shape (entries,).

    months: how many the records span. grace: how long a payment may be missing. joined: shape (customers,), the month
    each customer came where the rows say so (may be negative), else NONE; None where no row says. paid_ahead: money for
    months after the last. unmatched_refunds: refunds (negative) beyond what a customer had paid. set_apart: what single
    months hold for others, which these do not show. signed_up, converted: shape (customers,), the month of the first
    row of amount 0 before any paid one, and of the first paid month; NONE where there is none. notes: what has to be
    said of it all, in sentences.
    """

    rows: Rows
    customer: np.ndarray
    month: np.ndarray
    mrr: np.ndarray
    kind: np.ndarray
    state: np.ndarray
    goes_on: np.ndarray
    kinds: tuple[tuple[str, str], ...]
    first_month: np.datetime64
    months: int
    grace: Grace
    joined: np.ndarray | None
    paid_ahead: float
    unmatched_refunds: float
    set_apart: float
    signed_up: np.ndarray
    converted: np.ndarray
    notes: tuple[str, ...]

    @property
    def last_month(self) -> np.datetime64:
        """The last month of the records."""
        return self.calendar_month(self.months - 1)

    @property
    def yearly(self) -> np.ndarray:
        """Which kinds of plan are billed by the year, shape (kinds,)."""
        return np.array([billing == "yearly" for _, billing in self.kinds])

    def calendar_month(self, month: int) -> np.datetime64:
        """The month of the calendar of a month of the records, counted from 0."""
        return self.first_month + np.timedelta64(month, "M")

    @property
    def settled(self) -> int:
        """The months, from the first, after which it is known who left: all but those within the grace of the end."""
        return max(self.months - self.grace.months, 1)

    def mrr_in(self, *states: int) -> float:
        """The MRR of all months in one of these states."""
        return float(self.mrr[np.isin(self.state, states)].sum())


def spread_payments(rows: Rows, *, until: str | None = None, grace: int | None = None) -> PaidMonths:
    """Spread the rows over the months they pay for.

    A charge is spread evenly. A refund lowers the months it is for; what exceeds them is set against the customer's
    month before, and so on backwards. A refund made after the last month is not known in it and counts as paid ahead.

    Parameters
    ----------
    rows : Rows
        From `read_records`.
    until : str, optional
        The last month, such as "2025-12"; without it that of the latest date.
    grace : int, optional
        For how many months, 0 to 12, a payment may be missing before the customer counts as gone; without it the data
        choose, see `unpaid_months.choose_grace`, or it is 0 where the records say who left.

    Returns
    -------
    PaidMonths

    Raises
    ------
    RecordsError
        The records span more than 600 months, or hold nothing up to `until`.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from growth.records.demo import DemoBusiness, write_demo
    >>> from growth.records.read import read_records
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "charges.csv"
    ...     _ = write_demo(DemoBusiness(months=24), file, seed=1)
    ...     book = spread_payments(read_records(file))
    >>> book.months, str(book.last_month)
    (24, '2025-12')
    """
    first = int(rows.month.min())
    months = _span(rows, first, until)
    if grace is None and rows.ends_known:
        grace = 0
    kind = rows.plan.astype(np.int32) * 2 + rows.yearly
    start = rows.month.astype(np.int32) - first
    inside = np.clip(months - start, 0, rows.span)
    inside[(rows.amount < 0) & (rows.made >= first + months)] = 0  # refunds that are not known yet
    each = rows.amount / rows.span
    ahead = float((each * (rows.span - inside)).sum())
    used = np.flatnonzero(np.bincount(kind[inside > 0]))
    numbers = np.zeros(kind.max() + 1, np.int32)
    numbers[used] = np.arange(used.size)

    paying = np.flatnonzero((inside > 0) & (rows.amount != 0))
    later = positions(inside[paying])
    paying = np.repeat(paying, inside[paying])
    cell = rows.customer[paying] * np.int64(months) + start[paying] + later
    cell, mrr, kind, unmatched = _settled(cell, each[paying], numbers[kind[paying]], months)
    customer, month = (part.astype(np.int32) for part in np.divmod(cell, months))
    paid = Entries(customer, month, mrr, kind, np.full(customer.size, PAID, np.int8))
    on_board, allowed, apart = fill(paid, months, given=grace)
    trial = (inside > 0) & (rows.amount == 0)
    signed_up = _first_month(rows.customers, rows.customer[trial], start[trial])
    converted = _first_month(rows.customers, customer, month)
    signed_up[(converted != NONE) & (signed_up > converted)] = NONE
    joined = None if rows.joined is None else np.where(rows.joined == NONE, NONE, rows.joined - first)
    by_year = np.array([number % 2 == 1 for number in used.tolist()])
    on_board = fill_before(on_board, months, yearly=by_year, joined=joined, signed_up=signed_up)
    customer, month, mrr, state = on_board.customer, on_board.month, on_board.mrr, on_board.state
    goes_on = np.zeros(customer.size, bool)
    goes_on[:-1] = (customer[1:] == customer[:-1]) & (month[1:] == month[:-1] + 1)
    return PaidMonths(
        rows,
        customer,
        month,
        mrr,
        on_board.kind,
        state,
        goes_on,
        tuple((rows.plans[number // 2], "yearly" if number % 2 else "monthly") for number in used.tolist()),
        np.datetime64(first, "M"),
        months,
        allowed,
        joined,
        ahead,
        unmatched,
        apart,
        signed_up,
        converted,
        (
            *rows.notes,
            *_notes(rows, until, ahead, unmatched),
            *_unpaid_notes(on_board, allowed, months, rows.currency),
        ),
    )


def _span(rows: Rows, first: int, until: str | None) -> int:
    """Return how many months the records have."""
    last = np.datetime64(rows.last_day, "D").astype("M8[M]") if until is None else np.datetime64(until, "M")
    months, earliest = int(last.astype(int)) - first + 1, np.datetime64(first, "M")
    if months < 1:
        rule = f"a month not before the first that is paid for ({earliest})"
        fix = "" if until else "--until takes a later one."
        raise RecordsError([Problem("until", rule, until or f"the month of the latest date, {last}", fix)])
    if months > MOST_MONTHS:
        fix = "A single stray date may be to blame; --until sets the last month."
        raise RecordsError([Problem("", f"records of at most {MOST_MONTHS} months", f"{earliest} to {last}", fix)])
    return months


def _settled(
    cell: np.ndarray, amount: np.ndarray, kind: np.ndarray, months: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """Add up what is paid in each cell (customer x months + month) and set refunds against earlier months.

    Returns the cells with more than 0, sorted; their sums; the highest kind paid in each; and the refunds left over.
    What rounding leaves of a sum, measured by the amounts in it, is nothing.
    """
    cell, into = np.unique(cell, return_inverse=True)
    mrr, gross = (np.bincount(into, part).astype(float, copy=False) for part in (amount, np.abs(amount)))
    kind_paid = np.zeros(cell.size, np.int32)
    np.maximum.at(kind_paid, into, kind)
    mrr[np.abs(mrr) < ROUNDING * gross] = 0.0
    follows = np.diff(cell // months, prepend=-1) == 0
    below = np.flatnonzero((mrr < 0) & follows)
    while below.size:
        before, excess, added = below - 1, mrr[below], gross[below]
        mrr[below] = gross[below] = 0.0
        mrr[before] += excess
        gross[before] += added
        mrr[before[np.abs(mrr[before]) < ROUNDING * gross[before]]] = 0.0
        below = before[(mrr[before] < 0) & follows[before]]
    some = mrr > 0
    return cell[some], mrr[some], kind_paid[some], float(mrr[mrr < 0].sum())


def _first_month(customers: int, customer: np.ndarray, month: np.ndarray) -> np.ndarray:
    """Return each customer's earliest month, NONE where it has none."""
    late = np.iinfo(np.int32).max
    first = np.full(customers, late, np.int32)
    np.minimum.at(first, customer, month)
    return np.where(first == late, np.int32(NONE), first)


def _notes(rows: Rows, until: str | None, paid_ahead: float, unmatched: float) -> tuple[str, ...]:
    notes = []
    day = np.datetime64(rows.last_day, "D")
    if rows.charges and until is None and (day + np.timedelta64(4, "D")).astype("M8[M]") == day.astype("M8[M]"):
        notes.append(
            f"the latest charge is of {day}: where that month is not over yet, customers still to be charged look as "
            f"if they had left; if so, measure with --until {day.astype('M8[M]') - np.timedelta64(1, 'M')}"
        )
    if paid_ahead:
        notes.append(f"{paid_ahead:,.2f} {rows.currency} is paid for months after the last")
    if unmatched:
        notes.append(f"{unmatched:,.2f} {rows.currency} of refunds match no charge and are set apart")
    return tuple(notes)


def _unpaid_notes(entries: Entries, grace: Grace, months: int, currency: str) -> list[str]:
    """Say in sentences what counts as a lapse, what became of those that did, and who was there before the records."""
    said = []
    if grace.months:
        length = count_of(grace.months, "month")
        how = "as --grace says"
        if grace.by_data:
            missed = count_of(grace.missing[0], "customer")
            how = f"of {missed} who missed a month, {grace.returned[0]:,} paid again on the same plan"
        said.append(f"a payment missing for up to {length} is no departure ({how})")
        late, unpaid = (entries.mrr[entries.state == one].sum() / months for one in (LATE, UNPAID))
        if late or unpaid:
            said.append(
                f"{late:,.2f} {currency} of MRR a month was paid late, and {unpaid:,.2f} {currency} a month was never "
                "paid"
            )
        if grace.pending:
            said.append(
                f"at the end of the records {count_of(grace.pending, 'customer has', 'customers have')} not paid for "
                f"up to {length}: nobody knows whether they will, so {grace.kept:,} of them count as on board, the "
                f"share that came back before, and churn is measured up to {length} before the end"
            )
    if earlier := int(((entries.state == BEFORE) & (entries.month == 0)).sum()):
        said.append(
            f"{count_of(earlier, 'customer')} of yearly plans first paid in months 2 to 12 of the records, which begin "
            "in the middle of the business: nobody knows whether these were new or renewed, so they count as on board "
            "from the first month on, and not as new; a column `joined` would tell"
        )
    return said
