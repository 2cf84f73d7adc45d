"""What was measured, as text or as a table, and what has to be said about the records."""

from __future__ import annotations

import textwrap
from html import escape

from growth.errors import count_of
from growth.records.bridge import bridge_columns, lapse_columns
from growth.records.churn_change import churn_notes
from growth.records.estimate import KindMeasures, Measured
from growth.records.failed_payments import failed_note, failed_payments
from growth.records.intervals import Rate
from growth.records.joining import joining_notes
from growth.records.revenue_change import price_notes
from growth.records.survival import NO_FIT, misfit
from growth.records.to_scenario import (
    CURVES,
    MOST_PLANS,
    might_be_customers,
    no_interval,
    own_curve,
    shown_plans,
    unknown_age_text,
)
from growth.records.unpaid_months import BEFORE, PENDING, UNPAID

SHARE, MONEY = "{:.2%}", "{:,.2f}"
WIDTH = 96  # of wrapped sentences
YEAR = 12  # months of the bridge that a report adds up


def summary(measured: Measured) -> list[str]:
    """Put what was measured into lines of text, with intervals and notes, for a terminal.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    list of str
        The lines.

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> from growth.records.estimate import measure
    >>> measured = measure(demo_book(DemoBusiness(months=24), seed=1))
    >>> summary(measured)[0]
    '2,266 rows, 2024-01 to 2025-12'
    """
    book, rows = measured.book, measured.book.rows
    unpaid = book.mrr_in(UNPAID, PENDING)
    lines = [
        f"{count_of(rows.size, 'row')}, {book.first_month} to {book.last_month}",
        f"rows add up to {rows.total:,.2f} {rows.currency} = {measured.moves.closing_mrr.sum():,.2f} in these months"
        + (f" + {book.paid_ahead:,.2f} paid ahead" if book.paid_ahead else "")
        + (f" + {book.unmatched_refunds:,.2f} refunds that match no charge" if book.unmatched_refunds else "")
        + (f" + {book.set_apart:,.2f} charged for other months" if book.set_apart else "")
        + (f" - {earlier:,.2f} paid before them" if (earlier := book.mrr_in(BEFORE)) else "")
        + (f" - {unpaid:,.2f} on board but not paid" if unpaid else ""),
        *_listed("look at these first:", list(book.notes)),
        "",
        "measured, with 95% intervals:",
    ]
    for label, (rate, form) in whole(measured).items():
        lines.append(_line(label, rate, form))
    for name, kind in shown_plans(measured).items():
        lines += ["", f"{name} ({count_of(kind.customers, 'customer')}, {kind.mrr:,.2f} MRR)"]
        lines += [_line(label, rate, form) for label, (rate, form) in of_kind(kind).items()]
    lines += bridge_lines(measured)
    lines += _listed("what else the records show:", notes(measured)[len(book.notes) :])
    lines += ["", f"churn curve of monthly plans: {measured.chosen.curve}: {CURVES[measured.chosen.curve]}"]
    lines += [f"  {measured.why}"]
    for fit in measured.fits:
        values = ", ".join(f"{key} {value:.4g}" for key, value in fit.values.items())
        lines.append(
            f"  {fit.curve:<12}AIC {fit.aic:>12,.1f}   {values}"
            + ("   (at the edge of its range)" if fit.at_edge else "")
        )
    return [*lines, ""]


def bridge_lines(measured: Measured) -> list[str]:
    """Add up the last 12 months of the bridge: what moved, and what of the MRR on board was paid; none of one month."""
    book = measured.book
    moved = {name: column[-YEAR:] for name, column in bridge_columns(measured.moves).items()}
    beside = {name: column[-YEAR:].sum() for name, column in lapse_columns(book, measured.moves).items()}
    months = moved["opening_mrr"].size
    if not months:
        return []
    first, last, ours = book.calendar_month(book.months - months), book.last_month, book.rows.currency
    parts = [("  opening", moved["opening_mrr"][0])]
    signs = {"new": "+ new", "reactivation": "+ came back", "expansion": "+ expansion", "contraction": "- contraction"}
    parts += [(label, moved[f"{name}_mrr"].sum()) for name, label in signs.items()]
    churned = moved["churned_mrr"].sum()
    if "churned_by_failure_mrr" in beside:
        failed = beside["churned_by_failure_mrr"]
        parts += [("- left after a failed payment", failed), ("- left otherwise", churned - failed)]
    else:
        parts.append(("- left", churned))
    parts.append(("= closing", moved["closing_mrr"][-1]))
    lines = ["", f"the bridge, {first} to {last}, {ours} of MRR:"]
    lines += [f"  {label:<30}{amount:>14,.2f}" for label, amount in parts]
    owed = {
        "paid in a later month": beside["late_mrr"],
        "never paid, though the customer stayed": beside["unpaid_mrr"],
        "missing at the end of the records": beside["pending_mrr"],
    }
    if any(owed.values()):
        said = " + ".join(f"{amount:,.2f} {name}" for name, amount in owed.items() if amount)
        whole = moved["closing_mrr"].sum()
        text = f"MRR of these months: {beside['paid_mrr']:,.2f} paid when due + {said} = {whole:,.2f}"
        lines += textwrap.wrap(text, WIDTH + 2, initial_indent="  ", subsequent_indent="    ")
    return lines


