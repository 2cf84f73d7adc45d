"""What was measured, in lines of text."""

from __future__ import annotations

from growth.records.assumptions import named, shown_kinds
from growth.records.measured import Measured, Rate


def summary(measured: Measured) -> list[str]:
    """The measured values with their intervals, one a line, and the notes of the records."""
    book = measured.book
    rows = book.rows
    lines = [
        f"{rows.amount.size:,} rows, {book.first_month} to {book.first_month + (book.months - 1)}",
        f"rows add up to {rows.total:,.2f} {rows.currency} = {book.mrr.sum():,.2f} in these months"
        + (f" + {book.paid_ahead:,.2f} paid ahead" if book.paid_ahead else "")
        + (f" + {book.unmatched_refunds:,.2f} refunds that match no charge" if book.unmatched_refunds else ""),
        "",
        _line("new customers a month", measured.new_customers, "{:,.1f}"),
        _line("customers leaving a month", measured.churn),
        _line("MRR churned a month", measured.revenue_churn),
        _line("expansion a month", measured.expansion),
        _line("contraction a month", measured.contraction),
        *([_line("ARPA", measured.arpa, "{:,.2f}")] if measured.arpa else []),
        *([_line("come back within a year", measured.comeback)] if measured.comeback else []),
        *([_line("sign-ups that pay", measured.conversion)] if measured.conversion else []),
    ]
    for name, kind in named(shown_kinds(measured)).items():
        lines += [
            "",
            f"{name} ({kind.customers:,} customers, {kind.mrr:,.2f} MRR)",
            _line("leaving a month", kind.churn),
        ]
        lines += [_line("renew after a year", kind.renewal)] if kind.renewal else []
    lines += ["", f"churn curve: {measured.chosen.curve} ({measured.why})"]
    for fit in measured.fits:
        values = ", ".join(f"{key} {value:.4g}" for key, value in fit.values.items())
        lines.append(
            f"  {fit.curve:<12}AIC {fit.aic:>12,.1f}   {values}"
            + ("   (at the edge of its range)" if fit.at_edge else "")
        )
    notes = [*book.notes, *(str(rows.unreadable).splitlines() and [f"left out: {rows.unreadable.total:,} rows"])]
    notes += str(rows.unreadable).splitlines()
    return [*lines, *(["", *(f"note: {note}" for note in notes)] if notes else []), ""]


def _line(label: str, rate: Rate, form: str = "{:.2%}") -> str:
    ends = f"{form.format(rate.low)} to {form.format(rate.high)}"
    return f"  {label:<28}{form.format(rate.value):>10}   95%: {ends}   {rate.source}"