def markdown(measured: Measured) -> str:
    """Put what was measured into a Markdown table, for a notebook.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    str
        Columns: what, value, 95% interval, source.

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> from growth.records.estimate import measure
    >>> measured = measure(demo_book(DemoBusiness(months=24), seed=1))
    >>> markdown(measured).splitlines()[2].split(' | ')[:2]
    ['| new customers a month', '10.2']
    """
    rows = whole(measured)
    for name, kind in shown_plans(measured).items():
        rows |= {f"{name}: {label}": value for label, value in of_kind(kind).items()}
    lines = ["| | measured | 95% interval | from |", "|:--|--:|--:|:--|"]
    for label, (rate, form) in rows.items():
        label = escape(label).replace("|", "&#124;")
        lines.append(f"| {label} | {form.format(rate.value)} | {' | '.join(_ends(rate, form))} |")
    return "\n".join(lines)


def whole(measured: Measured) -> dict[str, tuple[Rate, str]]:
    """Return the rates of the whole business with their print formats, by label."""
    failed = failed_payments(measured.book)
    found = {
        "new customers a month": (measured.joining.level, "{:,.1f}"),
        "customers leaving a month": (measured.churn, SHARE),
        "MRR churned a month": (measured.revenue_churn, SHARE),
        "leave after a failed payment": (failed.share if failed else None, SHARE),
        "expansion a month": (measured.expansion, SHARE),
        "contraction a month": (measured.contraction, SHARE),
        "MRR per customer (ARPA)": (measured.arpa, MONEY),
        "come back within a year": (measured.comeback, SHARE),
        "sign-ups that pay": (measured.conversion, SHARE),
    }
    return {label: (rate, form) for label, (rate, form) in found.items() if rate}


def of_kind(kind: KindMeasures) -> dict[str, tuple[Rate, str]]:
    """Return the same for one kind of plan; a yearly one has renewals, if any were due, instead of monthly churn."""
    found = {"of those who join, choose it": (kind.share, SHARE), "first price a month": (kind.price, MONEY)}
    found |= {"renew after a year": (kind.renewal, SHARE)} if kind.renewal else {"leaving a month": (kind.churn, SHARE)}
    return {label: (rate, form) for label, (rate, form) in found.items() if rate}


def notes(measured: Measured) -> list[str]:
    """State what was left out of the records, what they do not say, and what looks odd.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    list of str
        Sentences without a full stop.

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> from growth.records.estimate import measure
    >>> measured = measure(demo_book(DemoBusiness(months=24), seed=1))
    >>> notes(measured)[0]
    '6,975.71 EUR is paid for months after the last'
    """
    book, unreadable, said = measured.book, measured.book.rows.unreadable, []
    if unreadable.total:
        kinds = "; ".join(str(unreadable).splitlines())
        are = "is" if unreadable.total == 1 else "are"
        said.append(f"{count_of(unreadable.total, 'row')} could not be read and {are} left out ({kinds})")
    if measured.unknown_ages:
        one = measured.unknown_ages == 1
        said.append(
            f"{measured.unknown_ages:,} customer{' was' if one else 's were'} on board before the records begin, "
            f"nobody knows since when: {unknown_age_text(measured)}"
        )
    if might_be_customers(shown_plans(measured).values()):
        said.append(
            "there are nearly as many plans as customers: their names might be customers', so they are numbered"
        )
    if (plans := sum(kind.customers > 0 for kind in measured.kinds)) > MOST_PLANS:
        said.append(f"{plans:,} plans have customers: the scenario holds the {MOST_PLANS} largest, for all customers")
    curves = {"monthly plans": (measured.chosen, measured.fitted)}
    for name, kind in shown_plans(measured).items():
        if fit := own_curve(kind, measured):
            curves[name] = fit, kind.fitted
    for name, (fit, table) in curves.items():
        off = misfit(fit, table)
        if off and off.p < NO_FIT:
            first, last = off.worst
            ages = f"{first} to {last} months" if first < last else count_of(first, "month")
            said.append(
                f"{name}: no churn curve fits what was seen (chi-squared, p below {NO_FIT}): at an age of {ages} "
                f"{off.seen:.2%} left a month, the recommended curve says {off.said:.2%}"
            )
    said += churn_notes(measured.churn_change, measured.history, book)
    said += price_notes(measured.changes, book)
    said += failed_note(book)
    said += joining_notes(measured.joining)
    return [*book.notes, *said]


def _listed(head: str, said: list[str]) -> list[str]:
    """Return sentences under a heading, each wrapped; nothing where there are none."""
    wrapped = [textwrap.wrap(note, WIDTH, initial_indent="- ", subsequent_indent="    ") for note in said]
    return ["", head, *(f"  {line}" for lines in wrapped for line in lines)] if said else []


def _line(label: str, rate: Rate, form: str) -> str:
    ends, source = _ends(rate, form)
    return f"  {label:<30}{form.format(rate.value):>8}   {ends:<32}{source}".rstrip()


def _ends(rate: Rate, form: str) -> tuple[str, str]:
    """Return the interval in print, or why there is none, and what it was measured from."""
    if why := no_interval(rate):
        return f"no interval, {why}", rate.source.rsplit("; ", 1)[0]
    return f"{form.format(rate.low)} to {form.format(rate.high)}", rate.source
